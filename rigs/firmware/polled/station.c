/* A small station without interrupts, for an ATmega2560 at 16 MHz: the opposite of the reference firmware in all but what it
 * is for. One loop waits for a tick of 58 us, sets the pins of both outputs at once, and does a small part of the work in what
 * is left of the tick. Half a one is one tick and half a zero two, 116 us: S-9.1 A (2020) allows 95 to 9900 us.
 *
 * The rule that all of this lives by: what a tick does takes less than 50 us, or 800 cycles. So there is no division, no
 * search longer than eight places, and no line is read but character by character.
 *
 * Pins: main track PA0 and PA1, programming track PA2 and PA3, in antiphase; both low is off. Currents: 1 V/A on ADC0 (main)
 * and ADC1 (programming). Host: USART0, 115200 baud; the language is that of polled.dialect.toml. */
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

enum { MAIN, PROGRAMMING, OUTPUTS };
enum power { OFF, ON, TRIPPED };

#define TICK_US 58
#define TICKS(ms) ((uint16_t)((ms) * 1000UL / TICK_US))
#define COUNTS(milliamperes) ((uint16_t)((milliamperes) * 1024UL / 5000))
/* A conversion takes 104 us, which is two ticks, and the outputs take turns. */
#define READINGS(ms) ((uint16_t)((ms) * 1000UL / (4 * TICK_US)))

/* --- the signal --- */

typedef struct {
	uint8_t bytes[5];
	uint8_t length; /* 0 for none */
	bool mark;      /* something begins when it is over */
} packet_t;

static struct {
	enum power state;
	bool stopping;           /* off after the packet on its way */
	bool second, zero, wait; /* half of the bit, what it is, one more tick of it */
	uint8_t pins;            /* 1 or 2 */
	uint8_t ones;            /* of the preamble, still to say */
	uint8_t place, mask;     /* of the packet; mask 0 is between two bytes */
	packet_t now, next;
	uint16_t mean;           /* current in 1/64 counts, over 15 ms */
	uint16_t over;           /* readings above the limit */
	uint16_t off_for;        /* ticks since the trip */
} out[OUTPUTS];

static const uint8_t preamble[OUTPUTS] = {16, 22};

static void window_opens(void);

static inline __attribute__((always_inline)) bool next_bit(uint8_t n)
{
	if (out[n].now.length == 0) {
		if (out[n].ones > 0) {
			out[n].ones--;
			return true;
		}
		if (out[n].next.length == 0)
			return true;
		out[n].now = out[n].next;
		out[n].next.length = 0;
		out[n].place = 0;
		out[n].mask = 0x80;
		return false;
	}
	if (out[n].mask == 0) {
		if (++out[n].place < out[n].now.length) {
			out[n].mask = 0x80;
			return false;
		}
		out[n].now.length = 0;
		out[n].ones = preamble[n];
		if (out[n].now.mark)
			window_opens();
		return true;
	}
	const bool bit = out[n].now.bytes[out[n].place] & out[n].mask;
	out[n].mask >>= 1;
	return bit;
}

/* The pins of an output in the next tick. */
static inline __attribute__((always_inline)) uint8_t pins(uint8_t n)
{
	if (out[n].state != ON)
		return 0;
	if (out[n].wait) {
		out[n].wait = false;
		return out[n].pins;
	}
	out[n].second = !out[n].second;
	if (!out[n].second) {
		/* Off after the end bit and one bit more: the signal goes on for 26 us after it, S-9.2 A, footnote 3 (July 2004). */
		if (out[n].stopping && out[n].now.length == 0 && out[n].ones < preamble[n]) {
			out[n].state = OFF;
			out[n].stopping = false;
			return 0;
		}
		out[n].zero = !next_bit(n);
	}
	out[n].wait = out[n].zero;
	return out[n].pins ^= 3;
}

static void switch_on(uint8_t n)
{
	out[n].stopping = false;
	if (out[n].state == ON)
		return;
	out[n].now.length = out[n].next.length = 0;
	out[n].ones = preamble[n];
	out[n].second = true; /* a bit begins */
	out[n].wait = false;
	out[n].pins = 2;
	out[n].mean = out[n].over = 0;
	out[n].state = ON;
}

