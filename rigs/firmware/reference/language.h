/* The language of the station: lines of IEEE 488.2 messages in SCPI syntax, answered by lines. */
#ifndef LANGUAGE_H
#define LANGUAGE_H

void language_start(void);
void language_task(void);

#endif
