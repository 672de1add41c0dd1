//go:build simavr

/* What the parts of a machine know of each other. */
#ifndef INSIDE_H
#define INSIDE_H

#include "machine.h"

#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_timer.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_cycle_timers.h>
#include <simavr/sim_vcd_file.h>

typedef struct {
	machine *owner;
	char name;
	uint8_t port, ddr, value;
	avr_irq_t *written, *turned;
} watched_port;

/* A stretch of flash with code of the image. */
typedef struct {
	uint32_t from, size;
} stretch;

/* Something that reaches the processor from outside. */
typedef struct {
	uint64_t cycle;
	avr_ioport_t *port; /* null for a character */
	uint8_t bit, value;
} outside;

/* A register that is read or written in another way than simavr has it, and simavr's own way. */
typedef struct {
	machine *owner;
	void *what;
	avr_io_write_t write;
	avr_io_read_t read;
	void *param;
} wrap;

/* A timer of 16 bits. */
typedef struct {
	avr_timer_t *timer;
	uint8_t temp; /* the high byte on its way */
	uint8_t high; /* the captured one, */
	uint8_t kept; /* if the register has lost it */
} wide_timer;

/* What can start a conversion. */
typedef struct {
	machine *owner;
	avr_adts_type source;
	const avr_timer_t *timer; /* or null */
	const avr_timer_comp_t *compare; /* of the timer, or null for its overflow */
} trigger;

enum { TRIGGERS_MOST = 8 };

enum { WRAPS_MOST = 256, WIDE_MOST = 6 };

struct machine {
	avr_t *avr;
	int bare;
	watched_port port[PORTS_MOST];
	int ports;

	stretch *code, here; /* all of the image, and the one that runs */
	uint32_t codes, room;
	uint32_t at;          /* the last instruction */
	int invalid, ran_off; /* the processor has met something that is no instruction, or left the image */
	int fresh;            /* nothing has run since the supply came, or since a reset */
	int was_reset;        /* simavr has only just come out of a reset */

	machine_change change[CHANGES_MOST];
	int changes, stop_at_changes;
	machine_sent sent[SENT_MOST];
	int sents;

	outside *coming; /* in ascending order of cycle, from `next` on */
	uint32_t comings, next_coming, coming_room;

	avr_uart_t *uart;
	int simple;            /* it is simavr's own */
	uint8_t baud_high;     /* UBRRnH */
	uint8_t shifting;      /* a character is on its way out, */
	uint8_t holding, held; /* and this one comes next */
	uint8_t received[3];
	uint8_t receiveds;

	wrap wrapped[WRAPS_MOST];
	int wraps;
	wide_timer wide[WIDE_MOST];
	int wides;
	int entered; /* an interrupt has just begun, and takes so many cycles for it */

	avr_adc_t *adc;       /* null for a processor without a converter */
	avr_eeprom_t *eeprom; /* null for a processor without one */
	int eeprom_busy;      /* a byte is being written */
	int channel;          /* that is being converted */
	int triggered;        /* the conversion starts by itself */
	trigger trigger[TRIGGERS_MOST];
	int triggers;
	uint64_t sampled_at;
	uint32_t sampled;     /* millivolts */
	int convert, stop;    /* why the run has to end */
	uint32_t resets;
	void (*reset_before)(avr_t *avr);
	avr_vcd_t *trace;
	char log[LOG_MOST];
};

/* The first part of the processor of a kind, as simavr calls it; null for none. */
void *part_of(avr_t *avr, const char *kind);

/* pins.c */
avr_ioport_t *port_called(avr_t *avr, char name); /* null for none */
int watch_port(machine *m, char name);
void attach_pins(machine *m);
void pins_were_reset(machine *m);
void pins_after_reset(machine *m);
void outside_due(machine *m); /* lets happen what should have by now, and waits for the next */

/* converter.c */
void attach_converter(machine *m);

/* eeprom.c */
void attach_eeprom(machine *m);

/* serial.c */
int attach_serial(machine *m, char name);
void serial_receive(machine *m, uint8_t byte);
void serial_after_reset(machine *m);

/* compare.c: before timers.c, which puts together what it looks at */
void attach_compares(machine *m);

/* timers.c */
void attach_timers(machine *m);
void timers_after_reset(machine *m);

/* interrupts.c: after all others, since it wraps their registers */
void attach_interrupts(machine *m);
void interrupts_after_reset(machine *m);

/* registers.c */
void wrap_write(machine *m, avr_io_addr_t address, avr_io_write_t write, void *what);
void wrap_read(machine *m, avr_io_addr_t address, avr_io_read_t read, void *what);
void write_under(const wrap *w, avr_io_addr_t address, uint8_t value); /* as simavr does it */
uint8_t read_under(const wrap *w, avr_io_addr_t address);
/* What of a value is written by the present instruction to a register of flags. simavr has sbi read the register and write all of
 * it back. The part changes one bit: data sheet of the ATmega328P, "Register Summary", note 3. */
uint8_t bits_written(const avr_t *avr, uint8_t value);

#endif
