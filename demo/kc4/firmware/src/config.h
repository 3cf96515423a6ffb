/* The settings as the firmware works with them: degrees C in single precision, whatever the layout in the memory. */
#ifndef KC4_CONFIG_H
#define KC4_CONFIG_H

#include <stdbool.h>
#include <stdint.h>

#include "pid.h"
#include "settings.h"

enum { CHANNEL_CONTROL = 0, CHANNEL_WATCH = 1, CHANNELS = 2 };
enum { PROGRAMMES = 6, PROGRAMME_NAME = 16 };

struct step {
    float rate_c_per_h; /* 0: as fast as the kiln can */
    float target_c;
    uint16_t soak_min;
};

struct programme {
    char name[PROGRAMME_NAME]; /* filled up with NULs; no NUL when all are used */
    uint8_t step_count;        /* 0: the programme is empty */
    struct step steps[KC4_STEPS];
};

struct calibration {
    float offset_c; /* added after the gain */
    float gain;     /* 1 is none */
};

struct config {
    float limit_c; /* the heater is cut above this */
    struct pid_tuning tuning;
    float cycle_s;
    float hold_back_c;    /* the set point waits when the kiln lags more; 0: it never waits */
    float watch_margin_c; /* control and watch thermocouple may differ by this; 0: not compared */
    bool fahrenheit;      /* what the console shows and takes */
    bool sound;
    uint8_t chosen; /* programme that the start button fires */
    struct calibration calibration[CHANNELS];
    uint32_t calibrated_on; /* year * 10000 + month * 100 + day; 0: not known */
    uint32_t heating_minutes;
    struct programme programmes[PROGRAMMES];
};

/* Factory settings: thermocouples taken as they are, two bisque, two glaze, a lustre and a drying programme. */
void config_factory(struct config *config);

/* Why these settings must not drive a heater, or NULL when they may. */
const char *config_problem(const struct config *config);

#endif
