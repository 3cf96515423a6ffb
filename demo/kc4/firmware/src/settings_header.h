/* What every layout of the settings has in common: a header before it and a CRC-32 after it.
   All numbers are little-endian, as the Cortex-M4 keeps them; no layout has padding that the compiler chose. */
#ifndef KC4_SETTINGS_HEADER_H
#define KC4_SETTINGS_HEADER_H

#include <stdint.h>

#define KC4_SETTINGS_MAGIC 0x5334434Bu /* the bytes "KC4S" */

struct kc4_settings_header {
    uint32_t magic;
    uint16_t layout;     /* which layout follows: KC4_LAYOUT_... */
    uint16_t length;     /* of the whole record in bytes, this header and the CRC included */
    uint32_t generation; /* one more at every save; of two whole copies the higher one counts */
};

enum {
    KC4_LAYOUT_1_8 = 0x0108,
    KC4_LAYOUT_2_0 = 0x0200,
    KC4_LAYOUT_2_1 = 0x0201,
};

#define KC4_AT(type, field, offset) _Static_assert(offsetof(type, field) == (offset), #type "." #field " has moved")

#endif
