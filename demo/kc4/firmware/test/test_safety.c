#include "check.h"
#include "firing.h"

static struct reading at(float celsius)
{
    return (struct reading){.celsius = {celsius, celsius}, .cold_c = 25};
}

/* Steps for so many seconds with a reading that changes by slope_c_per_h; gives the first fault and when. */
static enum fault run(float share, float from_c, float slope_c_per_h, float seconds, float *when)
{
    struct config config;
    config_factory(&config);
    struct safety safety;
    safety_reset(&safety);
    for (float t = 0; t < seconds; t += 0.25f) {
        struct reading reading = at(from_c + slope_c_per_h * t / 3600.0f);
        enum fault fault = safety_step(&safety, &config, &reading, share, 0.25f);
        if (fault != FAULT_NONE) {
            *when = t;
            return fault;
        }
    }
    *when = seconds;
    return FAULT_NONE;
}

static void sensors_at_once(void)
{
    struct config config;
    config_factory(&config);
    struct safety safety;
    safety_reset(&safety);
    struct reading reading = at(500);
    CHECK_INT(safety_step(&safety, &config, &reading, 1, 0.25f), FAULT_NONE);
    reading.open[CHANNEL_CONTROL] = true;
    CHECK_INT(safety_step(&safety, &config, &reading, 1, 0.25f), FAULT_OPEN_CONTROL);
    reading = at(500);
    reading.open[CHANNEL_WATCH] = true;
    CHECK_INT(safety_step(&safety, &config, &reading, 1, 0.25f), FAULT_OPEN_WATCH);
    reading = at(500);
    reading.cold_bad = true;
    CHECK_INT(safety_step(&safety, &config, &reading, 1, 0.25f), FAULT_COLD_JUNCTION);
}

static void over_temperature(void)
{
    struct config config;
    config_factory(&config);
    struct safety safety;
    safety_reset(&safety);
    struct reading hot = at(config.limit_c - 10);
    hot.celsius[CHANNEL_WATCH] = config.limit_c + 1; /* either one */
    struct reading good = at(config.limit_c - 10);
    for (int i = 0; i < 100; i++) { /* single noisy readings do not end a firing */
        CHECK_INT(safety_step(&safety, &config, &hot, 0.5f, 0.25f), FAULT_NONE);
        CHECK_INT(safety_step(&safety, &config, &good, 0.5f, 0.25f), FAULT_NONE);
    }
    enum fault fault = FAULT_NONE;
    int steps = 0;
    while (fault == FAULT_NONE && steps++ < 100)
        fault = safety_step(&safety, &config, &hot, 0.5f, 0.25f);
    CHECK_INT(fault, FAULT_OVER_TEMPERATURE);
    CHECK_INT(steps, 8); /* 2 s */
}

static void heater_faults(void)
{
    float when;
    CHECK_INT(run(0, 300, 400, 3600, &when), FAULT_HEATER_STUCK_ON);
    CHECK(when < 600);
    CHECK_INT(run(0, 300, -200, 36000, &when), FAULT_NONE);  /* cooling */
    CHECK_INT(run(0, 10, 5, 36000, &when), FAULT_NONE);      /* a shed warming up in the sun */
    CHECK_INT(run(0.2f, 300, 400, 3600, &when), FAULT_NONE); /* heat was asked for */

    CHECK_INT(run(1, 300, 0, 3600, &when), FAULT_NO_HEAT);
    CHECK_NEAR(when, 900, 1);
    CHECK_INT(run(1, 900, 12, 36000, &when), FAULT_NONE); /* slow, but heating */
    CHECK_INT(run(0.5f, 900, 0, 36000, &when), FAULT_NONE);
}

static void disagreement(void)
{
    struct config config;
    config_factory(&config);
    struct safety safety;
    safety_reset(&safety);
    struct reading reading = at(800);
    reading.celsius[CHANNEL_WATCH] = 730;
    enum fault fault = FAULT_NONE;
    for (int i = 0; i < 4 * 70 && fault == FAULT_NONE; i++)
        fault = safety_step(&safety, &config, &reading, 0.5f, 0.25f);
    CHECK_INT(fault, KC4_HAS_WATCH_MARGIN ? FAULT_DISAGREE : FAULT_NONE);
}

static void a_fault_ends_the_power(void)
{
    struct config config;
    config_factory(&config);
    struct firing firing;
    firing_init(&firing);
    struct reading reading = at(20);
    CHECK(firing_start(&firing, &config, &config.programmes[3], &reading));
    bool powered = false;
    for (int i = 0; i < 4 * 300; i++)
        powered |= firing_step(&firing, &config, &reading, 0.25f) > 0.0f;
    CHECK(powered);
    reading.open[CHANNEL_CONTROL] = true;
    CHECK_NEAR(firing_step(&firing, &config, &reading, 0.25f), 0.0, 0.0);
    CHECK_INT(firing.state, STATE_FAULT);
    reading.open[CHANNEL_CONTROL] = false; /* it latches */
    CHECK_NEAR(firing_step(&firing, &config, &reading, 0.25f), 0.0, 0.0);
    CHECK_INT(firing.fault, FAULT_OPEN_CONTROL);
}

void test_safety(void)
{
    sensors_at_once();
    over_temperature();
    heater_faults();
    disagreement();
    a_fault_ends_the_power();
}
