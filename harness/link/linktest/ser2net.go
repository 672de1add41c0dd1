// Package linktest starts the programs that the tests of links need at the far end.
package linktest

import (
	"bytes"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

const (
	// acceptLimit is far more than the program takes to start on a busy machine.
	acceptLimit = 20 * time.Second
	// portTries: the port that we choose is free when we look, and may be another's when the program takes it.
	portTries = 5
)

// Ser2net serves tty, the near end of a pseudo-terminal, by RFC 2217 with the program of that name until the test ends, and
// returns where (host:port, on this machine). The program takes the settings 115200 baud, no parity, one stop bit until it is
// told otherwise, and one client at a time. Where the program is missing, the test is skipped.
func Ser2net(t testing.TB, tty string) (address string) {
	t.Helper()
	program, err := exec.LookPath("ser2net")
	if err != nil {
		program, err = exec.LookPath("/usr/sbin/ser2net") // where it is installed, and the path of a user is not
	}
	if err != nil {
		t.Skip("ser2net is missing, the RFC 2217 server that this test talks to: apt-get install ser2net")
	}
	for range portTries {
		if address, err = serve(t, program, tty); err == nil {
			return address
		}
	}
	t.Fatalf("ser2net does not start: %v", err)
	return ""
}

func serve(t testing.TB, program, tty string) (string, error) {
	t.Helper()
	port, err := freePort()
	if err != nil {
		return "", err
	}
	address := net.JoinHostPort("127.0.0.1", strconv.Itoa(port))
	config := filepath.Join(t.TempDir(), "ser2net.yaml")
	text := fmt.Sprintf("connection: &con\n  accepter: telnet(rfc2217),tcp(nodelay),127.0.0.1,%d\n"+
		"  connector: serialdev,%s,115200n81,local\n", port, tty)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		return "", err
	}
	var says bytes.Buffer
	command := exec.Command(program, "-n", "-u", "-c", config) // in the foreground, without lock files outside the test
	command.Stderr = &says
	if err := command.Start(); err != nil {
		return "", err
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = command.Wait() // killed, at the latest by us
	}()
	stop := func() {
		_ = command.Process.Kill()
		<-ended
	}
	if err := accepts(address, ended); err != nil {
		stop()
		return "", fmt.Errorf("%w; it says: %s", err, strings.TrimSpace(says.String()))
	}
	t.Cleanup(func() {
		stop()
		if t.Failed() {
			t.Logf("ser2net says: %s", strings.TrimSpace(says.String()))
		}
	})
	return address, nil
}

func freePort() (int, error) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer listener.Close()
	return listener.Addr().(*net.TCPAddr).Port, nil
}

// accepts waits until the program accepts a connection, and until it has let go of that one: it has one client at a time.
func accepts(address string, ended <-chan struct{}) error {
	var last error
	for end := time.Now().Add(acceptLimit); time.Now().Before(end); {
		select {
		case <-ended:
			return errors.New("it has ended at once")
		case <-time.After(2 * time.Millisecond):
		}
		conn, err := net.DialTimeout("tcp", address, time.Second)
		if err != nil {
			last = err
			continue
		}
		return letGo(conn.(*net.TCPConn), end)
	}
	return fmt.Errorf("it does not accept: %w", last)
}

func letGo(conn *net.TCPConn, end time.Time) error {
	defer conn.Close()
	if err := conn.CloseWrite(); err != nil {
		return err
	}
	if err := conn.SetReadDeadline(end); err != nil {
		return err
	}
	for p := make([]byte, 100); ; {
		n, err := conn.Read(p)
		if err != nil && n == 0 {
			if errors.Is(err, os.ErrDeadlineExceeded) {
				return fmt.Errorf("it does not let go of a connection: %w", err)
			}
			return nil // the end of the stream, or a reset: it has closed
		}
	}
}
