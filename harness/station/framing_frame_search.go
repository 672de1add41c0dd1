package station

import (
	"bytes"
	"fmt"
	"slices"
)

// A finding is what stands at the beginning of some bytes.
type finding int

const (
	unfinished finding = iota // perhaps a frame whose rest has to come
	whole
	damaged
)

// shownBytes is how much of what is damaged is kept for reports.
const shownBytes = 64

// cut takes one frame off, or what is damaged before the next that may be one. What looks like the beginning of a frame is
// given up when nothing more comes and there is a whole frame behind it.
func (f *frameFraming) cut(pending []byte, silent bool) (n int, text []byte, err error) {
	if f.flagged() {
		return f.cutAtFlag(pending)
	}
	at := f.nextStart(pending, 0)
	if at > 0 {
		return f.giveUp(pending, at, "bytes outside a frame", fmt.Sprintf("% X at the start of one", f.start), silent)
	}
	state, n, payload, why := f.look(pending)
	switch {
	case state == whole:
		return n, []byte(hexText(payload)), nil
	case state == damaged:
		return f.giveUp(pending, f.nextHopeful(pending, 1, false), why, "a whole frame", silent)
	case silent:
		if next := f.nextHopeful(pending, 1, true); next < len(pending) {
			return f.giveUp(pending, next, "a frame without its end", "a whole frame", true)
		}
	}
	return 0, nil, nil
}

// flagged reports whether one flag stands between frames, which ends the one and starts the other.
func (f *frameFraming) flagged() bool { return f.length == nil && bytes.Equal(f.start, f.end) }

// cutAtFlag takes off what stands before the next flag.
func (f *frameFraming) cutAtFlag(pending []byte) (n int, text []byte, err error) {
	at := bytes.Index(pending, f.end)
	switch {
	case at < 0:
		return f.giveUp(pending, len(pending), "bytes outside a frame", fmt.Sprintf("% X at the start of one", f.start), false)
	case at == 0:
		return len(f.end), nil, nil
	}
	state, _, payload, why := f.look(slices.Concat(f.start, pending[:at], f.end))
	if state == whole {
		return at + len(f.end), []byte(hexText(payload)), nil
	}
	if state == unfinished {
		why = "a frame that ends in the middle of an escape"
	}
	n, text, err = f.giveUp(pending, at, why, "a whole frame", true)
	return n, text, err
}

// giveUp tells of bytes that are no frame, up to the next start. When there is none yet, it waits for more to tell of once.
func (f *frameFraming) giveUp(pending []byte, until int, what, want string, silent bool) (int, []byte, error) {
	if until == len(pending) && what != "" && !silent && len(pending) < f.limit() {
		return 0, nil, nil
	}
	got := hexText(pending[:min(until, shownBytes)])
	if until > shownBytes {
		got += fmt.Sprintf(" and %d more", until-shownBytes)
	}
	return until, nil, &GarbledMessage{What: what, Got: got, Want: want}
}

// nextStart is where start, or the beginning of one at the very end, comes next; the length of pending if it does not.
func (f *frameFraming) nextStart(pending []byte, from int) int {
	for at := from; at < len(pending); at++ {
		if bytes.HasPrefix(pending[at:], f.start) || bytes.HasPrefix(f.start, pending[at:]) {
			return at
		}
	}
	return len(pending)
}

// nextHopeful is the next start of what is a whole frame, or also of what may become one.
func (f *frameFraming) nextHopeful(pending []byte, from int, onlyWhole bool) int {
	for at := f.nextStart(pending, from); at < len(pending); at = f.nextStart(pending, at+1) {
		if state, _, _, _ := f.look(pending[at:]); state == whole || state == unfinished && !onlyWhole {
			return at
		}
	}
	return len(pending)
}

// look reads the frame at the beginning of p, which is start or the beginning of it.
func (f *frameFraming) look(p []byte) (state finding, n int, payload []byte, why string) {
	if len(p) < len(f.start) {
		return unfinished, 0, nil, ""
	}
	need := -1 // bytes inside, once the length is known
	var inside []byte
	at := len(f.start)
	for need < 0 || len(inside) < need {
		if f.length == nil && bytes.HasPrefix(p[at:], f.end) {
			break
		}
		if at >= len(p) || f.length == nil && len(p)-at < len(f.end) && bytes.HasPrefix(f.end, p[at:]) {
			return unfinished, 0, nil, ""
		}
		b := p[at]
		at++
		if f.escapes {
			switch {
			case b == f.escape && at >= len(p):
				return unfinished, 0, nil, ""
			case b == f.escape:
				b = p[at] ^ f.xor
				at++
			case f.special(b):
				return damaged, 0, nil, fmt.Sprintf("%02X inside a frame without an escape", b)
			}
		}
		inside = append(inside, b)
		if need < 0 && f.length != nil && len(inside) == f.head+f.lengthBytes() {
			body := f.bodyLength(inside[f.head:])
			if body < 0 || f.head+body > f.longest {
				return damaged, 0, nil, fmt.Sprintf("a length of % X", inside[f.head:])
			}
			need = len(inside) + body + f.checkBytes()
		}
		if len(inside) > f.longest+f.lengthBytes()+f.checkBytes() {
			return damaged, 0, nil, fmt.Sprintf("a frame of more than %d bytes", f.longest)
		}
	}
	if len(p)-at < len(f.end) && bytes.HasPrefix(f.end, p[at:]) {
		return unfinished, 0, nil, ""
	}
	if !bytes.HasPrefix(p[at:], f.end) {
		return damaged, 0, nil, fmt.Sprintf("% X where the end should be", p[at:min(at+len(f.end), len(p))])
	}
	n = at + len(f.end)
	payload, why = f.unwrap(inside)
	if why != "" {
		return damaged, 0, nil, why
	}
	return whole, n, payload, ""
}

// bodyLength is how many bytes a length says that the body has.
func (f *frameFraming) bodyLength(length []byte) int {
	n := 0
	for i := range length {
		at := i
		if f.length.little {
			at = len(length) - 1 - i
		}
		n = n<<8 | int(length[at])
	}
	return n - f.fixed()
}

// unwrap checks what stands inside a frame, and takes the payload out of it.
func (f *frameFraming) unwrap(inside []byte) (payload []byte, why string) {
	body := len(inside) - f.checkBytes()
	if body < f.head+f.lengthBytes() {
		return nil, "a frame without a payload"
	}
	if f.checksum != nil {
		if want := f.checksum.value(f.checked(inside[:body])); !bytes.Equal(inside[body:], want) {
			return nil, fmt.Sprintf("checksum % X where the bytes give % X (%s)", inside[body:], want, f.checksum.kind)
		}
	}
	return slices.Concat(inside[:f.head], inside[f.head+f.lengthBytes():body]), ""
}
