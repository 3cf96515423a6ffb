/* Prints the layout of this version's settings as the table in the README; offsets and sizes are the compiler's.
   The layouts use fixed-width types that lie alike for the host and for the Cortex-M4; the _Static_asserts beside them
   hold for both. */
#include <stddef.h>
#include <stdio.h>

#include "settings.h"

#define SIZE(type, field) (sizeof(((type *)0)->field))
#define ROW(type, field, kind, meaning) \
    printf("| %4zu | %4zu | `%s` | %s | %s |\n", offsetof(type, field), SIZE(type, field), #field, kind, meaning)

static void head(const char *what, size_t size)
{
    printf("%s, %zu bytes:\n\n| offset | size | field | type | meaning |\n| ---: | ---: | --- | --- | --- |\n", what, size);
}

static void header_rows(void)
{
    ROW(kc4_settings, header.magic, "u32", "`KC4S`");
    ROW(kc4_settings, header.layout, "u16", "which layout this is");
    ROW(kc4_settings, header.length, "u16", "bytes of the whole record");
    ROW(kc4_settings, header.generation, "u32", "one more at every save");
}

#if KC4_VERSION == 108

int main(void)
{
    head("`struct kc4_settings_1_8`, layout 0x0108", sizeof(kc4_settings));
    header_rows();
    ROW(kc4_settings, hrs10, "u32", "tenths of an hour of heating");
    ROW(kc4_settings, tmax, "i16", "temperature limit, 0.1 °F");
    ROW(kc4_settings, pband, "u16", "proportional band, 0.1 °F (a difference)");
    ROW(kc4_settings, itime, "u16", "integral time, s");
    ROW(kc4_settings, dtime, "u16", "derivative time, s");
    ROW(kc4_settings, cyc, "u16", "relay cycle, 0.1 s");
    ROW(kc4_settings, units, "u8", "shown in: 0 °F, 1 °C");
    ROW(kc4_settings, beep, "u8", "0 or 1");
    ROW(kc4_settings, sel, "u8", "chosen programme, 0 to 5");
    ROW(kc4_settings, spare, "u8[3]", "0");
    ROW(kc4_settings, tc, "`kc4_tc_1_8`[2]", "**calibration**: control, watch");
    ROW(kc4_settings, prog, "`kc4_prog_1_8`[6]", "programmes");
    ROW(kc4_settings, crc, "u32", "CRC-32 of all before it");
    printf("\n");
    head("`struct kc4_tc_1_8`", sizeof(struct kc4_tc_1_8));
    ROW(struct kc4_tc_1_8, ofs, "i16", "offset, 0.1 °F (a difference)");
    ROW(struct kc4_tc_1_8, gain, "u16", "gain, 1/10000");
    printf("\n");
    head("`struct kc4_prog_1_8`", sizeof(struct kc4_prog_1_8));
    ROW(struct kc4_prog_1_8, name, "char[12]", "filled up with NULs");
    ROW(struct kc4_prog_1_8, nseg, "u8", "segments used, 0 to 8");
    ROW(struct kc4_prog_1_8, spare, "u8", "0");
    ROW(struct kc4_prog_1_8, seg, "`kc4_seg_1_8`[8]", "segments");
    printf("\n");
    head("`struct kc4_seg_1_8`", sizeof(struct kc4_seg_1_8));
    ROW(struct kc4_seg_1_8, rate, "u16", "°F per hour; 0: as fast as it can");
    ROW(struct kc4_seg_1_8, temp, "i16", "target, 0.1 °F");
    ROW(struct kc4_seg_1_8, soak, "u16", "minutes");
    return 0;
}

#else

static void control_rows(void)
{
    ROW(kc4_settings, limit_cdegc, "i32", "temperature limit, 0.01 °C");
    ROW(kc4_settings, band_cdegc, "u32", "proportional band, 0.01 °C (a difference)");
    ROW(kc4_settings, integral_s, "u16", "integral time, s");
    ROW(kc4_settings, derivative_s, "u16", "derivative time, s");
    ROW(kc4_settings, cycle_ds, "u16", "relay cycle, 0.1 s");
    ROW(kc4_settings, display_unit, "u8", "shown in: 0 °F, 1 °C");
    ROW(kc4_settings, sound, "u8", "0 or 1");
    ROW(kc4_settings, chosen, "u8", "chosen programme, 0 to 5");
    ROW(kc4_settings, reserved, "u8[3]", "0");
    ROW(kc4_settings, hold_back_cdegc, "u32", "set point waits beyond this lag, 0.01 °C (a difference); 0: never");
}

static void channel_rows(void)
{
    ROW(kc4_channel, offset_cdegc, "i32", "offset, 0.01 °C (a difference)");
    ROW(kc4_channel, gain_ppm, "u32", "gain, 1/1000000");
}

#define PROGRAMME_TABLES(programme, step, suffix, count)                            \
    do {                                                                            \
        printf("\n");                                                               \
        head("`struct kc4_programme_" suffix "`", sizeof(programme));               \
        ROW(programme, name, "char[16]", "filled up with NULs");                    \
        ROW(programme, step_count, "u8", "steps used, 0 to " count);                \
        ROW(programme, reserved, "u8[3]", "0");                                     \
        ROW(programme, steps, "`kc4_step_" suffix "`[" count "]", "steps");         \
        printf("\n");                                                               \
        head("`struct kc4_step_" suffix "`", sizeof(step));                         \
        ROW(step, rate_cdegc_per_h, "u32", "0.01 °C per hour; 0: as fast as it can"); \
        ROW(step, target_cdegc, "i32", "target, 0.01 °C");                          \
        ROW(step, soak_min, "u16", "minutes");                                      \
        ROW(step, reserved, "u16", "0");                                            \
    } while (0)

#if KC4_VERSION == 200

int main(void)
{
    head("`struct kc4_settings_2_0`, layout 0x0200", sizeof(kc4_settings));
    header_rows();
    control_rows();
    ROW(kc4_settings, calibration, "`kc4_calibration_2_0`[2]", "**calibration**: control, watch");
    ROW(kc4_settings, heating_minutes, "u32", "minutes of heating");
    ROW(kc4_settings, programmes, "`kc4_programme_2_0`[6]", "programmes");
    ROW(kc4_settings, crc, "u32", "CRC-32 of all before it");
    printf("\n");
    head("`struct kc4_calibration_2_0`", sizeof(kc4_channel));
    channel_rows();
    PROGRAMME_TABLES(struct kc4_programme_2_0, struct kc4_step_2_0, "2_0", "8");
    return 0;
}

#else

int main(void)
{
    head("`struct kc4_settings_2_1`, layout 0x0201", sizeof(kc4_settings));
    header_rows();
    ROW(kc4_settings, calibration, "`kc4_calibration_2_1`", "**calibration**, with a CRC of its own");
    ROW(kc4_settings, heating_minutes, "u32", "minutes of heating");
    control_rows();
    ROW(kc4_settings, watch_margin_cdegc, "u32", "thermocouples may differ by this, 0.01 °C; 0: not compared");
    ROW(kc4_settings, programmes, "`kc4_programme_2_1`[6]", "programmes");
    ROW(kc4_settings, crc, "u32", "CRC-32 of all before it");
    printf("\n");
    head("`struct kc4_calibration_2_1`", sizeof(struct kc4_calibration_2_1));
    ROW(struct kc4_calibration_2_1, channel, "`kc4_channel_calibration_2_1`[2]", "control, watch");
    ROW(struct kc4_calibration_2_1, calibrated_on, "u32", "year · 10000 + month · 100 + day; 0: not known");
    ROW(struct kc4_calibration_2_1, crc, "u32", "CRC-32 of this block before it");
    printf("\n");
    head("`struct kc4_channel_calibration_2_1`", sizeof(kc4_channel));
    channel_rows();
    PROGRAMME_TABLES(struct kc4_programme_2_1, struct kc4_step_2_1, "2_1", "16");
    return 0;
}

#endif
#endif
