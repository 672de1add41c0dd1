package report

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

type junitSuites struct {
	XMLName  xml.Name     `xml:"testsuites"`
	Name     string       `xml:"name,attr"`
	Tests    int          `xml:"tests,attr"`
	Failures int          `xml:"failures,attr"`
	Errors   int          `xml:"errors,attr"`
	Skipped  int          `xml:"skipped,attr"`
	Time     string       `xml:"time,attr"`
	Suites   []junitSuite `xml:"testsuite"`
}

type junitSuite struct {
	Name       string          `xml:"name,attr"`
	Tests      int             `xml:"tests,attr"`
	Failures   int             `xml:"failures,attr"`
	Errors     int             `xml:"errors,attr"`
	Skipped    int             `xml:"skipped,attr"`
	Time       string          `xml:"time,attr"`
	Timestamp  string          `xml:"timestamp,attr"`
	Properties []junitProperty `xml:"properties>property,omitempty"`
	Cases      []junitCase     `xml:"testcase"`
}

type junitProperty struct {
	Name  string `xml:"name,attr"`
	Value string `xml:"value,attr"`
}

type junitCase struct {
	Name      string        `xml:"name,attr"`
	ClassName string        `xml:"classname,attr"`
	Time      string        `xml:"time,attr"`
	Failure   *junitProblem `xml:"failure"`
	Error     *junitProblem `xml:"error"`
	Skipped   *junitSkipped `xml:"skipped"`
	Output    string        `xml:"system-out,omitempty"`
}

type junitProblem struct {
	Message string `xml:"message,attr"`
	Type    string `xml:"type,attr"`
	Text    string `xml:",chardata"`
}

type junitSkipped struct {
	Message string `xml:"message,attr"`
}

// JUnit writes the record in the form that continuous integration reads. A failure is the station's, an error is the
// rig's or the harness's, and a skipped check carries its typed reason. Names are stable from run to run, times are
// seconds of the wall clock, and no path of the machine appears.
//
// What fails here is what makes the run not conform, so that a build server and the exit code agree: a SHOULD that is
// not kept, and a failure that is waived, is told in the output of a case that passes; a waiver that does not hold fails.
func JUnit(w io.Writer, r *record.Record) error {
	all := junitSuites{Name: "bufferstop", Time: junitTime(r.WallTime)}
	for _, group := range groupBySuite(r.Results) {
		suite := junitSuite{Name: junitText(group.Suite), Timestamp: r.Started.UTC().Format("2006-01-02T15:04:05")}
		for _, property := range []junitProperty{
			{"outcome", string(r.Outcome)}, {"station version", r.Build.Version}, {"image sha256", r.Build.ImageSHA256},
			{"source revision", r.Build.SourceRevision}, {"rig", r.Rig.Name}, {"seed", fmt.Sprint(r.Rig.Seed)},
			{"defect", r.Defect}, {"link log", linkLogs(r)}, {"ended early", r.EndedEarly}, {"calibration", calibrationLine(r.Rig)},
			{"rig observations", observationsLine(r.Rig)}, {"uncertainty", budgetsLine(r)},
		} {
			if property.Value != "" {
				suite.Properties = append(suite.Properties, junitProperty{property.Name, junitText(property.Value)})
			}
		}
		var took time.Duration
		for _, result := range group.Results {
			c := junitCaseOf(result)
			suite.Tests++
			if c.Failure != nil {
				suite.Failures++
			}
			if c.Error != nil {
				suite.Errors++
			}
			if c.Skipped != nil {
				suite.Skipped++
			}
			took += result.WallTime
			suite.Cases = append(suite.Cases, c)
		}
		suite.Time = junitTime(took)
		all.Tests += suite.Tests
		all.Failures += suite.Failures
		all.Errors += suite.Errors
		all.Skipped += suite.Skipped
		all.Suites = append(all.Suites, suite)
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return err
	}
	encoder := xml.NewEncoder(w)
	encoder.Indent("", "  ")
	if err := encoder.Encode(all); err != nil {
		return fmt.Errorf("report: junit: %w", err)
	}
	_, err := io.WriteString(w, "\n")
	return err
}

func junitCaseOf(r record.Result) junitCase {
	c := junitCase{
		Name:      junitText(r.Name()),
		ClassName: junitText("bufferstop." + r.Suite),
		Time:      junitTime(r.WallTime),
	}
	v := r.Verdict.Settle()
	problem := &junitProblem{Message: junitText(headline(r)), Type: v.String(), Text: junitBlock(Console{}.Details(r))}
	switch {
	case v == verdict.Error || v == verdict.Inconclusive:
		c.Error = problem
	case r.VoidWaiver() != "":
		problem.Type, problem.Message = "waiver", junitText(r.VoidWaiver())
		c.Failure = problem
	case v.Outside() && r.Level != verdict.Should && !r.IsWaived():
		c.Failure = problem
	case v.Skipped():
		message := v.String()
		if r.Reason != "" {
			message += ": " + r.Reason
		}
		c.Skipped = &junitSkipped{Message: junitText(message)}
	default:
		c.Output = problem.Text
	}
	return c
}

// headline says in one line what is wrong with a result.
func headline(r record.Result) string {
	switch m, ok := r.Worst(); {
	case len(r.Failures) > 0:
		return r.Failures[0].String()
	case r.Reason != "":
		return r.Reason
	case ok:
		return measured(m)
	}
	return r.Title
}

func junitTime(d time.Duration) string { return fmt.Sprintf("%.3f", d.Seconds()) }

// junitText makes text fit for an attribute: what XML 1.0 section 2.2 does not allow is gone, as is what does not print.
func junitText(text string) string { return xmlText(visible(text, shortText)) }

// junitBlock is the same for text of several lines that is escaped already.
func junitBlock(text string) string { return xmlText(text) }

// xmlText removes the characters that XML 1.0 section 2.2 does not allow.
func xmlText(text string) string {
	return strings.Map(func(c rune) rune {
		if c == '\t' || c == '\n' || c == '\r' || c >= 0x20 && c <= 0xd7ff || c >= 0xe000 && c <= 0xfffd || c >= 0x10000 {
			return c
		}
		return -1
	}, text)
}
