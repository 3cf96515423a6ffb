/* The settings store: two copies, every cut, and the round trip between layout and working numbers. */
#include <stdlib.h>
#include <string.h>

#include "bench_board.h"
#include "board.h"
#include "check.h"
#include "config.h"
#include "crc32.h"
#include "settings_store.h"

enum { COPY_A = 0x0000, COPY_B = 0x4000 };

static kc4_settings made_with(float band_c, float offset_c)
{
    struct config config;
    config_factory(&config);
    config.tuning.band_c = band_c;
    config.calibration[CHANNEL_CONTROL].offset_c = offset_c;
    kc4_settings settings;
    settings_encode(&config, &settings);
    return settings;
}

static bool same_body(const kc4_settings *left, const kc4_settings *right)
{
    size_t from = sizeof left->header;
    size_t to = offsetof(kc4_settings, crc);
    return memcmp((const char *)left + from, (const char *)right + from, to - from) == 0;
}

static void save_and_load(void)
{
    bench_new();
    struct settings_store store;
    kc4_settings found;
    CHECK_INT(settings_load(&store, board_eeprom(), &found), SETTINGS_NONE);
    kc4_settings first = made_with(30, 1), second = made_with(40, 2);
    CHECK(settings_save(&store, &first));
    CHECK_INT(store.in_use, 0);
    CHECK(settings_save(&store, &second));
    CHECK_INT(store.in_use, 1);

    /* The record as anyone else would read it: little-endian header, CRC-32 of all before the last four bytes. */
    const uint8_t *b = bench.memory + COPY_B;
    CHECK(memcmp(b, "KC4S", 4) == 0);
    CHECK_INT(b[4] | b[5] << 8, KC4_LAYOUT);
    size_t length = (size_t)(b[6] | b[7] << 8);
    CHECK_INT(length, sizeof(kc4_settings));
    if (length != sizeof(kc4_settings))
        return;
    CHECK_INT(b[8], 2);
    uint32_t crc = (uint32_t)b[length - 4] | (uint32_t)b[length - 3] << 8 | (uint32_t)b[length - 2] << 16
                   | (uint32_t)b[length - 1] << 24;
    CHECK_INT(crc, crc32(b, length - 4));

    CHECK_INT(settings_load(&store, board_eeprom(), &found), SETTINGS_OURS);
    CHECK(same_body(&found, &second));
    bench.memory[COPY_B + 100] ^= 1;
    CHECK_INT(settings_load(&store, board_eeprom(), &found), SETTINGS_OURS);
    CHECK(same_body(&found, &first));
    bench.memory[COPY_A + 100] ^= 1;
    CHECK_INT(settings_load(&store, board_eeprom(), &found), SETTINGS_NONE);
    bench.powered = false;
    CHECK_INT(settings_load(&store, board_eeprom(), &found), SETTINGS_SILENT);
}

/* Power lost before, inside and after every byte of a save: the unit comes back with the old or the new settings. */
static void every_cut(void)
{
    kc4_settings old = made_with(30, 1), new = made_with(45, -3);
    int kept = 0, taken = 0;
    for (long cut = 0; cut <= (long)sizeof(kc4_settings); cut++) {
        bench_new();
        struct settings_store store;
        kc4_settings found;
        settings_load(&store, board_eeprom(), &found);
        CHECK(settings_save(&store, &old) && settings_save(&store, &old));
        bench.bytes_until_cut = cut;
        bool saved = settings_save(&store, &new);
        bench_power_on();
        CHECK_INT(settings_load(&store, board_eeprom(), &found), SETTINGS_OURS);
        bool is_old = same_body(&found, &old);
        bool is_new = same_body(&found, &new);
        CHECK(is_old != is_new);
        CHECK(!saved || is_new);
        kept += is_old;
        taken += is_new;
        CHECK(settings_save(&store, &new)); /* and can go on */
        CHECK_INT(settings_load(&store, board_eeprom(), &found), SETTINGS_OURS);
        CHECK(same_body(&found, &new));
    }
    CHECK(kept > 0 && taken > 0);
}

/* Every single bit turned over is found out. */
static void every_bit(void)
{
    bench_new();
    struct settings_store store;
    kc4_settings found;
    kc4_settings settings = made_with(30, 1);
    settings_load(&store, board_eeprom(), &found);
    CHECK(settings_save(&store, &settings));
    for (size_t bit = 0; bit < sizeof settings * 8; bit++) {
        bench.memory[COPY_A + bit / 8] ^= (uint8_t)(1u << bit % 8);
        CHECK_INT(settings_load(&store, board_eeprom(), &found), SETTINGS_NONE);
        bench.memory[COPY_A + bit / 8] ^= (uint8_t)(1u << bit % 8);
    }
}

static uint32_t random_state = 12345;

static uint32_t random_below(uint32_t limit)
{
    random_state = random_state * 1664525u + 1013904223u;
    return (random_state >> 8) % limit;
}

