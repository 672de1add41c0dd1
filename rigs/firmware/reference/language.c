#include "language.h"

#include <avr/pgmspace.h>
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#include "board.h"
#include "current.h"
#include "defects.h"
#include "locomotives.h"
#include "packet.h"
#include "power.h"
#include "scheduler.h"
#include "serial.h"
#include "service.h"
#include "track.h"

/* Events. Negative numbers are those of SCPI-1999; positive ones are the station's own. */
enum {
	NO_ERROR = 0,
	DATA_TYPE = -104,
	TOO_MANY = -108,
	MISSING = -109,
	UNDEFINED = -113,
	CONFLICT = -221,
	RANGE = -222,
	ILLEGAL = -224,
	MEMORY = -225,
	QUEUE = -350,
	OVERRUN = -363,
	NO_ACKNOWLEDGE = 110,
	TRACK_TRIPPED = 120,
	BUSY = 1, /* inside only: ask again */
};

/* A line of the host: it is cut into units, and each unit into a header and parameters. */
enum { LINE = 96, PARAMETERS = 4, HEADER = 24, ERRORS = 8 };

static char line[LINE + 1];
static uint8_t length;
static bool too_long;
static char *rest;             /* of the line: units still to carry out; null between lines */
static char path[HEADER];      /* where the next header begins */
static char *parameter[PARAMETERS];
static uint8_t parameters;
static bool answered;          /* the line has been answered in part */
static int16_t (*resume)(void); /* goes on with a unit that takes long */

static int16_t error[ERRORS];
static uint8_t errors;

static void raise(int16_t code)
{
	if (errors == ERRORS)
		error[ERRORS - 1] = QUEUE;
	else
		error[errors++] = code;
}

/* --- answers --- */

static void separate(void)
{
	if (answered)
		serial_put(';');
	answered = true;
}

static int16_t answer_number(int16_t n)
{
	separate();
	serial_number(n);
	return NO_ERROR;
}

static int16_t answer(PGM_P text)
{
	separate();
	serial_flash(text);
	return NO_ERROR;
}

/* --- parameters --- */

/* A decimal number from low to high. */
static int16_t number(uint8_t i, uint16_t low, uint16_t high, uint16_t *n)
{
	const char *p = parameter[i];
	uint32_t value = 0;
	if (!*p)
		return MISSING;
	for (; isdigit(*p); p++)
		if ((value = value * 10 + (*p - '0')) > 65535)
			value = 65535;
	if (*p == '-' && p == parameter[i])
		return RANGE;
	if (*p)
		return DATA_TYPE;
	if (value < low || value > high)
		return RANGE;
	*n = value;
	return NO_ERROR;
}

/* The long and the short form of a word: its capitals are the short one. */
static bool word_is(const char *text, PGM_P word)
{
	bool short_form = true;
	for (;; word++) {
		const char w = pgm_read_byte(word);
		if (!*text)
			return !w || (short_form && islower(w));
		if (islower(w))
			short_form = false;
		if (toupper(w) != *text++)
			return false;
		if (!w)
			return true;
	}
}

static int16_t choice(uint8_t i, PGM_P first, PGM_P second, bool *is_second)
{
	if (!*parameter[i])
		return MISSING;
	*is_second = word_is(parameter[i], second);
	return *is_second || word_is(parameter[i], first) ? NO_ERROR : ILLEGAL;
}

static const char off_word[] PROGMEM = "OFF", on_word[] PROGMEM = "ON", main_word[] PROGMEM = "MAIN",
                  programming_word[] PROGMEM = "PROGramming", forward_word[] PROGMEM = "FORWard",
                  reverse_word[] PROGMEM = "REVerse", direct_word[] PROGMEM = "DIRect",
                  paged_word[] PROGMEM = "PAGed", register_word[] PROGMEM = "REGister", address_word[] PROGMEM = "ADDRess",
                  all_word[] PROGMEM = "ALL", tripped_word[] PROGMEM = "TRIPPED",
                  steps28[] PROGMEM = "28", steps128[] PROGMEM = "128";

