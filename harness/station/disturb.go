package station

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"bufferstop/harness/link"
)

// disturbChunk is how many bytes are handed over between two looks at what the station says. Our own choice.
const disturbChunk = 64

// Disturb hands bytes over that are no messages, as fast as the link takes them, and takes what the station says meanwhile
// as unasked for. Driver and station are out of step afterwards, and the station may hold the beginning of a message:
// Resynchronise, or the next operation, makes an end of that.
//
// Behind an adapter there is no such thing, since what it is sent does not reach the station as it is: the error is then
// *NotSupported. Others are those of the link and of the context.
func (d *Driver) Disturb(ctx context.Context, p []byte) error {
	if _, raw := d.language.(*Dialect); !raw {
		return &NotSupported{Why: fmt.Sprintf("%+q stands between: what it is sent does not reach the station as it is", d.language.Name())}
	}
	d.outOfStep, d.halfSent = true, true
	for chunk := range slices.Chunk(p, disturbChunk) {
		n, err := d.link.Write(ctx, chunk, d.manners.write)
		if err != nil {
			if errors.Is(err, link.ErrTimeout) {
				err = fmt.Errorf("%w: %w", ErrNotTaken, err)
			}
			return fmt.Errorf("station: %d of %d raw bytes handed over: %w", n, len(chunk), d.faulted(err))
		}
		d.lastSent, d.everSent = d.clock.Now(), true
		if err := d.Listen(ctx); err != nil {
			return fmt.Errorf("station: listening between raw bytes: %w", err)
		}
	}
	return nil
}

// Beginning is the first half of a message that asks for c, as it goes over the link: at least one byte, and never all.
func (d *Driver) Beginning(c Command) ([]byte, error) {
	_, text, err := d.language.render(c)
	if err != nil {
		return nil, fmt.Errorf("station: %s: %w", c, err)
	}
	encoded := d.language.encode(text)
	return encoded[:max(len(encoded)/2, 1)], nil
}

// WouldAsk returns the commands that the bytes would be to a station which speaks the driver's dialect, if any, so that nobody
// takes for garbage what is none. What cannot be read back of a dialect is not among them. The end of a message that follows when driver
// and station come into step again makes one of what has begun.
func (d *Driver) WouldAsk(p []byte) []Command {
	dialect, ok := d.language.(*Dialect)
	if !ok {
		return nil
	}
	r := &Responder{d: dialect}
	for _, o := range dialect.Operations() {
		if recognise, err := newRecogniser(dialect, o, dialect.operations[o]); err == nil {
			r.requests = append(r.requests, recognise)
		}
	}
	var all []Command
	requests := append(r.Feed(p), r.Feed(d.language.ending())...)
	for _, q := range append(requests, r.Silence()...) {
		if q.Problem == "" && q.Question == "" {
			all = append(all, q.Command)
		}
	}
	return all
}

// Changes reports whether the command, if a station carried it out, would leave it or a track otherwise than before.
func (c Command) Changes() bool {
	return c.operation != Identify && c.operation != ReadPower && c.operation != ReadCurrent
}
