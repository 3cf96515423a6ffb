#include "exponential.h"

#include <stdint.h>

#include "memory.h"

/* ln 2 in two parts, so that n * ln2_high is exact for every n that can occur (|n| < 2^8). */
static const float ln2_high = 0.693359375f;
static const float ln2_low = -2.12194440e-4f;
static const float log2_of_e = 1.44269504f;

float exponential(float x)
{
    if (!(x > -87.0f))
        return 0.0f;
    if (x > 88.0f)
        return 3.40282347e38f;

    /* x = n ln 2 + r with |r| <= ln 2 / 2; then the Taylor series of e^r, whose next term is below 1.2e-7 (r^7 / 7!). */
    int n = (int)(x * log2_of_e + (x < 0.0f ? -0.5f : 0.5f));
    float r = (x - (float)n * ln2_high) - (float)n * ln2_low;
    float e = 1.0f / 720.0f;
    e = e * r + 1.0f / 120.0f;
    e = e * r + 1.0f / 24.0f;
    e = e * r + 1.0f / 6.0f;
    e = e * r + 0.5f;
    e = e * r + 1.0f;
    e = e * r + 1.0f;

    uint32_t exponent = (uint32_t)(n + 127) << 23;
    float scale;
    memcpy(&scale, &exponent, sizeof scale);
    return e * scale;
}
