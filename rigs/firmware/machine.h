//go:build simavr

/* A simulated microcontroller with what hangs on its pins: the side of the firmware rig that is next to simavr. It runs
 * until something happens that the rig has to see to, so that nothing calls back into Go. */
#ifndef MACHINE_H
#define MACHINE_H

#include <stddef.h>
#include <stdint.h>

enum { OUTPUTS_MOST = 2, PORTS_MOST = 12, EDGES_MOST = 4096, SENT_MOST = 512, LOG_MOST = 4096 };

/* A pin of a port; port 0 for none. */
typedef struct {
	char port; /* 'A' and up */
	uint8_t bit;
	uint8_t inverted; /* low is what the name says */
} machine_pin;

/* How an output is driven: direction with enable and brake, or two pins of which one is high for one polarity and the
 * other for the other. */
typedef struct {
	machine_pin direction, enable, brake;
	machine_pin positive, negative;
} machine_output;

/* Levels, as harness/signal has them. */
enum { LEVEL_OFF, LEVEL_POSITIVE, LEVEL_NEGATIVE };

typedef struct {
	uint64_t cycle;
	uint8_t output, level;
} machine_edge;

typedef struct {
	uint64_t cycle;
	uint8_t byte;
} machine_sent;

/* Why a run ended. */
enum {
	RUN_TIME,    /* at the cycle asked for */
	RUN_EDGES,   /* the buffer of edges is full */
	RUN_CONVERT, /* the converter samples channel `channel` now: tell it with machine_converted */
	RUN_SENT,    /* a byte was sent */
	RUN_STOPPED, /* the processor has stopped: see machine_state */
};

typedef struct machine machine;

/* Why there is no machine. */
typedef enum { NO_MEMORY, NO_PROCESSOR, NO_UART, NO_PORT } machine_trouble;

/* A processor and at most OUTPUTS_MOST outputs. Without any, nothing is attached but the receiving end of the UART. Null when
 * it cannot be, with the reason in trouble, and the port that there is not in port. */
machine *machine_new(const char *mcu, uint32_t frequency, uint32_t millivolts, const machine_output *outputs, int count,
		     char uart, machine_trouble *trouble, char *port);
void machine_free(machine *m);
/* Writes a part of the image into the flash. False when the memory for it is not there. */
int machine_load(machine *m, const uint8_t *bytes, uint32_t size, uint32_t address);
int machine_flash_size(machine *m);
int machine_has_channel(machine *m, int channel);  /* of the converter */
const char *machine_processor(int i);              /* the names that simavr knows, until null */

/* EEPROM contents; both return how many bytes there are. */
int machine_eeprom_size(machine *m);
void machine_eeprom_get(machine *m, uint8_t *into, int size);
void machine_eeprom_set(machine *m, const uint8_t *bytes, int size);

/* Has simavr write its own trace of the outputs' pins into a VCD file, from now until the machine is freed. False when the
 * file cannot be written. */
int machine_trace(machine *m, const char *file);

int machine_run(machine *m, uint64_t until, int stop_when_sent);
/* The same processor with nothing of the rig around it, as the measure of what the rig costs: until the cycle. */
void machine_run_bare(machine *m, uint64_t until);
void machine_converted(machine *m, uint32_t millivolts);
void machine_receive(machine *m, uint8_t byte); /* a byte has arrived at the UART */

/* What has gathered since these were last taken. The arrays stay where they are. */
const machine_edge *machine_edges(machine *m, int *count);
const machine_sent *machine_sent_bytes(machine *m, int *count);

uint64_t machine_cycle(machine *m);
uint32_t machine_at(machine *m);   /* the instruction that was the last, in bytes */
uint32_t machine_next(machine *m); /* the one that comes next */
uint32_t machine_sp(machine *m);
int machine_channel(machine *m);
enum { MACHINE_RUNS, MACHINE_SLEEPS_FOR_EVER, MACHINE_CRASHED, MACHINE_INVALID, MACHINE_RAN_OFF };
int machine_state(machine *m);
uint32_t machine_resets(machine *m); /* that happened by themselves, as by the watchdog */
const char *machine_log(machine *m); /* the last things that simavr complained of */

#endif
