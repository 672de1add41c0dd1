package main

import (
	"bufio"
	"errors"
	"io"

	"github.com/spf13/cobra"

	"bufferstop/harness/signal"
)

func newDecode() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "decode FILE",
		Short: "Read a capture of a track and say what is in it",
		Long: `decode reads a capture of a track (VCD, IEEE 1364-2005 section 18; also .gz; - is standard input) and lists its
packets: when, how long the preamble was, the bytes, and what they mean. What could not be read stands between them
with the reason, and the measured timing at the end. Times count from the first time stamp of the file.

One wire is one track: 1 and 0 are its two polarities, x and z are off. It does not matter which way up the probe was.

With --format json every line is one object: "packet" and "unusable" in the order of time, "summary" last.`,
		Example: `  bufferstop decode layout.vcd.gz
  bufferstop decode --fold layout.vcd.gz
  bufferstop decode --format json layout.vcd.gz | grep '"valid":false'
  sigrok-cli ... -O vcd | bufferstop decode -`,
		Args: oneFile,
	}
	format := formatFlag(cmd)
	reading := &choice{value: "station", from: []string{"station", "decoder"}}
	choiceFlag(cmd, reading, "reading",
		"station measures whatever can be read; decoder takes only what every decoder must accept")
	name := cmd.Flags().String("signal", "", "the signal of the file to read, where there are several")
	fold := cmd.Flags().Bool("fold", false, "leave out packets that only repeat what was said before")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		capture, err := openCapture(args[0], *name, cmd.InOrStdin())
		if err != nil {
			return err
		}
		defer capture.Close()
		how := signal.StationReading()
		if reading.value == "decoder" {
			how = signal.DecoderReading()
		}
		out := bufio.NewWriterSize(cmd.OutOrStdout(), 1<<16)
		var layout style = textStyle{screenFor(cmd)}
		if format.value == "json" {
			layout = jsonStyle{}
		}
		l := newListing(out, layout, *fold)
		unreadable := captureMistake(args[0], list(capture, how, l))
		return errors.Join(written(out.Flush()), unreadable)
	}
	return cmd
}

func oneFile(cmd *cobra.Command, args []string) error {
	if len(args) == 1 {
		return nil
	}
	return &mistake{What: "wrong number of files", Where: cmd.CommandPath(), Got: count(args), Want: "1",
		Hint: cmd.CommandPath() + " FILE reads a capture, - reads standard input"}
}

// openCapture opens a capture and chooses the signal to read, if one is named.
func openCapture(file, name string, stdin io.Reader) (*signal.Capture, error) {
	capture, err := signal.OpenCapture(file, stdin)
	if err != nil {
		return nil, captureMistake(file, err)
	}
	if name != "" {
		if err := capture.Choose(name); err != nil {
			capture.Close()
			return nil, captureMistake(file, err)
		}
	}
	return capture, nil
}

// list sends the whole capture through a receiver into the listing. What has been found is written at once, so that one
// can watch a probe that writes into a pipe. The error is that of the capture; the buffer keeps one of the output.
func list(capture *signal.Capture, how signal.Reading, l *listing) error {
	receiver := signal.NewReceiver(how, l)
	edges := make([]signal.Edge, 4096)
	n, err := capture.Read(edges)
	if err == nil || err == io.EOF { // else the file is none that can be read
		l.begin()
	}
	for {
		receiver.Edges(edges[:n])
		switch {
		case err == io.EOF:
			receiver.Finish(capture.End())
			l.end(receiver.Statistics())
			return nil
		case err != nil:
			return err
		case l.out.Flush() != nil:
			return nil
		}
		n, err = capture.Read(edges)
	}
}
