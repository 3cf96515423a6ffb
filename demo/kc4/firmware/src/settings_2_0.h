/* Settings of version 2.0. Temperatures are int32_t in hundredths of a degree C; fields have their long names. */
#ifndef KC4_SETTINGS_2_0_H
#define KC4_SETTINGS_2_0_H

#include <stddef.h>

#include "settings_header.h"

struct kc4_step_2_0 {
    uint32_t rate_cdegc_per_h; /* 0: as fast as the kiln can */
    int32_t target_cdegc;
    uint16_t soak_min;
    uint16_t reserved;
};

struct kc4_programme_2_0 {
    char name[16];      /* filled up with NULs */
    uint8_t step_count; /* 0 to 8 */
    uint8_t reserved[3];
    struct kc4_step_2_0 steps[8];
};

struct kc4_calibration_2_0 {
    int32_t offset_cdegc; /* a difference */
    uint32_t gain_ppm;    /* 1000000 is none */
};

struct kc4_settings_2_0 {
    struct kc4_settings_header header;
    int32_t limit_cdegc;
    uint32_t band_cdegc; /* a difference */
    uint16_t integral_s;
    uint16_t derivative_s;
    uint16_t cycle_ds;    /* tenths of a second */
    uint8_t display_unit; /* 0 F, 1 C */
    uint8_t sound;        /* 0 or 1 */
    uint8_t chosen;       /* programme, 0 to 5 */
    uint8_t reserved[3];
    uint32_t hold_back_cdegc;                  /* a difference; 0: the set point never waits */
    struct kc4_calibration_2_0 calibration[2]; /* 0 control, 1 watch */
    uint32_t heating_minutes;
    struct kc4_programme_2_0 programmes[6];
    uint32_t crc; /* CRC-32 of everything before it */
};

KC4_AT(struct kc4_settings_2_0, limit_cdegc, 12);
KC4_AT(struct kc4_settings_2_0, hold_back_cdegc, 32);
KC4_AT(struct kc4_settings_2_0, calibration, 36);
KC4_AT(struct kc4_settings_2_0, heating_minutes, 52);
KC4_AT(struct kc4_settings_2_0, programmes, 56);
KC4_AT(struct kc4_settings_2_0, crc, 752);
_Static_assert(sizeof(struct kc4_settings_2_0) == 756, "settings 2.0 are 756 bytes");

#endif
