package review

import (
	"fmt"
	"time"

	"bufferstop/harness/station"
	"bufferstop/harness/written"
)

// sayable holds the claims against the dialect: for what a station claims there must be a command, or nobody could see it. What an adapter
// can do it says itself, when it is started.
func (r *reviewer) sayable() {
	d := r.Dialect
	if d == nil || r.Adapter != nil {
		return
	}
	told := map[string]bool{}
	for _, p := range r.Claims.Promises() {
		if told[p.Key] {
			continue // one command of each claim is enough to say
		}
		switch o := p.Command.Operation(); {
		case !d.Has(o):
			r.wrong("claims."+p.Key, fmt.Sprintf("a claim that needs the operation %s, and dialect %s without it", o, written.Quote(d.Name())),
				fmt.Sprintf("[operation.%s] in the dialect, or no such claim", o), "")
		case d.Can(p.Command) != nil:
			r.wrong("claims."+p.Key, fmt.Sprintf("a claim of what dialect %s cannot say, %q", written.Quote(d.Name()), p.Command.Words()),
				"a claim that the dialect has words for", d.Can(p.Command).Error())
		default:
			continue
		}
		told[p.Key] = true
	}
	for _, m := range r.Claims.ServiceMethods {
		read := d.Can(station.ReadCVCommand(1, m))
		if read != nil && d.Can(station.WriteCVCommand(1, 1, m)) != nil {
			r.wrong("claims.service_methods", fmt.Sprintf("the %s method, and dialect %s that can neither read nor write a CV by it", m, written.Quote(d.Name())),
				"[operation.read_cv] or [operation.write_cv] in the dialect that can, or no such claim", read.Error())
		}
	}
}

// patience holds the times that the station declares against those that the dialect gives it: one that keeps its promise must not be cut
// off.
func (r *reviewer) patience() {
	if r.Dialect == nil || r.Adapter != nil {
		return
	}
	for _, answer := range []struct {
		o        station.Operation
		key      string
		promised time.Duration
	}{
		{station.ReadCV, "read_time", r.Declares.ReadTime},
		{station.ReadCV, "no_decoder_time", r.Declares.NoDecoderTime},
		{station.WriteCV, "no_decoder_time", r.Declares.NoDecoderTime},
		{station.VerifyCV, "no_decoder_time", r.Declares.NoDecoderTime},
	} {
		if waits := r.Dialect.Timeout(answer.o); r.Dialect.Has(answer.o) && waits <= answer.promised {
			r.wrong("declares."+answer.key, answer.promised.String(),
				fmt.Sprintf("less than the %v that dialect %s lets the answer to %s take", waits, written.Quote(r.Dialect.Name()), answer.o),
				fmt.Sprintf("a station that keeps its promise would be cut off: a longer timeout in [operation.%s] of the dialect", answer.o))
		}
	}
}
