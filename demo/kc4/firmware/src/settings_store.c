#include "settings_store.h"

#include "carry_over.h"
#include "config.h"
#include "crc32.h"
#include "memory.h"

static const uint16_t copy_address[SETTINGS_COPIES] = {0x0000, 0x4000};

_Static_assert(sizeof(kc4_settings) <= SETTINGS_LONGEST, "settings are longer than the store reads");

/* Where a copy of any version is read to. Static: 2 KiB would be much of the stack. */
static union {
    struct kc4_settings_header header;
    uint8_t bytes[SETTINGS_LONGEST];
} scratch;

/* Reads a copy into scratch and says what it is. False when the memory does not answer. */
static bool examine(const struct eeprom *eeprom, int which, struct copy *copy)
{
    *copy = (struct copy){0};
    struct kc4_settings_header *header = &scratch.header;
    if (!eeprom->read(eeprom->context, copy_address[which], scratch.bytes, sizeof *header))
        return false;
    uint16_t length = header->length;
    if (header->magic != KC4_SETTINGS_MAGIC || length < sizeof *header + sizeof(uint32_t) || length > SETTINGS_LONGEST)
        return true;
    if (!eeprom->read(eeprom->context, copy_address[which], scratch.bytes, length))
        return false;
    uint32_t crc;
    memcpy(&crc, scratch.bytes + length - sizeof crc, sizeof crc);
    copy->whole = crc == crc32(scratch.bytes, length - sizeof crc);
    copy->layout = header->layout;
    copy->length = length;
    copy->generation = header->generation;
    return true;
}

static bool is_ours(const struct copy *copy)
{
    return copy->whole && copy->layout == KC4_LAYOUT && copy->length == sizeof(kc4_settings);
}

static int newest(const struct copy *copies)
{
    int best = -1;
    for (int i = 0; i < SETTINGS_COPIES; i++) {
        if (copies[i].whole && (best < 0 || copies[i].generation > copies[best].generation))
            best = i;
    }
    return best;
}

/* Reads a copy again and takes it only if it is still what it was found to be. */
static bool take(struct settings_store *store, int which, kc4_settings *settings)
{
    struct copy again;
    if (!examine(store->eeprom, which, &again) || !is_ours(&again))
        return false;
    memcpy(settings, scratch.bytes, sizeof *settings);
    store->in_use = which;
    return true;
}

/* SETTINGS_FOREIGN when it is of no layout that this version can carry over. */
static enum settings_found carry(struct settings_store *store, int which, kc4_settings *settings)
{
    struct copy again;
    if (!examine(store->eeprom, which, &again) || !again.whole)
        return SETTINGS_SILENT;
    if (!carry_over(again.layout, scratch.bytes, again.length, settings))
        return SETTINGS_FOREIGN;
    store->in_use = which; /* so that the save goes to the other copy */
    return settings_save(store, settings) ? SETTINGS_CARRIED_OVER : SETTINGS_SILENT;
}

enum settings_found settings_load(struct settings_store *store, const struct eeprom *eeprom, kc4_settings *settings)
{
    *store = (struct settings_store){.eeprom = eeprom, .in_use = -1};
    for (int i = 0; i < SETTINGS_COPIES; i++) {
        if (!examine(eeprom, i, &store->copies[i]))
            return SETTINGS_SILENT;
    }
    int first = newest(store->copies);
    if (first < 0)
        return SETTINGS_NONE;
    if (is_ours(&store->copies[first]))
        return take(store, first, settings) ? SETTINGS_OURS : SETTINGS_SILENT;
    enum settings_found carried = carry(store, first, settings);
    if (carried != SETTINGS_FOREIGN)
        return carried;
    int other = SETTINGS_COPIES - 1 - first;
    if (is_ours(&store->copies[other]))
        return take(store, other, settings) ? SETTINGS_OLDER : SETTINGS_SILENT;
    return SETTINGS_FOREIGN;
}

bool settings_save(struct settings_store *store, kc4_settings *settings)
{
    uint32_t highest = 0;
    for (int i = 0; i < SETTINGS_COPIES; i++) {
        if (store->copies[i].whole && store->copies[i].generation > highest)
            highest = store->copies[i].generation;
    }
    int target = store->in_use == 0 ? 1 : 0;
    settings->header = (struct kc4_settings_header){
        .magic = KC4_SETTINGS_MAGIC,
        .layout = KC4_LAYOUT,
        .length = sizeof *settings,
        .generation = highest + 1,
    };
    settings->crc = crc32(settings, offsetof(kc4_settings, crc));

    store->copies[target].whole = false;
    if (!store->eeprom->write(store->eeprom->context, copy_address[target], settings, sizeof *settings))
        return false;
    struct copy written;
    if (!examine(store->eeprom, target, &written) || !is_ours(&written)
        || memcmp(scratch.bytes, settings, sizeof *settings) != 0)
        return false;
    store->copies[target] = written;
    store->in_use = target;
    return true;
}

#if KC4_VERSION >= 201

bool settings_salvage_calibration(const struct eeprom *eeprom, struct config *config)
{
    for (int i = 0; i < SETTINGS_COPIES; i++) {
        kc4_settings found;
        const size_t front = offsetof(kc4_settings, heating_minutes);
        if (!eeprom->read(eeprom->context, copy_address[i], &found, front))
            continue;
        if (found.header.magic != KC4_SETTINGS_MAGIC || found.header.layout != KC4_LAYOUT)
            continue;
        if (crc32(&found.calibration, offsetof(struct kc4_calibration_2_1, crc)) != found.calibration.crc)
            continue;
        for (int c = 0; c < CHANNELS; c++) {
            config->calibration[c].offset_c = (float)found.calibration.channel[c].offset_cdegc / 100.0f;
            config->calibration[c].gain = (float)found.calibration.channel[c].gain_ppm / 1000000.0f;
        }
        config->calibrated_on = found.calibration.calibrated_on;
        return true;
    }
    return false;
}

#else

bool settings_salvage_calibration(const struct eeprom *eeprom, struct config *config)
{
    /* Before 2.1 the calibration has no CRC of its own, so a damaged copy proves nothing. */
    (void)eeprom;
    (void)config;
    return false;
}

#endif

const char *settings_found_text(enum settings_found found)
{
    switch (found) {
    case SETTINGS_OURS:
        return "whole";
    case SETTINGS_CARRIED_OVER:
        return "carried over from an earlier version";
    case SETTINGS_OLDER:
        return "from before a later version was installed";
    case SETTINGS_FOREIGN:
        return "of a version this one cannot read: left as they are";
    case SETTINGS_NONE:
        return "none: 'factory' makes new ones";
    case SETTINGS_SILENT:
        return "settings memory does not answer";
    }
    return "unknown";
}
