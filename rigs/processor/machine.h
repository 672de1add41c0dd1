//go:build simavr

/* A simulated microcontroller and what reaches its pins, its converter and its serial port from outside. It runs until
 * something happens that its owner has to see to, so that nothing calls back into Go. */
#ifndef MACHINE_H
#define MACHINE_H

#include <stddef.h>
#include <stdint.h>

enum { PORTS_MOST = 12, CHANGES_MOST = 4096, SENT_MOST = 512, LOG_MOST = 4096 };

/* What the pins of a watched port do: PORT & DDR, so that a pin which is no output counts as low. */
typedef struct {
	uint64_t cycle;
	char port; /* 'A' and up */
	uint8_t value;
	uint8_t more; /* the next change belongs to the same event: a reset makes inputs of all pins at once */
} machine_change;

typedef struct {
	uint64_t cycle;
	uint8_t byte;
} machine_sent;

/* Why a run ended. */
enum {
	RUN_TIME,    /* at the cycle asked for */
	RUN_CHANGES, /* the buffer of changes is nearly full, or there is one and it was to end then */
	RUN_CONVERT, /* the converter samples channel machine_channel now: tell it with machine_converted */
	RUN_SENT,    /* a byte was sent */
	RUN_STOPPED, /* the processor has stopped: see machine_state */
};

typedef struct machine machine;

/* Why there is no machine. */
typedef enum { NO_MEMORY, NO_PROCESSOR, NO_UART, NO_PORT } machine_trouble;

/* A processor whose ports of these letters are watched. A bare one has nothing attached but the receiving end of the UART, and
 * none of what is mended of simavr. Null when it cannot be, with the reason in trouble, and the port that there is not in
 * port. */
machine *machine_new(const char *mcu, uint32_t frequency, uint32_t millivolts, const char *watch, char uart, int bare,
		     machine_trouble *trouble, char *port);
void machine_free(machine *m);
/* Writes a part of the image into the flash. False when the memory for it is not there. */
int machine_load(machine *m, const uint8_t *bytes, uint32_t size, uint32_t address);
int machine_flash_size(machine *m);
int machine_has_channel(machine *m, int channel);  /* of the converter */
const char *machine_processor(int i);              /* the names that simavr knows, until null */

/* EEPROM contents; the size is how many bytes there are. */
int machine_eeprom_size(machine *m);
void machine_eeprom_get(machine *m, uint8_t *into, int size);
void machine_eeprom_set(machine *m, const uint8_t *bytes, int size);

/* Has simavr write its own trace of pins into a VCD file: prepare it, add each pin, and start it, from when on it goes until
 * the machine is freed. False when there is a trace already, no such pin, no room for more, or the file cannot be written. */
int machine_trace(machine *m, const char *file);
int machine_trace_pin(machine *m, char port, int bit, const char *name);
int machine_trace_start(machine *m);

int machine_run(machine *m, uint64_t until, int stop_when_sent);
/* Has runs end at every change of a watched port. */
void machine_stop_at_changes(machine *m);
/* The same processor with nothing around it, as the measure of what that costs: until the cycle. */
void machine_run_bare(machine *m, uint64_t until);
void machine_converted(machine *m, uint32_t millivolts);

/* What reaches the processor from outside, each at its cycle, whatever the order in which they are told: a level at a pin,
 * a character that is complete at the UART. False when there is no such pin, or no memory. */
int machine_set_pin(machine *m, uint64_t cycle, char port, int bit, int high);
int machine_receive(machine *m, uint64_t cycle, uint8_t byte);

/* What has gathered since these were last taken. The arrays stay where they are. */
const machine_change *machine_changes(machine *m, int *count);
const machine_sent *machine_sent_bytes(machine *m, int *count);

uint64_t machine_cycle(machine *m);
uint32_t machine_at(machine *m);   /* the instruction that was the last, in bytes */
uint32_t machine_next(machine *m); /* the one that comes next */
uint8_t machine_data(machine *m, uint32_t address); /* a byte of data memory, 0 beyond its end */
uint32_t machine_sp(machine *m);
int machine_channel(machine *m);
uint64_t machine_sampled_at(machine *m); /* the cycle of the sample for which the last run ended */
enum { MACHINE_RUNS, MACHINE_SLEEPS_FOR_EVER, MACHINE_CRASHED, MACHINE_INVALID, MACHINE_RAN_OFF };
int machine_state(machine *m);
uint32_t machine_resets(machine *m); /* that happened by themselves, as by the watchdog */
const char *machine_log(machine *m); /* the last things that simavr complained of */

#endif
