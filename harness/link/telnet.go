package link

import "bytes"

// Telnet's commands that we know (RFC 854, "TELNET COMMANDS"; RFC 855 for the negotiation). All others are passed over.
const (
	telnetSE   = 240 // ends a subnegotiation
	telnetSB   = 250 // begins one
	telnetWILL = 251
	telnetWONT = 252
	telnetDO   = 253
	telnetDONT = 254
	telnetIAC  = 255 // begins a command; twice, it is the byte 255
)

// The options that we want.
const (
	telnetBinary          = 0  // RFC 856
	telnetSuppressGoAhead = 3  // RFC 858
	telnetComPort         = 44 // RFC 2217
)

const (
	// longestSubnegotiation is how many bytes of one are kept: a COM port command has at most five, a signature is a line of
	// text. Our own choice.
	longestSubnegotiation = 256
	// mostReplies is how often at most we answer about one option of one side. Two ends that keep to RFC 854 need one
	// answer; a peer that asks again after each refusal would go on for ever. Our own choice.
	mostReplies = 8
)

// A telnet is our end of a Telnet connection, without the connection: it takes what has arrived, and gives the data in it,
// what happened, and what to reply. Options are agreed on by the method of RFC 1143, less its queue, as we never take back
// what we asked for.
type telnet struct {
	ours, theirs [256]telnetOption // what we do, and what they do
	replies      []byte            // to be sent; whoever sends it empties it

	state         telnetState
	carriageCame  bool // outside BINARY, the last byte was a carriage return
	command       byte // of a negotiation whose option has not come
	option        byte // of the subnegotiation
	content       []byte
	contentTooBig bool
}

type telnetState byte

const (
	inData telnetState = iota
	afterIAC
	afterCommand // WILL, WONT, DO or DONT
	afterSB
	inSubnegotiation
	inSubnegotiationAfterIAC
)

type telnetOption struct {
	state   optionState
	welcome bool // may be agreed on when the far end proposes it
	replies byte
}

type optionState byte

const (
	optionOff optionState = iota // at first, and when it was refused or taken back
	optionAsked
	optionOn
)

// A telnetEvent is what happened to an option, or a subnegotiation.
type telnetEvent struct {
	kind    telnetEventKind
	option  byte
	content []byte // of a subnegotiation; good until the next decode
}

type telnetEventKind byte

const (
	nothingHappened telnetEventKind = iota
	weDo                            // the far end agreed that we do it
	weDoNot                         // it refused, or took it back
	theyDo
	theyDoNot
	subnegotiation
	subnegotiationTooLong // its content is lost
)

// welcome says which options are agreed on when the far end proposes them. All others are refused.
func (t *telnet) welcome(ours, theirs []byte) {
	for _, option := range ours {
		t.ours[option].welcome = true
	}
	for _, option := range theirs {
		t.theirs[option].welcome = true
	}
}

// ask proposes that we do an option (telnetWILL) or asks the far end to (telnetDO).
func (t *telnet) ask(command, option byte) {
	side := &t.ours[option]
	if command == telnetDO {
		side = &t.theirs[option]
	}
	side.state = optionAsked
	t.replies = append(t.replies, telnetIAC, command, option)
}

// decode takes bytes of p up to the first event. It used so many, and the data in them is now p[:n].
func (t *telnet) decode(p []byte) (n, used int, event telnetEvent) {
	for used < len(p) {
		if t.state == inData && t.theirs[telnetBinary].state == optionOn && p[used] != telnetIAC {
			end := bytes.IndexByte(p[used:], telnetIAC)
			if end < 0 {
				end = len(p) - used
			}
			n += copy(p[n:], p[used:used+end])
			used += end
			continue
		}
		b := p[used]
		used++
		if t.state == inData && b != telnetIAC || t.state == afterIAC && b == telnetIAC {
			t.state = inData
			if t.isData(b) {
				p[n] = b
				n++
			}
			continue
		}
		if event = t.step(b); event.kind != nothingHappened {
			return n, used, event
		}
	}
	return n, used, event
}

