/*
 * What the simulated board stands on: memory that lasts, files of the host, a serial line. A real board has its parts instead.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#ifndef PLATFORM_H
#define PLATFORM_H

#include <stdbool.h>
#include <stdint.h>

/* The file `name` of the host's folder; a negative number if there is none. `change`: it will be written to. */
intptr_t platform_open(const char *name, bool change);
uint32_t platform_len(intptr_t file);
/* All of `len` bytes at `at`, or false. */
bool platform_read(intptr_t file, uint32_t at, void *to, uint32_t len);
bool platform_write(intptr_t file, uint32_t at, const void *from, uint32_t len);

/* Prints for whoever watches; not while a judge has the line, which may be the same one. */
void platform_print(const char *text);

/* The serial line: one character. */
int platform_line_get(void);
void platform_line_put(char character);

/* The cells at `address`, `len` bytes; null if they are not flash, or the installer's own. */
uint8_t *platform_cells(uint32_t address, uint32_t len);

/* Gives the processor to an image. */
void platform_start(uint32_t address);
/* Leaves: 0 if all went well. */
void platform_leave(int code);
/* The supply goes. */
void platform_cut(void);

#endif
