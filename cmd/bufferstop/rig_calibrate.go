package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"bufferstop/harness"
	"bufferstop/harness/calibration"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
)

// calibrationFlags are those of rig check that have to do with the probe.
type calibrationFlags struct {
	calibrate bool
	answers   string
	loop      bool
}

func (c *calibrationFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.BoolVar(&c.loop, "loop", false, "measure the loop time: switches each track on, with short pulses of load")
	flags.BoolVar(&c.calibrate, "calibrate", false, "walk through a calibration of the rig's probe instead, and keep what it finds")
	flags.StringVar(&c.answers, "answers", "", "the `FILE` with the answers to the questions of --calibrate, for a walk that nobody types at")
	if err := cmd.MarkFlagFilename("answers", "toml"); err != nil {
		panic(err) // only when the flag does not exist
	}
}

// check finds flags that do not go together, and reads the answers.
func (c *calibrationFlags) check(format string) (*calibration.Answers, error) {
	switch {
	case c.answers != "" && !c.calibrate:
		return nil, &mistake{What: "answers without questions", Where: "--answers", Got: quote(c.answers), Want: "--calibrate as well"}
	case c.calibrate && c.loop:
		return nil, &mistake{What: "two kinds of check at once", Where: "--loop", Got: "--calibrate as well", Want: "one of them",
			Hint: "a calibration measures the loop time too"}
	case c.calibrate && format != "text":
		return nil, &mistake{What: "a calibration is a talk", Where: "--format", Got: quote(format), Want: "text",
			Hint: "what it finds is kept in a TOML file; rig check --format json tells of it afterwards"}
	case c.answers == "":
		return nil, nil
	}
	data, err := os.ReadFile(c.answers)
	if err != nil {
		return nil, fileMistake(err)
	}
	answers, err := calibration.ParseAnswers(c.answers, data)
	return answers, fileMistake(err)
}

// calibrate walks the user through the calibration of a rig, and keeps what was found beside the rig's file.
func calibrate(ctx context.Context, cmd *cobra.Command, rig *openRig, answers *calibration.Answers) error {
	probe, is := rig.Rig.(calibration.Calibratable)
	switch {
	case !is || probe.ProbeIdentity().Clock <= 0:
		return &mistake{What: "nothing to calibrate", Where: "--rig", Got: fmt.Sprintf("a rig of kind %s without a probe of its own", quote(rig.Describe().Kind)),
			Want: "a bench with a [probe]", Hint: "the measurements of a rig in software are as good as it says"}
	case !probe.ProbeIdentity().Calibrates():
		return &mistake{What: "nothing to calibrate", Where: "--rig", Got: "a probe that only captures",
			Want: "one that can be asked for its time", Hint: "its uncertainties are those of any of its kind"}
	}
	driver := rig.file.Driver(rig.Link(), rig.Rig)
	session := &harness.Session{Rig: rig.Rig, Station: driver, File: rig.file} // keeps the station alive while it waits
	if _, err := driver.Identify(ctx); err != nil && !errors.Is(err, station.ErrNotSupported) {
		return interruptedOr(ctx, fmt.Errorf("asking the station who it is: %w", err))
	}
	talk := &walkTalk{ctx: ctx, wait: session.Wait, screen: screenOf(cmd.ErrOrStderr(), cmd.Flag("color").Value.String()), out: cmd.ErrOrStderr(), in: cmd.InOrStdin()}
	w := &calibration.Walk{
		Rig: probe, Tracks: rig.file.Claims.Tracks, Power: driver.SetPower, Wait: session.Wait,
		Ask: talk.ask, Say: talk.say, Now: time.Now(), Tool: version(),
	}
	if answers != nil {
		w.Ask = talk.answered(answers)
	}
	found, err := w.Run(ctx)
	var wrong *calibration.AnswerError
	switch {
	case errors.Is(err, calibration.ErrCancelled) && !errors.As(err, &wrong):
		return exit{verdict.ExitInterrupted, err}
	case errors.As(err, &wrong):
		return err
	case err != nil:
		return interruptedOr(ctx, err)
	}
	path := probe.CalibrationPath()
	if err := found.Save(path); err != nil {
		// What took half an hour is not thrown away.
		_, _ = cmd.OutOrStdout().Write(found.Text())
		return exit{verdict.ExitFault, fmt.Errorf("%w; what was found is above, for the file %s", err, quote(path))}
	}
	_, err = fmt.Fprintf(cmd.OutOrStdout(), "calibration of %+q, number %d, kept in %s\n", found.Name, found.Serial, path)
	return written(err)
}