static void switch_off(uint8_t n)
{
	if (out[n].state == ON)
		out[n].stopping = true;
	else
		out[n].state = OFF;
}

static bool wants(uint8_t n) { return out[n].state == ON && !out[n].stopping && out[n].next.length == 0; }

/* The packet's last byte, the exclusive or of the others, is added here. */
static void say(uint8_t n, uint8_t length, uint8_t a, uint8_t b, uint8_t c)
{
	packet_t *p = &out[n].next;
	p->bytes[0] = a;
	p->bytes[1] = b;
	p->bytes[2] = length > 2 ? c : a ^ b;
	p->bytes[3] = a ^ b ^ c;
	p->mark = false;
	p->length = length + 1;
}

/* --- the main track --- */

enum { LOCOMOTIVES = 8, PARTS = 4, SPEED = 0, RESETS = 20, IDLES = 10 };

/* What is said to a locomotive: its speed, F0 to F4, F5 to F8, F9 to F12, each as the byte that goes to the track. */
static struct {
	uint8_t address; /* 0 for a free place */
	uint8_t part[PARTS]; /* 0 while it was never said */
	uint8_t fresh[PARTS]; /* how often it is said before all that is only repeated */
} locomotive[LOCOMOTIVES];

static uint8_t resets, idles, stops; /* still to say */
static uint8_t fresh_ones;           /* the sum of all that is fresh */

static uint8_t find(uint8_t address)
{
	uint8_t i = 0;
	while (i < LOCOMOTIVES && locomotive[i].address != address)
		i++;
	return i;
}

static uint8_t enter(uint8_t address)
{
	uint8_t i = find(address);
	if (i == LOCOMOTIVES && (i = find(0)) < LOCOMOTIVES) {
		memset(&locomotive[i], 0, sizeof locomotive[i]);
		locomotive[i].address = address;
	}
	return i;
}

static void tell(uint8_t i, uint8_t part, uint8_t byte)
{
	locomotive[i].part[part] = byte;
	fresh_ones += 3 - locomotive[i].fresh[part];
	locomotive[i].fresh[part] = 3;
}

static void feed_main(void)
{
	static uint8_t turn, last; /* a locomotive and a part of it; the address of the packet before */
	if (!wants(MAIN))
		return;
	if (resets > 0) {
		resets--;
		say(MAIN, 2, 0, 0, 0);
		return;
	}
	if (stops > 0) { /* S-9.2 B: emergency stop for all */
		stops--;
		say(MAIN, 2, 0, 0x71, 0);
		return;
	}
	if (idles > 0)
		idles--;
	else {
		/* A round over all that is fresh, then one over all there is. A locomotive has no two packets in a row: NEM 671. */
		for (uint8_t all = fresh_ones == 0; all < 2; all++)
			for (uint8_t i = 0; i < LOCOMOTIVES; i++) {
				turn = (turn + 1) & (LOCOMOTIVES * PARTS - 1);
				uint8_t *part = locomotive[turn & 7].part, *fresh = locomotive[turn & 7].fresh;
				const uint8_t a = locomotive[turn & 7].address;
				if (a == 0 || a == last)
					continue;
				for (uint8_t k = turn >> 3, left = PARTS; left > 0; left--, k = (k + 1) & 3) {
					if (!part[k] || (!all && !fresh[k]))
						continue;
					if (fresh[k]) {
						fresh[k]--;
						fresh_ones--;
					}
					say(MAIN, 2, a, part[k], 0);
					last = a;
					return;
				}
			}
	}
	last = 0;
	say(MAIN, 2, 0xFF, 0, 0);
}

/* 01DCSSSS, S-9.2 B: 28 steps with C as the lowest bit; step 0 stops, 29 is the emergency stop. */
static uint8_t speed_byte(bool forward, uint8_t step)
{
	uint8_t byte = forward ? 0x60 : 0x40;
	if (step == 29)
		return byte | 1;
	if (step == 0)
		return byte;
	step += 3;
	return byte | step >> 1 | (step & 1) << 4;
}

/* --- the programming track: S-9.2.3 E (July 2012), direct mode and the address-only method --- */

