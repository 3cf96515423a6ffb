/* From single precision to the whole numbers of a settings layout: nearest, half away from zero, held in range. */
#ifndef KC4_ROUNDING_H
#define KC4_ROUNDING_H

#include <stdint.h>

static inline int32_t round_to(float value, int32_t low, int32_t high)
{
    if (!(value > (float)low)) /* also a NaN */
        return low;
    if (value >= (float)high)
        return high;
    return (int32_t)(value + (value < 0.0f ? -0.5f : 0.5f));
}

#endif
