/* The settings of 1.8: tenths of a degree F. One degree C is 18 of them, and 0 C is 320. */
#include "config.h"
#include "memory.h"
#include "rounding.h"

static float c_from_df(int16_t tenths_f)
{
    return ((float)tenths_f - 320.0f) / 18.0f;
}

static int16_t df_from_c(float celsius)
{
    return (int16_t)round_to(celsius * 18.0f + 320.0f, INT16_MIN, INT16_MAX);
}

static void decode_programme(const struct kc4_prog_1_8 *from, struct programme *to)
{
    memcpy(to->name, from->name, sizeof from->name);
    to->step_count = from->nseg;
    for (int i = 0; i < 8; i++) {
        to->steps[i].rate_c_per_h = (float)from->seg[i].rate / 1.8f;
        to->steps[i].target_c = c_from_df(from->seg[i].temp);
        to->steps[i].soak_min = from->seg[i].soak;
    }
}

static void encode_programme(const struct programme *from, struct kc4_prog_1_8 *to)
{
    memcpy(to->name, from->name, sizeof to->name);
    to->nseg = from->step_count;
    for (int i = 0; i < 8; i++) {
        to->seg[i].rate = (uint16_t)round_to(from->steps[i].rate_c_per_h * 1.8f, 0, UINT16_MAX);
        to->seg[i].temp = df_from_c(from->steps[i].target_c);
        to->seg[i].soak = from->steps[i].soak_min;
    }
}

void settings_decode(const kc4_settings *settings, struct config *config)
{
    memset(config, 0, sizeof *config);
    config->limit_c = c_from_df(settings->tmax);
    config->tuning = (struct pid_tuning){
        .band_c = (float)settings->pband / 18.0f,
        .integral_s = (float)settings->itime,
        .derivative_s = (float)settings->dtime,
        .output_min = 0.0f,
        .output_max = 1.0f,
    };
    config->cycle_s = (float)settings->cyc / 10.0f;
    config->fahrenheit = settings->units == 0;
    config->sound = settings->beep != 0;
    config->chosen = settings->sel;
    for (int i = 0; i < CHANNELS; i++) {
        config->calibration[i].offset_c = (float)settings->tc[i].ofs / 18.0f;
        config->calibration[i].gain = (float)settings->tc[i].gain / 10000.0f;
    }
    config->heating_minutes = settings->hrs10 > UINT32_MAX / 6 ? UINT32_MAX : settings->hrs10 * 6;
    for (int i = 0; i < PROGRAMMES; i++)
        decode_programme(&settings->prog[i], &config->programmes[i]);
}

void settings_encode(const struct config *config, kc4_settings *settings)
{
    memset(settings, 0, sizeof *settings);
    settings->hrs10 = config->heating_minutes / 6;
    settings->tmax = df_from_c(config->limit_c);
    settings->pband = (uint16_t)round_to(config->tuning.band_c * 18.0f, 0, UINT16_MAX);
    settings->itime = (uint16_t)round_to(config->tuning.integral_s, 0, UINT16_MAX);
    settings->dtime = (uint16_t)round_to(config->tuning.derivative_s, 0, UINT16_MAX);
    settings->cyc = (uint16_t)round_to(config->cycle_s * 10.0f, 0, UINT16_MAX);
    settings->units = config->fahrenheit ? 0 : 1;
    settings->beep = config->sound ? 1 : 0;
    settings->sel = config->chosen;
    for (int i = 0; i < CHANNELS; i++) {
        settings->tc[i].ofs = (int16_t)round_to(config->calibration[i].offset_c * 18.0f, INT16_MIN, INT16_MAX);
        settings->tc[i].gain = (uint16_t)round_to(config->calibration[i].gain * 10000.0f, 0, UINT16_MAX);
    }
    for (int i = 0; i < PROGRAMMES; i++)
        encode_programme(&config->programmes[i], &settings->prog[i]);
}
