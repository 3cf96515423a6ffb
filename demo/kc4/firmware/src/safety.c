#include "safety.h"

/* A kiln coasts up after the heater goes off, by what the elements hold: some 3 C within a minute or two. */
static const float settle_s = 180.0f;
static const float stuck_on_s = 300.0f;
static const float stuck_on_rise_c = 8.0f;
/* The slowest thing that may be called heating: 2 C in 15 minutes at full power. */
static const float no_heat_s = 900.0f;
static const float no_heat_rise_c = 2.0f;
static const float disagree_limit_s = 60.0f;
/* One noisy reading must not end a twelve-hour firing; two seconds above the limit must. */
static const float over_limit_s = 2.0f;

void safety_reset(struct safety *safety)
{
    *safety = (struct safety){0};
}

static enum fault sensors(const struct reading *reading)
{
    if (reading->cold_bad)
        return FAULT_COLD_JUNCTION;
    if (reading->open[CHANNEL_CONTROL])
        return FAULT_OPEN_CONTROL;
    if (reading->open[CHANNEL_WATCH])
        return FAULT_OPEN_WATCH;
    return FAULT_NONE;
}

/* Looks at one stretch of stuck_on_s after another, so that a shed warming up over a day is not taken for a fault. */
static bool heater_stuck_on(struct safety *safety, float now_c, float share, float dt)
{
    if (share > 0.0f) {
        safety->off_s = 0.0f;
        return false;
    }
    safety->off_s += dt;
    bool settling = safety->off_s < settle_s;
    if (settling || now_c < safety->off_from_c) {
        safety->off_from_c = now_c;
        return false;
    }
    if (now_c - safety->off_from_c > stuck_on_rise_c)
        return true;
    if (safety->off_s >= settle_s + stuck_on_s) {
        safety->off_s = settle_s;
        safety->off_from_c = now_c;
    }
    return false;
}

static bool no_heat(struct safety *safety, float now_c, float share, float dt)
{
    if (share < 0.99f) {
        safety->full_s = 0.0f;
        return false;
    }
    if (safety->full_s <= 0.0f || now_c - safety->full_from_c >= no_heat_rise_c) {
        safety->full_s = 0.0f;
        safety->full_from_c = now_c;
    }
    safety->full_s += dt;
    return safety->full_s >= no_heat_s;
}

enum fault safety_step(struct safety *safety, const struct config *config, const struct reading *reading, float share,
                       float dt)
{
    enum fault fault = sensors(reading);
    if (fault != FAULT_NONE)
        return fault;

    float control = reading->celsius[CHANNEL_CONTROL];
    float watch = reading->celsius[CHANNEL_WATCH];
    bool over = control > config->limit_c || watch > config->limit_c;
    safety->over_s = over ? safety->over_s + dt : 0.0f;
    if (safety->over_s >= over_limit_s)
        return FAULT_OVER_TEMPERATURE;

    if (heater_stuck_on(safety, control, share, dt))
        return FAULT_HEATER_STUCK_ON;
    if (no_heat(safety, control, share, dt))
        return FAULT_NO_HEAT;

    float difference = control > watch ? control - watch : watch - control;
    bool disagree = config->watch_margin_c > 0.0f && difference > config->watch_margin_c;
    safety->disagree_s = disagree ? safety->disagree_s + dt : 0.0f;
    return safety->disagree_s >= disagree_limit_s ? FAULT_DISAGREE : FAULT_NONE;
}

const char *fault_text(enum fault fault)
{
    switch (fault) {
    case FAULT_NONE:
        return "none";
    case FAULT_OPEN_CONTROL:
        return "control thermocouple open or out of range: check its plug";
    case FAULT_OPEN_WATCH:
        return "watch thermocouple open or out of range: check its plug";
    case FAULT_COLD_JUNCTION:
        return "terminals too cold or too hot, or no converter";
    case FAULT_OVER_TEMPERATURE:
        return "kiln above its temperature limit";
    case FAULT_HEATER_STUCK_ON:
        return "kiln gets hotter with the heater off: isolate it at the wall";
    case FAULT_NO_HEAT:
        return "no hotter at full power: element, contactor or thermocouple";
    case FAULT_DISAGREE:
        return "the two thermocouples differ too much";
    case FAULT_SETTINGS:
        return "no settings that may be relied on";
    }
    return "unknown";
}
