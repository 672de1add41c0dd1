//go:build simavr

package firmware

import (
	"os"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/rigs/processor"
	"bufferstop/rigs/processor/imagetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// pinsC sets DDRB and PORTB as it is told, two bytes at a time, and says so with a third.
const pinsC = serialC + `
int main(void)
{
	serial_start();
	for (;;) {
		const uint8_t direction = take(), level = take();
		PORTB = level;
		DDRB = direction;
		put('k');
	}
}
`

func TestPinsMoveTheTrackAsTheRigFileSays(t *testing.T) {
	const off, positive, negative = signal.Off, signal.Positive, signal.Negative
	image := parsed(t, imagetest.Compile(t, "atmega328p", pinsC))
	type told struct {
		ddr, port byte
		want      signal.Level
	}
	const all = 0xFF
	for name, c := range map[string]struct {
		pins  string
		reset signal.Level // while all pins are inputs
		told  []told
	}{
		"direction and enable": {`direction = "PB1"` + "\n" + `enable = "PB0"`, off, []told{
			{all, 0, off}, {all, 1, negative}, {all, 3, positive}, {all, 2, off}, {0, 3, off}, {1, 3, negative}, {2, 3, off}}},
		"no enable": {`direction = "PB1"`, negative, []told{{all, 0, negative}, {all, 2, positive}, {0, 2, negative}}},
		"a direction the other way round": {`direction = "!PB1"` + "\n" + `enable = "PB0"`, off, []told{
			{all, 1, positive}, {all, 3, negative}, {all, 0, off}}},
		"an enable the other way round": {`direction = "PB1"` + "\n" + `enable = "!PB0"`, negative, []told{
			{all, 1, off}, {all, 0, negative}, {all, 2, positive}, {all, 3, off}}},
		"a brake": {`direction = "PB1"` + "\n" + `enable = "PB0"` + "\n" + `brake = "PB2"`, off, []told{
			{all, 3, positive}, {all, 7, off}, {all, 1, negative}, {all, 5, off}, {all, 4, off}}},
		"a brake the other way round": {`direction = "PB1"` + "\n" + `brake = "!PB2"`, off, []told{
			{all, 6, positive}, {all, 2, off}, {all, 4, negative}, {3, 6, off}}},
		"two pins in antiphase": {`positive = "PB1"` + "\n" + `negative = "PB2"`, off, []told{
			{all, 2, positive}, {all, 4, negative}, {all, 6, off}, {all, 0, off}, {2, 2, positive}, {2, 4, off}}},
		"two pins in antiphase, both the other way round": {`positive = "!PB1"` + "\n" + `negative = "!PB2"`, off, []told{
			{all, 2, negative}, {all, 4, positive}, {all, 6, off}, {all, 0, off}, {2, 2, negative}}},
	} {
		t.Run(name, func(t *testing.T) {
			file, _, _ := strings.Cut(boardFile, "[[firmware.output]]")
			f, err := Parse("board.rig.toml", []byte(file+"uart.baud = 250000\n[[firmware.output]]\ntrack = \"main\"\n"+c.pins+"\n"))
			require.NoError(t, err)
			r := started(t, f, image)
			assert.Equal(t, c.reset, r.output[0].Driven(), "pins that are inputs")
			for _, told := range c.told {
				_, err := r.Link().Write(t.Context(), []byte{told.ddr, told.port}, time.Second)
				require.NoError(t, err)
				require.Equal(t, "k", string(sentBy(t, r, time.Millisecond)))
				assert.Equal(t, told.want, r.output[0].Driven(), "DDRB %#b, PORTB %#b", told.ddr, told.port)
			}
		})
	}
}

const eepromC = `#include <avr/eeprom.h>
` + serialC + `
uint8_t EEMEM starts = 41;
int main(void)
{
	serial_start();
	const uint8_t n = eeprom_read_byte(&starts) + 1;
	DDRB = PORTB = _BV(0) | _BV(1);
	eeprom_write_byte(&starts, n);
	eeprom_busy_wait();
	PORTB = 0;
	put(n);
	for (;;)
		;
}
`

func TestTheEEPROMIsKeptOrBlankAsTheRigFileSays(t *testing.T) {
	path := imagetest.Compile(t, "atmega328p", eepromC)
	for name, c := range map[string]struct {
		image *processor.Image
		keep  bool
		want  [3]byte
	}{
		"blank":                     {parsed(t, hexOf(t, path)), false, [3]byte{0, 0, 0}},
		"kept":                      {parsed(t, hexOf(t, path)), true, [3]byte{0, 1, 2}},
		"blank, with the image's":   {parsed(t, path), false, [3]byte{42, 42, 42}},
		"kept, from the image's on": {parsed(t, path), true, [3]byte{42, 43, 44}},
	} {
		t.Run(name, func(t *testing.T) {
			f := quickLine(board(t))
			f.KeepEEPROM = c.keep
			r := started(t, f, c.image)
			for i, want := range c.want {
				if i > 0 {
					require.NoError(t, r.Restart(t.Context()))
				}
				assert.Equal(t, []byte{want}, sentBy(t, r, 20*time.Millisecond))
			}
		})
	}
}

// 3.4 ms: data sheet of the ATmega328P, table "EEPROM Programming Time".
func TestAByteOfEEPROMTakesItsTime(t *testing.T) {
	f := board(t)
	f.StartTime = time.Microsecond
	r := started(t, f, parsed(t, imagetest.Compile(t, "atmega328p", eepromC)))
	main := listen(t, r, "main")
	require.NoError(t, r.Wait(t.Context(), 20*time.Millisecond))
	require.Len(t, main.edges, 3)
	assert.InDelta(t, 3400, float64(main.edges[2].Time-main.edges[1].Time)/1e3, 5, "microseconds")
}

func TestAnEEPROMThatIsTooLargeIsRefused(t *testing.T) {
	image := parsed(t, imagetest.Compile(t, "atmega328p", eepromC))
	image.EEPROM = make([]byte, 1025)
	_, err := open(t.Context(), board(t), image, Options{})
	require.ErrorContains(t, err, "EEPROM: got 1025 bytes, want at most the 1024 of the processor")
}

func TestAnImageThatIsTooLargeForTheFlashIsRefused(t *testing.T) {
	image := &processor.Image{Segments: []processor.Segment{{Address: 0x7FF0, Bytes: make([]byte, 17)}}}
	_, err := open(t.Context(), board(t), image, Options{})
	var wrong *processor.ImageError
	require.ErrorAs(t, err, &wrong)
	assert.Contains(t, err.Error(), "got code up to byte 32769, want at most the 32768 bytes")
}

// Ten thousand characters there and back, as fast as the line carries them, at each of the rates.
func TestCharactersAreNeitherLostNorSlowAtLineRate(t *testing.T) {
	for name, c := range map[string]struct {
		baud  int
		setup string
		n     int
	}{
		"250 000 baud":                            {250_000, "UCSR0A = _BV(U2X0); UBRR0 = 7;", 10_000},
		"115 200 baud, 2.1 % fast":                {115_200, "UCSR0A = _BV(U2X0); UBRR0 = 16;", 10_000},
		"115 200 baud, 3.5 % slow":                {115_200, "UCSR0A = 0; UBRR0 = 8;", 5000},
		"9600 baud":                               {9600, "UCSR0A = 0; UBRR0 = 103;", 1000},
		"the divisor before the double speed bit": {250_000, "UBRR0 = 7; UCSR0A = _BV(U2X0);", 2000},
	} {
		t.Run(name, func(t *testing.T) {
			image := parsed(t, imagetest.Compile(t, "atmega328p", strings.Replace(serialC, "UCSR0A = _BV(U2X0); UBRR0 = 7;", c.setup, 1)+`
static volatile uint8_t ring[256], in, out;
ISR(USART_RX_vect) { ring[in++] = UDR0; UCSR0B |= _BV(UDRIE0); }
ISR(USART_UDRE_vect) { if (in == out) UCSR0B &= ~_BV(UDRIE0); else UDR0 = ring[out++]; }
int main(void) { serial_start(); UCSR0B |= _BV(RXCIE0); sei(); for (;;) ; }
`))
			f := board(t)
			f.Baud = c.baud
			r := started(t, f, image)
			text := make([]byte, c.n)
			for i := range text {
				text[i] = byte(i*7 + i>>8)
			}
			begun := r.Now()
			back := make([]byte, 0, c.n)
			for sent := 0; len(back) < c.n; {
				if sent < c.n {
					n, err := r.Link().Write(t.Context(), text[sent:min(sent+500, c.n)], time.Second)
					require.NoError(t, err)
					sent += n
				}
				b := make([]byte, 700)
				n, err := r.Link().Read(t.Context(), b, 20*time.Millisecond)
				require.NoError(t, err, "after %d", len(back))
				back = append(back, b[:n]...)
			}
			require.Equal(t, text, back)
			line := time.Duration(c.n) * 10 * time.Second / time.Duration(c.baud)
			assert.InDelta(t, 1, float64(r.Now()-begun)/float64(line), 0.05)
			assert.Empty(t, r.board.Machine.Log())
		})
	}
}

// Two characters wait in the receiver and one is shifted in, which the next one overwrites: data sheet of the ATmega328P, "Data
// OverRun". A firmware that looks away for longer loses what came.
func TestAReceiverThatNobodyEmptiesLosesCharacters(t *testing.T) {
	image := parsed(t, imagetest.Compile(t, "atmega328p", serialC+`
int main(void)
{
	serial_start();
	for (;;) {
		_delay_ms(1);
		uint8_t lost = UCSR0A & _BV(DOR0);
		while (UCSR0A & _BV(RXC0)) {
			put(UDR0);
			lost |= UCSR0A & _BV(DOR0);
		}
		if (lost)
			put('!');
	}
}
`))
	for sent, want := range map[string]string{"ab": "ab", "abc": "abc", "abcd": "abd!", "abcdefgh": "abh!"} {
		f := board(t)
		f.Baud = 250_000
		r := started(t, f, image)
		_ = sentBy(t, r, 100*time.Microsecond) // the firmware looks every millisecond, and has just done so
		_, err := r.Link().Write(t.Context(), []byte(sent), time.Second)
		require.NoError(t, err)
		assert.Equal(t, want, string(sentBy(t, r, 20*time.Millisecond)), "%s was sent", sent)
	}
}

func TestWhatTheProcessorDoesNotHaveIsSaidWithItsPlace(t *testing.T) {
	image := parsed(t, imagetest.Compile(t, "atmega328p", "int main(void) { for (;;) ; }"))
	for name, c := range map[string]struct{ from, to, want string }{
		"no such processor": {`"atmega328p"`, `"atmega328x"`, `board.rig.toml:6:7: firmware.mcu: got "atmega328x", want a processor that the simulator knows (hint: it knows `},
		"no such port":      {`direction = "PB3"`, `direction = "PA3"`, "board.rig.toml:17:13: firmware.output[1].direction: got port A, want a port of the atmega328p"},
		"no such UART":      {"[[firmware.output]]", "uart.index = 1\n[[firmware.output]]", "board.rig.toml:9:14: firmware.uart.index: got 1, want a serial port of the atmega328p"},
		"no such channel":   {`"ADC1"`, `"ADC8"`, "board.rig.toml:19:9: firmware.output[1].sense: got ADC8, want a channel of the converter of the atmega328p"},
		"no converter":      {"atmega328p", "attiny2313", "board.rig.toml:13:9: firmware.output[0].sense: got ADC0, want a channel of the converter of the attiny2313"},
	} {
		t.Run(name, func(t *testing.T) {
			f, err := Parse("board.rig.toml", []byte(strings.Replace(boardFile, c.from, c.to, 1)))
			require.NoError(t, err)
			_, err = open(t.Context(), f, image, Options{})
			require.ErrorContains(t, err, c.want)
		})
	}
}

// Each processor that the simulator knows is built, with a pin of every port that it has, and freed. One with a converter gives
// its channels.
func TestEveryProcessorThatTheSimulatorKnowsCanBeBuilt(t *testing.T) {
	names := processor.Processors()
	assert.Contains(t, names, "atmega328p")
	assert.Contains(t, names, "atmega2560")
	assert.Greater(t, len(names), 40)
	converters := 0
	for _, name := range names {
		for uart := range 4 {
			for port := byte('A'); port <= 'L'; port++ {
				f := board(t)
				f.MCU, f.UART = name, uart
				f.Outputs = []Output{{Track: "main", Direction: Pin{Port: port}, Channel: -1}}
				m, err := newMachine(f)
				if err != nil {
					continue
				}
				m.Free()
				f.Outputs[0].Channel = 0
				if m, err := newMachine(f); err == nil {
					m.Free()
					converters++
				}
			}
		}
	}
	assert.Greater(t, converters, 100)
}

// residentKilobytes is what the process has in memory.
func residentKilobytes(t *testing.T) int {
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Skip("this system does not say how much memory a process has: ", err)
	}
	_, rest, _ := strings.Cut(string(text), "VmRSS:")
	n, err := strconv.Atoi(strings.Fields(rest)[0])
	require.NoError(t, err)
	return n
}

func TestRigsThatAreClosedLeaveNothingBehind(t *testing.T) {
	image := parsed(t, imagetest.Compile(t, "atmega2560", "int main(void) { for (;;) ; }"))
	f := board(t)
	f.MCU = "atmega2560"
	goroutines := runtime.NumGoroutine()
	use := func(times int) {
		for range times {
			r, err := open(t.Context(), f, image, Options{})
			require.NoError(t, err)
			require.NoError(t, r.Restart(t.Context()))
			require.NoError(t, r.Close())
		}
		runtime.GC()
	}
	use(10)
	before := residentKilobytes(t)
	use(50)
	assert.Less(t, residentKilobytes(t)-before, 2048, "kilobytes more after 100 processors")
	assert.LessOrEqual(t, runtime.NumGoroutine(), goroutines)
}
