#include "bench_board.h"

#include <string.h>

#include "board.h"
#include "identity.h"
#include "version.h"

struct bench bench;

const struct identity kc4_identity = {
    .magic = "KC4-ID", .major = KC4_VERSION_MAJOR, .minor = KC4_VERSION_MINOR, .board = 'T', .text = KC4_VERSION_TEXT};

void bench_new(void)
{
    memset(&bench, 0, sizeof bench);
    memset(bench.memory, 0xFF, sizeof bench.memory);
    bench.typed = "";
    bench_power_on();
    kiln_model_start(&bench.kiln, 20.0f);
}

void bench_power_on(void)
{
    bench.powered = true;
    bench.bytes_until_cut = -1;
}

void bench_forget(void)
{
    bench.said_length = 0;
    bench.said[0] = '\0';
}

static bool memory_read(void *context, uint16_t address, void *to, size_t length)
{
    (void)context;
    if (!bench.powered || length > BENCH_MEMORY || address > BENCH_MEMORY - length)
        return false;
    memcpy(to, bench.memory + address, length);
    return true;
}

/* Byte by byte, and a cut tears the page it falls in: of the bytes in it that were to change, the first got their new
   value, the next one holds neither, the rest are as they were. */
static bool memory_write(void *context, uint16_t address, const void *from, size_t length)
{
    (void)context;
    if (!bench.powered || length > BENCH_MEMORY || address > BENCH_MEMORY - length)
        return false;
    const uint8_t *bytes = from;
    for (size_t i = 0; i < length; i++) {
        if (bench.bytes_until_cut == 0) {
            bench.memory[address + i] = (uint8_t)(bench.memory[address + i] ^ bytes[i] ^ 0x5A);
            bench.powered = false;
            return false;
        }
        if (bench.bytes_until_cut > 0)
            bench.bytes_until_cut--;
        bench.memory[address + i] = bytes[i];
    }
    return true;
}

static const struct eeprom eeprom = {.read = memory_read, .write = memory_write};

void board_start(void)
{
}

uint32_t board_millis(void)
{
    return bench.now_ms;
}

void board_wait(void)
{
    bench.now_ms += 50;
    kiln_model_step(&bench.kiln, bench.heater, bench.contactor, 0.05f);
}

void board_heater(bool on)
{
    bench.heater = on;
    bench.heater_ever |= bench.heater && bench.contactor;
}

void board_contactor(bool closed)
{
    bench.contactor = closed;
    bench.heater_ever |= bench.heater && bench.contactor;
}

void board_buzzer(bool on)
{
    (void)on;
}

bool board_sensors(struct sensor_codes *codes)
{
    kiln_model_codes(&bench.kiln, codes);
    return !bench.converter_silent;
}

const struct eeprom *board_eeprom(void)
{
    return &eeprom;
}

void board_console_put(char character)
{
    if (bench.said_length < sizeof bench.said - 1)
        bench.said[bench.said_length++] = character;
    bench.said[bench.said_length] = '\0';
}

int board_console_get(void)
{
    return *bench.typed == '\0' ? -1 : *bench.typed++;
}

void board_watchdog_start(void)
{
}

void board_watchdog_feed(void)
{
}
