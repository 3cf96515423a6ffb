/*
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#include "bench.h"
#include "board.h"
#include "loader.h"

/* What is static is all that an update needs: this, the configuration, and the stack. */
static struct loader loader;

int main(void)
{
    if (board_begin())
        bench_serve(&loader);
    else
        loader_run(&loader, board_config());
    return 0;
}
