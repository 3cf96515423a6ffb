#include "kiln_model.h"

#include "rounding.h"
#include "thermocouple.h"

static const float power_w = 3600.0f;
static const float elements_j_per_c = 800.0f;
static const float chamber_j_per_c = 14000.0f;
static const float elements_to_chamber_w_per_c = 25.0f;
static const float loss_w_per_c = 1.1f;
static const float loss_w_per_c4 = 1.0e-10f; /* radiation through lid and peepholes, of kelvin to the fourth */
static const float control_lag_s = 15.0f;
static const float watch_lag_s = 40.0f;

void kiln_model_start(struct kiln_model *kiln, float room_c)
{
    *kiln = (struct kiln_model){
        .room_c = room_c, .elements_c = room_c, .chamber_c = room_c, .control_c = room_c, .watch_c = room_c};
}

static float fourth(float celsius)
{
    float kelvin = celsius + 273.15f;
    return kelvin * kelvin * kelvin * kelvin;
}

void kiln_model_step(struct kiln_model *kiln, bool heater_on, bool contactor_closed, float dt)
{
    bool powered = contactor_closed && (heater_on || kiln->relay_welded) && !kiln->element_broken;
    float into_chamber = elements_to_chamber_w_per_c * (kiln->elements_c - kiln->chamber_c);
    float lost = loss_w_per_c * (kiln->chamber_c - kiln->room_c)
                 + loss_w_per_c4 * (fourth(kiln->chamber_c) - fourth(kiln->room_c));
    kiln->elements_c += ((powered ? power_w : 0.0f) - into_chamber) * dt / elements_j_per_c;
    kiln->chamber_c += (into_chamber - lost) * dt / chamber_j_per_c;
    kiln->control_c += (kiln->chamber_c - kiln->control_c) * dt / control_lag_s;
    /* The watch thermocouple sits near the door, where it is a little cooler. */
    float at_door = kiln->room_c + 0.985f * (kiln->chamber_c - kiln->room_c);
    kiln->watch_c += (at_door - kiln->watch_c) * dt / watch_lag_s;
}

static int16_t code(float hot_c, float cold_c)
{
    float hot_mv = 0.0f, cold_mv = 0.0f;
    thermocouple_mv(hot_c, &hot_mv);
    thermocouple_mv(cold_c, &cold_mv);
    return (int16_t)round_to((hot_mv - cold_mv) / 0.0078125f, INT16_MIN, INT16_MAX);
}

void kiln_model_codes(const struct kiln_model *kiln, struct sensor_codes *codes)
{
    codes->junction[CHANNEL_CONTROL] = kiln->control_open ? INT16_MAX : code(kiln->control_c, kiln->room_c);
    codes->junction[CHANNEL_WATCH] = code(kiln->watch_c, kiln->room_c);
    codes->cold = (int16_t)(round_to(kiln->room_c * 32.0f, -8192, 8191) * 4);
}
