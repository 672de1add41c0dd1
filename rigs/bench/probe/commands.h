/* What the host asks for. */
#ifndef COMMANDS_H
#define COMMANDS_H

void commands_start(void);
void commands_task(void);

#endif
