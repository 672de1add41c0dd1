/* The programming track: the methods of S-9.2.3 E (July 2012). */
#ifndef SERVICE_H
#define SERVICE_H

#include <stdbool.h>
#include <stdint.h>

enum method { DIRECT, PAGED, REGISTER, ADDRESS };
enum task { READ, VERIFY, WRITE, WRITE_BIT };
enum outcome { RUNNING, ACKNOWLEDGED, NOT_ACKNOWLEDGED, TRIPPED };

/* The register that the register method has for a CV, counted from 0; NO_SUCH_REGISTER if none. */
enum { NO_SUCH_REGISTER = 0xFF };
uint8_t service_register(uint16_t cv);

/* One operation at a time; a bit's value is 0 or 1, and it is written by direct mode alone. */
void service_begin(enum task task, enum method method, uint16_t cv, uint8_t bit, uint8_t value);
enum outcome service_outcome(void);
uint8_t service_value(void); /* what was read */

void service_want(bool power); /* power between operations */
bool service_wanted(void);
bool service_tripped(void);    /* ends the operation; true when the power is no longer wanted */
void service_task(void);

#endif
