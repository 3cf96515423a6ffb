/* The three functions that GCC may call even in freestanding code. */
#include "memory.h"

void *memcpy(void *restrict to, const void *restrict from, size_t length)
{
    unsigned char *t = to;
    const unsigned char *f = from;
    while (length-- > 0)
        *t++ = *f++;
    return to;
}

void *memset(void *to, int value, size_t length)
{
    unsigned char *t = to;
    while (length-- > 0)
        *t++ = (unsigned char)value;
    return to;
}

int memcmp(const void *left, const void *right, size_t length)
{
    const unsigned char *l = left;
    const unsigned char *r = right;
    for (; length > 0; length--, l++, r++) {
        if (*l != *r)
            return *l < *r ? -1 : 1;
    }
    return 0;
}
