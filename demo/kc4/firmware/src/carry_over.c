#include "carry_over.h"

#include "crc32.h"
#include "memory.h"

#if KC4_VERSION >= 200

/* numerator / denominator, nearest, half away from zero. */
static int32_t nearest(int32_t numerator, int32_t denominator)
{
    int32_t half = denominator / 2;
    return (numerator + (numerator < 0 ? -half : half)) / denominator;
}

/* A difference of 0.1 F is 1/18 C, or 100/18 = 50/9 hundredths; a temperature is 320 tenths of F off as well. */
static int32_t cdegc_from_df_difference(int32_t tenths_f)
{
    return nearest(tenths_f * 50, 9);
}

static int32_t cdegc_from_df(int32_t tenths_f)
{
    return cdegc_from_df_difference(tenths_f - 320);
}

static void programme_1_8_to_2_0(const struct kc4_prog_1_8 *from, struct kc4_programme_2_0 *to)
{
    memcpy(to->name, from->name, sizeof from->name);
    to->step_count = from->nseg;
    for (size_t i = 0; i < 8; i++) {
        to->steps[i].rate_cdegc_per_h = (uint32_t)cdegc_from_df_difference((int32_t)from->seg[i].rate * 10);
        to->steps[i].target_cdegc = cdegc_from_df(from->seg[i].temp);
        to->steps[i].soak_min = from->seg[i].soak;
    }
}

void carry_over_1_8_to_2_0(const struct kc4_settings_1_8 *from, struct kc4_settings_2_0 *to)
{
    memset(to, 0, sizeof *to);
    to->limit_cdegc = cdegc_from_df(from->tmax);
    to->band_cdegc = (uint32_t)cdegc_from_df_difference(from->pband);
    to->integral_s = from->itime;
    to->derivative_s = from->dtime;
    to->cycle_ds = from->cyc;
    to->display_unit = from->units;
    to->sound = from->beep;
    to->chosen = from->sel;
    /* 1.8 never waited for a lagging kiln. An owner's programmes go on as they were timed until the owner asks for it. */
    to->hold_back_cdegc = 0;
    for (size_t i = 0; i < 2; i++) {
        to->calibration[i].offset_cdegc = cdegc_from_df_difference(from->tc[i].ofs);
        to->calibration[i].gain_ppm = (uint32_t)from->tc[i].gain * 100u;
    }
    to->heating_minutes = from->hrs10 > UINT32_MAX / 6 ? UINT32_MAX : from->hrs10 * 6;
    for (size_t i = 0; i < 6; i++)
        programme_1_8_to_2_0(&from->prog[i], &to->programmes[i]);
}

#endif

#if KC4_VERSION >= 201

static void programme_2_0_to_2_1(const struct kc4_programme_2_0 *from, struct kc4_programme_2_1 *to)
{
    memcpy(to->name, from->name, sizeof from->name);
    to->step_count = from->step_count;
    for (size_t i = 0; i < 8; i++) {
        to->steps[i].rate_cdegc_per_h = from->steps[i].rate_cdegc_per_h;
        to->steps[i].target_cdegc = from->steps[i].target_cdegc;
        to->steps[i].soak_min = from->steps[i].soak_min;
    }
}

void carry_over_2_0_to_2_1(const struct kc4_settings_2_0 *from, struct kc4_settings_2_1 *to)
{
    memset(to, 0, sizeof *to);
    for (size_t i = 0; i < 2; i++) {
        to->calibration.channel[i].offset_cdegc = from->calibration[i].offset_cdegc;
        to->calibration.channel[i].gain_ppm = from->calibration[i].gain_ppm;
    }
    to->calibration.calibrated_on = 0; /* 2.0 did not keep the day */
    to->calibration.crc = crc32(&to->calibration, offsetof(struct kc4_calibration_2_1, crc));
    to->heating_minutes = from->heating_minutes;
    to->limit_cdegc = from->limit_cdegc;
    to->band_cdegc = from->band_cdegc;
    to->integral_s = from->integral_s;
    to->derivative_s = from->derivative_s;
    to->cycle_ds = from->cycle_ds;
    to->display_unit = from->display_unit;
    to->sound = from->sound;
    to->chosen = from->chosen;
    to->hold_back_cdegc = from->hold_back_cdegc;
    /* A watch thermocouple may sit anywhere in the kilns that are out there: the comparison starts switched off. */
    to->watch_margin_cdegc = 0;
    for (size_t i = 0; i < 6; i++)
        programme_2_0_to_2_1(&from->programmes[i], &to->programmes[i]);
}

#endif

/* The record is copied into a variable of its type first: it lies in a buffer of bytes. Static, to spare the stack. */
bool carry_over(uint16_t layout, const void *record, size_t length, kc4_settings *settings)
{
#if KC4_VERSION >= 200
    static struct kc4_settings_1_8 old_1_8;
    if (layout == KC4_LAYOUT_1_8 && length == sizeof old_1_8) {
        memcpy(&old_1_8, record, sizeof old_1_8);
#if KC4_VERSION >= 201
        static struct kc4_settings_2_0 between;
        carry_over_1_8_to_2_0(&old_1_8, &between);
        carry_over_2_0_to_2_1(&between, settings);
#else
        carry_over_1_8_to_2_0(&old_1_8, settings);
#endif
        return true;
    }
#endif
#if KC4_VERSION >= 201
    static struct kc4_settings_2_0 old_2_0;
    if (layout == KC4_LAYOUT_2_0 && length == sizeof old_2_0) {
        memcpy(&old_2_0, record, sizeof old_2_0);
        carry_over_2_0_to_2_1(&old_2_0, settings);
        return true;
    }
#endif
    (void)layout;
    (void)record;
    (void)length;
    (void)settings;
    return false;
}
