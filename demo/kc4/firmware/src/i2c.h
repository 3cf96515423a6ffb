/* I2C controller over two open-drain pins, at most 100 kHz (NXP UM10204, standard mode). */
#ifndef KC4_I2C_H
#define KC4_I2C_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct i2c_pins {
    void *context;
    void (*scl)(void *context, bool released); /* false pulls the line low */
    void (*sda)(void *context, bool released);
    bool (*read_scl)(void *context);
    bool (*read_sda)(void *context);
    void (*half_bit)(void *context); /* waits 5 us */
};

/* Each returns false when the other side does not acknowledge or holds the clock for more than about 10 ms.
   A repeated start is a second i2c_start without a stop between. */
bool i2c_start(const struct i2c_pins *pins, uint8_t address, bool reading);
bool i2c_put(const struct i2c_pins *pins, uint8_t byte);
bool i2c_get(const struct i2c_pins *pins, uint8_t *byte, bool more);
void i2c_stop(const struct i2c_pins *pins);

/* Frees a device that a reset caught in the middle of a read: up to nine clocks, then a stop (UM10204, 3.1.16). */
void i2c_free_bus(const struct i2c_pins *pins);

#endif
