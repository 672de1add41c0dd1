package review

import (
	"fmt"
	"time"

	"bufferstop/harness/station"
)

// contradictions looks for claims that cannot both be true, and for those that there would be nothing to do with.
func (r *reviewer) contradictions() {
	c := r.Claims
	locomotives := c.ShortAddresses.Claimed || c.LongAddresses.Claimed
	switch told := len(c.SpeedSteps) > 0 || c.Functions.Claimed || c.ProgrammingOnMain; {
	case locomotives && !told:
		key := "claims.short_addresses"
		if !c.ShortAddresses.Claimed {
			key = "claims.long_addresses"
		}
		r.wrong(key, "addresses of locomotives and nothing to tell them", "speed_steps, functions or programming_on_main as well", "")
	case !locomotives && len(c.SpeedSteps) > 0:
		r.wrong("claims.speed_steps", "speed steps and no address", `short_addresses = "1..127", long_addresses or both as well`, "")
	case !locomotives && c.Functions.Claimed:
		r.wrong("claims.functions", "functions and no address", `short_addresses = "1..127", long_addresses or both as well`, "")
	case !locomotives && c.ProgrammingOnMain:
		r.wrong("claims.programming_on_main", "programming on the main and no address", `short_addresses = "1..127", long_addresses or both as well`, "")
	}
	if !c.Track(station.Main) {
		for _, main := range []struct {
			key, what string
			made      bool
		}{
			{"claims.short_addresses", "addresses of locomotives", c.ShortAddresses.Claimed},
			{"claims.long_addresses", "addresses of locomotives", c.LongAddresses.Claimed},
			{"claims.accessories", "accessories", c.Accessories.Claimed},
			{"claims.aspects", "aspects", c.Aspects.Claimed},
			{"claims.cutout", "a cutout, which is for the main track (RCN-217, from memory; R19)", c.Cutout},
		} {
			if main.made {
				r.wrong(main.key, main.what+" without a main track", `"main" among the tracks`, "")
			}
		}
	}
	if c.BitWrite && !c.Method(station.Direct) {
		r.wrong("claims.bit_write", "bit write without direct mode", `"direct" among the service_methods`,
			"only direct mode has an instruction for bits (S-9.2.3 E, July 2012; S17)")
	}
	if _, stated := r.Stated.Claims["numbering"]; stated && !c.Accessories.Claimed && !c.Aspects.Claimed {
		r.wrong("claims.numbering", "a numbering of nothing", "accessories or aspects as well", "")
	}
	if most := 31; r.edition("aspects") == "S-9.2.1 (2012)" && c.AspectValues.Last > most {
		r.wrong("claims.aspect_values", c.AspectValues.String(), fmt.Sprintf("aspects 0..%d by the edition that is claimed, S-9.2.1 (2012)", most),
			"its aspects have five bits (S-9.2.1 D, July 2012; X32)")
	}
	if most := 28; r.edition("functions") == "S-9.2.1 (2012)" && c.Functions.Last > most {
		r.wrong("claims.functions", c.Functions.String(), fmt.Sprintf("functions 0..%d by the edition that is claimed, S-9.2.1 (2012)", most),
			"it reserves the instructions for more (S-9.2.1 C, July 2012; X19)")
	}
}

// shortestPacket is less than any packet takes: a preamble of 14 ones (S-9.2 A, July 2004), three bytes with their start bits and an
// end bit (S-9.2 A and B), all of them as short as a one may be, twice 55 µs (S-9.1 A, Table 1, 2020).
const shortestPacket = (14 + 3*9 + 1) * 2 * 55 * time.Microsecond

// sums looks for numbers that are declared and cannot be kept together.
func (r *reviewer) sums() {
	d := r.Declares
	n := d.ActiveLocomotives
	if n == 0 {
		return
	}
	if most := r.Claims.ShortAddresses.Len() + r.Claims.LongAddresses.Len(); n > most {
		r.wrong("declares.active_locomotives", fmt.Sprint(n), fmt.Sprintf("no more than the addresses that are claimed, %d", most), "")
	}
	if least := time.Duration(n) * shortestPacket; d.RefreshTime > 0 && d.RefreshTime < least {
		r.wrong("declares.refresh_time", d.RefreshTime.String(), fmt.Sprintf("%v at least, with %d locomotives", least.Round(time.Millisecond), n),
			fmt.Sprintf("the shortest packet takes %v (S-9.1 A, S-9.2 A and B)", shortestPacket.Round(10*time.Microsecond)))
	}
}
