#include "i2c.h"

static const int stretch_limit = 2000; /* half bits of 5 us */

static void wait(const struct i2c_pins *pins)
{
    pins->half_bit(pins->context);
}

static bool clock_high(const struct i2c_pins *pins)
{
    pins->scl(pins->context, true);
    for (int i = 0; i < stretch_limit; i++) {
        if (pins->read_scl(pins->context))
            return true;
        wait(pins);
    }
    return false;
}

static bool put_bit(const struct i2c_pins *pins, bool bit)
{
    pins->sda(pins->context, bit);
    wait(pins);
    if (!clock_high(pins))
        return false;
    wait(pins);
    pins->scl(pins->context, false);
    return true;
}

static bool get_bit(const struct i2c_pins *pins, bool *bit)
{
    pins->sda(pins->context, true);
    wait(pins);
    if (!clock_high(pins))
        return false;
    wait(pins);
    *bit = pins->read_sda(pins->context);
    pins->scl(pins->context, false);
    return true;
}

bool i2c_put(const struct i2c_pins *pins, uint8_t byte)
{
    for (int bit = 7; bit >= 0; bit--) {
        if (!put_bit(pins, (byte >> bit) & 1))
            return false;
    }
    bool refused = true;
    return get_bit(pins, &refused) && !refused;
}

bool i2c_get(const struct i2c_pins *pins, uint8_t *byte, bool more)
{
    uint8_t value = 0;
    for (int i = 0; i < 8; i++) {
        bool bit = false;
        if (!get_bit(pins, &bit))
            return false;
        value = (uint8_t)(value << 1 | bit);
    }
    *byte = value;
    return put_bit(pins, !more);
}

bool i2c_start(const struct i2c_pins *pins, uint8_t address, bool reading)
{
    pins->sda(pins->context, true);
    wait(pins);
    if (!clock_high(pins))
        return false;
    wait(pins);
    pins->sda(pins->context, false);
    wait(pins);
    pins->scl(pins->context, false);
    return i2c_put(pins, (uint8_t)(address << 1 | reading));
}

void i2c_stop(const struct i2c_pins *pins)
{
    pins->sda(pins->context, false);
    wait(pins);
    clock_high(pins);
    wait(pins);
    pins->sda(pins->context, true);
    wait(pins);
}

void i2c_free_bus(const struct i2c_pins *pins)
{
    for (int i = 0; i < 9 && !pins->read_sda(pins->context); i++) {
        pins->scl(pins->context, false);
        wait(pins);
        clock_high(pins);
        wait(pins);
    }
    pins->scl(pins->context, false);
    i2c_stop(pins);
}
