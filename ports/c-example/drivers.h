/*
 * What a maker writes for a board. Everything that the installer asks for ends in one of these functions; all of them are blocking.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#ifndef DRIVERS_H
#define DRIVERS_H

#include <stdbool.h>
#include <stdint.h>

#include "packstaff_installer.h"

/* ---- flash. false: the part reported an error, or the range is not in flash ---- */

/* Reads what the cells hold. A part that raises a fault where check bits do not fit must catch it and give false. */
bool flash_read(uint32_t address, uint8_t *to, uint32_t len);
/* Erases the one sector that begins at `address`, and waits until that is done. */
bool flash_erase(uint32_t address);
/* Programs whole granules, upward, and waits until that is done. */
bool flash_program(uint32_t address, const uint8_t *data, uint32_t len);

/* ---- the stick, in blocks of 512 bytes ---- */

/* Waits until a stick is up, or it is clear that there is none. */
bool stick_find(uint64_t *blocks);
bool stick_read(uint64_t block, uint8_t *to);

/* ---- the owner: two screens ---- */

/* Shows text; a new line begins at '\n'. */
void screen_show(const char *text);
/* Waits for the owner to press a button: the row that is picked, or PACKSTAFF_NO_ROW. */
uint32_t owner_picks(struct packstaff_installer *machine);
/* Waits until the owner has changed something. This example's owner gives up: it does not return then. */
void owner_changes_something(void);

/* ---- the image ---- */

/* Starts the image whose vector table lies at `address`, with the processor as after a reset. */
void image_start(uint32_t address);

/* ---- the board itself ---- */

/* Who this unit is; written by the factory. */
const struct packstaff_config *board_config(void);
/* Stops: something is wrong with the loader itself. */
void board_stop(const char *why);

#endif
