/* Settings of version 2.1. A programme has up to 16 steps, and the calibration is a block of its own at the front with
   its own CRC, so that it can still be proven when the rest of a copy is damaged. */
#ifndef KC4_SETTINGS_2_1_H
#define KC4_SETTINGS_2_1_H

#include <stddef.h>

#include "settings_header.h"

struct kc4_step_2_1 {
    uint32_t rate_cdegc_per_h; /* 0: as fast as the kiln can */
    int32_t target_cdegc;
    uint16_t soak_min;
    uint16_t reserved;
};

struct kc4_programme_2_1 {
    char name[16];      /* filled up with NULs */
    uint8_t step_count; /* 0 to 16 */
    uint8_t reserved[3];
    struct kc4_step_2_1 steps[16];
};

struct kc4_channel_calibration_2_1 {
    int32_t offset_cdegc; /* a difference */
    uint32_t gain_ppm;    /* 1000000 is none */
};

struct kc4_calibration_2_1 {
    struct kc4_channel_calibration_2_1 channel[2]; /* 0 control, 1 watch */
    uint32_t calibrated_on;                        /* year * 10000 + month * 100 + day; 0: not known */
    uint32_t crc;                                  /* CRC-32 of this block before it */
};

struct kc4_settings_2_1 {
    struct kc4_settings_header header;
    struct kc4_calibration_2_1 calibration;
    uint32_t heating_minutes;
    int32_t limit_cdegc;
    uint32_t band_cdegc; /* a difference */
    uint16_t integral_s;
    uint16_t derivative_s;
    uint16_t cycle_ds;    /* tenths of a second */
    uint8_t display_unit; /* 0 F, 1 C */
    uint8_t sound;        /* 0 or 1 */
    uint8_t chosen;       /* programme, 0 to 5 */
    uint8_t reserved[3];
    uint32_t hold_back_cdegc;    /* a difference; 0: the set point never waits */
    uint32_t watch_margin_cdegc; /* a difference; 0: the thermocouples are not compared */
    struct kc4_programme_2_1 programmes[6];
    uint32_t crc; /* CRC-32 of everything before it */
};

KC4_AT(struct kc4_settings_2_1, calibration, 12);
KC4_AT(struct kc4_settings_2_1, heating_minutes, 36);
KC4_AT(struct kc4_settings_2_1, limit_cdegc, 40);
KC4_AT(struct kc4_settings_2_1, watch_margin_cdegc, 64);
KC4_AT(struct kc4_settings_2_1, programmes, 68);
KC4_AT(struct kc4_settings_2_1, crc, 1340);
_Static_assert(sizeof(struct kc4_settings_2_1) == 1344, "settings 2.1 are 1344 bytes");

#endif