enum task { READ = 'r', VERIFY = 'v', WRITE = 'w' };
enum result { RUNNING, DONE, NOBODY, SHORT };
enum { AT_REST, POWERING_UP, RESETTING, PAGING, PAGED, INSTRUCTING, FOLLOWING };

static struct {
	bool keep; /* the power stays on after the task */
	bool by_address, page; /* the address-only method; its page preset is still to come */
	uint8_t task, value, step, found, stage, sent;
	uint16_t cv; /* counted from 0 */
	enum result result, ending;
} service;

/* An acknowledge is 60 mA for 5 ms at least, S-9.2.3 D: half of both counts. */
static struct {
	uint16_t rest; /* in sixteenths */
	bool open, armed, seen;
	uint8_t above;
} acknowledge;

static void window_opens(void)
{
	acknowledge.open = true;
	acknowledge.armed = acknowledge.seen = false;
	acknowledge.above = 0;
}

static void acknowledge_reading(uint16_t counts)
{
	const bool high = counts >= (acknowledge.rest >> 4) + COUNTS(35);
	if (!acknowledge.open)
		acknowledge.rest += counts - (acknowledge.rest >> 4);
	else if (!high) {
		acknowledge.armed = true;
		acknowledge.above = 0;
	} else if (acknowledge.armed && acknowledge.above < READINGS(3) && ++acknowledge.above == READINGS(3))
		acknowledge.seen = true;
}

static void begin_task(uint8_t task, uint16_t cv, uint8_t value, bool by_address)
{
	service.by_address = service.page = by_address;
	service.task = task;
	service.cv = cv - 1;
	service.value = value;
	service.step = service.found = 0;
	service.stage = POWERING_UP;
	service.sent = 0;
	service.result = RUNNING;
	acknowledge.open = false;
	switch_on(PROGRAMMING);
}

static void enter_stage(uint8_t stage)
{
	service.stage = stage;
	service.sent = 0;
	if (stage == RESETTING)
		acknowledge.open = false;
}

static void end_task(enum result result)
{
	service.result = result;
	service.stage = AT_REST;
	if (!service.keep)
		switch_off(PROGRAMMING);
}

/* Address-only: 0111C000 0DDDDDDD, C 1 to write. Direct: 0111CCAA AAAAAAAA and the data, where CC is 01 for verify, 11 for write,
 * 10 for one bit, as 111KDBBB. */
static void say_instruction(void)
{
	uint8_t code = 0x74, data = service.value;
	if (service.by_address) {
		say(PROGRAMMING, 2, service.task == WRITE ? 0x78 : 0x70, service.task == READ ? service.found : data, 0);
		out[PROGRAMMING].next.mark = service.sent == 2;
		return;
	}
	if (service.task == WRITE)
		code = 0x7C;
	else if (service.task == READ && service.step < 8)
		code = 0x78, data = 0xE8 | service.step;
	else if (service.task == READ)
		data = service.found;
	say(PROGRAMMING, 3, code | service.cv >> 8, service.cv, data);
	out[PROGRAMMING].next.mark = service.sent == 2; /* an acknowledge counts from the end of the second on */
}

static void feed_programming(void)
{
	static const uint8_t bit[8] = {1, 2, 4, 8, 16, 32, 64, 128};
	if (!wants(PROGRAMMING))
		return;
	switch (service.stage) {
	case POWERING_UP:
		if (service.sent == RESETS)
			enter_stage(RESETTING);
		break;
	case RESETTING:
		if (service.sent == 3)
			enter_stage(service.page ? PAGING : INSTRUCTING);
		break;
	case PAGING:
		if (service.sent == 5)
			enter_stage(PAGED);
		break;
	case PAGED:
		if (service.sent == 6) {
			service.page = false;
			enter_stage(RESETTING);
		}
		break;
	case INSTRUCTING:
		if (service.sent == 5 || (service.sent > 2 && acknowledge.seen))
			enter_stage(FOLLOWING);
		break;
	case FOLLOWING:
		if (service.sent < (service.task != WRITE ? 2 : service.by_address ? 10 : 7) || (acknowledge.above > 0 && !acknowledge.seen))
			break;
		if (service.by_address && service.task == READ && !acknowledge.seen && service.found < 127) {
			service.found++;
			enter_stage(RESETTING);
			break;
		}
		if (!service.by_address && service.task == READ && service.step < 8) {
			if (acknowledge.seen)
				service.found |= bit[service.step];
			service.step++;
			enter_stage(RESETTING);
			break;
		}
		end_task(acknowledge.seen ? DONE : NOBODY);
		if (!service.keep)
			return;
		break;
	case AT_REST:
		say(PROGRAMMING, 2, 0xFF, 0, 0);
		return;
	}
	service.sent++;
	if (service.stage == INSTRUCTING)
		say_instruction();
	else if (service.stage == PAGING)
		say(PROGRAMMING, 2, 0x7D, 1, 0); /* the page preset */
	else
		say(PROGRAMMING, 2, 0, 0, 0);
}