// interruptedOr is the exit of a walk that came to nothing: by the user, or by the rig.
func interruptedOr(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return exit{code: verdict.ExitInterrupted, err: onlyFaults(err)}
	}
	return exit{verdict.ExitFault, err}
}

// onlyFaults leaves out of an error that the user has interrupted, which the user knows.
func onlyFaults(err error) error {
	var all []error
	for _, one := range each(err) {
		if !errors.Is(one, context.Canceled) {
			all = append(all, one)
		}
	}
	return errors.Join(all...)
}

// A walkTalk is the talk with the user: questions on standard error, answers from standard input, line by line.
type walkTalk struct {
	ctx    context.Context
	wait   func(ctx context.Context, d time.Duration) error
	screen screen
	out    io.Writer
	in     io.Reader
	lines  chan string
}

const walkWidth = 80 // a page is easier to read than the whole of a wide screen

func (t *walkTalk) set(text string) string {
	s := t.screen
	s.width = min(s.width, walkWidth)
	return s.wrap(harmless(text), 0)
}

func (t *walkTalk) say(text string) { fmt.Fprintf(t.out, "%s\n", t.set(text)) }

// show prints a question with its cautions.
func (t *walkTalk) show(q calibration.Question) {
	fmt.Fprintln(t.out)
	for _, c := range q.Cautions {
		fmt.Fprintf(t.out, "%s\n", t.screen.paint(red, t.set("Caution: "+c)))
	}
	t.say(q.Text)
	if q.Default != "" {
		fmt.Fprintf(t.out, "(%s; just enter: %s) ", q.Want, q.Default)
	} else {
		fmt.Fprintf(t.out, "(%s) ", q.Want)
	}
	fmt.Fprint(t.out, promptText)
}

// asking is how long the rig is let go on between two looks for an answer: its probe's data have to be taken, and the station kept
// alive.
const asking = 50 * time.Millisecond

// ask waits for a line. The end of the input is nobody there any more.
func (t *walkTalk) ask(q calibration.Question) (string, error) {
	t.show(q)
	if t.lines == nil {
		t.lines = make(chan string)
		go read(t.ctx, t.in, t.lines)
	}
	for {
		select {
		case line, more := <-t.lines:
			if !more {
				fmt.Fprintln(t.out)
				return "", fmt.Errorf("%w: the answers have ended", calibration.ErrCancelled)
			}
			return line, nil
		case <-t.ctx.Done():
			return "", t.ctx.Err()
		default:
		}
		if err := t.wait(t.ctx, asking); err != nil {
			return "", err
		}
	}
}

// read hands over line by line. It may be left waiting for a line when the walk is over; the process ends then.
func read(ctx context.Context, in io.Reader, lines chan<- string) {
	defer close(lines)
	for s := bufio.NewScanner(in); s.Scan(); {
		select {
		case lines <- strings.TrimSuffix(s.Text(), "\r"):
		case <-ctx.Done():
			return
		}
	}
}

// answered asks a file, and shows the talk that this makes.
func (t *walkTalk) answered(a *calibration.Answers) func(calibration.Question) (string, error) {
	return func(q calibration.Question) (string, error) {
		if err := t.ctx.Err(); err != nil {
			return "", err
		}
		answer, err := a.Answer(q)
		if err == nil {
			t.show(q)
			fmt.Fprintf(t.out, "%s\n", harmless(answer))
		}
		return answer, err
	}
}
