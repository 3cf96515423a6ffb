/* The settings of 2.0 and 2.1: hundredths of a degree C. The two differ in the number of steps, in where the
   calibration lies, and in the watch margin. */
#include "config.h"
#include "crc32.h"
#include "memory.h"
#include "rounding.h"

/* The farthest from zero that hundredths are taken: up to here single precision has every whole number. */
enum { FARTHEST = 1 << 24 };

static float c_from_cdegc(int32_t hundredths)
{
    return (float)hundredths / 100.0f;
}

static int32_t cdegc_from_c(float celsius)
{
    return round_to(celsius * 100.0f, -FARTHEST, FARTHEST);
}

static float c_from_difference(uint32_t hundredths)
{
    return (float)hundredths / 100.0f;
}

static uint32_t difference_from_c(float celsius)
{
    return (uint32_t)round_to(celsius * 100.0f, 0, FARTHEST);
}

static void decode_channel(const kc4_channel *from, struct calibration *to)
{
    to->offset_c = c_from_cdegc(from->offset_cdegc);
    to->gain = (float)from->gain_ppm / 1000000.0f;
}

static void encode_channel(const struct calibration *from, kc4_channel *to)
{
    to->offset_cdegc = cdegc_from_c(from->offset_c);
    to->gain_ppm = (uint32_t)round_to(from->gain * 1000000.0f, 0, FARTHEST);
}

static void decode_programme(const kc4_programme *from, struct programme *to)
{
    memcpy(to->name, from->name, sizeof to->name);
    to->step_count = from->step_count;
    for (int i = 0; i < KC4_STEPS; i++) {
        to->steps[i].rate_c_per_h = c_from_difference(from->steps[i].rate_cdegc_per_h);
        to->steps[i].target_c = c_from_cdegc(from->steps[i].target_cdegc);
        to->steps[i].soak_min = from->steps[i].soak_min;
    }
}

static void encode_programme(const struct programme *from, kc4_programme *to)
{
    memcpy(to->name, from->name, sizeof to->name);
    to->step_count = from->step_count;
    for (int i = 0; i < KC4_STEPS; i++) {
        to->steps[i].rate_cdegc_per_h = difference_from_c(from->steps[i].rate_c_per_h);
        to->steps[i].target_cdegc = cdegc_from_c(from->steps[i].target_c);
        to->steps[i].soak_min = from->steps[i].soak_min;
    }
}

#if KC4_VERSION >= 201

static void decode_calibration(const kc4_settings *settings, struct config *config)
{
    for (int i = 0; i < CHANNELS; i++)
        decode_channel(&settings->calibration.channel[i], &config->calibration[i]);
    config->calibrated_on = settings->calibration.calibrated_on;
    config->watch_margin_c = c_from_difference(settings->watch_margin_cdegc);
}

static void encode_calibration(const struct config *config, kc4_settings *settings)
{
    for (int i = 0; i < CHANNELS; i++)
        encode_channel(&config->calibration[i], &settings->calibration.channel[i]);
    settings->calibration.calibrated_on = config->calibrated_on;
    settings->calibration.crc = crc32(&settings->calibration, offsetof(struct kc4_calibration_2_1, crc));
    settings->watch_margin_cdegc = difference_from_c(config->watch_margin_c);
}

#else

static void decode_calibration(const kc4_settings *settings, struct config *config)
{
    for (int i = 0; i < CHANNELS; i++)
        decode_channel(&settings->calibration[i], &config->calibration[i]);
}

static void encode_calibration(const struct config *config, kc4_settings *settings)
{
    for (int i = 0; i < CHANNELS; i++)
        encode_channel(&config->calibration[i], &settings->calibration[i]);
}

#endif

void settings_decode(const kc4_settings *settings, struct config *config)
{
    memset(config, 0, sizeof *config);
    config->limit_c = c_from_cdegc(settings->limit_cdegc);
    config->tuning = (struct pid_tuning){
        .band_c = c_from_difference(settings->band_cdegc),
        .integral_s = (float)settings->integral_s,
        .derivative_s = (float)settings->derivative_s,
        .output_min = 0.0f,
        .output_max = 1.0f,
    };
    config->cycle_s = (float)settings->cycle_ds / 10.0f;
    config->fahrenheit = settings->display_unit == 0;
    config->sound = settings->sound != 0;
    config->chosen = settings->chosen;
    config->hold_back_c = c_from_difference(settings->hold_back_cdegc);
    config->heating_minutes = settings->heating_minutes;
    decode_calibration(settings, config);
    for (int i = 0; i < PROGRAMMES; i++)
        decode_programme(&settings->programmes[i], &config->programmes[i]);
}

void settings_encode(const struct config *config, kc4_settings *settings)
{
    memset(settings, 0, sizeof *settings);
    settings->limit_cdegc = cdegc_from_c(config->limit_c);
    settings->band_cdegc = difference_from_c(config->tuning.band_c);
    settings->integral_s = (uint16_t)round_to(config->tuning.integral_s, 0, UINT16_MAX);
    settings->derivative_s = (uint16_t)round_to(config->tuning.derivative_s, 0, UINT16_MAX);
    settings->cycle_ds = (uint16_t)round_to(config->cycle_s * 10.0f, 0, UINT16_MAX);
    settings->display_unit = config->fahrenheit ? 0 : 1;
    settings->sound = config->sound ? 1 : 0;
    settings->chosen = config->chosen;
    settings->hold_back_cdegc = difference_from_c(config->hold_back_c);
    settings->heating_minutes = config->heating_minutes;
    encode_calibration(config, settings);
    for (int i = 0; i < PROGRAMMES; i++)
        encode_programme(&config->programmes[i], &settings->programmes[i]);
}
