/*
 * What the rest of the example knows of this board.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#ifndef BOARD_H
#define BOARD_H

#include "drivers.h"

/* Where the installer itself lies: nothing ever changes it. */
extern const struct packstaff_range board_installer;

/* What a judge lends a unit for the time of its test. */
struct board_identity {
    uint8_t vendor[16];
    uint8_t class_id[16];
    uint8_t sibling[16];
    uint8_t signing_key[32];
    uint8_t unit_key[32];
};

/* Takes the flash out of its file, and reads the script; whether the script says `serve`. */
bool board_begin(void);
/* Takes a judge's identity. */
void board_become(const struct board_identity *identity);
/* What stands on the screen. */
const char *board_shown(void);

#endif
