/* Declared here because a freestanding build has no string.h. */
#ifndef KC4_MEMORY_H
#define KC4_MEMORY_H

#include <stddef.h>

void *memcpy(void *restrict to, const void *restrict from, size_t length);
void *memset(void *to, int value, size_t length);
int memcmp(const void *left, const void *right, size_t length);

#endif
