#include "ads1118.h"

/* Configuration register: start, input, +-256 mV, one conversion, 128 a second, pull-up on the data line, update. */
enum {
    START = 1 << 15,
    INPUTS_0_1 = 0 << 12,
    INPUTS_2_3 = 3 << 12,
    RANGE_256_MV = 7 << 9,
    ONE_CONVERSION = 1 << 8,
    RATE_128 = 4 << 5,
    DIE_TEMPERATURE = 1 << 4,
    PULL_UP = 1 << 3,
    UPDATE = 1 << 1,
    COMMON = START | RANGE_256_MV | ONE_CONVERSION | RATE_128 | PULL_UP | UPDATE,
    GIVEN_BACK = 0x7FF8, /* what must read as it was written: neither the start bit nor the update bits */
};

/* 128 a second is 7.8 ms; a half bit is 5 us. */
static const int ready_limit = 4000;

static uint32_t transfer(const struct spi_pins *pins, uint32_t out)
{
    uint32_t in = 0;
    for (int bit = 31; bit >= 0; bit--) {
        pins->clock(pins->context, true);
        pins->data_out(pins->context, (out >> bit) & 1u);
        pins->half_bit(pins->context);
        in = in << 1 | pins->data_in(pins->context);
        pins->clock(pins->context, false);
        pins->half_bit(pins->context);
    }
    return in;
}

static bool convert(const struct spi_pins *pins, uint16_t config, int16_t *code)
{
    pins->clock(pins->context, false);
    pins->select(pins->context, true);
    pins->half_bit(pins->context);
    transfer(pins, (uint32_t)config << 16 | config);

    int waited = 0;
    while (pins->data_in(pins->context) && waited++ < ready_limit) /* low: a result is ready */
        pins->half_bit(pins->context);

    uint32_t in = transfer(pins, 0); /* zero in the update bits: read only */
    pins->select(pins->context, false);
    *code = (int16_t)(uint16_t)(in >> 16);
    return waited < ready_limit && (in & GIVEN_BACK) == (config & GIVEN_BACK);
}

bool ads1118_read(const struct spi_pins *pins, struct sensor_codes *codes)
{
    return convert(pins, COMMON | INPUTS_0_1, &codes->junction[CHANNEL_CONTROL])
           && convert(pins, COMMON | INPUTS_2_3, &codes->junction[CHANNEL_WATCH])
           && convert(pins, COMMON | DIE_TEMPERATURE, &codes->cold);
}
