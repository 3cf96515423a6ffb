/* A kiln to fire where there is none: the emulated board and the host tests. Three masses one after another (elements,
   chamber, thermocouple sheaths) and a loss to the room that grows with radiation. The numbers are those of an invented
   60-litre, 3.6 kW kiln. */
#ifndef KC4_KILN_MODEL_H
#define KC4_KILN_MODEL_H

#include <stdbool.h>

#include "sensor.h"

struct kiln_model {
    float room_c;
    float elements_c;
    float chamber_c;
    float control_c; /* what the thermocouples' tips are at */
    float watch_c;
    bool control_open; /* broken wire */
    bool relay_welded;
    bool element_broken;
};

void kiln_model_start(struct kiln_model *kiln, float room_c);

/* dt seconds, at most 1. */
void kiln_model_step(struct kiln_model *kiln, bool heater_on, bool contactor_closed, float dt);

/* What the converter reads of it. */
void kiln_model_codes(const struct kiln_model *kiln, struct sensor_codes *codes);

#endif
