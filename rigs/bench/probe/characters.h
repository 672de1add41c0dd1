/* The serial port while nothing is sent: with UDRIE0 beside it, something is. */
#ifndef CHARACTERS_H
#define CHARACTERS_H

#define CHARACTERS_IN (1 << RXCIE0 | 1 << RXEN0 | 1 << TXEN0)

#endif
