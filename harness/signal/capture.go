package signal

import (
	"bufio"
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"time"
)

// A Capture is an opened capture file. Read it to the end, or Close it before.
type Capture struct {
	*VCDReader
	path string
	file *os.File // nil for standard input
}

// OpenCapture opens a VCD file, compressed with gzip or not: what is in it decides, not its name. The path "-" is
// stdin. Errors name the path; those of the file's contents are a *SyntaxError inside.
func OpenCapture(path string, stdin io.Reader) (*Capture, error) {
	c := &Capture{path: path}
	source := stdin
	if path == "-" {
		c.path = "standard input"
	} else {
		file, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		c.file, source = file, file
	}
	reader, err := NewVCDReader(source)
	if err != nil {
		c.Close()
		return nil, c.named(err)
	}
	c.VCDReader = reader
	return c, nil
}

// Read is that of [VCDReader]; its errors name the file.
func (c *Capture) Read(buf []Edge) (int, error) {
	n, err := c.VCDReader.Read(buf)
	return n, c.named(err)
}

// Choose is that of [VCDReader]; its errors name the file.
func (c *Capture) Choose(name string) error { return c.named(c.VCDReader.Choose(name)) }

func (c *Capture) named(err error) error {
	if err == nil || err == io.EOF {
		return err
	}
	return fmt.Errorf("%s: %w", c.path, err)
}

// Close closes the file. Standard input stays open.
func (c *Capture) Close() error {
	if c.file == nil {
		return nil
	}
	return c.file.Close()
}

// uncompressed looks at the beginning of the stream and unpacks it when it is gzip (RFC 1952, 2.3.1).
func uncompressed(r io.Reader) (io.Reader, error) {
	buffered := bufio.NewReaderSize(r, 64<<10)
	magic, err := buffered.Peek(2)
	if err != nil && err != io.EOF {
		return nil, err
	}
	if len(magic) < 2 || magic[0] != 0x1f || magic[1] != 0x8b {
		return buffered, nil
	}
	unpacked, err := gzip.NewReader(buffered)
	if err != nil {
		return nil, &SyntaxError{Line: 1, What: "the gzip header cannot be read: " + err.Error(), Hint: hintTruncated}
	}
	return unpacked, nil
}

var _ interface {
	Signals() []string
	Choose(string) error
	Read([]Edge) (int, error)
	Resolution() time.Duration
	End() time.Duration
	Close() error
} = (*Capture)(nil)