static int16_t on_off(uint8_t i, bool *on) { return choice(i, off_word, on_word, on); }

static int16_t output(uint8_t i, uint8_t *which)
{
	bool programming;
	const int16_t code = choice(i, main_word, programming_word, &programming);
	*which = programming ? PROGRAMMING : MAIN;
	return code;
}

/* Direct mode unless another one is named. */
static int16_t method(uint8_t i, enum method *which)
{
	static PGM_P const words[] = {direct_word, paged_word, register_word, address_word}; /* as enum method */
	*which = DIRECT;
	if (parameters <= i)
		return NO_ERROR;
	for (uint8_t m = DIRECT; m <= ADDRESS; m++)
		if (word_is(parameter[i], words[m])) {
			*which = m;
			return NO_ERROR;
		}
	return ILLEGAL;
}

/* Whether a method reaches a CV, with the value that is to be there. */
static int16_t reaches(enum method method, uint16_t cv, uint16_t value)
{
	if (method == ADDRESS)
		return cv == 1 && value <= 127 ? NO_ERROR : RANGE;
	return method == REGISTER && service_register(cv) == NO_SUCH_REGISTER ? RANGE : NO_ERROR;
}

/* The first of the codes that is an error ends the command. */
#define TRY(call)                                                                                                      \
	do {                                                                                                           \
		const int16_t code_ = (call);                                                                          \
		if (code_ != NO_ERROR)                                                                                 \
			return code_;                                                                                  \
	} while (0)

/* --- commands to the main track --- */

static packet_t packet; /* to send as soon as there is room */
static uint16_t whose;
static uint8_t kind;

static int16_t hand_over(void)
{
	if (power_state(MAIN) != POWER_ON)
		return NO_ERROR; /* nothing to send; the refresh says what locomotives have to do as soon as there is power */
	if (kind != STOP && scheduler_full())
		return BUSY;
	scheduler_send(&packet, whose, kind);
	return NO_ERROR;
}

static int16_t send(uint16_t to, uint8_t what)
{
	whose = to;
	kind = what;
	return hand_over();
}

/* What is sent once only cannot wait for power. */
static int16_t main_ready(void)
{
	const enum power state = power_state(MAIN);
	return state == POWER_ON ? NO_ERROR : state == POWER_OFF ? CONFLICT : TRACK_TRIPPED;
}

static int16_t set_speed(void)
{
	uint16_t address, step;
	bool forward, all_steps = true;
	TRY(number(0, 1, 10239, &address));
	if (parameters > 3)
		TRY(choice(3, steps28, steps128, &all_steps));
	TRY(number(1, 0, all_steps ? 126 : 28, &step));
	TRY(choice(2, reverse_word, forward_word, &forward));
	locomotive_t *l = locomotive_enter(address);
	if (!l)
		return MEMORY;
	l->steps = all_steps ? 128 : 28;
	l->step = step;
	l->forward = forward;
	if (HAS(EEPROM_WAIT))
		defect_keep(address, step);
	packet_speed(&packet, address, l->steps, step, forward, false);
	return send(address, SPEED);
}

static int16_t set_function(void)
{
	uint16_t address, function;
	bool on;
	TRY(number(0, 1, 10239, &address));
	TRY(number(1, 0, 28, &function));
	TRY(on_off(2, &on));
	locomotive_t *l = locomotive_enter(address);
	if (!l)
		return MEMORY;
	const uint8_t group = group_of(function);
	if (HAS(SHIFT_OF_INT))
		l->functions = on ? l->functions | (int16_t)(1 << function) : l->functions & ~(uint32_t)(int16_t)(1 << function);
	else if (on)
		l->functions |= 1UL << function;
	else
		l->functions &= ~(1UL << function);
	l->groups |= 1 << group;
	packet_functions(&packet, address, group, l->functions);
	return send(address, FUNCTIONS + group);
}

static int16_t release(void)
{
	uint16_t address;
	TRY(number(0, 1, 10239, &address));
	locomotive_release(address);
	scheduler_drop(address);
	return NO_ERROR;
}

