/* Numbers of the probe protocol, version 1: harness/probe/README.md. */
#ifndef PROTOCOL_H
#define PROTOCOL_H

enum { PROTOCOL = 1 };

/* From the host. */
enum { HELLO = 0x01, START, STOP, ALIVE, SYNC, STATUS, LOAD, SHORT, SUPPLY, MARK, REFLEX, SAFE = 0x0D };

/* From the probe. */
enum { HELLO_ANSWER = 0x81, STRETCH, DONE, REFUSED, SYNC_ANSWER, STATUS_ANSWER, EVENT, MARK_ANSWER };

/* Why a command is refused. */
enum refusal { ACCEPTED, UNKNOWN, LENGTH, RANGE, NOT_FITTED, BUSY, ORDER, LATER /* not refused: to be tried again soon */ };

#endif
