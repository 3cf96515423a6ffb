/* The board that host tests link: a settings memory whose power can be cut inside any write, the kiln model, and a
   console that is a pair of buffers. */
#ifndef KC4_BENCH_BOARD_H
#define KC4_BENCH_BOARD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "kiln_model.h"

enum { BENCH_MEMORY = 32768, BENCH_PAGE = 64 };

struct bench {
    uint8_t memory[BENCH_MEMORY];
    long bytes_until_cut; /* -1: no cut */
    bool powered;         /* false after the cut: the memory is silent until the power is back */
    struct kiln_model kiln;
    bool heater, contactor, converter_silent;
    bool heater_ever; /* both outputs were on at one time */
    uint32_t now_ms;
    char said[32768];
    size_t said_length;
    const char *typed;
};

extern struct bench bench;

void bench_new(void);       /* a new unit, powered, memory erased */
void bench_power_on(void);  /* after a cut */
void bench_forget(void);    /* what was said so far */

#endif
