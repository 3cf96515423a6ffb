/* 24LC256: 32 KiB of I2C EEPROM, pages of 64 bytes, up to 5 ms per page write (Microchip DS20001203). */
#ifndef KC4_EEPROM_24LC256_H
#define KC4_EEPROM_24LC256_H

#include "eeprom.h"
#include "i2c.h"

enum { EEPROM_24LC256_SIZE = 32768, EEPROM_24LC256_PAGE = 64 };

struct eeprom eeprom_24lc256(const struct i2c_pins *pins);

#endif
