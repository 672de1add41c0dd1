/* The currents of the two outputs: overload watch and telemetry. */
#ifndef CURRENT_H
#define CURRENT_H

#include <stdbool.h>
#include <stdint.h>

void current_start(void);
void current_forget(uint8_t output); /* when the output is switched on */
uint16_t current_milliamperes(uint8_t output);

#endif
