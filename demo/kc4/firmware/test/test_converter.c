/* The ADS1118 driver against a device that looks at nothing but its pins (TI SBAS457, from memory). */
#include <string.h>

#include "ads1118.h"
#include "check.h"

static struct {
    bool selected, clock, in, out;
    uint32_t shift_in, shift_out;
    int bits;
    uint16_t config;
    int busy; /* half bits until the conversion is over */
    int16_t result, inputs[2], die;
    bool absent, never_ready;
} chip;

static void load(void)
{
    chip.shift_out = (uint32_t)(uint16_t)chip.result << 16 | (chip.config & 0x7FFFu);
    chip.bits = 0;
}

static void on_word(uint16_t word)
{
    if ((word >> 1 & 3u) != 1u) /* the update bits must be 01 */
        return;
    chip.config = word & 0x7FFFu;
    if (word & 0x8000u)
        chip.busy = 1600;
}

static void convert(void)
{
    if (chip.config & 1u << 4)
        chip.result = chip.die;
    else if ((chip.config >> 12 & 7u) == 0)
        chip.result = chip.inputs[0];
    else if ((chip.config >> 12 & 7u) == 3)
        chip.result = chip.inputs[1];
    load();
}

static void put_select(void *context, bool selected)
{
    (void)context;
    chip.selected = selected;
    if (selected)
        load();
}

static void put_clock(void *context, bool high)
{
    (void)context;
    if (!chip.selected || high == chip.clock) {
        chip.clock = high;
        return;
    }
    chip.clock = high;
    if (high) {
        chip.out = chip.shift_out >> 31;
        chip.shift_out <<= 1;
        return;
    }
    chip.shift_in = chip.shift_in << 1 | chip.in;
    if (++chip.bits == 32) {
        on_word((uint16_t)(chip.shift_in >> 16));
        load();
    }
}

static void put_data(void *context, bool high)
{
    (void)context;
    chip.in = high;
}

static bool get_data(void *context)
{
    (void)context;
    if (chip.absent)
        return true; /* the pull-up */
    bool between = chip.bits == 0 && !chip.clock;
    return between ? chip.busy > 0 || chip.never_ready : chip.out;
}

static void half_bit(void *context)
{
    (void)context;
    if (chip.busy > 0 && --chip.busy == 0)
        convert();
}

static const struct spi_pins pins = {
    .select = put_select, .clock = put_clock, .data_out = put_data, .data_in = get_data, .half_bit = half_bit};

void test_converter(void)
{
    struct sensor_codes codes;
    memset(&chip, 0, sizeof chip);
    chip.inputs[0] = 5155;
    chip.inputs[1] = -321;
    chip.die = 25 * 32 * 4;
    CHECK(ads1118_read(&pins, &codes));
    CHECK_INT(codes.junction[CHANNEL_CONTROL], 5155);
    CHECK_INT(codes.junction[CHANNEL_WATCH], -321);
    CHECK_INT(codes.cold, 3200);
    CHECK(!chip.selected);
    chip.never_ready = true;
    CHECK(!ads1118_read(&pins, &codes));
    chip.never_ready = false;
    chip.absent = true;
    CHECK(!ads1118_read(&pins, &codes));
}
