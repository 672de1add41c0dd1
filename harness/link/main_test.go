package link_test

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// childRole is the environment variable that makes this test program one that OpenProcess starts.
const childRole = "BUFFERSTOP_LINK_TEST_CHILD"

// childCalls is the environment variable with the address of a listener that a deaf child calls, to show that it lives. It
// ends with the call.
const childCalls = "BUFFERSTOP_LINK_TEST_CALLS"

func TestMain(m *testing.M) {
	if role := os.Getenv(childRole); role != "" {
		os.Exit(child(role))
	}
	os.Exit(m.Run())
}

// child plays a part as a program at the other end of a link.
func child(role string) int {
	input := bufio.NewReader(os.Stdin)
	switch role {
	case "echo":
		_, _ = io.Copy(os.Stdout, os.Stdin)
		fmt.Fprintln(os.Stderr, "input has ended")
	case "exit":
		line, _ := input.ReadString('\n')
		fmt.Print("last words\n")
		fmt.Fprintf(os.Stderr, "no such order: %s", line)
		return 3
	case "half a line":
		fmt.Print("half a li")
		_, _ = input.ReadString('\n')
		fmt.Print("ne\n")
	case "deaf": // neither reads nor ends with its input
		fmt.Println("here")
		if address := os.Getenv(childCalls); address != "" {
			conn, err := net.Dial("tcp", address)
			if err != nil {
				return 1
			}
			_, _ = conn.Read(make([]byte, 1))
			return 0
		}
		time.Sleep(time.Hour)
	case "flood":
		for noise := bytes.Repeat([]byte("noise "), 1000); ; {
			if _, err := os.Stdout.Write(noise); err != nil {
				return 1
			}
		}
	case "slow farewell": // what an adapter does that leaves a station in a safe state
		_, _ = io.Copy(io.Discard, os.Stdin)
		_, _ = os.Stdout.Write(make([]byte, 1<<20))
		fmt.Fprintln(os.Stderr, "power is off")
	case "noisy":
		fmt.Fprint(os.Stderr, "one\r\n\x1b[2Jtwo\xff\u202e\n", strings.Repeat("x", 10_000), "\n\nno end")
		_, _ = io.Copy(io.Discard, os.Stdin)
	case "noisier":
		for range 300 {
			fmt.Fprintln(os.Stderr, strings.Repeat("y", 9999))
		}
	case "parent", "parent that goes", "parent that frees its child":
		grandchild := exec.Command(os.Args[0])
		grandchild.Env = append(os.Environ(), childRole+"=deaf")
		grandchild.Stdout, grandchild.Stderr = os.Stdout, os.Stderr
		if role == "parent that frees its child" {
			free(grandchild)
		}
		if err := grandchild.Start(); err != nil {
			return 1
		}
		if role != "parent" {
			_, _ = input.ReadString('\n')
			_ = grandchild.Process.Release()
			return 0
		}
		_ = grandchild.Wait()
	case "closed output":
		_ = os.Stdout.Close()
		_, _ = io.Copy(io.Discard, os.Stdin)
	case "directory":
		directory, _ := os.Getwd()
		fmt.Println(directory, os.Args[1:])
	}
	return 0
}
