/* The serial console: 9600 baud, one command a line. 'help' lists them. */
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

/* Takes what was typed, up to the end of a line, and runs that line. One command a call, so that several pasted at once
   cannot keep the control loop, and the watchdog, waiting. */
void console_poll(struct console *console, struct app *app);

#endif
