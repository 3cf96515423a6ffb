#include "config.h"

#include <stddef.h>

#include "memory.h"

struct preset {
    char name[PROGRAMME_NAME];
    uint8_t step_count;
    struct step steps[6];
};

/* Ordinary studio schedules (common practice, no source). Low steps are slow because water leaves clay as steam at
   100 C and again, chemically bound, at about 500 C; 573 C is the quartz inversion. */
static const struct preset presets[PROGRAMMES] = {
    {"BISQUE SLOW", 5, {{60, 120, 60}, {80, 500, 0}, {60, 620, 15}, {120, 900, 0}, {80, 1000, 15}}},
    {"BISQUE FAST", 4, {{80, 120, 20}, {120, 600, 0}, {180, 920, 0}, {100, 1000, 10}}},
    {"EARTHENWARE", 3, {{100, 600, 0}, {180, 980, 0}, {90, 1060, 20}}},
    {"STONEWARE", 6, {{100, 600, 0}, {180, 1120, 0}, {90, 1220, 15}, {0, 1040, 30}, {60, 900, 0}, {100, 600, 0}}},
    {"LUSTRE", 3, {{80, 400, 10}, {120, 680, 0}, {80, 740, 10}}},
    {"DRY OUT", 2, {{40, 85, 240}, {40, 105, 120}}},
};

void config_factory(struct config *config)
{
    memset(config, 0, sizeof *config);
    config->limit_c = 1280.0f;
    config->tuning = (struct pid_tuning){
        .band_c = 30.0f, .integral_s = 500.0f, .derivative_s = 20.0f, .output_min = 0.0f, .output_max = 1.0f};
    config->cycle_s = 10.0f;
    config->hold_back_c = KC4_HAS_HOLD_BACK ? 15.0f : 0.0f;
    config->watch_margin_c = KC4_HAS_WATCH_MARGIN ? 60.0f : 0.0f;
    config->fahrenheit = KC4_FACTORY_FAHRENHEIT;
    config->sound = true;
    for (size_t i = 0; i < CHANNELS; i++)
        config->calibration[i].gain = 1.0f;
    for (size_t i = 0; i < PROGRAMMES; i++) {
        struct programme *to = &config->programmes[i];
        memcpy(to->name, presets[i].name, sizeof to->name);
        to->step_count = presets[i].step_count;
        memcpy(to->steps, presets[i].steps, sizeof presets[i].steps);
    }
}

static bool within(float value, float low, float high)
{
    return value >= low && value <= high; /* false for a NaN */
}

const char *config_problem(const struct config *config)
{
    if (!within(config->limit_c, 100.0f, 1320.0f))
        return "temperature limit is not within 100 to 1320 C";
    if (!within(config->tuning.band_c, 1.0f, 300.0f))
        return "proportional band is not within 1 to 300 C";
    if (!within(config->tuning.integral_s, 0.0f, 7200.0f) || !within(config->tuning.derivative_s, 0.0f, 1200.0f))
        return "integral or derivative time is out of range";
    if (!within(config->cycle_s, 2.0f, 60.0f))
        return "relay cycle is not within 2 to 60 s";
    if (!within(config->hold_back_c, 0.0f, 200.0f) || !within(config->watch_margin_c, 0.0f, 300.0f))
        return "hold-back or watch margin is out of range";
    if (config->chosen >= PROGRAMMES)
        return "chosen programme does not exist";
    for (size_t i = 0; i < CHANNELS; i++) {
        if (!within(config->calibration[i].offset_c, -50.0f, 50.0f) || !within(config->calibration[i].gain, 0.9f, 1.1f))
            return "thermocouple calibration is out of range";
    }
    for (size_t i = 0; i < PROGRAMMES; i++) {
        const struct programme *programme = &config->programmes[i];
        if (programme->step_count > KC4_STEPS)
            return "a programme has more steps than there is room for";
        for (size_t s = 0; s < programme->step_count; s++) {
            if (!within(programme->steps[s].target_c, 0.0f, config->limit_c))
                return "a programme goes above the temperature limit or below 0 C";
            if (!within(programme->steps[s].rate_c_per_h, 0.0f, 2000.0f))
                return "a programme's rate is above 2000 C per hour";
        }
    }
    return NULL;
}
