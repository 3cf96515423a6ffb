#include "eeprom_24lc256.h"

/* 1010 and the three address pins, all to ground on both boards. */
static const uint8_t device = 0x50;

/* While it writes a page the device does not acknowledge its address: asking again until it does is the data sheet's
   way to wait (acknowledge polling). An address takes about 100 us, so this is more than ten times the 5 ms limit. */
static const int polls = 600;

static bool wake(const struct i2c_pins *pins, uint16_t address)
{
    for (int i = 0; i < polls; i++) {
        if (i2c_start(pins, device, false))
            return i2c_put(pins, (uint8_t)(address >> 8)) && i2c_put(pins, (uint8_t)address);
        i2c_stop(pins);
    }
    return false;
}

static bool inside(uint16_t address, size_t length)
{
    return length <= EEPROM_24LC256_SIZE && address <= EEPROM_24LC256_SIZE - length;
}

static bool read(void *context, uint16_t address, void *to, size_t length)
{
    const struct i2c_pins *pins = context;
    uint8_t *at = to;
    if (!inside(address, length))
        return false;
    bool good = wake(pins, address) && i2c_start(pins, device, true);
    for (; good && length > 0; length--)
        good = i2c_get(pins, at++, length > 1);
    i2c_stop(pins);
    return good;
}

/* Within one page: a write that runs past its end would wrap to its beginning. */
static bool write_page(const struct i2c_pins *pins, uint16_t address, const uint8_t *from, size_t length)
{
    bool good = wake(pins, address);
    for (; good && length > 0; length--)
        good = i2c_put(pins, *from++);
    i2c_stop(pins); /* the write begins here */
    return good;
}

static bool write(void *context, uint16_t address, const void *from, size_t length)
{
    const struct i2c_pins *pins = context;
    const uint8_t *at = from;
    if (!inside(address, length))
        return false;
    while (length > 0) {
        size_t room = EEPROM_24LC256_PAGE - address % EEPROM_24LC256_PAGE;
        size_t now = length < room ? length : room;
        if (!write_page(pins, address, at, now))
            return false;
        address = (uint16_t)(address + now);
        at += now;
        length -= now;
    }
    return true;
}

struct eeprom eeprom_24lc256(const struct i2c_pins *pins)
{
    return (struct eeprom){.context = (void *)(uintptr_t)pins, .read = read, .write = write};
}
