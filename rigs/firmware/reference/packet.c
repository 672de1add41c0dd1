#include "packet.h"

static void begin(packet_t *p) { p->length = 0; p->cue = NO_CUE; }

static void add(packet_t *p, uint8_t byte) { p->bytes[p->length++] = byte; }

/* The error byte is the exclusive or of all bytes before it: S-9.2 A (July 2004). */
static void seal(packet_t *p)
{
	uint8_t error = 0;
	for (uint8_t i = 0; i < p->length; i++)
		error ^= p->bytes[i];
	add(p, error);
}

/* Addresses: S-9.2.1 A (July 2012). A long one has the high byte first, with two ones before it. */
static void address(packet_t *p, address_t a)
{
	begin(p);
	if (a >= 128)
		add(p, 0xC0 | a >> 8);
	add(p, (uint8_t)a);
}

void packet_idle(packet_t *p)
{
	begin(p);
	add(p, 0xFF);
	add(p, 0);
	seal(p);
}

void packet_reset(packet_t *p)
{
	begin(p);
	add(p, 0);
	add(p, 0);
	seal(p);
}

/* Emergency stop for every locomotive: S-9.2 B (July 2004), 01DC0001 with the direction bit to be ignored. */
void packet_stop_all(packet_t *p)
{
	begin(p);
	add(p, 0);
	add(p, 0x71);
	seal(p);
}

/* S-9.2 B and S-9.2.1 C: 28 steps as 01DCSSSS, of which stop is 0 and the emergency stop 1; 128 steps as 00111111 and a
 * byte with the direction. */
void packet_speed(packet_t *p, address_t a, uint8_t steps, uint8_t step, bool forward, bool emergency)
{
	address(p, a);
	if (steps == 28) {
		uint8_t code = emergency ? 1 : 0; /* with the fifth bit, C, as the lowest: 00000 and 00001 stop at once or slowly */
		uint8_t speed = 0x40 | code;
		if (!emergency && step > 0) {
			uint8_t n = step + 3; /* step 1 is 00010 with C = 0 */
			speed = 0x40 | n >> 1 | (n & 1) << 4;
		}
		add(p, forward ? speed | 0x20 : speed);
	} else {
		uint8_t speed = emergency ? 1 : step == 0 ? 0 : step + 1;
		add(p, 0x3F);
		add(p, forward ? speed | 0x80 : speed);
	}
	seal(p);
}

uint8_t group_of(uint8_t function)
{
	return function <= 4 ? 0 : function <= 8 ? 1 : function <= 12 ? 2 : function <= 20 ? 3 : 4;
}

/* S-9.2.1 C: groups one and two, and the feature expansion. */
void packet_functions(packet_t *p, address_t a, uint8_t group, uint32_t states)
{
	address(p, a);
	switch (group) {
	case 0: /* 100, F0, F4 to F1 */
		add(p, 0x80 | (states & 1) << 4 | (states >> 1 & 0x0F));
		break;
	case 1:
		add(p, 0xB0 | (states >> 5 & 0x0F));
		break;
	case 2:
		add(p, 0xA0 | (states >> 9 & 0x0F));
		break;
	case 3:
		add(p, 0xDE);
		add(p, states >> 13);
		break;
	default:
		add(p, 0xDF);
		add(p, states >> 21);
	}
	seal(p);
}

/* Number 1 is raw address 4, and the last four numbers are raw addresses 0 to 3: RCN-213. */
static uint16_t raw_address(uint16_t number) { return number <= 2040 ? number + 3 : number - 2041; }

/* 10AAAAAA 1AAACDDR with the high address bits inverted: S-9.2.1 D (July 2012). */
void packet_accessory(packet_t *p, uint16_t number, bool output)
{
	const uint16_t raw = raw_address(number);
	const uint16_t decoder = raw >> 2;
	begin(p);
	add(p, 0x80 | (decoder & 0x3F));
	add(p, 0x88 | (~decoder >> 2 & 0x70) | (raw & 3) << 1 | output);
	seal(p);
}

/* 10AAAAAA 0AAA0AA1 000XXXXX: S-9.2.1 D (July 2012). */
void packet_aspect(packet_t *p, uint16_t number, uint8_t aspect)
{
	const uint16_t raw = raw_address(number);
	const uint16_t decoder = raw >> 2;
	begin(p);
	add(p, 0x80 | (decoder & 0x3F));
	add(p, 0x01 | (~decoder >> 2 & 0x70) | (raw & 3) << 1);
	add(p, aspect);
	seal(p);
}

/* A CV is counted from 1 and sent from 0. Long form, 1110CCVV: S-9.2.1 C. */
void packet_main_write(packet_t *p, address_t a, uint16_t cv, uint8_t value)
{
	cv--;
	address(p, a);
	add(p, 0xEC | cv >> 8);
	add(p, (uint8_t)cv);
	add(p, value);
	seal(p);
}

static void direct(packet_t *p, uint8_t instruction, uint16_t cv, uint8_t data)
{
	cv--;
	begin(p);
	add(p, 0x70 | instruction << 2 | cv >> 8); /* 0111CCAA AAAAAAAA DDDDDDDD */
	add(p, (uint8_t)cv);
	add(p, data);
	seal(p);
}

void packet_verify(packet_t *p, uint16_t cv, uint8_t value) { direct(p, 1, cv, value); }
void packet_write(packet_t *p, uint16_t cv, uint8_t value) { direct(p, 3, cv, value); }

/* Bit manipulation: 111KDBBB. */
void packet_bit(packet_t *p, uint16_t cv, uint8_t bit, bool value, bool write)
{
	direct(p, 2, cv, 0xE0 | write << 4 | value << 3 | bit);
}

/* 0111CRRR DDDDDDDD. */
void packet_register(packet_t *p, bool write, uint8_t which, uint8_t value)
{
	begin(p);
	add(p, 0x70 | write << 3 | which);
	add(p, value);
	seal(p);
}
