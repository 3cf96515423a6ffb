#include "check.h"
#include "pid.h"
#include "window.h"

static const struct pid_tuning proportional = {.band_c = 20, .output_max = 1};
static const struct pid_tuning with_integral = {.band_c = 20, .integral_s = 100, .output_max = 1};

static void proportional_band(void)
{
    struct pid pid;
    pid_reset(&pid);
    CHECK_NEAR(pid_step(&pid, &proportional, 100, 90, 1), 0.5, 1e-6);
    CHECK_NEAR(pid_step(&pid, &proportional, 100, 60, 1), 1.0, 1e-6);
    CHECK_NEAR(pid_step(&pid, &proportional, 100, 110, 1), 0.0, 1e-6);
}

static void integral_of_a_constant_error(void)
{
    struct pid pid;
    pid_reset(&pid);
    /* By the definition: with a constant error, the integral part equals the proportional part after the integral time. */
    float output = 0;
    for (int i = 0; i <= 400; i++)
        output = pid_step(&pid, &with_integral, 100, 95, 0.25f);
    CHECK_NEAR(output, 0.25 + 0.25, 0.002);
}

static void no_windup(void)
{
    struct pid pid;
    pid_reset(&pid);
    for (int i = 0; i < 40000; i++)
        CHECK_NEAR(pid_step(&pid, &with_integral, 1000, 100, 0.25f), 1.0, 0.0);
    CHECK_NEAR(pid.integral, 0.0, 1e-6);
    /* A wound-up loop would stay at full power long after the set point is passed. */
    CHECK_NEAR(pid_step(&pid, &with_integral, 1000, 1001, 0.25f), 0.0, 1e-6);

    for (int i = 0; i < 40000; i++)
        pid_step(&pid, &with_integral, 100, 900, 0.25f);
    CHECK_NEAR(pid_step(&pid, &with_integral, 910, 900, 0.25f), 0.5, 1e-6);
}

static void output_window(void)
{
    struct pid_tuning half = with_integral;
    half.output_min = 0.1f;
    half.output_max = 0.6f;
    struct pid pid;
    pid_reset(&pid);
    for (int i = 0; i < 4000; i++) {
        float output = pid_step(&pid, &half, 100, i % 200 < 100 ? 40 : 160, 0.25f);
        CHECK(output >= 0.1f && output <= 0.6f);
        CHECK(pid.integral >= 0.1f && pid.integral <= 0.6f);
    }
}

static void derivative_acts_on_the_reading(void)
{
    struct pid_tuning tuning = {.band_c = 20, .derivative_s = 30, .output_max = 1};
    struct pid pid;
    pid_reset(&pid);
    /* No kick from a new set point. */
    pid_step(&pid, &tuning, 100, 95, 1);
    CHECK_NEAR(pid_step(&pid, &tuning, 105, 95, 1), 0.5, 1e-6);
    /* A reading that climbs 0.1 C/s for long takes 30 * 0.1 / 20 off. */
    float output = 0, reading = 95;
    for (int i = 0; i < 200; i++) {
        reading += 0.1f;
        output = pid_step(&pid, &tuning, reading + 10, reading, 1);
    }
    CHECK_NEAR(output, 0.5 - 0.15, 0.001);
}

static float share_of(float share, float cycle_s)
{
    struct window window;
    window_start(&window, cycle_s);
    int on = 0, steps = (int)(cycle_s * 4) * 10;
    for (int i = 0; i < steps; i++)
        on += window_step(&window, share, 0.25f);
    return (float)on / (float)steps;
}

static void time_proportional(void)
{
    CHECK_NEAR(share_of(0.0f, 10), 0.0, 0.0);
    CHECK_NEAR(share_of(1.0f, 10), 1.0, 0.0);
    CHECK_NEAR(share_of(0.5f, 10), 0.5, 0.0);
    CHECK_NEAR(share_of(0.3f, 20), 0.3, 0.013);
    CHECK_NEAR(share_of(0.02f, 10), 0.0, 0.0);  /* 0.2 s: too short to switch */
    CHECK_NEAR(share_of(0.98f, 10), 1.0, 0.0);

    struct window window;
    window_start(&window, 60);
    CHECK(window_step(&window, 1.0f, 0.25f));
    CHECK(!window_step(&window, 0.0f, 0.25f)); /* off at once */
    CHECK(!window_step(&window, 1.0f, 0.25f)); /* and not on again in the same cycle */
}

void test_pid(void)
{
    proportional_band();
    integral_of_a_constant_error();
    no_windup();
    output_window();
    derivative_acts_on_the_reading();
    time_proportional();
}
