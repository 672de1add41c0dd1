package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"
)

// defaultAgreeLimit is how long a server may take to agree: more than any round trip and any setting of a port takes. Our
// own choice.
const defaultAgreeLimit = 5 * time.Second

// An RFC2217Config says where a serial server is and how its serial line is to be set.
type RFC2217Config struct {
	Address string       // host:port
	Line    SerialConfig // as for a serial port; Device is not used
	// AgreeLimit is how long the server may take to agree to Telnet's options and to the settings of the line; 0 is five
	// seconds.
	AgreeLimit time.Duration
}

// DialRFC2217 connects to a serial server that is controlled as RFC 2217 says, has it set its line, and waits until the
// station has started. It is an error when the server does not confirm what it was asked for, or sets something else.
//
// What the station said before the line was set is discarded, unless its start is awaited: then that may be part of it. A
// purge does not reach what the server has read from its port and not sent yet (ser2net keeps it for a millisecond or so, to
// join it with more): Settle does.
func DialRFC2217(ctx context.Context, c RFC2217Config) (Link, error) {
	if _, err := c.Line.mode(); err != nil {
		return nil, err
	}
	if c.Line.Baud < 0 || c.Line.Baud > fastestBaud {
		return nil, &AddressError{What: "baud", Got: fmt.Sprint(c.Line.Baud), Want: fmt.Sprintf("1 to %d", fastestBaud)}
	}
	if c.AgreeLimit <= 0 {
		c.AgreeLimit = defaultAgreeLimit
	}
	conn, err := dialNet(ctx, "rfc2217://"+c.Address, c.Address, dialLimit)
	if err != nil {
		return nil, err
	}
	l := &rfc2217Link{conn: conn, raw: make([]byte, comPortRead)}
	if err := l.open(ctx, c); err != nil {
		_ = l.Close()
		return nil, fmt.Errorf("link: rfc2217://%s: %w", c.Address, err)
	}
	rest, err := startUp(ctx, l, "rfc2217://"+c.Address, c.Line)
	if err != nil {
		_ = l.Close()
		return nil, err
	}
	l.unread, l.taken = append(rest, l.unread[l.taken:]...), 0
	return l, nil
}

// open agrees with the server on Telnet's options, then on the settings of the line.
func (l *rfc2217Link) open(ctx context.Context, c RFC2217Config) error {
	deadline := time.Now().Add(c.AgreeLimit)
	l.telnet.welcome([]byte{telnetBinary, telnetSuppressGoAhead, telnetComPort}, []byte{telnetBinary, telnetSuppressGoAhead})
	l.telnet.ask(telnetWILL, telnetBinary)
	l.telnet.ask(telnetDO, telnetBinary)
	l.telnet.ask(telnetWILL, telnetSuppressGoAhead)
	l.telnet.ask(telnetDO, telnetSuppressGoAhead)
	l.telnet.ask(telnetWILL, telnetComPort)
	l.owed, l.telnet.replies = l.telnet.replies, nil
	opening := bytes.Clone(l.owed)
	var heard []byte
	err := l.until(ctx, deadline, l.agreed, func(raw []byte) error {
		heard = append(heard, raw[:min(len(raw), awaitWindow-len(heard))]...)
		if bytes.Contains(heard, opening) {
			return errors.New("what answers there sends our Telnet negotiation back: it is a plain connection with an echo and no " +
				"RFC 2217 server; use tcp://")
		}
		return nil
	})
	if err != nil {
		return l.explain(err, c, "agree to COM port control", "is it an RFC 2217 server? If it is a plain connection, use tcp://")
	}
	// We look at no line state and no modem state. That the server confirms this matters to nobody.
	l.owed = appendSubnegotiation(l.owed, telnetComPort, comPortLineStateMask, 0)
	l.owed = appendSubnegotiation(l.owed, telnetComPort, comPortModemStateMask, 0)
	l.requests = comPortRequests(c.Line)
	for i := range l.requests {
		l.owed = l.requests[i].append(l.owed)
	}
	err = l.until(ctx, deadline, func() bool { return l.unconfirmed() == nil }, nil)
	if r := l.unconfirmed(); err != nil && r != nil {
		return l.explain(err, c, fmt.Sprintf("confirm %s=%s", r.name, r.text(r.value)), r.hint)
	}
	return err
}

// until sends what is owed and hears the server until done. Each piece that arrives is shown to inspect first.
func (l *rfc2217Link) until(ctx context.Context, deadline time.Time, done func() bool, inspect func(raw []byte) error) error {
	for !done() {
		left := time.Until(deadline)
		if left <= 0 {
			return ErrTimeout
		}
		if err := l.flushOrHearWhyNot(ctx, left); err != nil {
			return err
		}
		n, err := l.conn.Read(ctx, l.raw, time.Until(deadline))
		if err != nil {
			return err
		}
		if inspect != nil {
			if err := inspect(l.raw[:n]); err != nil {
				return err
			}
		}
		l.hear(l.raw[:n])
		if l.broken != nil {
			return l.broken
		}
		// A station that floods while we agree must not cost memory; its latest words are the ones to know.
		if extra := len(l.unread) - awaitWindow; extra > 0 {
			l.unread = append(l.unread[:0], l.unread[extra:]...)
		}
	}
	return l.flushOrHearWhyNot(ctx, time.Until(deadline))
}

// flushOrHearWhyNot sends what is owed. When the connection has been cut it takes what came before that: a server that is
// taken says so and goes.
func (l *rfc2217Link) flushOrHearWhyNot(ctx context.Context, timeout time.Duration) error {
	err := l.flush(ctx, timeout)
	if errors.Is(err, ErrClosed) {
		_ = l.look(ctx)
	}
	return err
}

func (l *rfc2217Link) agreed() bool {
	return l.telnet.ours[telnetComPort].state == optionOn && l.telnet.ours[telnetBinary].state == optionOn &&
		l.telnet.theirs[telnetBinary].state == optionOn
}

func (l *rfc2217Link) unconfirmed() *comPortRequest {
	for i := range l.requests {
		if !l.requests[i].confirmed {
			return &l.requests[i]
		}
	}
	return nil
}

// explain says what the server was to do when a call of the network failed.
func (l *rfc2217Link) explain(err error, c RFC2217Config, what, hint string) error {
	switch {
	case errors.Is(err, ErrTimeout):
		return fmt.Errorf("the server did not %s within %v; beside Telnet it sent %s: %w%s", what, c.AgreeLimit, tail(l.unread),
			ErrTimeout, hinted(hint))
	case errors.Is(err, ErrClosed):
		return fmt.Errorf("the server closed the connection and did not %s; beside Telnet it sent %s: %w", what,
			tail(l.unread), err)
	}
	return err
}
