#!/usr/bin/env python3
"""An adapter in Python 3, with nothing but its standard library. It is there to be copied.

It drives a station that speaks the reference language at the far end of a network connection:

    python3 example.py tcp://HOST:PORT

README.md beside this file describes the exchange with bufferstop: one JSON object a line on standard input and output.
For a station of your own, write COMMANDS, understand and Station anew.
"""

import json
import queue
import re
import socket
import sys
import threading
import time

VERSION = 1  # of the exchange
FIRST_LONG = 128  # the reference language tells long addresses from short ones by the number alone

# The station's words for ours.
WORDS = {
    "track": {"main": "MAIN", "programming": "PROG"},
    "power": {"on": "ON", "off": "OFF"},
    "state": {"on": "ON", "off": "OFF"},
    "direction": {"forward": "FORW", "reverse": "REV"},
    "output": {0: "OFF", 1: "ON"},
    "facing": {"normal": "NORM", "reversed": "REV"},
    "method": {"default": "", "direct": ",DIR", "paged": ",PAG", "register": ",REG", "address": ",ADDR"},
}

# What the station is told. The error query brings the error code behind the value, if there is one.
COMMANDS = {
    "identify": "*IDN?",
    "reset": "*RST;:SYST:ERR?",
    "set_power": "TRAC:POW {track},{power};:SYST:ERR?",
    "power": "TRAC:POW? {track};:SYST:ERR?",
    "current": "TRAC:CURR? {track};:SYST:ERR?",
    "set_speed": "LOCO:SPE {address},{step},{direction},{steps};:SYST:ERR?",
    "set_function": "LOCO:FUNC {address},{function},{state};:SYST:ERR?",
    "release": "LOCO:REL {address};:SYST:ERR?",
    "stop": "LOCO:STOP {address};:SYST:ERR?",
    "stop_all": "LOCO:STOP ALL;:SYST:ERR?",
    "set_accessory": "ACC:OUTP {number},{output};:SYST:ERR?",
    "set_aspect": "ACC:ASP {number},{aspect};:SYST:ERR?",
    "read_cv": "CV:READ? {cv}{method};:SYST:ERR?",
    "write_cv": "CV:WRIT {cv},{value}{method};:SYST:ERR?",
    "verify_cv": "CV:VER? {cv},{value}{method};:SYST:ERR?",
    "write_bit": "CV:BIT {cv},{bit},{value};:SYST:ERR?",
    "write_on_main": "POM:WRIT {address},{cv},{value};:SYST:ERR?",
    "write_bit_on_main": "POM:BIT {address},{cv},{bit},{value};:SYST:ERR?",
    "clear_accessory": "ACC:CLE {number},{output};:SYST:ERR?",
    "set_consist": "CONS:SET {address},{consist},{facing};:SYST:ERR?",
    "clear_consist": "CONS:CLE {address};:SYST:ERR?",
}

# A value, a semicolon, an error code and its text; a command brings no value.
OUTCOME = re.compile(r'(?:([^;"]*);)?(-?[0-9]+),"(.*)"')
# The answer to *IDN?: no other answer has four fields.
INTRODUCTION = re.compile(r'([^,;"]*),([^,;"]*),([^,;"]*),([^,;"]*)')

NUMBER = re.compile(r"-?[0-9]{1,9}(\.[0-9]+)?")

# How to read the value that an operation brings. What is not here brings none.
VALUES = {
    "power": {"ON": "on", "OFF": "off", "TRIPPED": "tripped"}.__getitem__,
    "current": lambda text: float(NUMBER.fullmatch(text).group()),  # milliamperes there and here
    "read_cv": {str(value): value for value in range(256)}.__getitem__,
    "verify_cv": {"0": False, "1": True}.__getitem__,
}


class Silent(Exception):
    """The station has not answered in its time."""


class Failed(Exception):
    """The connection is at fault, or whoever made it; not the station."""


