/* Two copies of the settings in the memory, so that a cut during a save leaves the older one whole.

   Copy A is at 0x0000 and copy B at 0x4000 in every version: a later version with longer settings still finds an
   earlier version's copies, and the earlier one still finds its own. A save always goes to the copy that is not in use,
   is read back, and counts only from then on. */
#ifndef KC4_SETTINGS_STORE_H
#define KC4_SETTINGS_STORE_H

#include <stdbool.h>
#include <stdint.h>

#include "eeprom.h"
#include "settings.h"

enum { SETTINGS_COPIES = 2, SETTINGS_LONGEST = 2048 };

/* What a copy is found to be. */
struct copy {
    bool whole; /* magic, length and CRC hold */
    uint16_t layout;
    uint16_t length;
    uint32_t generation;
};

struct settings_store {
    const struct eeprom *eeprom;
    struct copy copies[SETTINGS_COPIES];
    int in_use; /* copy that the settings came from; -1: none */
};

enum settings_found {
    SETTINGS_OURS,         /* the newest whole copy is of this version's layout */
    SETTINGS_CARRIED_OVER, /* it was of an earlier layout, and has been carried over and saved */
    SETTINGS_OLDER,        /* it is of a layout we cannot read; the other copy is ours, from before that update */
    SETTINGS_FOREIGN,      /* whole copies, all of layouts we cannot read */
    SETTINGS_NONE,         /* no whole copy */
    SETTINGS_SILENT,       /* the memory does not answer */
};

/* Finds the settings to work with. Only the first three results fill *settings. Nothing is written but by a
   carry-over, which leaves the copy it came from as it is. */
enum settings_found settings_load(struct settings_store *store, const struct eeprom *eeprom, kc4_settings *settings);

/* Saves (header and CRC are filled in here) and reads back. False: the copy in use is still the one from before. */
bool settings_save(struct settings_store *store, kc4_settings *settings);

/* Of damaged copies: the calibration, where it can be proven on its own (2.1). True when config took it. */
bool settings_salvage_calibration(const struct eeprom *eeprom, struct config *config);

const char *settings_found_text(enum settings_found found);

#endif
