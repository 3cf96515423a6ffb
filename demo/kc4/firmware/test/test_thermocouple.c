#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "check.h"
#include "exponential.h"
#include "sensor.h"
#include "thermocouple.h"

enum { LOWEST = -270, HIGHEST = 1372, POINTS = HIGHEST - LOWEST + 1 };

static double table[POINTS]; /* mV; NaN where the file gave none */

/* The one-degree table of NIST SRD 60, type K (see nist/README.md). A row is a temperature and up to eleven values, one
   degree apart, downwards in the first part of the file and upwards in the second. */
static int read_table(void)
{
    FILE *file = fopen(nist_table_path, "rb");
    if (!file) {
        printf("cannot open %s\n", nist_table_path);
        return 0;
    }
    for (int i = 0; i < POINTS; i++)
        table[i] = NAN;
    int direction = 0;
    char line[256];
    while (fgets(line, sizeof line, file) && strncmp(line, "name:", 5) != 0) {
        if (strstr(line, " 0     -1 "))
            direction = -1;
        else if (strstr(line, " 0      1 "))
            direction = 1;
        char *at = line;
        char *end;
        long celsius = strtol(at, &end, 10);
        if (end == at || direction == 0 || (*end != ' ' && *end != '\t'))
            continue;
        for (at = end;; at = end, celsius += direction) {
            double mv = strtod(at, &end);
            if (end == at)
                break;
            if (celsius >= LOWEST && celsius <= HIGHEST)
                table[celsius - LOWEST] = mv;
        }
    }
    fclose(file);
    int points = 0;
    for (int i = 0; i < POINTS; i++)
        points += !isnan(table[i]);
    return points;
}

static double nist(int celsius)
{
    return table[celsius - LOWEST];
}

static void direct(void)
{
    double worst = 0.0;
    for (int celsius = LOWEST; celsius <= HIGHEST; celsius++) {
        float mv = NAN;
        CHECK(thermocouple_mv((float)celsius, &mv));
        /* The table is rounded to 0.001 mV; the rest is single precision: 0.0005 mV is 0.0125 C. */
        CHECK_NEAR(mv, nist(celsius), 0.0005 + 0.0005);
        double error = fabs((double)mv - nist(celsius));
        worst = error > worst ? error : worst;
    }
    measured("direct function, largest difference from the NIST table", worst * 1000.0, "uV (of which 0.5 is its rounding)");
}

static void inverse(void)
{
    double lowest = 0.0, highest = 0.0;
    for (int celsius = -200; celsius <= HIGHEST; celsius++) {
        float back = NAN;
        CHECK(thermocouple_celsius((float)nist(celsius), &back));
        int other = celsius == HIGHEST ? celsius - 1 : celsius + 1;
        double slope = fabs(nist(other) - nist(celsius));
        double rounding = 0.0006 / slope;
        /* The error bands that the database gives for the inverse functions. */
        double low = celsius < 0 ? -0.02 : -0.05;
        double high = celsius < 0 ? 0.04 : celsius < 500 ? 0.04 : 0.06;
        double error = (double)back - celsius;
        CHECK(error >= low - rounding && error <= high + rounding);
        lowest = error < lowest ? error : lowest;
        highest = error > highest ? error : highest;
    }
    measured("inverse function, lowest error", lowest, "C");
    measured("inverse function, highest error", highest, "C");
}

static void limits(void)
{
    float kept = 7.0f;
    CHECK(!thermocouple_mv(-270.1f, &kept) && !thermocouple_mv(1372.1f, &kept) && !thermocouple_mv(NAN, &kept));
    CHECK(!thermocouple_celsius(-5.892f, &kept) && !thermocouple_celsius(54.887f, &kept));
    CHECK(!thermocouple_celsius(NAN, &kept) && !thermocouple_celsius(INFINITY, &kept));
    CHECK(kept == 7.0f);
}

static void compensation(void)
{
    /* From the table: a junction at C over terminals at T gives table(C) - table(T). */
    for (int cold = -20; cold <= 70; cold += 5) {
        for (int hot = -50; hot <= 1300; hot += 25) {
            float celsius = NAN;
            CHECK(thermocouple_compensated((float)(nist(hot) - nist(cold)), (float)cold, &celsius));
            CHECK_NEAR(celsius, hot, 0.12);
        }
    }
}

static void the_exponential(void)
{
    double worst = 0.0;
    for (double x = -86.9; x < 88.0; x += 0.0137) {
        double expected = exp((double)(float)x);
        double error = fabs((double)exponential((float)x) / expected - 1.0);
        worst = error > worst ? error : worst;
        CHECK(error < 3e-7);
    }
    measured("exponential, largest relative error", worst, "");
    CHECK(exponential(0.0f) == 1.0f);
    CHECK(exponential(-200.0f) == 0.0f);
    CHECK(exponential(NAN) == 0.0f);
    CHECK(isfinite(exponential(1000.0f)));
}

static void readings(void)
{
    struct calibration calibration[CHANNELS] = {{2.0f, 1.01f}, {0.0f, 1.0f}};
    /* 41.276 mV at 1000 C less 1.000 mV at 25 C (NIST SRD 60) is 40.276 mV: code 5155. 25 C is 800 steps. */
    struct sensor_codes codes = {.junction = {5155, 5155}, .cold = 800 * 4};
    struct reading reading;
    sensor_read(&codes, calibration, &reading);
    CHECK_NEAR(reading.cold_c, 25.0, 1e-6);
    CHECK_NEAR(reading.celsius[CHANNEL_WATCH], 1000.0, 0.2);
    CHECK_NEAR(reading.celsius[CHANNEL_CONTROL], 1000.0 * 1.01 + 2.0, 0.2);
    CHECK(!reading.open[0] && !reading.open[1] && !reading.cold_bad);

    codes.junction[CHANNEL_WATCH] = INT16_MAX;
    codes.cold = (int16_t)(-21 * 32 * 4);
    sensor_read(&codes, calibration, &reading);
    CHECK(reading.open[CHANNEL_WATCH] && !reading.open[CHANNEL_CONTROL] && reading.cold_bad);
    /* Wired the wrong way round it reads below the range. */
    codes.junction[CHANNEL_CONTROL] = -5155;
    sensor_read(&codes, calibration, &reading);
    CHECK(reading.open[CHANNEL_CONTROL]);
}

void test_thermocouple(void)
{
    CHECK_INT(read_table(), POINTS);
    /* That the file was read right: values everybody quotes from the type K table. */
    CHECK_NEAR(nist(0), 0.0, 0.0);
    CHECK_NEAR(nist(100), 4.096, 1e-9);
    CHECK_NEAR(nist(500), 20.644, 1e-9);
    CHECK_NEAR(nist(1000), 41.276, 1e-9);
    CHECK_NEAR(nist(-200), -5.891, 1e-9);
    the_exponential();
    direct();
    inverse();
    limits();
    compensation();
    readings();
}