class Station:
    """The connection to the station."""

    def __init__(self, address):
        host, _, port = address.removeprefix("tcp://").rpartition(":")
        self.address = host.strip("[]"), int(port)
        self.connection = None
        self.lines = queue.Queue()
        self.in_step = False  # no answer to an earlier question can be on its way

    def open(self, until):
        if self.connection is not None:
            return
        try:
            self.connection = socket.create_connection(self.address, max(until - time.monotonic(), 0.01))
        except OSError as error:
            raise Failed(f"no connection to the station: {error}") from error
        self.connection.settimeout(None)
        self.lines = queue.Queue()
        self.in_step = False
        threading.Thread(target=self.read, args=(self.connection, self.lines), daemon=True).start()

    @staticmethod
    def read(connection, lines):
        try:
            answers = connection.makefile("r", encoding="utf-8", errors="replace", newline="\n")
            while line := answers.readline(4096):  # a station that never ends its line must not fill the memory
                lines.put(line.rstrip("\r\n"))
        except OSError:
            pass
        lines.put(None)  # the end

    def close(self):
        if self.connection is not None:
            self.connection.close()
            self.connection = None

    def unasked(self):
        """What the station has said since the last answer."""
        while not self.lines.empty():
            line = self.lines.get()
            if line is None:
                self.close()  # opened again when it is needed
            else:
                yield line

    def ask(self, line, until):
        """Send one line and wait for one. Late answers to come_into_step, which can be no others, are passed over."""
        self.open(until)
        if not self.in_step:
            self.come_into_step(until)
        self.send(line)
        self.in_step = False
        answer = self.next(until)
        while line != "*IDN?" and INTRODUCTION.fullmatch(answer):
            answer = self.next(until)
        self.in_step = True
        return answer

    def come_into_step(self, until):
        """Ask who the station is, and pass over what comes before: late answers to earlier questions."""
        self.open(until)
        self.in_step = False
        self.send("*CLS;*IDN?")
        while not INTRODUCTION.fullmatch(self.next(until)):
            pass
        self.in_step = True

    def send(self, line):
        try:
            self.connection.sendall(line.encode() + b"\n")
        except OSError as error:
            self.close()
            raise Failed(f"the connection to the station was lost: {error}") from error

    def next(self, until):
        try:
            line = self.lines.get(timeout=max(until - time.monotonic(), 0))
        except queue.Empty:
            raise Silent from None
        if line is None:
            self.close()
            raise Failed("the connection to the station was lost")
        return line


def command(question):
    """What the station is told, or None and why it cannot be told."""
    ask = question["ask"]
    if ask not in COMMANDS:
        return None, f"no operation {ask}"
    if "kind" in question and (question["kind"] == "long") != (question["address"] >= FIRST_LONG):
        return None, f"addresses from {FIRST_LONG} on are long here, and none before"
    if ask == "write_bit" and question["method"] != "default":
        return None, "the station chooses the method of a bit"
    return COMMANDS[ask].format(**{name: WORDS.get(name, {}).get(value, value) for name, value in question.items()}), None


def understand(ask, line):
    """What a line of the station means for the operation."""
    if ask == "identify":
        found = INTRODUCTION.fullmatch(line)
        if not found:
            return {"unexpected": line}
        return {"value": dict(zip(("maker", "model", "serial", "version"), found.groups()), text=line)}
    found = OUTCOME.fullmatch(line)
    if not found:
        return {"unexpected": line}
    value, code, text = found.groups()
    if code == "110":
        return {"no_acknowledge": True}
    if code == "120":
        return {"tripped": True}
    if code != "0":
        return {"refused": {"code": code, "text": text}}
    if ask not in VALUES:
        return {"done": True}
    try:
        return {"value": VALUES[ask](value)}
    except (KeyError, AttributeError, TypeError):
        return {"unexpected": line}


def outcome(station, question):
    """What came of a question: what the answer says besides its id."""
    ask = question["ask"]
    until = time.monotonic() + question["within_ms"] / 1000
    if ask == "hello":
        if VERSION not in question["versions"]:
            return {"failed": f"I speak version {VERSION}"}
        return {"hello": {"version": VERSION, "name": "reference example 1", "operations": list(COMMANDS), "tells_restarts": False}}
    try:
        if ask == "ping":
            station.come_into_step(until)
            return {"done": True}
        line, why = command(question)
        if line is None:
            return {"not_supported": why}
        return understand(ask, station.ask(line, until))
    except Silent:
        return {"silent": True}
    except Failed as error:
        return {"failed": str(error)}


def say(message):
    """One line to bufferstop, at once."""
    print(json.dumps(message), flush=True)


def main():
    if len(sys.argv) != 2:
        sys.exit("usage: example.py tcp://HOST:PORT")
    station = Station(sys.argv[1])
    for line in sys.stdin:  # until bufferstop closes it
        try:
            question = json.loads(line)
            number = question["id"]
        except (ValueError, KeyError, TypeError):
            print(f"no question: {line!r}", file=sys.stderr, flush=True)  # half of one, perhaps: pass it over
            continue
        # If your station says so when it has started, make that the event "restarted", and set tells_restarts in hello.
        for text in station.unasked():
            say({"event": "line", "text": text})
        say({"id": number, **outcome(station, question)})
    station.close()


if __name__ == "__main__":
    main()