#if KC4_VERSION == 108
static void random_settings(kc4_settings *s)
{
    memset(s, 0, sizeof *s);
    s->hrs10 = random_below(1000000);
    s->tmax = (int16_t)(2120 + random_below(21000));
    s->pband = (uint16_t)random_below(5400);
    s->itime = (uint16_t)random_below(7200);
    s->dtime = (uint16_t)random_below(1200);
    s->cyc = (uint16_t)(20 + random_below(580));
    s->units = (uint8_t)random_below(2);
    s->beep = (uint8_t)random_below(2);
    s->sel = (uint8_t)random_below(6);
    for (int i = 0; i < 2; i++) {
        s->tc[i].ofs = (int16_t)((int)random_below(1800) - 900);
        s->tc[i].gain = (uint16_t)(9000 + random_below(2000));
    }
    for (int p = 0; p < 6; p++) {
        memcpy(s->prog[p].name, "TWELVE CHARS", 12);
        s->prog[p].nseg = (uint8_t)random_below(9);
        for (int i = 0; i < 8; i++) {
            s->prog[p].seg[i].rate = (uint16_t)random_below(3600);
            s->prog[p].seg[i].temp = (int16_t)random_below(24000);
            s->prog[p].seg[i].soak = (uint16_t)random_below(65536);
        }
    }
}
#else
static void random_settings(kc4_settings *s)
{
    memset(s, 0, sizeof *s);
    s->heating_minutes = random_below(10000000);
    s->limit_cdegc = (int32_t)random_below(132000);
    s->band_cdegc = random_below(30000);
    s->integral_s = (uint16_t)random_below(7200);
    s->derivative_s = (uint16_t)random_below(1200);
    s->cycle_ds = (uint16_t)random_below(600);
    s->display_unit = (uint8_t)random_below(2);
    s->sound = (uint8_t)random_below(2);
    s->chosen = (uint8_t)random_below(6);
    s->hold_back_cdegc = random_below(20000);
    for (int i = 0; i < 2; i++) {
#if KC4_VERSION >= 201
        kc4_channel *channel = &s->calibration.channel[i];
#else
        kc4_channel *channel = &s->calibration[i];
#endif
        channel->offset_cdegc = (int32_t)random_below(10000) - 5000;
        channel->gain_ppm = 900000 + random_below(200000);
    }
    for (int p = 0; p < 6; p++) {
        memcpy(s->programmes[p].name, "SIXTEEN LETTERS.", 16);
        s->programmes[p].step_count = (uint8_t)random_below(KC4_STEPS + 1);
        for (int i = 0; i < KC4_STEPS; i++) {
            s->programmes[p].steps[i].rate_cdegc_per_h = random_below(200000);
            s->programmes[p].steps[i].target_cdegc = (int32_t)random_below(132000);
            s->programmes[p].steps[i].soak_min = (uint16_t)random_below(65536);
        }
    }
#if KC4_VERSION >= 201
    s->calibration.calibrated_on = 20240000 + random_below(1232);
    s->calibration.crc = crc32(&s->calibration, offsetof(struct kc4_calibration_2_1, crc));
    s->watch_margin_cdegc = random_below(30000);
#endif
}
#endif

static void round_trip(void)
{
    for (int i = 0; i < 2000; i++) {
        kc4_settings settings, back;
        struct config config;
        random_settings(&settings);
        settings_decode(&settings, &config);
        settings_encode(&config, &back);
        CHECK(memcmp(&settings, &back, offsetof(kc4_settings, crc)) == 0);
    }
}

/* Values that no field can hold are held at its ends. */
static void out_of_range(void)
{
    struct config config;
    config_factory(&config);
    config.limit_c = 1e9f;
    config.tuning.band_c = -5;
    config.calibration[0].gain = 1e9f;
    kc4_settings settings;
    settings_encode(&config, &settings);
    struct config back;
    settings_decode(&settings, &back);
    CHECK(back.limit_c > 1700 && back.tuning.band_c == 0 && back.calibration[0].gain > 1.1f);
    CHECK(config_problem(&back) != NULL);
}

/* Whatever lies in the memory, loading it is defined (the sanitizers watch) and gives no settings. */
static void garbage(void)
{
    for (int i = 0; i < 3000; i++) {
        bench_new();
        for (int copy = 0; copy < 2; copy++) {
            uint8_t *at = bench.memory + (copy ? COPY_B : COPY_A);
            for (int b = 0; b < 64; b++)
                at[b] = (uint8_t)random_below(256);
            if (random_below(4))
                memcpy(at, "KC4S", 4);
            if (random_below(2))
                at[7] = (uint8_t)random_below(9);
        }
        struct settings_store store;
        kc4_settings found;
        enum settings_found result = settings_load(&store, board_eeprom(), &found);
        CHECK(result == SETTINGS_NONE);
    }
}

static void salvage(void)
{
    bench_new();
    struct settings_store store;
    kc4_settings found;
    kc4_settings settings = made_with(30, 3.25f);
    settings_load(&store, board_eeprom(), &found);
    CHECK(settings_save(&store, &settings));
    bench.memory[COPY_A + sizeof settings - 20] ^= 0x10; /* a programme is damaged */
    CHECK_INT(settings_load(&store, board_eeprom(), &found), SETTINGS_NONE);
    struct config config;
    config_factory(&config);
    CHECK_INT(settings_salvage_calibration(board_eeprom(), &config), KC4_VERSION >= 201);
    CHECK_NEAR(config.calibration[CHANNEL_CONTROL].offset_c, KC4_VERSION >= 201 ? 3.25 : 0.0, 1e-6);
    bench.memory[COPY_A + sizeof settings.header + 1] ^= 0x01; /* and now the calibration too */
    config_factory(&config);
    CHECK(!settings_salvage_calibration(board_eeprom(), &config));
}

void test_settings(void)
{
    save_and_load();
    every_cut();
    every_bit();
    round_trip();
    out_of_range();
    garbage();
    salvage();
}