/* A locomotive that the station does not know is stopped in 28 steps, which every decoder understands: S-9.2 B. */
static int16_t stop(void)
{
	if (word_is(parameter[0], all_word)) {
		locomotives_stop();
		scheduler_drop_motion();
		packet_stop_all(&packet);
		return send(EVERYBODY, STOP);
	}
	uint16_t address;
	TRY(number(0, 1, 10239, &address));
	locomotive_t *l = locomotive_find(address);
	packet_speed(&packet, address, l && l->steps ? l->steps : 28, 0, !l || l->forward, true);
	if (l)
		l->step = 0;
	scheduler_drop(address); /* what it was told before must not come after the stop */
	return send(address, STOP);
}

static int16_t accessory(void)
{
	uint16_t n;
	bool on;
	TRY(number(0, 1, 2044, &n));
	TRY(on_off(1, &on));
	TRY(main_ready());
	packet_accessory(&packet, n, on);
	return send(ACCESSORIES + ((n + 3) >> 2), ACCESSORY);
}

static int16_t aspect(void)
{
	uint16_t n, shown;
	TRY(number(0, 1, 2044, &n));
	TRY(number(1, 0, 255, &shown));
	TRY(main_ready());
	packet_aspect(&packet, n, shown);
	return send(ACCESSORIES + ((n + 3) >> 2), ACCESSORY);
}

static int16_t main_write(void)
{
	uint16_t address, cv, value;
	TRY(number(0, 1, 10239, &address));
	TRY(number(1, 1, 1024, &cv));
	TRY(number(2, 0, 255, &value));
	TRY(main_ready());
	packet_main_write(&packet, address, cv, value);
	return send(address, MAIN_WRITE);
}

/* --- power and current --- */

static uint8_t waits_for;

static int16_t is_off(void) { return track_powered(waits_for) ? BUSY : NO_ERROR; }

static int16_t set_power(void)
{
	bool on;
	TRY(output(0, &waits_for));
	TRY(on_off(1, &on));
	if (waits_for == PROGRAMMING)
		service_want(on);
	else if (!on)
		scheduler_drop(NOBODY);
	if (on) {
		power_on(waits_for);
		return NO_ERROR;
	}
	power_off(waits_for);
	resume = is_off;
	return is_off();
}

static int16_t power(void)
{
	uint8_t which;
	TRY(output(0, &which));
	const enum power state = power_state(which);
	return answer(state == POWER_ON ? on_word : state == POWER_OFF ? off_word : tripped_word);
}

static int16_t current(void)
{
	uint8_t which;
	TRY(output(0, &which));
	return answer_number(current_milliamperes(which));
}

/* --- the programming track --- */

static enum task asked;

static int16_t programmed(void)
{
	const enum outcome outcome = service_outcome();
	if (outcome == RUNNING || (!service_wanted() && track_powered(PROGRAMMING)))
		return BUSY;
	if (outcome == TRIPPED)
		return TRACK_TRIPPED;
	if (asked == VERIFY)
		return answer_number(outcome == ACKNOWLEDGED);
	if (outcome == NOT_ACKNOWLEDGED)
		return NO_ACKNOWLEDGE;
	return asked == READ ? answer_number(service_value()) : NO_ERROR;
}

static int16_t program(enum task task, enum method method, uint16_t cv, uint8_t bit, uint8_t value)
{
	if (power_state(PROGRAMMING) == POWER_TRIPPED && service_wanted())
		return TRACK_TRIPPED;
	asked = task;
	service_begin(task, method, cv, bit, value);
	resume = programmed;
	return BUSY;
}

static int16_t read_cv(void)
{
	uint16_t cv;
	TRY(number(0, 1, 1024, &cv));
	enum method by;
	TRY(method(1, &by));
	TRY(reaches(by, cv, 0));
	return program(READ, by, cv, 0, 0);
}

