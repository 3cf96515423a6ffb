/* Settings of one version met by another, forward and back, and under every cut. */
#include <math.h>
#include <string.h>

#include "bench_board.h"
#include "board.h"
#include "carry_over.h"
#include "check.h"
#include "config.h"
#include "crc32.h"
#include "settings_1_8.h"
#include "settings_2_0.h"
#include "settings_2_1.h"
#include "settings_store.h"

static struct kc4_settings_header header_of(uint16_t layout, size_t length, uint32_t generation)
{
    return (struct kc4_settings_header){
        .magic = KC4_SETTINGS_MAGIC, .layout = layout, .length = (uint16_t)length, .generation = generation};
}

/* A unit that has been in use: 1.8 from the field, with its own calibration. */
static struct kc4_settings_1_8 used_1_8(void)
{
    struct kc4_settings_1_8 s;
    memset(&s, 0, sizeof s);
    s.header = header_of(KC4_LAYOUT_1_8, sizeof s, 41);
    s.hrs10 = 12345;
    s.tmax = 23360; /* 2336.0 F is 1280.00 C */
    s.pband = 540;  /* 54.0 F is 30.00 C */
    s.itime = 500;
    s.dtime = 20;
    s.cyc = 100;
    s.units = 0;
    s.beep = 1;
    s.sel = 3;
    s.tc[0] = (struct kc4_tc_1_8){.ofs = -27, .gain = 10021}; /* -2.7 F is -1.50 C */
    s.tc[1] = (struct kc4_tc_1_8){.ofs = 9, .gain = 9985};    /* 0.9 F is 0.50 C */
    for (int p = 0; p < 6; p++) {
        memcpy(s.prog[p].name, "GLAZE CONE 6", 12);
        s.prog[p].nseg = 8;
        for (int i = 0; i < 8; i++)
            s.prog[p].seg[i] = (struct kc4_seg_1_8){.rate = 180, .temp = (int16_t)(2120 + 1000 * i), .soak = 15};
    }
    s.crc = crc32(&s, offsetof(struct kc4_settings_1_8, crc));
    return s;
}

#if KC4_VERSION >= 200

static void scales(void)
{
    /* 1 F = 5/9 C and 32 F = 0 C by definition; every value that the field can hold, against double arithmetic. */
    struct kc4_settings_1_8 from = used_1_8();
    struct kc4_settings_2_0 to;
    for (int tenths = INT16_MIN; tenths <= INT16_MAX; tenths++) {
        from.tmax = (int16_t)tenths;
        from.tc[0].ofs = (int16_t)tenths;
        carry_over_1_8_to_2_0(&from, &to);
        double limit = (tenths / 10.0 - 32.0) / 1.8 * 100.0;
        double offset = tenths / 10.0 / 1.8 * 100.0;
        CHECK_NEAR(to.limit_cdegc, limit, 0.5 + 1e-6);
        CHECK_NEAR(to.calibration[0].offset_cdegc, offset, 0.5 + 1e-6);
    }
    /* The rounding, a hundredth of C, is finer than the tenth of F it came from: no two values fall together. */
    int32_t last = INT32_MIN;
    for (int tenths = INT16_MIN; tenths <= INT16_MAX; tenths++) {
        from.tmax = (int16_t)tenths;
        carry_over_1_8_to_2_0(&from, &to);
        CHECK(to.limit_cdegc > last);
        last = to.limit_cdegc;
    }
    for (int rate = 0; rate <= UINT16_MAX; rate++) {
        from.prog[0].seg[0].rate = (uint16_t)rate;
        carry_over_1_8_to_2_0(&from, &to);
        CHECK_NEAR(to.programmes[0].steps[0].rate_cdegc_per_h, rate / 1.8 * 100.0, 0.5 + 1e-6);
    }
    from.hrs10 = UINT32_MAX;
    carry_over_1_8_to_2_0(&from, &to);
    CHECK_INT(to.heating_minutes, UINT32_MAX);
}

static void values(const struct config *config)
{
    CHECK_NEAR(config->limit_c, 1280.0, 1e-3);
    CHECK_NEAR(config->tuning.band_c, 30.0, 1e-5);
    CHECK_NEAR(config->tuning.integral_s, 500, 0);
    CHECK_NEAR(config->cycle_s, 10.0, 1e-6);
    CHECK_NEAR(config->calibration[0].offset_c, -1.5, 1e-6);
    CHECK_NEAR(config->calibration[0].gain, 1.0021, 1e-6);
    CHECK_NEAR(config->calibration[1].offset_c, 0.5, 1e-6);
    CHECK_NEAR(config->calibration[1].gain, 0.9985, 1e-6);
    CHECK_INT(config->heating_minutes, 12345 * 6);
    CHECK(config->fahrenheit && config->sound);
    CHECK_INT(config->chosen, 3);
    CHECK(strncmp(config->programmes[5].name, "GLAZE CONE 6", 16) == 0);
    CHECK_INT(config->programmes[5].step_count, 8);
    CHECK_NEAR(config->programmes[5].steps[0].target_c, 100.0, 1e-4);
    CHECK_NEAR(config->programmes[5].steps[0].rate_c_per_h, 100.0, 1e-4);
    CHECK_NEAR(config->programmes[5].steps[7].target_c, 488.89, 1e-3); /* 912.0 F */
    CHECK(config_problem(config) == NULL);
}

