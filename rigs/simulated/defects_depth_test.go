package simulated

import (
	"fmt"
	"time"
)

// exerciseDepth has a station do what the defects are about that only whole tables show: none under control, one, and many.
func exerciseDepth(b *bench, ask func(message string)) {
	ask("*RST")
	ask("TRAC:POW MAIN,ON")
	b.wait(3 * time.Second)
	for step := range 20 { // a single locomotive
		ask(fmt.Sprintf("LOCO:SPE 3,%d,REV,128", 2+step))
		b.wait(50 * time.Millisecond)
	}
	b.wait(2 * time.Second)
	for _, c := range []string{
		"LOCO:SPE 1000,28,REV,28", "LOCO:SPE 1000,126,REV,128", "LOCO:SPE 120,5,FORW,128", "LOCO:SPE 512,5,REV,28",
		"LOCO:FUNC 3,68,ON", "LOCO:FUNC 3,9,ON", "LOCO:FUNC 3,0,ON", "LOCO:FUNC 3,10,ON", "LOCO:FUNC 3,21,ON",
		"LOCO:SPE 3,0,REV,128", "LOCO:SPE 3,5,REV,128", "LOCO:STOP ALL",
		"CONS:SET 3,34,REV", "CONS:CLE 3", "POM:WRIT 3,257,4", "POM:BIT 3,1,7,1", "POM:WRIT 3,1,4;WRIT 1000,1,4;WRIT 512,1,4",
		"ACC:OUTP 1300,ON", "ACC:CLE 1300,ON", "ACC:ASP 1300,1", "ACC:ASP 1,255", "ACC:OUTP 1,ON;OUTP 2,ON;OUTP 3,ON;OUTP 4,ON",
	} {
		ask(c)
		b.wait(300 * time.Millisecond)
	}
	for k := range 8 { // a stop in every place of a write on the main
		b.wait(time.Duration(3*k) * time.Millisecond)
		ask(fmt.Sprintf("POM:WRIT 3,3,%d;:LOCO:STOP ALL", k))
		b.wait(100 * time.Millisecond)
	}
	for a := range 60 {
		ask(fmt.Sprintf("LOCO:SPE %d,10,FORW,128", 40+a))
		if a == 15 { // some twenty
			b.wait(2 * time.Second)
		}
	}
	b.wait(3 * time.Second)
}
