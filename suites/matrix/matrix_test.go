package matrix

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// runOf is a run in which the given requirements fail and one other passes.
func runOf(ids ...string) *record.Record {
	run := &record.Record{Results: []record.Result{{ID: "SRV-001", Level: verdict.Must, Verdict: verdict.Pass}}}
	for _, id := range ids {
		r, _ := catalogue.Find(id)
		run.Results = append(run.Results, record.Result{ID: id, Level: r.Level, Verdict: verdict.Fail, Failures: []record.Failure{{What: "x"}}})
	}
	run.Conclude(1, 1, false)
	return run
}

func TestARowTellsWhatCaughtADefectAndWhatElseTripped(t *testing.T) {
	const id, implied = "SIG-001", "SIG-005"
	row := judge(Defect{"d", []string{id}}, runOf(id, implied), func(ids ...string) []string {
		assert.Equal(t, []string{id}, ids)
		return []string{id, implied}
	})
	assert.True(t, row.OK(), "%+v", row)
	assert.Equal(t, []string{id}, row.Caught)
	assert.Equal(t, []string{implied}, row.Implied)

	row = Judge(Defect{"d", []string{"SIG-001", "PKT-001"}}, runOf("SIG-001", "CUR-001"))
	assert.False(t, row.OK())
	assert.Equal(t, []string{"PKT-001"}, row.Missed)
	assert.Equal(t, []string{"CUR-001"}, row.Strange)

	row = Judge(Defect{"d", []string{"SIG-001"}}, runOf())
	assert.Contains(t, row.Fault, "where it has to say: does not conform")

	broken := runOf("SIG-001")
	broken.Results = append(broken.Results, record.Result{ID: "PKT-001", Verdict: verdict.Error, Reason: "a panic"})
	assert.Contains(t, Judge(Defect{"d", []string{"SIG-001"}}, broken).Fault, "PKT-001 is at fault itself: a panic")
	mute := runOf("SIG-001")
	mute.Results[1].Failures = nil
	assert.Contains(t, Judge(Defect{"d", []string{"SIG-001"}}, mute).Fault, "without saying what")
}

func TestAllDefectsAreExaminedSeveralAtATime(t *testing.T) {
	var begun atomic.Int32
	both := make(chan struct{})
	var defects []Defect
	for _, name := range []string{"a", "b", "c", "d", "e"} {
		defects = append(defects, Defect{name, []string{"SIG-001"}})
	}
	told := 0
	rows, err := Run(context.Background(), defects, 2, func(_ context.Context, defect string) (*record.Record, error) {
		if begun.Add(1) == 2 {
			close(both)
		}
		<-both // the first waits for the second
		if defect == "c" {
			return nil, errors.New("no rig")
		}
		return runOf("SIG-001"), nil
	}, func(Row) { told++ })
	require.NoError(t, err)
	assert.Equal(t, 5, told)
	for i, row := range rows {
		assert.Equal(t, defects[i].Name, row.Defect)
		assert.Equal(t, row.Defect != "c", row.OK(), "%+v", row)
	}
	assert.Equal(t, "it was not examined: no rig", rows[2].Fault)
	assert.NotContains(t, Unproven(defects), "SIG-001")
	assert.Contains(t, Unproven(defects), "SIG-002")
}

func TestAnInterruptEndsTheMatrix(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	examined := 0
	_, err := Run(ctx, []Defect{{Name: "a"}, {Name: "b"}, {Name: "c"}}, 1, func(context.Context, string) (*record.Record, error) {
		examined++
		cancel()
		return nil, ctx.Err()
	}, nil)
	assert.ErrorIs(t, err, context.Canceled)
	assert.Less(t, examined, 3)
}
