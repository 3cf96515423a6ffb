#include "pid.h"

/* The slope of a reading with 0.2 C steps is mostly noise over one 0.25 s tick; this averages it. */
static const float slope_filter_s = 10.0f;

static float clamp(float value, float low, float high)
{
    if (value < low)
        return low;
    return value > high ? high : value;
}

void pid_reset(struct pid *pid)
{
    pid->integral = 0.0f;
    pid->slope = 0.0f;
    pid->last_c = 0.0f;
    pid->primed = 0;
}

float pid_step(struct pid *pid, const struct pid_tuning *tuning, float set_c, float reading_c, float dt)
{
    if (pid->primed) {
        float raw_slope = (reading_c - pid->last_c) / dt;
        pid->slope += (raw_slope - pid->slope) * dt / (slope_filter_s + dt);
    }
    pid->last_c = reading_c;
    pid->primed = 1;

    float error = set_c - reading_c;
    float direct = (error - tuning->derivative_s * pid->slope) / tuning->band_c;
    float output = clamp(direct + pid->integral, tuning->output_min, tuning->output_max);

    if (tuning->integral_s > 0.0f) {
        /* Anti-windup: while the output is against a stop, error that pushes further against it is not stored. */
        float wanted = direct + pid->integral;
        int pushing_up = wanted >= tuning->output_max && error > 0.0f;
        int pushing_down = wanted <= tuning->output_min && error < 0.0f;
        if (!pushing_up && !pushing_down)
            pid->integral += error * dt / (tuning->band_c * tuning->integral_s);
        pid->integral = clamp(pid->integral, tuning->output_min, tuning->output_max);
    } else {
        pid->integral = 0.0f;
    }
    return output;
}
