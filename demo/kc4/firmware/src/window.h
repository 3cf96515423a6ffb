/* Time-proportional output: turns a share of power into on and off within a cycle, for a solid-state relay. */
#ifndef KC4_WINDOW_H
#define KC4_WINDOW_H

#include <stdbool.h>

struct window {
    float cycle_s; /* length of a cycle, seconds, above 0 */
    float at_s;    /* where in the cycle we are */
    float on_s;    /* how long this cycle is on, settled when it began */
};

void window_start(struct window *window, float cycle_s);

/* One step of dt seconds with the share (0 to 1) that is asked for now. Returns whether the relay is on. */
bool window_step(struct window *window, float share, float dt);

#endif
