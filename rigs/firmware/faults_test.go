//go:build simavr

package firmware

import (
	"context"
	"encoding/binary"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/processor"
	"bufferstop/rigs/processor/imagetest"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stumbling says S, switches its track on and comes to its end 5 ms later.
func stumbling(end string) string {
	return serialC + `
__attribute__((noinline)) static void stumble(void) { ` + end + ` }
int main(void)
{
	DDRB = _BV(0) | _BV(1);
	PORTB = _BV(0) | _BV(1);
	serial_start();
	put('S');
	_delay_ms(5);
	stumble();
	for (;;)
		;
}
`
}

func TestAFirmwareThatComesToItsEndIsReportedWithThePlace(t *testing.T) {
	for name, c := range map[string]struct {
		end  string
		want []string
	}{
		"an invalid instruction": {`__asm__ volatile(".word 0x0001");`,
			[]string{"met what is no instruction of the processor", " in stumble", "Invalid Opcode"}},
		"a jump into the empty flash": {`((void (*)(void))0x3F00)();`, []string{"ran off its code", " in stumble", "to 0x7e00"}},
		"a jump beyond the flash":     {`((void (*)(void))0x7000)();`, []string{"ran off its code", " in stumble", "to 0xe000"}},
		"a write where is no memory": {`*(volatile uint8_t *)0x4000 = 1;`,
			[]string{"crashed", " in stumble", "Invalid write address"}},
		"sleep with interrupts off": {`cli(); sleep_enable(); sleep_cpu();`,
			[]string{"went to sleep with interrupts off, for ever", " in stumble"}},
		"a stack that is overwritten": {`__asm__ volatile("ldi r24, 0xFF\n push r24\n push r24\n ret");`,
			[]string{"ran off its code", " in stumble", "to 0x1fffe"}},
	} {
		t.Run(name, func(t *testing.T) {
			r := started(t, quickLine(board(t)), parsed(t, imagetest.Compile(t, "atmega328p", stumbling(c.end))))
			main := listen(t, r, station.Main)
			assert.Empty(t, r.StationFault())
			assert.Equal(t, "S", string(sentBy(t, r, 3*time.Millisecond)))
			assert.Empty(t, r.StationFault())

			require.NoError(t, r.Wait(t.Context(), 200*time.Millisecond))
			for _, want := range append(c.want, "the firmware ", " after its start: ", "stack pointer 0x") {
				assert.Contains(t, r.StationFault(), want)
			}
			assert.NotContains(t, r.StationFault(), "\x1b")
			assert.Zero(t, r.StationResets())
			assert.Equal(t, 204*time.Millisecond, r.Now())
			require.NotEmpty(t, main.edges)
			assert.Equal(t, signal.Positive, main.edges[len(main.edges)-1].Level, "the pins stay as they are")
			samples := len(main.samples)
			require.NoError(t, r.Wait(t.Context(), 10*time.Millisecond))
			assert.Greater(t, len(main.samples), samples, "the probe goes on looking")
			n, err := r.Link().Write(t.Context(), []byte("hallo"), time.Second)
			require.NoError(t, err)
			assert.Equal(t, 5, n)
			_, err = r.Link().Read(t.Context(), make([]byte, 1), 50*time.Millisecond)
			require.Error(t, err, "nobody answers")

			require.NoError(t, r.Restart(t.Context()))
			assert.Equal(t, "S", string(sentBy(t, r, time.Millisecond)))
			assert.Empty(t, r.StationFault())
			require.NoError(t, r.Wait(t.Context(), 10*time.Millisecond))
			assert.NotEmpty(t, r.StationFault(), "and it comes to its end again")
		})
	}
}

func TestAFirmwareThatRunsPastItsLastInstructionIsReported(t *testing.T) {
	r := started(t, board(t), parsed(t, imagetest.Compile(t, "atmega328p", "#asm\n.global main\n.type main, @function\nmain: nop\n nop\n.size main, .-main\n",
		"-nostdlib")))
	assert.Contains(t, r.StationFault(), "ran off its code")
	assert.Contains(t, r.StationFault(), "from 0x2 in main+0x2 to 0x4")
}

// Waiting in small pieces is as good as any.
func TestTheEndOfAFirmwareIsSeenHoweverTheWaitingIsCut(t *testing.T) {
	image := parsed(t, imagetest.Compile(t, "atmega328p", stumbling(`((void (*)(void))0x3F00)();`)))
	whole, cut := started(t, board(t), image), started(t, board(t), image)
	require.NoError(t, whole.Wait(t.Context(), 10*time.Millisecond))
	for range 10_000 {
		require.NoError(t, cut.Wait(t.Context(), time.Microsecond))
	}
	assert.NotEmpty(t, whole.StationFault())
	assert.Equal(t, whole.StationFault(), cut.StationFault())
}

// Interrupts that wake the processor are on: that it sleeps is its good right.
func TestAFirmwareThatSleepsAndCanBeWokenIsFine(t *testing.T) {
	r := started(t, quickLine(board(t)), parsed(t, imagetest.Compile(t, "atmega328p", serialC+`
ISR(USART_RX_vect) { UDR0 = UDR0 + 1; }
int main(void) { serial_start(); UCSR0B |= _BV(RXCIE0); sei(); sleep_enable(); for (;;) sleep_cpu(); }
`)))
	require.NoError(t, r.Wait(t.Context(), time.Second))
	assert.Empty(t, r.StationFault())
	_, err := r.Link().Write(t.Context(), []byte("HAL"), time.Second)
	require.NoError(t, err)
	assert.Equal(t, "IBM", string(sentBy(t, r, 10*time.Millisecond)))
}

func TestStartsThatNobodyAskedForAreCounted(t *testing.T) {
	for name, end := range map[string]string{
		"by the watchdog":                     `wdt_enable(WDTO_15MS); for (;;) ;`,
		"by a jump to the start":              `((void (*)(void))0)();`,
		"by an interrupt that has no routine": `TIMSK0 = _BV(TOIE0); TCCR0B = _BV(CS00); sei(); for (;;) ;`,
	} {
		t.Run(name, func(t *testing.T) {
			image := parsed(t, imagetest.Compile(t, "atmega328p", strings.Replace(stumbling(end), "DDRB", "MCUSR = 0; wdt_disable(); TIMSK0 = 0; cli(); DDRB", 1)))
			r := started(t, quickLine(board(t)), image)
			assert.Zero(t, r.StationResets())
			sent := sentBy(t, r, 100*time.Millisecond)
			assert.Empty(t, r.StationFault())
			assert.Greater(t, r.StationResets(), 2)
			assert.Equal(t, strings.Repeat("S", r.StationResets()+1), string(sent))
			require.NoError(t, r.Restart(t.Context()))
			assert.Zero(t, r.StationResets(), "a restart that was asked for begins the count anew")
		})
	}
}

// The watchdog's reset makes inputs of all pins, so the track is off until the firmware comes to it.
func TestAResetTakesThePowerOffTheTrack(t *testing.T) {
	r := started(t, board(t), parsed(t, imagetest.Compile(t, "atmega328p", serialC+`
int main(void)
{
	MCUSR = 0;
	wdt_disable();
	_delay_ms(10);
	DDRB = PORTB = _BV(0) | _BV(1);
	wdt_enable(WDTO_15MS);
	for (;;)
		;
}
`)))
	main := listen(t, r, station.Main)
	require.NoError(t, r.Wait(t.Context(), 100*time.Millisecond))
	var levels []signal.Level
	for _, e := range main.edges {
		levels = append(levels, e.Level)
	}
	require.Greater(t, len(levels), 5)
	assert.Equal(t, []signal.Level{signal.Off, signal.Positive, signal.Off, signal.Positive}, levels[:4])
	off := main.edges[3].Time - main.edges[2].Time
	assert.InDelta(t, 10, float64(off)/1e6, 0.1, "milliseconds until the firmware switches on again")
}

func TestARestartThatIsBrokenOffCanBeDoneAgain(t *testing.T) {
	r := started(t, quickLine(board(t)), parsed(t, imagetest.Compile(t, "atmega328p", stumbling("for (;;) ;"))))
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, r.Restart(ended), context.Canceled)
	assert.Empty(t, r.StationFault())
	assert.Zero(t, r.StationResets())
	require.NoError(t, r.Wait(t.Context(), time.Millisecond))
	require.NoError(t, r.Restart(t.Context()))
	assert.Equal(t, "S", string(sentBy(t, r, time.Millisecond)))
}

