/* What this image is, at a fixed place right after its vector table, for anyone who holds nothing but the image. */
#ifndef KC4_IDENTITY_H
#define KC4_IDENTITY_H

#include <stdint.h>

struct identity {
    char magic[8]; /* "KC4-ID", then NULs */
    uint16_t major;
    uint16_t minor;
    char board; /* 'C', 'D' or 'Q' */
    uint8_t reserved[3];
    char text[8]; /* the version as people write it, filled up with NULs */
};

extern const struct identity kc4_identity;

#endif
