/* The serial line to the host: 115200 baud, 8 data bits, no parity, 1 stop bit. */
#ifndef SERIAL_H
#define SERIAL_H

#include <stdbool.h>
#include <stdint.h>

void serial_start(void);
bool serial_take(char *c);   /* the next character that has come */
bool serial_lost(void);      /* characters were lost since the last call */
void serial_put(char c);     /* waits while there is no room */
void serial_text(const char *text);
void serial_flash(const char *text); /* text in flash memory */
void serial_number(int16_t n);

#endif