static int16_t write_or_verify(enum task task)
{
	uint16_t cv, value;
	TRY(number(0, 1, 1024, &cv));
	TRY(number(1, 0, 255, &value));
	enum method by;
	TRY(method(2, &by));
	TRY(reaches(by, cv, value));
	return program(task, by, cv, 0, value);
}

static int16_t write_cv(void) { return write_or_verify(WRITE); }
static int16_t verify_cv(void) { return write_or_verify(VERIFY); }

static int16_t write_bit(void)
{
	uint16_t cv, bit, value;
	TRY(number(0, 1, 1024, &cv));
	TRY(number(1, 0, 7, &bit));
	TRY(number(2, 0, 1, &value));
	return program(WRITE_BIT, DIRECT, cv, bit, value);
}

/* --- common commands, IEEE 488.2-1992 section 10 --- */

static const char identity[] PROGMEM = "bufferstop,reference firmware,0,1.0";

static int16_t identify(void) { return answer(identity); }

static int16_t both_off(void) { return track_powered(MAIN) || track_powered(PROGRAMMING) ? BUSY : NO_ERROR; }

static int16_t reset(void)
{
	scheduler_reset();
	service_want(false);
	power_off(MAIN);
	power_off(PROGRAMMING);
	resume = both_off;
	return both_off();
}

static int16_t clear(void)
{
	errors = 0;
	return NO_ERROR;
}

static int16_t sent(void)
{
	if (!scheduler_empty() && power_state(MAIN) == POWER_ON)
		return BUSY;
	return answer_number(1);
}

static int16_t complete(void)
{
	resume = sent;
	return sent();
}

/* --- errors --- */

static const char no_error_text[] PROGMEM = "No error";
static const struct {
	int16_t code;
	char text[24];
} error_text[] PROGMEM = {
	{DATA_TYPE, "Data type error"},  {TOO_MANY, "Parameter not allowed"}, {MISSING, "Missing parameter"},
	{UNDEFINED, "Undefined header"}, {CONFLICT, "Settings conflict"},     {RANGE, "Data out of range"},
	{ILLEGAL, "Illegal parameter value"}, {MEMORY, "Out of memory"},      {QUEUE, "Queue overflow"},
	{OVERRUN, "Input buffer overrun"}, {NO_ACKNOWLEDGE, "No acknowledge"}, {TRACK_TRIPPED, "Track tripped"},
};

static int16_t next_error(void)
{
	int16_t code = NO_ERROR;
	if (errors > 0) {
		code = error[0];
		memmove(error, error + 1, --errors * sizeof *error);
	}
	PGM_P text = no_error_text;
	for (uint8_t i = 0; i < sizeof error_text / sizeof *error_text; i++)
		if ((int16_t)pgm_read_word(&error_text[i].code) == code)
			text = error_text[i].text;
	answer_number(code);
	serial_put(',');
	serial_put('"');
	serial_flash(text);
	serial_put('"');
	return NO_ERROR;
}

/* --- the table of commands --- */

typedef struct {
	char header[20];
	uint8_t least, most; /* parameters */
	int16_t (*carry_out)(void);
} entry_t;

static const entry_t table[] PROGMEM = {
	{"*IDN?", 0, 0, identify},
	{"*RST", 0, 0, reset},
	{"*CLS", 0, 0, clear},
	{"*OPC?", 0, 0, complete},
	{"SYSTem:ERRor?", 0, 0, next_error},
	{"TRACk:POWer", 2, 2, set_power},
	{"TRACk:POWer?", 1, 1, power},
	{"TRACk:CURRent?", 1, 1, current},
	{"LOCOmotive:SPEed", 3, 4, set_speed},
	{"LOCOmotive:FUNCtion", 3, 3, set_function},
	{"LOCOmotive:RELease", 1, 1, release},
	{"LOCOmotive:STOP", 1, 1, stop},
	{"ACCessory:OUTPut", 2, 2, accessory},
	{"ACCessory:ASPect", 2, 2, aspect},
	{"CV:READ?", 1, 2, read_cv},
	{"CV:WRITe", 2, 3, write_cv},
	{"CV:VERify?", 2, 3, verify_cv},
	{"CV:BIT", 3, 3, write_bit},
	{"POM:WRITe", 3, 3, main_write},
};

