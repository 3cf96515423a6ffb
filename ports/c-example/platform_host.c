/*
 * The platform on a computer: standard files, and the serial line on standard input and output.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#include <stdio.h>
#include <stdlib.h>

#include "platform.h"

enum { FIRST = 0x8000, LAST = 0x80000 };

static uint8_t cells[LAST - FIRST];

intptr_t platform_open(const char *name, bool change)
{
    FILE *file = fopen(name, change ? "r+b" : "rb");
    if (file == NULL)
        return -1;
    /* What was written must be there if the process is killed. */
    setvbuf(file, NULL, _IONBF, 0);
    return (intptr_t)file;
}

uint32_t platform_len(intptr_t file)
{
    if (fseek((FILE *)file, 0, SEEK_END) != 0)
        return 0;
    long len = ftell((FILE *)file);
    return len < 0 ? 0 : (uint32_t)len;
}

bool platform_read(intptr_t file, uint32_t at, void *to, uint32_t len)
{
    return fseek((FILE *)file, (long)at, SEEK_SET) == 0 && fread(to, 1, len, (FILE *)file) == len;
}

bool platform_write(intptr_t file, uint32_t at, const void *from, uint32_t len)
{
    return fseek((FILE *)file, (long)at, SEEK_SET) == 0 && fwrite(from, 1, len, (FILE *)file) == len;
}

void platform_print(const char *text)
{
    fputs(text, stderr);
}

int platform_line_get(void)
{
    int character = getchar();
    return character == EOF ? -1 : character;
}

void platform_line_put(char character)
{
    putchar(character);
    if (character == '\n')
        fflush(stdout);
}

uint8_t *platform_cells(uint32_t address, uint32_t len)
{
    if (address < FIRST || address > LAST || len > LAST - address)
        return NULL;
    return cells + (address - FIRST);
}

void platform_start(uint32_t address)
{
    fprintf(stderr, "image at %08lx\n", (unsigned long)address);
    exit(0);
}

void platform_leave(int code)
{
    exit(code);
}

void platform_cut(void)
{
    platform_print("power cut\n");
    exit(0);
}