/* --- currents --- */

static void converter(void)
{
	static uint8_t turn;
	static uint16_t filtered[OUTPUTS]; /* in sixteenths, over 4 ms */
	static const uint16_t limit[OUTPUTS] = {COUNTS(2000), COUNTS(275)}, hold[OUTPUTS] = {READINGS(30), READINGS(50)};
	if (ADCSRA & _BV(ADSC))
		return;
	const uint16_t counts = ADC;
	const uint8_t n = turn;
	turn ^= 1;
	ADMUX = _BV(REFS0) | turn;
	ADCSRA |= _BV(ADSC);
	out[n].mean += counts - (out[n].mean >> 6);
	filtered[n] += counts - (filtered[n] >> 4);
	if (n == PROGRAMMING)
		acknowledge_reading(counts);
	if (out[n].state != ON || filtered[n] >> 4 < limit[n])
		out[n].over = 0;
	else if (++out[n].over >= hold[n]) {
		out[n].state = out[n].stopping ? OFF : TRIPPED;
		out[n].stopping = false;
		out[n].off_for = 0;
		if (n == PROGRAMMING && service.stage != AT_REST) {
			service.stage = AT_REST;
			service.result = SHORT;
			if (!service.keep)
				out[n].state = OFF;
		}
	}
}

static void retry(void)
{
	for (uint8_t n = 0; n < OUTPUTS; n++)
		if (out[n].state == TRIPPED && ++out[n].off_for >= TICKS(950) / 4)
			switch_on(n);
}

/* --- the line to the host --- */

#define BROKEN 0 /* a character that no line has */
static uint8_t in[256], in_head, in_tail, answer[64], answer_length, answer_place;

static void serial(void)
{
	if (UCSR0A & _BV(RXC0)) {
		const uint8_t c = UDR0;
		if ((uint8_t)(in_head + 1) != in_tail)
			in[in_head++] = c;
		else /* the line is broken here: what is left of it must not pass for a command */
			in[(uint8_t)(in_head - 1)] = BROKEN;
	}
	if (answer_place < answer_length && UCSR0A & _BV(UDRE0)) {
		UDR0 = answer[answer_place++];
		if (answer_place == answer_length)
			answer_place = answer_length = 0;
	}
}

static void put(PGM_P text)
{
	uint8_t c;
	while ((c = pgm_read_byte(text++)))
		answer[answer_length++] = c;
}

static void put_value(uint16_t value)
{
	static const uint16_t power_of_ten[] = {1000, 100, 10, 1};
	put(PSTR("= "));
	for (uint8_t i = 0; i < 4; i++) {
		uint8_t digit = '0';
		for (; value >= power_of_ten[i]; digit++)
			value -= power_of_ten[i];
		answer[answer_length++] = digit;
	}
}

/* A line is a verb and its numbers, neither more of them nor fewer. The first two letters of a verb tell it from all others, but
 * noise has two letters too, and so has an answer that comes back: "pong" is no power. */
static uint16_t number[3];
static char verb[9];
static uint8_t letters, numbers, waits_for;
static bool in_number, wrong;

#define VERB(a, b) ((uint16_t)(a) << 8 | (b))
enum { NOTHING, POWER_GOES, TASK_ENDS };

static const char done[] PROGMEM = "done", refused[] PROGMEM = "no", nobody[] PROGMEM = "nobody", short_circuit[] PROGMEM = "short";

