/* Prints the firmware's type K coefficients and conversions, for second_opinion.py. */
#include <stddef.h>
#include <stdio.h>

#include "thermocouple.h"
#include "thermocouple_k.h"

static void coefficients(const char *name, const float *values, size_t count)
{
    for (size_t i = 0; i < count; i++)
        printf("coefficient %s %zu %.9g\n", name, i, (double)values[i]);
}

#define DUMP(array) coefficients(#array, array, sizeof array / sizeof array[0])

int main(void)
{
    DUMP(k_direct_below_zero);
    DUMP(k_direct_above_zero);
    DUMP(k_inverse_below_zero);
    DUMP(k_inverse_to_500);
    DUMP(k_inverse_to_1372);
    coefficients("k_bell", (const float[]){k_bell_height, k_bell_width, k_bell_centre}, 3);
    for (int tenths = -2700; tenths <= 13720; tenths++) {
        float mv = 0.0f;
        if (thermocouple_mv((float)tenths / 10.0f, &mv))
            printf("direct %d %.9g\n", tenths, (double)mv);
    }
    for (int uv = -5890; uv <= 54880; uv += 10) {
        float celsius = 0.0f;
        if (thermocouple_celsius((float)uv / 1000.0f, &celsius))
            printf("inverse %d %.9g\n", uv, (double)celsius);
    }
    return 0;
}
