/*
 * The calls that a maker's own loader makes, so that Packstaff can rehearse it.
 *
 * A loader is the code that runs when power comes on: it looks at the firmware, looks for a stick, perhaps installs, and starts
 * the firmware. Written against the functions below, the same source serves twice:
 *
 *   - on the unit, where you write these functions over your flash and USB drivers;
 *   - in the rehearsal, compiled to WebAssembly, where Packstaff provides them over a simulated flash and simulated sticks, and
 *     cuts the power at every one of them.
 *
 * The loader provides `loader_boot`. It is called once each time that power comes on, with all variables as the C language
 * initialises them: nothing but flash outlives a cut. It never returns; it ends in `packstaff_start` or `packstaff_wait`.
 *
 * What a call means
 * -----------------
 * Calls that read or change return PACKSTAFF_DONE or PACKSTAFF_FAILED; treat anything but PACKSTAFF_DONE as failed.
 * Addresses are addresses of the unit's flash as the processor sees it. Buffers need no alignment.
 *
 * A cut may come before, inside and after every erase and every program. The call does not return then; the next thing that
 * happens is `loader_boot`. What an interrupted program or erase leaves in the cells is the flash's affair: granules that are
 * missing, half programmed, unreadable, or different at each read; a sector that is half erased, or looks erased and is not.
 * Reads are not changes: a cut there is the same as one before the next change.
 *
 * In the rehearsal, a loader whose request the part would not carry out (a second program of a granule, part of a granule, an
 * address that is not a sector's first, a range outside the part) has failed its rehearsal: on the unit, nobody answers for
 * what happens then.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#ifndef PACKSTAFF_LOADER_H
#define PACKSTAFF_LOADER_H

#include <stdint.h>

#if defined(__wasm__)
#define PACKSTAFF_CALL(name) __attribute__((import_module("packstaff"), import_name(#name)))
#define PACKSTAFF_BOOT __attribute__((export_name("loader_boot")))
#else
#define PACKSTAFF_CALL(name)
#define PACKSTAFF_BOOT
#endif

#ifdef __cplusplus
#define PACKSTAFF_NORETURN [[noreturn]]
extern "C" {
#else
#define PACKSTAFF_NORETURN _Noreturn
#endif

#define PACKSTAFF_DONE 0
#define PACKSTAFF_FAILED 1

/* Bytes of a block of the stick. */
#define PACKSTAFF_BLOCK 512

/*
 * Why the unit waits. The unit's display may show more; the rehearsal tells by these. Each has a counterpart among the reason
 * codes of Packstaff's own installer, given here, so that a story reads the same for both.
 */
enum packstaff_reason {
    PACKSTAFF_NO_FIRMWARE = 1,       /* U1: new, or an install was cut short */
    PACKSTAFF_FIRMWARE_DAMAGED = 2,  /* U2 */
    PACKSTAFF_FLASH_FAULT = 3,       /* U3: flash could not be erased or programmed */
    PACKSTAFF_FLASH_DIFFERS = 4,     /* U4: flash does not hold what was programmed */
    PACKSTAFF_STICK_UNREADABLE = 5,  /* S1 */
    PACKSTAFF_NO_UPDATE = 6,         /* S2: nothing on the stick, or nothing that is an update */
    PACKSTAFF_STICK_CHANGED = 7,     /* S3: the stick does not answer as it did before */
    PACKSTAFF_UPDATE_DAMAGED = 8,    /* F20: the update is damaged, or not genuine */
    PACKSTAFF_OTHER_PRODUCT = 9,     /* N2 */
    PACKSTAFF_BARRED = 10,           /* N4: an old version that the maker has barred */
    PACKSTAFF_TOO_LARGE = 11         /* N5 */
};

/* ---- what the loader provides ---- */

/* Power has come on. Never returns. */
PACKSTAFF_BOOT void loader_boot(void);

/* ---- what the unit provides ---- */

/*
 * Reads `len` bytes of flash from `address` into `to`. PACKSTAFF_FAILED where the part reports that check bits do not fit; `to` is
 * as before then. On a part whose bus stops the processor at such a read, your function has to catch that.
 */
PACKSTAFF_CALL(flash_read) int packstaff_flash_read(uint32_t address, void *to, uint32_t len);

/*
 * Whether all of `len` bytes from `address` read as erased: 1 if so, else 0, also where they cannot be read. That they read as
 * erased does not say that they are: an erase that was cut short can leave cells that only look so.
 */
PACKSTAFF_CALL(flash_blank) int packstaff_flash_blank(uint32_t address, uint32_t len);

/* Erases the sector whose first address is `address`. */
PACKSTAFF_CALL(flash_erase) int packstaff_flash_erase(uint32_t address);

/*
 * Programs `len` bytes from `from` at `address`; both `address` and `len` are multiples of the part's granule, and `len` is not 0.
 * Your function may program the granules one after the other or through a page buffer: the rehearsal lets a cut leave out any.
 */
PACKSTAFF_CALL(flash_program) int packstaff_flash_program(uint32_t address, const void *from, uint32_t len);

/* How many blocks the stick has; 0 if there is no stick. */
PACKSTAFF_CALL(stick_blocks) uint32_t packstaff_stick_blocks(void);

/* Reads one block of the stick into `to`, PACKSTAFF_BLOCK bytes. PACKSTAFF_FAILED if it cannot be read, or there is no stick. */
PACKSTAFF_CALL(stick_read) int packstaff_stick_read(uint32_t block, void *to);

/* Starts the firmware whose first byte lies at `address`. */
PACKSTAFF_NORETURN PACKSTAFF_CALL(start) void packstaff_start(uint32_t address);

/* Tells the owner why, and does nothing more until power has gone and come on again. */
PACKSTAFF_NORETURN PACKSTAFF_CALL(wait) void packstaff_wait(enum packstaff_reason reason);

#ifdef __cplusplus
}
#endif

#endif
