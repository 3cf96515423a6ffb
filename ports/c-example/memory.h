/* The five routines of string.h that the example uses, as ISO C (C99, 7.21) declares them. A compiler for bare metal need not
 * come with a C library: Debian's gcc-arm-none-eabi only recommends one. On a unit, packstaff's library defines the first three
 * and platform_mps2.c the others. */
#ifndef MEMORY_H
#define MEMORY_H

#include <stddef.h>

void *memcpy(void *restrict to, const void *restrict from, size_t count);
void *memset(void *to, int value, size_t count);
int memcmp(const void *one, const void *other, size_t count);
size_t strlen(const char *text);
int strncmp(const char *a, const char *b, size_t len);

#endif
