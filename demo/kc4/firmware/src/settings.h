/* The settings of the version being built, under the one name the rest of the firmware uses: kc4_settings.
   Everything that differs between versions is decided here. */
#ifndef KC4_SETTINGS_H
#define KC4_SETTINGS_H

#include "version.h"

#if KC4_VERSION == 108

#include "settings_1_8.h"
typedef struct kc4_settings_1_8 kc4_settings;
#define KC4_LAYOUT KC4_LAYOUT_1_8
#define KC4_STEPS 8
#define KC4_FACTORY_FAHRENHEIT 1
#define KC4_HAS_HOLD_BACK 0
#define KC4_HAS_WATCH_MARGIN 0

#elif KC4_VERSION == 200

#include "settings_2_0.h"
typedef struct kc4_settings_2_0 kc4_settings;
typedef struct kc4_programme_2_0 kc4_programme;
typedef struct kc4_calibration_2_0 kc4_channel;
#define KC4_LAYOUT KC4_LAYOUT_2_0
#define KC4_STEPS 8
#define KC4_FACTORY_FAHRENHEIT 0
#define KC4_HAS_HOLD_BACK 1
#define KC4_HAS_WATCH_MARGIN 0

#elif KC4_VERSION == 201

#include "settings_2_1.h"
typedef struct kc4_settings_2_1 kc4_settings;
typedef struct kc4_programme_2_1 kc4_programme;
typedef struct kc4_channel_calibration_2_1 kc4_channel;
#define KC4_LAYOUT KC4_LAYOUT_2_1
#define KC4_STEPS 16
#define KC4_FACTORY_FAHRENHEIT 0
#define KC4_HAS_HOLD_BACK 1
#define KC4_HAS_WATCH_MARGIN 1

#endif

struct config;

/* Between the layout in the memory and the numbers the firmware works with. settings_encode fills everything but the
   header and the record's own CRC, which settings_store writes; it rounds to the layout's unit and holds each value
   within the range of its field. Decoding what was encoded from decoded settings gives the same bytes back. */
void settings_decode(const kc4_settings *settings, struct config *config);
void settings_encode(const struct config *config, kc4_settings *settings);

#endif
