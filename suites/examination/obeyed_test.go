package examination

import (
	"testing"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"

	"github.com/stretchr/testify/assert"
)

func TestAFailureIsDoubtedOnlyForNoise(t *testing.T) {
	for name, c := range map[string]struct {
		health station.LinkHealth
		want   verdict.Verdict
	}{
		"a clean line":                      {station.LinkHealth{}, verdict.Fail},
		"a damaged answer":                  {station.LinkHealth{Garbled: 1}, verdict.Inconclusive},
		"another answer when asked again":   {station.LinkHealth{Differing: 1}, verdict.Inconclusive},
		"an answer that was lost":           {station.LinkHealth{Lost: 1}, verdict.Inconclusive},
		"lines too long are the station's":  {station.LinkHealth{LongLines: 9}, verdict.Fail},
		"a link that was lost and was back": {station.LinkHealth{Reopened: 9}, verdict.Fail},
	} {
		r := record.Result{Verdict: verdict.Fail}
		Doubt(&r, c.health)
		assert.Equal(t, c.want, r.Verdict, name)
		assert.Equal(t, c.want == verdict.Inconclusive, r.Reason != "", name)
	}
	passed := record.Result{Verdict: verdict.Pass}
	Doubt(&passed, station.LinkHealth{Garbled: 1})
	assert.Equal(t, verdict.Pass, passed.Verdict)
}

func TestTheLastExchangeIsQuotedWithoutHarm(t *testing.T) {
	ms := time.Millisecond
	for want, e := range map[string]station.Exchange{
		"nothing was sent":                                            {},
		`sending "halt" was tried from 1ms on`:                        {Sent: "halt", Begun: ms},
		`"halt" was sent until 2ms, and nothing came that answers it`: {Sent: "halt", Begun: ms, HandedOver: 2 * ms},
		`"halt" was sent until 2ms, and "\x1b[2J\u202e" came at 3ms`:  {Sent: "halt", HandedOver: 2 * ms, Answer: "\x1b[2J\u202e", Answered: 3 * ms},
	} {
		assert.Equal(t, want, lastExchange(e))
	}
	long := lastExchange(station.Exchange{Sent: "halt", HandedOver: ms, Answer: string(make([]byte, 1<<20)), Answered: ms})
	assert.Less(t, len(long), 2000)
	assert.Contains(t, long, "(1048576 bytes)")
}
