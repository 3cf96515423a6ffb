/* Any byte-addressed settings memory. Both calls return false when the memory does not answer. */
#ifndef KC4_EEPROM_H
#define KC4_EEPROM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct eeprom {
    void *context;
    bool (*read)(void *context, uint16_t address, void *to, size_t length);
    bool (*write)(void *context, uint16_t address, const void *from, size_t length);
};

#endif
