package main

import (
	"bufio"
	"errors"
	"net"
	"time"
)

// errSilent says that the station has not answered in its time.
var errSilent = errors.New("silent")

// fail answers with an error, if there is one.
func (a *answer) fail(err error) bool {
	switch {
	case err == nil:
		return false
	case errors.Is(err, errSilent):
		a.Silent = true
	default:
		a.Failed = err.Error() // the connection is at fault, or whoever made it; not the station
	}
	return true
}

// A station is the connection to it.
type station struct {
	address string
	conn    net.Conn // nil when there is none
	lines   chan string
	inStep  bool // no answer to an earlier question can be on its way
}

// open connects with the station, unless that is done.
func (s *station) open(until time.Time) error {
	if s.conn != nil {
		return nil
	}
	conn, err := net.DialTimeout("tcp", s.address, time.Until(until))
	if err != nil {
		return err
	}
	s.conn, s.lines, s.inStep = conn, make(chan string, 64), false
	go func(lines chan<- string) {
		defer close(lines)
		for in := bufio.NewScanner(conn); in.Scan(); {
			lines <- in.Text()
		}
	}(s.lines)
	return nil
}

// close forgets the connection. What its goroutine has read and nobody took is thrown away.
func (s *station) close() {
	if s.conn == nil {
		return
	}
	_ = s.conn.Close() // that of a lost connection tells nothing
	go func(lines <-chan string) {
		for range lines {
		}
	}(s.lines)
	s.conn, s.lines = nil, nil
}

// unasked takes a line that the station has said by itself, if there is one.
func (s *station) unasked() (line string, said bool) {
	select {
	case line, more := <-s.lines:
		if !more {
			s.close() // opened again when it is needed
		}
		return line, more
	default:
		return "", false
	}
}

// ask sends one line and waits for one. Late answers to comeIntoStep, which can be no others, are passed over.
func (s *station) ask(line string, until time.Time) (string, error) {
	if err := s.open(until); err != nil {
		return "", err
	}
	if !s.inStep {
		if err := s.comeIntoStep(until); err != nil {
			return "", err
		}
	}
	if err := s.send(line, until); err != nil {
		return "", err
	}
	s.inStep = false
	for {
		answered, err := s.next(until)
		if err != nil || line == "*IDN?" || !introduction.MatchString(answered) {
			s.inStep = err == nil
			return answered, err
		}
	}
}

// comeIntoStep asks the station who it is and passes over what comes before: late answers to earlier questions.
func (s *station) comeIntoStep(until time.Time) error {
	if err := s.open(until); err != nil {
		return err
	}
	if err := s.send("*CLS;*IDN?", until); err != nil {
		return err
	}
	for {
		line, err := s.next(until)
		if err != nil {
			s.inStep = false
			return err
		}
		if introduction.MatchString(line) {
			s.inStep = true
			return nil
		}
	}
}

func (s *station) send(line string, until time.Time) error {
	_ = s.conn.SetWriteDeadline(until) // fails only on a closed connection, and then so does the write
	if _, err := s.conn.Write([]byte(line + "\n")); err != nil {
		s.close()
		return err
	}
	return nil
}

// next waits for a line of the station.
func (s *station) next(until time.Time) (string, error) {
	timer := time.NewTimer(time.Until(until))
	defer timer.Stop()
	select {
	case line, more := <-s.lines:
		if !more {
			s.close()
			return "", errors.New("the connection to the station was lost")
		}
		return line, nil
	case <-timer.C:
		return "", errSilent
	}
}
