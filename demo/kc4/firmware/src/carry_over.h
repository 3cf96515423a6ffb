/* Brings the settings of an earlier version into this version's layout, in whole numbers throughout. */
#ifndef KC4_CARRY_OVER_H
#define KC4_CARRY_OVER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "settings.h"

/* record is a whole copy (CRC proven) of length bytes. Fills everything of *settings but the header's generation and
   the record's CRC. False when the layout is none that this version knows; *settings is then of no use. */
bool carry_over(uint16_t layout, const void *record, size_t length, kc4_settings *settings);

#if KC4_VERSION >= 200
#include "settings_1_8.h"
#include "settings_2_0.h"
void carry_over_1_8_to_2_0(const struct kc4_settings_1_8 *from, struct kc4_settings_2_0 *to);
#endif

#if KC4_VERSION >= 201
void carry_over_2_0_to_2_1(const struct kc4_settings_2_0 *from, struct kc4_settings_2_1 *to);
#endif

#endif
