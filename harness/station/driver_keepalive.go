package station

import (
	"context"
	"fmt"
	"time"
)

// NextKeepAlive is how long the station may be left alone before it wants to hear something again: zero when it is due.
// ok is false when it needs nothing of the kind, and before the first word is said to it.
func (d *Driver) NextKeepAlive() (left time.Duration, ok bool) {
	k := d.manners.keepAlive
	if k == nil || !d.everSent {
		return 0, false
	}
	return max(d.lastSent+k.every-d.clock.Now(), 0), true
}

// KeepAlive says what the station wants to hear when nothing else is said to it for a while, and takes its answer, if it
// has one. Whoever waits for longer than NextKeepAlive calls it; harness.Session does. It does nothing for a station that
// needs none.
func (d *Driver) KeepAlive(ctx context.Context) error {
	k := d.manners.keepAlive
	if k == nil {
		return nil
	}
	if err := d.keepAlive(ctx, k); err != nil {
		return fmt.Errorf("station: %w: %w", ErrKeepAlive, err)
	}
	return nil
}

func (d *Driver) keepAlive(ctx context.Context, k *keepAlive) error {
	if err := d.ready(ctx); err != nil {
		return err
	}
	d.echoing = nil
	if err := d.send(ctx, k.send); err != nil || k.pattern == nil {
		return err
	}
	found, err := d.passOver(ctx, k.send, d.clock.Now()+k.timeout, k.matches)
	if err == nil && !found {
		err = &noAnswer{sent: k.send}
	}
	d.outOfStep = d.outOfStep || err != nil
	d.echoing = nil
	return err
}
