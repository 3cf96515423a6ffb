/* ADS1118 thermocouple converter over four pins (TI data sheet SBAS457; registers from memory).
   Clock idles low, data change on its rising edge and are read at its falling edge. */
#ifndef KC4_ADS1118_H
#define KC4_ADS1118_H

#include <stdbool.h>

#include "sensor.h"

struct spi_pins {
    void *context;
    void (*select)(void *context, bool selected);
    void (*clock)(void *context, bool high);
    void (*data_out)(void *context, bool high);
    bool (*data_in)(void *context);
    void (*half_bit)(void *context); /* waits 5 us */
};

/* Three conversions, about 25 ms. False when the converter does not finish in time, or does not give back the
   configuration it was sent, which is how a missing or broken one shows. */
bool ads1118_read(const struct spi_pins *pins, struct sensor_codes *codes);

#endif
