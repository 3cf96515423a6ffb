/* One firing: the state machine that runs a programme. It decides how much power; it touches no pin. */
#ifndef KC4_FIRING_H
#define KC4_FIRING_H

#include "config.h"
#include "safety.h"

enum firing_state {
    STATE_IDLE,
    STATE_FIRING, /* on the way to a step's target */
    STATE_HOLD,   /* soaking at it */
    STATE_DONE,
    STATE_FAULT,
};

struct firing {
    enum firing_state state;
    enum fault fault;
    struct programme programme; /* a copy: an edit during a firing changes the next one */
    uint8_t step;
    float set_c;
    float soak_left_s;
    float elapsed_s;
    float start_c; /* reading when the step began */
    float share;   /* power asked for at the last step, 0 to 1 */
    struct pid pid;
    struct safety safety;
};

void firing_init(struct firing *firing);

/* Starts a programme from the reading now. Refused (false) unless idle or done, the programme has steps, the settings
   have no problem and no thermocouple is at fault. */
bool firing_start(struct firing *firing, const struct config *config, const struct programme *programme,
                  const struct reading *reading);

/* Ends a firing at once. A fault stays until firing_clear. */
void firing_stop(struct firing *firing);

/* A person has seen the fault. */
void firing_clear(struct firing *firing);

/* Latches a fault found elsewhere. */
void firing_fail(struct firing *firing, enum fault fault);

/* One step of dt seconds. Returns the power to apply: 0 in every state but firing and hold. */
float firing_step(struct firing *firing, const struct config *config, const struct reading *reading, float dt);

const char *firing_state_text(enum firing_state state);

#endif