// isData reports whether b is for the user. The virtual terminal, which is what there is outside BINARY, writes a lone
// carriage return as CR NUL (RFC 854, "The NVT printer and keyboard").
func (t *telnet) isData(b byte) bool {
	if t.theirs[telnetBinary].state == optionOn {
		return true
	}
	padding := t.carriageCame && b == 0
	t.carriageCame = b == '\r'
	return !padding
}

// step takes a byte that is not data.
func (t *telnet) step(b byte) telnetEvent {
	switch t.state {
	case inData:
		t.state = afterIAC
	case afterIAC:
		t.afterIAC(b)
	case afterCommand:
		t.state = inData
		return t.negotiate(t.command, b)
	case afterSB:
		t.state, t.option, t.content, t.contentTooBig = inSubnegotiation, b, t.content[:0], false
	case inSubnegotiation:
		if b == telnetIAC {
			t.state = inSubnegotiationAfterIAC
			break
		}
		t.keep(b)
	case inSubnegotiationAfterIAC:
		switch b {
		case telnetIAC:
			t.state = inSubnegotiation
			t.keep(b)
		case telnetSE:
			t.state = inData
			if t.contentTooBig {
				return telnetEvent{kind: subnegotiationTooLong, option: t.option}
			}
			return telnetEvent{kind: subnegotiation, option: t.option, content: t.content}
		default:
			// Another command inside: the end has got lost. What is left of it means nothing.
			t.afterIAC(b)
		}
	}
	return telnetEvent{}
}

func (t *telnet) afterIAC(b byte) {
	switch b {
	case telnetWILL, telnetWONT, telnetDO, telnetDONT:
		t.state, t.command = afterCommand, b
	case telnetSB:
		t.state = afterSB
	default: // NOP, data mark, go ahead and the like
		t.state = inData
	}
}

func (t *telnet) keep(b byte) {
	if len(t.content) == longestSubnegotiation {
		t.contentTooBig = true
		return
	}
	t.content = append(t.content, b)
}

// negotiate answers only what changes a state, so that two ends cannot answer each other's answers (RFC 854, "General
// considerations").
func (t *telnet) negotiate(command, option byte) telnetEvent {
	side, agree, refuse, on, off := &t.ours[option], byte(telnetWILL), byte(telnetWONT), weDo, weDoNot
	if command == telnetWILL || command == telnetWONT {
		side, agree, refuse, on, off = &t.theirs[option], telnetDO, telnetDONT, theyDo, theyDoNot
	}
	answer := func(command byte) bool {
		if side.replies == mostReplies {
			return false
		}
		side.replies++
		t.replies = append(t.replies, telnetIAC, command, option)
		return true
	}
	before := side.state
	if command == telnetWILL || command == telnetDO {
		switch {
		case before == optionAsked:
			side.state = optionOn
		case before == optionOn:
			return telnetEvent{}
		case !side.welcome:
			answer(refuse)
			return telnetEvent{}
		case !answer(agree):
			return telnetEvent{}
		default:
			side.state = optionOn
		}
		t.carriageCame = false
		return telnetEvent{kind: on, option: option}
	}
	side.state = optionOff
	switch before {
	case optionAsked:
		return telnetEvent{kind: off, option: option}
	case optionOn:
		answer(refuse)
		return telnetEvent{kind: off, option: option}
	}
	return telnetEvent{}
}

// appendEscaped appends p as it goes over a Telnet connection in BINARY: 255 twice, all else as it is (RFC 856).
func appendEscaped(to, p []byte) []byte {
	for len(p) > 0 {
		end := bytes.IndexByte(p, telnetIAC)
		if end < 0 {
			return append(to, p...)
		}
		to = append(to, p[:end]...)
		to = append(to, telnetIAC, telnetIAC)
		p = p[end+1:]
	}
	return to
}

// appendSubnegotiation appends IAC SB option content IAC SE.
func appendSubnegotiation(to []byte, option byte, content ...byte) []byte {
	to = append(to, telnetIAC, telnetSB, option)
	to = appendEscaped(to, content)
	return append(to, telnetIAC, telnetSE)
}
