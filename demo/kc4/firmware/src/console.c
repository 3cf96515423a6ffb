#include "console.h"

#include "board.h"
#include "commands.h"
#include "text.h"

void console_greet(const struct app *app)
{
    command_version();
    text_put("settings ");
    text_line(settings_found_text(app->found));
    const char *problem = config_problem(&app->config);
    if (problem) {
        text_put("settings not used: ");
        text_line(problem);
    }
}

void console_poll(struct console *console, struct app *app)
{
    for (int next = board_console_get(); next >= 0; next = board_console_get()) {
        if (next == '\r' || next == '\n') {
            console->line[console->length] = '\0';
            console->length = 0;
            if (console->line[0] != '\0')
                command_run(app, console->line);
            return;
        } else if ((next == '\b' || next == 0x7F) && console->length > 0) {
            console->length--;
        } else if (next >= ' ' && next < 0x7F && console->length < sizeof console->line - 1) {
            console->line[console->length++] = (char)next;
        }
    }
}
