#include "firing.h"

/* A step taken "as fast as the kiln can" has arrived when it is this close. */
static const float arrived_c = 3.0f;

void firing_init(struct firing *firing)
{
    *firing = (struct firing){.state = STATE_IDLE};
    pid_reset(&firing->pid);
    safety_reset(&firing->safety);
}

static const struct step *current(const struct firing *firing)
{
    return &firing->programme.steps[firing->step];
}

static void begin_step(struct firing *firing, float reading_c)
{
    firing->state = STATE_FIRING;
    firing->start_c = reading_c;
    if (!(current(firing)->rate_c_per_h > 0.0f))
        firing->set_c = current(firing)->target_c;
}

bool firing_start(struct firing *firing, const struct config *config, const struct programme *programme,
                  const struct reading *reading)
{
    if (firing->state != STATE_IDLE && firing->state != STATE_DONE)
        return false;
    if (programme->step_count == 0 || programme->step_count > KC4_STEPS || config_problem(config))
        return false;
    if (reading->cold_bad || reading->open[CHANNEL_CONTROL] || reading->open[CHANNEL_WATCH])
        return false;
    firing_init(firing);
    firing->programme = *programme;
    /* From where the kiln is: a warm kiln is not first asked to cool down to a room. */
    firing->set_c = reading->celsius[CHANNEL_CONTROL];
    begin_step(firing, firing->set_c);
    return true;
}

void firing_stop(struct firing *firing)
{
    firing->share = 0.0f;
    if (firing->state != STATE_FAULT)
        firing->state = STATE_IDLE;
}

void firing_clear(struct firing *firing)
{
    firing_init(firing);
}

void firing_fail(struct firing *firing, enum fault fault)
{
    firing->share = 0.0f;
    firing->state = STATE_FAULT;
    firing->fault = fault;
}

static bool lags(const struct firing *firing, const struct config *config, float reading_c, bool upward)
{
    if (!(config->hold_back_c > 0.0f))
        return false;
    float lag = upward ? firing->set_c - reading_c : reading_c - firing->set_c;
    return lag > config->hold_back_c;
}

/* Moves the set point along its ramp; true once the step's target is reached. */
static bool ramp(struct firing *firing, const struct config *config, float reading_c, float dt)
{
    const struct step *step = current(firing);
    if (!(step->rate_c_per_h > 0.0f)) {
        bool upward = step->target_c >= firing->start_c;
        return upward ? reading_c >= step->target_c - arrived_c : reading_c <= step->target_c + arrived_c;
    }
    bool upward = step->target_c >= firing->set_c;
    if (lags(firing, config, reading_c, upward))
        return false;
    float move = step->rate_c_per_h * dt / 3600.0f;
    float left = upward ? step->target_c - firing->set_c : firing->set_c - step->target_c;
    if (move < left) {
        firing->set_c += upward ? move : -move;
        return false;
    }
    firing->set_c = step->target_c;
    return true;
}

static void next_step(struct firing *firing, float reading_c)
{
    firing->step++;
    if (firing->step >= firing->programme.step_count)
        firing->state = STATE_DONE;
    else
        begin_step(firing, reading_c);
}

static void advance(struct firing *firing, const struct config *config, float reading_c, float dt)
{
    if (firing->state == STATE_FIRING) {
        if (!ramp(firing, config, reading_c, dt))
            return;
        firing->soak_left_s = (float)current(firing)->soak_min * 60.0f;
        if (firing->soak_left_s > 0.0f)
            firing->state = STATE_HOLD;
        else
            next_step(firing, reading_c);
        return;
    }
    /* A soak is time near the target: it does not run while the kiln is still catching up. */
    if (!lags(firing, config, reading_c, true))
        firing->soak_left_s -= dt;
    if (firing->soak_left_s <= 0.0f)
        next_step(firing, reading_c);
}

float firing_step(struct firing *firing, const struct config *config, const struct reading *reading, float dt)
{
    if (firing->state == STATE_FAULT)
        return 0.0f;

    bool heating = firing->state == STATE_FIRING || firing->state == STATE_HOLD;
    /* Watched when idle too: a relay that has welded shut heats with no programme running. A unit without its
       thermocouples is no fault until somebody asks for heat. */
    enum fault fault = safety_step(&firing->safety, config, reading, firing->share, dt);
    bool sensor_fault = fault == FAULT_OPEN_CONTROL || fault == FAULT_OPEN_WATCH || fault == FAULT_COLD_JUNCTION
                        || fault == FAULT_DISAGREE;
    if (fault != FAULT_NONE && (heating || !sensor_fault)) {
        firing_fail(firing, fault);
        return 0.0f;
    }
    if (!heating) {
        firing->share = 0.0f;
        return 0.0f;
    }

    float now_c = reading->celsius[CHANNEL_CONTROL];
    firing->elapsed_s += dt;
    advance(firing, config, now_c, dt);
    if (firing->state == STATE_DONE)
        firing->share = 0.0f;
    else
        firing->share = pid_step(&firing->pid, &config->tuning, firing->set_c, now_c, dt);
    return firing->share;
}

const char *firing_state_text(enum firing_state state)
{
    static const char *const text[] = {"idle", "firing", "hold", "done", "fault"};
    return (unsigned)state < sizeof text / sizeof text[0] ? text[state] : "unknown";
}