/* The parts of a header one by one, each in its long or short form. */
static bool header_is(const char *header, PGM_P pattern)
{
	for (;;) {
		bool short_form = true;
		for (;; pattern++) {
			const char p = pgm_read_byte(pattern);
			if (islower(p) && short_form && (!*header || *header == ':' || *header == '?')) {
				while (islower(pgm_read_byte(pattern)))
					pattern++;
				break;
			}
			if (islower(p))
				short_form = false;
			if (toupper(p) != *header)
				return false;
			if (!p)
				return true;
			header++;
			if (p == ':') {
				pattern++;
				break;
			}
		}
	}
}

/* Cuts one unit off the line; SCPI-1999 volume 1, 6.2.4: a header without a colon begins where the one before it ended. */
static int16_t unit(char *text)
{
	while (*text == ' ')
		text++;
	if (!*text)
		return NO_ERROR;
	char *p = strchr(text, ' ');
	if (p)
		*p++ = 0;
	char header[HEADER];
	const uint8_t at = *text == ':' || *text == '*' ? 0 : strlen(path);
	if (*text == ':')
		text++;
	if (at + strlen(text) >= HEADER)
		return UNDEFINED;
	memcpy(header, path, at);
	strcpy(header + at, text);
	if (*header != '*') {
		strcpy(path, header);
		char *colon = strrchr(path, ':');
		path[colon ? colon - path + 1 : 0] = 0;
	}
	parameters = 0;
	while (p) {
		while (*p == ' ')
			p++;
		if (!*p && parameters == 0)
			break;
		char *comma = strchr(p, ',');
		if (comma)
			*comma = 0;
		for (char *end = p + strlen(p); end > p && end[-1] == ' ';)
			*--end = 0;
		if (parameters == PARAMETERS)
			return TOO_MANY;
		parameter[parameters++] = p;
		p = comma ? comma + 1 : NULL;
	}
	for (uint8_t i = 0; i < sizeof table / sizeof *table; i++) {
		if (!header_is(header, table[i].header))
			continue;
		if (parameters < pgm_read_byte(&table[i].least))
			return MISSING;
		if (parameters > pgm_read_byte(&table[i].most))
			return TOO_MANY;
		resume = hand_over;
		return ((int16_t(*)(void))pgm_read_word(&table[i].carry_out))();
	}
	return UNDEFINED;
}

/* Collects a line; true when it is complete. */
static bool collect(void)
{
	char c;
	while (serial_take(&c)) {
		if (c == '\n') {
			const bool whole = !too_long;
			if (!whole)
				raise(OVERRUN);
			line[length] = 0;
			length = 0;
			too_long = false;
			if (whole)
				return true;
		} else if (c == '\r' || c == '\t') {
			c = ' ';
			if (length < LINE)
				line[length++] = c;
		} else if (length < LINE) {
			line[length++] = toupper(c);
		} else {
			too_long = true;
		}
	}
	return false;
}

void language_start(void) { scheduler_reset(); }

/* Carries out one unit of a line, or goes on with one. */
void language_task(void)
{
	static bool waiting;
	int16_t code;
	if (serial_lost()) {
		raise(OVERRUN);
		too_long = true; /* a hole in a line: it is dropped as a whole */
	}
	if (waiting) {
		code = resume();
	} else if (!rest) {
		if (!collect())
			return;
		rest = line;
		*path = 0;
		answered = false;
		return;
	} else {
		char *text = rest;
		char *end = strchr(text, ';');
		rest = end ? end + 1 : text + strlen(text);
		if (end)
			*end = 0;
		code = unit(text);
	}
	waiting = code == BUSY;
	if (waiting)
		return;
	if (code != NO_ERROR)
		raise(code);
	if (!*rest) {
		rest = NULL;
		if (answered)
			serial_put('\n');
	}
}
