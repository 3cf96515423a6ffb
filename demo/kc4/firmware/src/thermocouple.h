/* Type K thermocouple, ITS-90.
   Source of every formula and coefficient here: NIST Monograph 175, as published in the NIST ITS-90 Thermocouple
   Database (Standard Reference Database 60). Temperatures are in degrees Celsius, voltages in millivolts against a
   reference junction at 0 C. Single precision is enough: see the measured errors in the README. */
#ifndef KC4_THERMOCOUPLE_H
#define KC4_THERMOCOUPLE_H

#include <stdbool.h>

/* Voltage at a temperature. Range -270 to 1372 C; outside it returns false and leaves *mv alone. */
bool thermocouple_mv(float celsius, float *mv);

/* Temperature at a voltage, by the published inverse polynomials. Range -5.891 to 54.886 mV (-200 to 1372 C); outside
   it returns false and leaves *celsius alone. The polynomials themselves are within -0.05 and +0.06 C. */
bool thermocouple_celsius(float mv, float *celsius);

/* Hot junction temperature from the voltage measured at terminals that are at cold_celsius. */
bool thermocouple_compensated(float measured_mv, float cold_celsius, float *celsius);

#endif
