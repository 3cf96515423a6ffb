#include "thermocouple.h"

#include <stddef.h>

#include "exponential.h"
#include "thermocouple_k.h"

/* Horner's rule; coefficients in rising order of power. */
static float polynomial(const float *coefficients, size_t count, float x)
{
    float sum = 0.0f;
    while (count-- > 0)
        sum = sum * x + coefficients[count];
    return sum;
}

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

bool thermocouple_mv(float celsius, float *mv)
{
    if (!(celsius >= -270.0f && celsius <= 1372.0f))
        return false;
    if (celsius < 0.0f) {
        *mv = polynomial(k_direct_below_zero, COUNT(k_direct_below_zero), celsius);
        return true;
    }
    /* Above 0 C the reference function adds a bell around 127 C, where the alloy's magnetic transition shows. */
    float from_peak = celsius - k_bell_centre;
    *mv = polynomial(k_direct_above_zero, COUNT(k_direct_above_zero), celsius)
          + k_bell_height * exponential(k_bell_width * from_peak * from_peak);
    return true;
}

bool thermocouple_celsius(float mv, float *celsius)
{
    if (!(mv >= -5.891f && mv <= 54.886f))
        return false;
    if (mv < 0.0f)
        *celsius = polynomial(k_inverse_below_zero, COUNT(k_inverse_below_zero), mv);
    else if (mv < 20.644f)
        *celsius = polynomial(k_inverse_to_500, COUNT(k_inverse_to_500), mv);
    else
        *celsius = polynomial(k_inverse_to_1372, COUNT(k_inverse_to_1372), mv);
    return true;
}

bool thermocouple_compensated(float measured_mv, float cold_celsius, float *celsius)
{
    float cold_mv;
    return thermocouple_mv(cold_celsius, &cold_mv) && thermocouple_celsius(measured_mv + cold_mv, celsius);
}
