#include "sensor.h"

#include <stddef.h>

#include "thermocouple.h"

static const float mv_per_code = 0.0078125f;
static const float cold_c_per_step = 0.03125f;
static const int16_t open_code = 0x7E00; /* 252 mV: no thermocouple gives a quarter of that */

void sensor_read(const struct sensor_codes *codes, const struct calibration *calibration, struct reading *reading)
{
    reading->cold_c = (float)(codes->cold / 4) * cold_c_per_step;
    reading->cold_bad = !(reading->cold_c >= -20.0f && reading->cold_c <= 70.0f);
    for (size_t i = 0; i < CHANNELS; i++) {
        float celsius = 0.0f;
        bool good = codes->junction[i] < open_code
                    && thermocouple_compensated((float)codes->junction[i] * mv_per_code, reading->cold_c, &celsius);
        reading->open[i] = !good;
        reading->celsius[i] = celsius * calibration[i].gain + calibration[i].offset_c;
    }
}
