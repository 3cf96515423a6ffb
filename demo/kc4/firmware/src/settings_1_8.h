/* Settings of version 1.8. Temperatures are int16_t in tenths of a degree F, differences too. */
#ifndef KC4_SETTINGS_1_8_H
#define KC4_SETTINGS_1_8_H

#include <stddef.h>

#include "settings_header.h"

struct kc4_seg_1_8 {
    uint16_t rate; /* whole degrees F per hour; 0: as fast as the kiln can */
    int16_t temp;  /* 0.1 F */
    uint16_t soak; /* minutes */
};

struct kc4_prog_1_8 {
    char name[12]; /* filled up with NULs */
    uint8_t nseg;  /* 0 to 8 */
    uint8_t spare;
    struct kc4_seg_1_8 seg[8];
};

struct kc4_tc_1_8 {
    int16_t ofs;   /* 0.1 F, a difference */
    uint16_t gain; /* 1/10000; 10000 is none */
};

struct kc4_settings_1_8 {
    struct kc4_settings_header header;
    uint32_t hrs10; /* tenths of an hour with the contactor closed */
    int16_t tmax;   /* 0.1 F */
    uint16_t pband; /* 0.1 F, a difference */
    uint16_t itime; /* s */
    uint16_t dtime; /* s */
    uint16_t cyc;   /* 0.1 s */
    uint8_t units;  /* what the console shows: 0 F, 1 C */
    uint8_t beep;   /* 0 or 1 */
    uint8_t sel;    /* chosen programme, 0 to 5 */
    uint8_t spare[3];
    struct kc4_tc_1_8 tc[2]; /* 0 control, 1 watch */
    struct kc4_prog_1_8 prog[6];
    uint32_t crc; /* CRC-32 of everything before it */
};

KC4_AT(struct kc4_settings_1_8, hrs10, 12);
KC4_AT(struct kc4_settings_1_8, tmax, 16);
KC4_AT(struct kc4_settings_1_8, tc, 32);
KC4_AT(struct kc4_settings_1_8, prog, 40);
KC4_AT(struct kc4_settings_1_8, crc, 412);
_Static_assert(sizeof(struct kc4_settings_1_8) == 416, "settings 1.8 are 416 bytes");

#endif
