/* The serial console: 115200 baud, one command a line. 'help' lists them. */
#ifndef KC4_CONSOLE_H
#define KC4_CONSOLE_H

#include <stddef.h>

#include "app.h"

struct console {
    char line[64];
    size_t length;
};

/* Prints what this is and what it found: the first thing after a start. */
void console_greet(const struct app *app);

/* Takes what was typed; runs a command when a line is whole. */
void console_poll(struct console *console, struct app *app);

#endif
