package replay

import (
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"bufferstop/harness/probe"
)

// hands are the features that a capture has not, whatever its probe had.
const hands = probe.HasLoad | probe.HasShort | probe.HasSupply | probe.HasReflex

// openRecording opens the recording of a probe's stream, compressed with gzip or not.
func (c *Capture) openRecording() (err error) {
	if c.file, err = os.Open(c.address.Path); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = c.file.Close()
			err = fmt.Errorf("%s: %w", c.address.Path, err)
		}
	}()
	if len(c.address.Tracks) > 0 {
		return fmt.Errorf("track: got one in the address, want none: a recording knows its tracks")
	}
	var source io.Reader = c.file
	if unpacked, err := gzip.NewReader(c.file); err == nil {
		source = unpacked
	} else if _, err := c.file.Seek(0, io.SeekStart); err != nil {
		return err
	}
	if c.stream, err = probe.OpenRecording(source); err != nil {
		return err
	}
	c.hello = c.stream.Hello()
	c.hello.Tracks = slices.Clone(c.hello.Tracks)
	c.hello.Features &^= hands
	c.hello.LoadQueue, c.hello.ReflexRules = 0, 0
	for i := range c.hello.Tracks {
		t := &c.hello.Tracks[i]
		t.LoadMicroamps, t.LoadTop, t.LoadContinuous, t.LoadBriefMs, t.ShortMilliohms, t.ShortMostMs = 0, 0, 0, 0, 0, 0
	}
	return nil
}

// completion remembers what was complete.
type completion struct {
	probe.Sink
	until time.Duration
}

func (c *completion) Complete(until time.Duration) {
	c.until = until
	c.Sink.Complete(until)
}

// recorded hands out what was recorded up to a time.
func (c *Capture) recorded(ctx context.Context, until time.Duration, s probe.Sink) error {
	sink := completion{s, c.told}
	var err error
	for err == nil && sink.until < until {
		_, err = c.stream.Pump(ctx, 0, &sink)
	}
	c.mu.Lock()
	c.told = max(c.told, sink.until)
	c.health = c.stream.Health()
	c.health.Connected = err == nil
	c.mu.Unlock()
	if err != nil && err != io.EOF {
		return fmt.Errorf("%s: %w", c.address.Path, err)
	}
	return err
}
