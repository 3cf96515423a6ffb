/* What stops a firing. Every fault latches: it ends only when a person says so, and never while heat is asked for. */
#ifndef KC4_SAFETY_H
#define KC4_SAFETY_H

#include "config.h"
#include "sensor.h"

enum fault {
    FAULT_NONE,
    FAULT_OPEN_CONTROL,     /* the control thermocouple is open or out of its range */
    FAULT_OPEN_WATCH,       /* the watch thermocouple is */
    FAULT_COLD_JUNCTION,    /* the terminals are too cold or too hot, or the converter is silent */
    FAULT_OVER_TEMPERATURE, /* either thermocouple is above the limit */
    FAULT_HEATER_STUCK_ON,  /* the kiln gets hotter with the heater off */
    FAULT_NO_HEAT,          /* the kiln gets no hotter at full power: element, contactor, or thermocouple fallen out */
    FAULT_DISAGREE,         /* the two thermocouples differ by more than the margin (2.1) */
    FAULT_SETTINGS,         /* there are no settings that may be relied on */
};

struct safety {
    float off_s, off_from_c;   /* how long the heater has been off, and the reading then */
    float full_s, full_from_c; /* how long it has been at full power, and the reading then */
    float disagree_s;
    float over_s;
};

void safety_reset(struct safety *safety);

/* One step of dt seconds. share is the power that was asked for over that step, 0 to 1. */
enum fault safety_step(struct safety *safety, const struct config *config, const struct reading *reading, float share,
                       float dt);

/* A few words for the console. */
const char *fault_text(enum fault fault);

#endif
