package analyser

import (
	"bufio"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// childRole is the environment variable that makes this test program play sigrok-cli.
const childRole = "BUFFERSTOP_ANALYSER_TEST_CHILD"

// childGoes is the environment variable with the beginning of the paths of files that let the child go on.
const childGoes = "BUFFERSTOP_ANALYSER_TEST_GO"

func TestMain(m *testing.M) {
	if role := os.Getenv(childRole); role != "" {
		os.Exit(child(role, os.Args[1:]))
	}
	goleak.VerifyTestMain(m)
}

// child does what sigrok-cli does with the same arguments, and what the role says with its samples: one byte each, 1 MHz,
// channel D0 in bit 0.
func child(role string, arguments []string) int {
	after := func(flag string) string { return arguments[slices.Index(arguments, flag)+1] }
	switch {
	case slices.Contains(arguments, "--show") && slices.Contains(arguments, "--driver"):
		if role == "no device" {
			fmt.Fprintln(os.Stderr, "No devices found.")
			return 1
		}
		fmt.Println("Driver functions:\n    Logic analyzer\nx - Test with 2 channels: D0 D1\nSamplerates:")
		return 0
	case slices.Contains(arguments, "--show"):
		if role == "shows nothing" {
			return 0
		}
		fmt.Print("Samplerate: 1000000\nChannels: 2\n- D0: logic\n- D1: logic\nLogic unitsize: 1\nLogic sample count: 10000\n")
		return 0
	case slices.Contains(arguments, "--output-file"):
		switch role {
		case "hangs at first":
			time.Sleep(time.Hour)
		case "captures nothing":
			return 0
		}
		if err := os.WriteFile(after("--output-file"), nil, 0o600); err != nil {
			return 9
		}
		return 0
	}
	stop := make(chan struct{})
	go func() { // a key stops it, the end of the input does not
		if _, err := bufio.NewReader(os.Stdin).ReadByte(); err == nil {
			close(stop)
		}
	}()
	square := func(half, samples int) []byte {
		p := make([]byte, samples)
		for i := range p {
			p[i] = byte(i / half & 1)
		}
		return p
	}
	out := os.Stdout
	switch role {
	case "dies":
		_, _ = out.Write(square(58, 5800))
		fmt.Fprintln(os.Stderr, "device only sent \x1b[2J1 sample")
		return 7
	case "ends well":
		_, _ = out.Write(square(58, 5800))
		return 0
	case "floods": // an edge with every sample, as fast as it goes
		for noise := square(1, 1<<16); ; {
			select {
			case <-stop:
				return 0
			default:
				if _, err := out.Write(noise); err != nil {
					return 1
				}
			}
		}
	case "slow", "announces":
		if role == "announces" {
			fmt.Print("META samplerate: 1000000\n")
		}
		for at := 0; ; at += 10 {
			select {
			case <-stop:
				return 0
			case <-time.After(100 * time.Microsecond):
				for i := range 10 {
					if _, err := out.Write([]byte{byte((at + i) / 58 & 1)}); err != nil {
						return 1
					}
				}
			}
		}
	case "loses":
		_, _ = out.Write(square(58, 5800))
		awaitFile(os.Getenv(childGoes) + "1")
		fmt.Fprintln(os.Stderr, "fx: FIFO overrun, samples lost")
		awaitFile(os.Getenv(childGoes) + "2")
		_, _ = out.Write(square(58, 5800))
		<-stop
	case "garbage":
		fmt.Println(strings.Repeat("no samples at all, but text; ", 1000))
		return 0
	case "never stops":
		_, _ = out.Write(square(58, 5800))
		time.Sleep(time.Hour)
	}
	return 0
}

// awaitFile waits until a file is there.
func awaitFile(path string) {
	for {
		if _, err := os.Stat(path); err == nil {
			return
		}
		time.Sleep(time.Millisecond)
	}
}
