#include "app.h"
#include "board.h"
#include "console.h"
#include "identity.h"
#include "version.h"

#ifndef KC4_BOARD
#error "say which board: -DKC4_BOARD='C', 'D' or 'Q' in quotes"
#endif

__attribute__((section(".identity"), used)) const struct identity kc4_identity = {
    .magic = "KC4-ID",
    .major = KC4_VERSION_MAJOR,
    .minor = KC4_VERSION_MINOR,
    .board = KC4_BOARD,
    .text = KC4_VERSION_TEXT,
};

static struct app app;
static struct console console;

int main(void)
{
    board_start();
    app_start(&app);
    board_watchdog_start();
    console_greet(&app);
    for (;;) {
        console_poll(&console, &app);
        app_poll(&app);
        board_wait();
    }
}
