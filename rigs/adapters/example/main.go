// The program example is an adapter: it drives a station that speaks the reference language at the far end of a network
// connection. It is there to be copied. Three things are in it:
//
//   - main.go: the exchange with bufferstop, one JSON object a line, as ../README.md describes it;
//   - commands.go: what the station is told for each operation, and what its answers mean;
//   - station.go: the connection to the station.
//
// For a station of your own, write the latter two anew.
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"time"
)

// version of the exchange that this adapter speaks.
const version = 1

// A question is one line of standard input. Each operation has its own keys; the others stay zero.
type question struct {
	ID       int64  `json:"id"`
	Ask      string `json:"ask"`
	WithinMS int64  `json:"within_ms"` // the time that the station has to answer, in milliseconds
	Versions []int  `json:"versions"`  // of hello

	Track     string `json:"track"` // main, programming
	Power     string `json:"power"` // on, off
	Address   int    `json:"address"`
	Kind      string `json:"kind"` // of the address: short, long
	Steps     int    `json:"steps"`
	Direction string `json:"direction"` // forward, reverse
	Step      int    `json:"step"`
	Function  int    `json:"function"`
	State     string `json:"state"` // on, off
	Number    int    `json:"number"`
	Output    int    `json:"output"`
	Aspect    int    `json:"aspect"`
	CV        int    `json:"cv"`
	Value     int    `json:"value"`
	Bit       int    `json:"bit"`
	Consist   int    `json:"consist"`
	Facing    string `json:"facing"` // normal, reversed
	Method    string `json:"method"` // direct, paged, register, address, default
}

// An answer is one line of standard output: the number of the question, and one of the others.
type answer struct {
	ID            int64    `json:"id"`
	Hello         *hello   `json:"hello,omitempty"`
	Done          bool     `json:"done,omitempty"`
	Value         any      `json:"value,omitempty"`
	Refused       *refusal `json:"refused,omitempty"`
	NoAcknowledge bool     `json:"no_acknowledge,omitempty"`
	Tripped       bool     `json:"tripped,omitempty"`
	Unexpected    *string  `json:"unexpected,omitempty"`
	Silent        bool     `json:"silent,omitempty"`
	NotSupported  string   `json:"not_supported,omitempty"`
	Failed        string   `json:"failed,omitempty"`
}

type hello struct {
	Version       int      `json:"version"`
	Name          string   `json:"name"`
	Operations    []string `json:"operations"`
	TellsRestarts bool     `json:"tells_restarts"`
}

type refusal struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// An event is what the station said by itself. If yours says so when it has started, make that the event "restarted",
// and set tells_restarts in hello.
type event struct {
	Event string `json:"event"`
	Text  string `json:"text"`
}

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: example tcp://HOST:PORT")
		os.Exit(2)
	}
	s := &station{address: strings.TrimPrefix(os.Args[1], "tcp://")}
	defer s.close()
	out := json.NewEncoder(os.Stdout) // ends each object with a new line, and has no buffer that would hold it back
	questions := readQuestions()
	for {
		select {
		case q, more := <-questions:
			if !more {
				return // bufferstop has closed our standard input
			}
			for line, said := s.unasked(); said; line, said = s.unasked() {
				_ = out.Encode(event{"line", line}) // or it would be taken for the answer
			}
			_ = out.Encode(reply(s, q)) // when nobody reads it any more, the input ends too
		case line, more := <-s.lines:
			if !more {
				s.close() // opened again when it is needed
				continue
			}
			_ = out.Encode(event{"line", line})
		}
	}
}

// readQuestions reads the standard input to its end.
func readQuestions() <-chan question {
	questions := make(chan question)
	go func() {
		defer close(questions)
		lines := bufio.NewScanner(os.Stdin)
		for lines.Scan() {
			var q question
			if err := json.Unmarshal(lines.Bytes(), &q); err != nil || q.ID == 0 {
				fmt.Fprintf(os.Stderr, "no question: %q\n", lines.Text()) // half of one, perhaps: pass it over
				continue
			}
			questions <- q
		}
	}()
	return questions
}

// reply answers one question.
func reply(s *station, q question) answer {
	a := answer{ID: q.ID}
	until := time.Now().Add(time.Duration(q.WithinMS) * time.Millisecond)
	switch q.Ask {
	case "hello":
		for _, offered := range q.Versions {
			if offered == version {
				a.Hello = &hello{version, "reference example 1", operations, false}
				return a
			}
		}
		a.Failed = fmt.Sprintf("I speak version %d", version)
	case "ping":
		if a.fail(s.comeIntoStep(until)) {
			return a
		}
		a.Done = true
	default:
		line, why := command(q)
		if why != "" {
			a.NotSupported = why
			return a
		}
		text, err := s.ask(line, until)
		if a.fail(err) {
			return a
		}
		a.understand(q, text)
	}
	return a
}