static void forward(void)
{
    struct kc4_settings_1_8 old = used_1_8();
    bench_new();
    memcpy(bench.memory, &old, sizeof old);
    struct settings_store store;
    kc4_settings settings;
    struct config config;
    CHECK_INT(settings_load(&store, board_eeprom(), &settings), SETTINGS_CARRIED_OVER);
    settings_decode(&settings, &config);
    values(&config);
    CHECK(memcmp(bench.memory, &old, sizeof old) == 0); /* the copy it came from is as it was */
    CHECK_INT(settings_load(&store, board_eeprom(), &settings), SETTINGS_OURS);
    CHECK_INT(settings.header.generation, 42);
    settings_decode(&settings, &config);
    values(&config);
}

static void forward_under_every_cut(void)
{
    struct kc4_settings_1_8 old = used_1_8();
    for (long cut = 0; cut <= (long)sizeof(kc4_settings); cut++) {
        bench_new();
        /* Both copies are 1.8; the newer one, in B, is the one to come from. */
        struct kc4_settings_1_8 older = old;
        older.header.generation--;
        older.tc[0].ofs = 99;
        older.crc = crc32(&older, offsetof(struct kc4_settings_1_8, crc));
        memcpy(bench.memory, &older, sizeof older);
        memcpy(bench.memory + 0x4000, &old, sizeof old);
        struct settings_store store;
        kc4_settings settings;
        bench.bytes_until_cut = cut;
        settings_load(&store, board_eeprom(), &settings);
        bench_power_on();
        enum settings_found found = settings_load(&store, board_eeprom(), &settings);
        CHECK(found == SETTINGS_CARRIED_OVER || found == SETTINGS_OURS);
        struct config config;
        settings_decode(&settings, &config);
        values(&config);
    }
}

#endif

#if KC4_VERSION >= 201

static void from_2_0(void)
{
    struct kc4_settings_1_8 first = used_1_8();
    struct kc4_settings_2_0 old;
    carry_over_1_8_to_2_0(&first, &old);
    old.header = header_of(KC4_LAYOUT_2_0, sizeof old, 7);
    old.hold_back_cdegc = 1234;
    old.crc = crc32(&old, offsetof(struct kc4_settings_2_0, crc));
    bench_new();
    memcpy(bench.memory + 0x4000, &old, sizeof old);
    struct settings_store store;
    kc4_settings settings;
    CHECK_INT(settings_load(&store, board_eeprom(), &settings), SETTINGS_CARRIED_OVER);
    struct config config;
    settings_decode(&settings, &config);
    values(&config);
    CHECK_NEAR(config.hold_back_c, 12.34, 1e-5);
    CHECK_NEAR(config.watch_margin_c, 0.0, 0.0);
    CHECK_INT(config.calibrated_on, 0);
    CHECK_INT(settings.calibration.crc, crc32(&settings.calibration, 20));
}

#endif

/* A later version's settings, met after going back. */
static void backward(void)
{
    struct {
        struct kc4_settings_header header;
        uint8_t body[1500];
        uint32_t crc;
    } later;
    memset(&later, 0x33, sizeof later);
    later.header = header_of(0x0300, sizeof later, 50);
    later.crc = crc32(&later, sizeof later - 4);
    bench_new();
    memcpy(bench.memory + 0x4000, &later, sizeof later);
    struct settings_store store;
    kc4_settings settings;
    CHECK_INT(settings_load(&store, board_eeprom(), &settings), SETTINGS_FOREIGN);
    CHECK(memcmp(bench.memory + 0x4000, &later, sizeof later) == 0);

    /* With our own copy still there from before the update, that one counts, and a save outnumbers the later one. */
    struct config config;
    config_factory(&config);
    config.calibration[0].offset_c = 1.5f;
    settings_encode(&config, &settings);
    bench_new();
    settings_load(&store, board_eeprom(), &settings);
    settings_encode(&config, &settings);
    CHECK(settings_save(&store, &settings)); /* copy A, generation 1 */
    memcpy(bench.memory + 0x4000, &later, sizeof later);
    CHECK_INT(settings_load(&store, board_eeprom(), &settings), SETTINGS_OLDER);
    struct config back;
    settings_decode(&settings, &back);
    CHECK_NEAR(back.calibration[0].offset_c, 1.5, 0.01);
    CHECK(settings_save(&store, &settings));
    CHECK_INT(settings.header.generation, 51);
    CHECK_INT(settings_load(&store, board_eeprom(), &settings), SETTINGS_OURS);
}

/* Whole by its CRC but not of the length its layout has: never taken for settings. */
static void wrong_length(void)
{
    uint8_t record[600];
    memset(record, 0x11, sizeof record);
    struct kc4_settings_header header = header_of(KC4_LAYOUT, sizeof record, 3);
    memcpy(record, &header, sizeof header);
    uint32_t crc = crc32(record, sizeof record - 4);
    memcpy(record + sizeof record - 4, &crc, 4);
    bench_new();
    memcpy(bench.memory, record, sizeof record);
    struct settings_store store;
    kc4_settings settings;
    CHECK_INT(settings_load(&store, board_eeprom(), &settings), SETTINGS_FOREIGN);
}

void test_carry_over(void)
{
#if KC4_VERSION >= 200
    scales();
    forward();
    forward_under_every_cut();
#endif
#if KC4_VERSION >= 201
    from_2_0();
#endif
    backward();
    wrong_length();
    struct kc4_settings_1_8 old = used_1_8();
    bench_new();
    memcpy(bench.memory, &old, sizeof old);
    struct settings_store store;
    kc4_settings settings;
    enum settings_found found = settings_load(&store, board_eeprom(), &settings);
    CHECK_INT(found, KC4_VERSION == 108 ? SETTINGS_OURS : SETTINGS_CARRIED_OVER);
}
