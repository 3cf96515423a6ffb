/* From the converter's codes to temperatures.
   The converter is an ADS1118 (TI data sheet SBAS457, from memory): 16-bit, +-256 mV range, 7.8125 uV per code, with a
   14-bit die temperature, 0.03125 C per step, left-justified in 16 bits. Weak pull-ups on the thermocouple inputs drive
   an open one to full scale. */
#ifndef KC4_SENSOR_H
#define KC4_SENSOR_H

#include <stdbool.h>
#include <stdint.h>

#include "config.h"

struct sensor_codes {
    int16_t junction[CHANNELS];
    int16_t cold;
};

struct reading {
    float celsius[CHANNELS]; /* calibrated; meaningless where open is true */
    bool open[CHANNELS];     /* no thermocouple, or one outside its range */
    float cold_c;
    bool cold_bad; /* the terminals are outside -20 to 70 C, or the converter does not answer */
};

void sensor_read(const struct sensor_codes *codes, const struct calibration *calibration, struct reading *reading);

#endif