/* The verb is this one, with so many numbers. */
static bool is(PGM_P word, uint8_t n) { return letters < sizeof verb && strcmp_P(verb, word) == 0 && numbers == n; }

static PGM_P carry_out(void)
{
	const uint16_t x = number[0], y = number[1], z = number[2];
	uint8_t i;
	if (wrong)
		return refused;
	switch (VERB(verb[0], verb[1])) {
	case VERB('w', 'h'): /* who */
		if (!is(PSTR("who"), 0))
			return refused;
		return PSTR("bufferstop polled firmware 1");
	case VERB('p', 'i'): /* ping */
		if (!is(PSTR("ping"), 0))
			return refused;
		return PSTR("pong");
	case VERB('r', 'e'): /* reset */
		if (!is(PSTR("reset"), 0))
			return refused;
		memset(locomotive, 0, sizeof locomotive);
		fresh_ones = 0;
		resets = RESETS;
		idles = IDLES;
		stops = 0;
		service.keep = false;
		switch_off(MAIN);
		switch_off(PROGRAMMING);
		waits_for = POWER_GOES;
		return NULL;
	case VERB('p', 'o'): /* power TRACK 0|1 */
		if (!is(PSTR("power"), 2))
			return refused;
		if (x >= OUTPUTS || y > 1)
			return refused;
		if (x == PROGRAMMING)
			service.keep = y;
		if (y) {
			if (x == MAIN && out[MAIN].state == OFF) { /* who knows for how long: RP-9.2.4 A begins anew */
				resets = RESETS;
				idles = IDLES;
			}
			switch_on(x);
			return done;
		}
		switch_off(x);
		waits_for = POWER_GOES;
		return NULL;
	case VERB('s', 't'): /* state TRACK */
		if (!is(PSTR("state"), 1))
			return refused;
		if (x >= OUTPUTS)
			return refused;
		put_value(out[x].state);
		return PSTR("");
	case VERB('c', 'u'): /* current TRACK */
		if (!is(PSTR("current"), 1))
			return refused;
		if (x >= OUTPUTS)
			return refused;
		put_value((uint32_t)out[x].mean * 5000 >> 16);
		return PSTR("");
	case VERB('d', 'r'): /* drive ADDRESS 0|1 STEP; step 29 is the emergency stop */
		if (!is(PSTR("drive"), 3))
			return refused;
		if (x == 0 || x > 127 || z > 29 || (i = enter(x)) == LOCOMOTIVES)
			return refused;
		tell(i, SPEED, speed_byte(y, z));
		return done;
	case VERB('h', 'a'): /* halt ADDRESS; 0 for all */
		if (!is(PSTR("halt"), 1))
			return refused;
		if (x == 0) {
			stops = 3;
			for (i = 0; i < LOCOMOTIVES; i++)
				if (locomotive[i].part[SPEED])
					tell(i, SPEED, speed_byte(locomotive[i].part[SPEED] & 0x20, 29));
			return done;
		}
		if (x > 127 || (i = enter(x)) == LOCOMOTIVES)
			return refused;
		tell(i, SPEED, speed_byte(locomotive[i].part[SPEED] & 0x20, 29));
		return done;
	case VERB('f', 'u'): { /* function ADDRESS NUMBER 0|1 */
		/* F0, F4 to F1; F8 to F5; F12 to F9: S-9.2.1 C */
		static const uint8_t bit[13] = {0x10, 1, 2, 4, 8, 1, 2, 4, 8, 1, 2, 4, 8}, group[] = {0x80, 0xB0, 0xA0};
		if (!is(PSTR("function"), 3))
			return refused;
		if (x == 0 || x > 127 || y > 12 || (i = enter(x)) == LOCOMOTIVES)
			return refused;
		const uint8_t part = y < 5 ? 0 : y < 9 ? 1 : 2;
		const uint8_t byte = locomotive[i].part[part + 1] | group[part];
		tell(i, part + 1, z ? byte | bit[y] : byte & ~bit[y]);
		return done;
	}
	case VERB('g', 'o'): /* go ADDRESS: it is somebody else's now */
		if (!is(PSTR("go"), 1))
			return refused;
		if ((i = find(x)) < LOCOMOTIVES) {
			locomotive[i].address = 0;
			for (uint8_t k = 0; k < PARTS; k++)
				fresh_ones -= locomotive[i].fresh[k];
		}
		return done;
	case VERB('c', 'v'): /* cv NUMBER, and 1 for the address-only method */
	case VERB('c', 'w'): /* cw NUMBER VALUE: write */
	case VERB('c', 'c'): { /* cc NUMBER VALUE: compare */
		const uint8_t usual = verb[1] == 'v' ? 1 : 2;
		const bool by_address = numbers > usual;
		const uint8_t n = usual + by_address;
		if (!(is(PSTR("cv"), n) || is(PSTR("cw"), n) || is(PSTR("cc"), n)) || x == 0 || x > 1024 || y > 255
		    || (by_address && (number[usual] != 1 || x > 1 || y > 127)))
			return refused;
		begin_task(verb[1] == 'v' ? READ : verb[1] == 'w' ? WRITE : VERIFY, x, y, by_address);
		waits_for = TASK_ENDS;
		return NULL;
	}
	}
	return refused;
}

