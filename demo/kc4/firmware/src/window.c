#include "window.h"

/* Shorter pulses than this only wear a relay's mains half-wave; they are left out, or filled up at the other end. */
static const float shortest_s = 0.5f;

void window_start(struct window *window, float cycle_s)
{
    window->cycle_s = cycle_s;
    window->at_s = cycle_s; /* so that the first step begins a cycle */
    window->on_s = 0.0f;
}

bool window_step(struct window *window, float share, float dt)
{
    if (window->at_s >= window->cycle_s) {
        window->at_s = 0.0f;
        window->on_s = share * window->cycle_s;
        if (window->on_s < shortest_s)
            window->on_s = 0.0f;
        else if (window->on_s > window->cycle_s - shortest_s)
            window->on_s = window->cycle_s;
    }
    /* A share of zero ends the pulse at once: a stop does not wait for the cycle to run out. */
    if (!(share > 0.0f))
        window->on_s = 0.0f;
    bool on = window->at_s < window->on_s;
    window->at_s += dt;
    return on;
}
