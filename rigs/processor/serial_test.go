//go:build simavr

package processor

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// At 2 Mbaud a character takes 80 cycles, and they follow each other without a pause when the firmware keeps up: there is a
// register before the one that shifts. Data sheet of the ATmega2560, "Sending Frames with 5 to 8 Data Bits".
func TestCharactersFollowEachOtherWithoutAPause(t *testing.T) {
	for name, source := range map[string]string{
		"by polling": `int main(void) { serial_start(); for (uint8_t n = 0;; n++) put(n); }`,
		"by interrupt": `ISR(USART0_UDRE_vect) { static uint8_t n; UDR0 = n++; }
int main(void) { serial_start(); UCSR0B |= _BV(UDRIE0); sei(); for (;;) ; }`,
	} {
		t.Run(name, func(t *testing.T) {
			m := small(t, "atmega2560", "", fastC+source)
			sent := run(t, m, 100_000)
			require.Greater(t, len(sent), 1200)
			for i, s := range sent {
				require.Equal(t, byte(i), s.Byte)
				require.Equal(t, sent[0].Cycle+uint64(i)*80, s.Cycle, "character %d", i)
			}
		})
	}
}

func TestCharactersAreTakenAsFastAsTheyCome(t *testing.T) {
	m := small(t, "atmega2560", "", fastC+`
static volatile uint16_t count;
static volatile uint8_t check;
ISR(USART0_RX_vect) { check = (check << 1 | check >> 7) ^ UDR0; count++; }
int main(void)
{
	serial_start();
	UCSR0B |= _BV(RXCIE0);
	sei();
	_delay_ms(30);
	tell(count);
	put(check);
	for (;;)
		;
}
`)
	const n = 5000
	var check byte
	for i := range uint64(n) {
		m.Receive(1000+i*80, byte(i*7))
		check = check<<1 | check>>7 ^ byte(i*7)
	}
	sent := run(t, m, clock/10)
	require.Len(t, sent, 3)
	assert.Equal(t, []uint16{n}, wordsOf(sent))
	assert.Equal(t, check, sent[2].Byte)
}

// Two characters wait in the receiver and one where it was shifted in, which the next one overwrites.
func TestAReceiverThatNobodyEmptiesLosesCharacters(t *testing.T) {
	for come, want := range map[string]string{"ab": "ab", "abc": "abc", "abcd": "abd!", "abcdefgh": "abh!"} {
		m := small(t, "atmega328p", "", fastC+`
int main(void)
{
	serial_start();
	_delay_ms(1);
	const uint8_t lost = UCSR0A & _BV(DOR0);
	while (UCSR0A & _BV(RXC0))
		put(UDR0);
	if (lost)
		put('!');
	for (;;)
		;
}
`)
		for i := range come {
			m.Receive(1000+uint64(i)*80, come[i])
		}
		assert.Equal(t, want, string(bytesOf(run(t, m, 30_000))))
	}
}

// What the firmware has not switched on is off, and what is written over a character that waits is lost.
func TestATransmitterDoesWhatItIsToldAndNoMore(t *testing.T) {
	m := small(t, "atmega328p", "", fastC+`
int main(void)
{
	UBRR0 = 0;
	UCSR0A = _BV(U2X0);
	UDR0 = 'x';
	UCSR0B = _BV(TXEN0);
	UDR0 = 'a';
	UDR0 = 'b';
	UDR0 = 'c';
	while (!(UCSR0A & _BV(TXC0)))
		;
	UCSR0A |= _BV(TXC0);
	put(UCSR0A & _BV(TXC0) ? '1' : '0');
	for (;;)
		;
}
`)
	assert.Equal(t, "ab0", string(bytesOf(run(t, m, 5000))))
}
