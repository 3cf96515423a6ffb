#ifndef KC4_COMMANDS_H
#define KC4_COMMANDS_H

#include "app.h"

/* Runs one command line, which is cut up in the course of it. */
void command_run(struct app *app, char *line);

void command_version(void);
void command_status(const struct app *app);

#endif
