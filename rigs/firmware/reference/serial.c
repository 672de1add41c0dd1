#include "serial.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdlib.h>

#include "defects.h"

/* Rings; the length is a power of two that an uint8_t counts through by itself, or a mask does. */
#define OUT_MASK 63
static volatile char in[256], out[OUT_MASK + 1];
static volatile uint8_t in_head, in_tail, out_head, out_tail;
static volatile bool lost;

void serial_start(void)
{
	UBRR0 = 16; /* 117 647 baud: 2.1 % fast, as near as 16 MHz come to it */
	UCSR0A = _BV(U2X0);
	UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
	UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

ISR(USART_RX_vect)
{
	const char c = UDR0;
	if (HAS(SHORT_RING) && (uint8_t)(in_head - in_tail) >= 24)
		return;
	if ((uint8_t)(in_head + 1) == in_tail) {
		lost = true;
		return;
	}
	in[in_head] = c;
	in_head++;
	if (HAS(LONG_RECEIVE_INTERRUPT)) {
		static volatile uint16_t sum;
		sum = 0;
		for (uint8_t i = in_head - 6; i != in_head; i++)
			sum = sum * 31 + in[i];
	}
}

ISR(USART_UDRE_vect)
{
	if (out_head == out_tail) {
		UCSR0B &= ~_BV(UDRIE0);
		return;
	}
	UDR0 = out[out_tail];
	out_tail = (out_tail + 1) & OUT_MASK;
}

bool serial_take(char *c)
{
	if (in_head == in_tail)
		return false;
	*c = in[in_tail];
	in_tail++;
	return true;
}

bool serial_lost(void)
{
	bool was = lost;
	if (was)
		lost = false;
	return was;
}

void serial_put(char c)
{
	const uint8_t next = (out_head + 1) & OUT_MASK;
	while (next == out_tail)
		;
	out[out_head] = c;
	out_head = next;
	UCSR0B |= _BV(UDRIE0);
}

void serial_text(const char *text)
{
	while (*text)
		serial_put(*text++);
}

void serial_flash(const char *text)
{
	char c;
	while ((c = pgm_read_byte(text++)))
		serial_put(c);
}

void serial_number(int16_t n)
{
	char digits[7];
	serial_text(itoa(n, digits, 10));
}
