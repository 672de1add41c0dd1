package main

import (
	"context"
	"io"
)

// A patientReader reads from something that may never give anything, such as a pipe, until a context ends.
type patientReader struct {
	ctx    context.Context
	pieces chan piece
	rest   []byte
}

type piece struct {
	bytes []byte
	err   error
}

// readPatiently reads from in, in a goroutine that ends when a read of in does after the context has ended.
func readPatiently(ctx context.Context, in io.Reader) *patientReader {
	p := &patientReader{ctx: ctx, pieces: make(chan piece)}
	go func() {
		for {
			buffer := make([]byte, 16<<10)
			n, err := in.Read(buffer)
			select {
			case p.pieces <- piece{buffer[:n], err}:
			case <-ctx.Done():
				return
			}
			if err != nil {
				return
			}
		}
	}()
	return p
}

// Read is that of io.Reader. Its error is that of the context when it has ended.
func (p *patientReader) Read(b []byte) (int, error) {
	if len(p.rest) == 0 {
		select {
		case <-p.ctx.Done():
			return 0, p.ctx.Err()
		case next := <-p.pieces:
			if len(next.bytes) == 0 {
				return 0, next.err
			}
			p.rest = next.bytes
			if next.err != nil {
				p.pieces = make(chan piece, 1)
				p.pieces <- piece{nil, next.err}
			}
		}
	}
	n := copy(b, p.rest)
	p.rest = p.rest[n:]
	return n, nil
}