/* What a command that takes long has come to; null while it goes on. */
static PGM_P outcome(void)
{
	if (waits_for == POWER_GOES)
		return out[MAIN].stopping || out[PROGRAMMING].stopping ? NULL : done;
	if (service.result == RUNNING || out[PROGRAMMING].stopping)
		return NULL;
	if (service.result == SHORT)
		return short_circuit;
	if (service.task == VERIFY)
		put_value(service.result == DONE);
	else if (service.result == NOBODY)
		return nobody;
	else if (service.task == READ)
		put_value(service.found);
	else
		return done;
	return PSTR("");
}

static void answered(PGM_P text)
{
	if (!text)
		return;
	put(text);
	answer[answer_length++] = '\r';
	waits_for = NOTHING;
	letters = numbers = 0;
	number[0] = number[1] = number[2] = 0;
	in_number = wrong = false;
}

/* One character, or a look whether something has ended. */
static void listen(void)
{
	if (answer_length > 0)
		return;
	if (waits_for) {
		answered(outcome());
		return;
	}
	if (in_head == in_tail)
		return;
	const uint8_t c = in[in_tail++];
	if (c == '\r') {
		/* Whatever the line was, it ends here. */
		if (in_number)
			numbers++;
		if (letters > 0 || numbers > 0 || wrong) {
			verb[letters < sizeof verb ? letters : 0] = 0;
			answered(letters > 0 ? carry_out() : refused);
		}
	} else if (c >= '0' && c <= '9' && numbers < 3) {
		in_number = true;
		if (number[numbers] > 2000)
			wrong = true;
		else
			number[numbers] = number[numbers] * 10 + (c - '0');
	} else if (c == ' ') {
		if (in_number)
			numbers++;
		in_number = false;
	} else if (c >= 'a' && c <= 'z' && numbers == 0 && !in_number) {
		if (letters < sizeof verb)
			verb[letters++] = c;
	} else
		wrong = true;
}

int main(void)
{
	uint8_t port = 0;
	DDRA = 0x0F;
	UBRR0 = 16; /* 117 647 baud */
	UCSR0A = _BV(U2X0);
	UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
	UCSR0B = _BV(RXEN0) | _BV(TXEN0);
	ADMUX = _BV(REFS0);
	ADCSRA = _BV(ADEN) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
	ADCSRA |= _BV(ADSC);
	OCR1A = TICK_US * 16 - 1;
	TCCR1B = _BV(WGM12) | _BV(CS10);
	resets = RESETS;
	idles = IDLES;
	for (uint8_t tick = 0;; tick++) {
		while (!(TIFR1 & _BV(OCF1A)))
			;
		PORTA = port;
		TIFR1 = _BV(OCF1A);
		port = pins(MAIN) | pins(PROGRAMMING) << 2;
		serial();
		switch (tick & 3) {
		case 0:
			converter();
			feed_programming();
			break;
		case 1:
			listen();
			break;
		case 2:
			converter();
			retry();
			break;
		case 3:
			feed_main();
		}
	}
}