func TestAClosedRigSaysSo(t *testing.T) {
	r, err := open(t.Context(), board(t), parsed(t, imagetest.Compile(t, "atmega328p", stumbling("for (;;) ;"))), Options{})
	require.NoError(t, err)
	require.NoError(t, r.Close())
	require.NoError(t, r.Close())
	require.ErrorIs(t, r.Wait(t.Context(), time.Second), errClosed)
	require.ErrorIs(t, r.Restart(t.Context()), errClosed)
	require.ErrorIs(t, r.Usable(), errClosed)
	_, err = r.Link().Write(t.Context(), []byte("x"), time.Second)
	require.Error(t, err)
	assert.Zero(t, r.StationResets())
}

// broken is the reference firmware with something that is no instruction at the start of a function.
func broken(t *testing.T, function string) *processor.Image {
	t.Helper()
	image := loaded(t, reference(t))
	for _, s := range image.Symbols {
		if name, _, _ := strings.Cut(s.Name, "."); name == function {
			for _, segment := range image.Segments {
				if image.Holds(s.Address) {
					binary.LittleEndian.PutUint16(segment.Bytes[s.Address-segment.Address:], 0x0001)
					return image
				}
			}
		}
	}
	require.Fail(t, "no such function", function)
	return nil
}

// The programming track's requirement meets the end of the firmware; those before and after it are judged as ever.
func TestARunGoesOnAfterTheFirmwareHasComeToItsEnd(t *testing.T) {
	f := referenceFile(t)
	r := started(t, f, broken(t, "acknowledge_cue"))
	file, err := station.LoadFile(filepath.Join(f.Folder, f.Station))
	require.NoError(t, err)
	run, err := suites.Run(t.Context(), r, file, suites.Options{
		Selection: suites.Selection{Requirements: []string{"OPS-005", "SRV-010", "OVL-001"}}})
	require.NoError(t, err)
	results := map[string]record.Result{}
	for _, result := range run.Results {
		results[result.ID] = result
	}
	assert.Equal(t, verdict.Pass, results["OPS-005"].Verdict, "%v", results["OPS-005"].Failures)
	assert.Equal(t, verdict.Pass, results["OVL-001"].Verdict, "%v", results["OVL-001"].Failures)
	assert.Equal(t, verdict.Fail, results["SRV-010"].Verdict)
	text := textOf(results["SRV-010"])
	assert.Contains(t, text, "met what is no instruction of the processor")
	assert.Contains(t, text, " in acknowledge_cue")
}

func TestAResetOfTheWatchdogFailsTheRequirementThatItComesIn(t *testing.T) {
	for _, result := range examine(t, referenceFile(t), variant(t, "WATCHDOG_LEAVES_DC"), 1, []string{"OVL-001"}) {
		assert.Equal(t, verdict.Fail, result.Verdict)
		assert.Contains(t, textOf(result), "it started anew by itself")
	}
}

func textOf(result record.Result) string {
	var text []string
	for _, f := range result.Failures {
		text = append(text, f.What, f.Expected, f.Actual)
	}
	return strings.Join(text, "\n")
}
