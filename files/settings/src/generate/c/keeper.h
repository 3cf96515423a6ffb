/* The settings keeper for units written in C: carry-over from one layout to another by tables of bytes, and a store of records
   that outlive every cut. It gives the same bytes as the Rust crate of the same name, which is the one that is rehearsed.

   Freestanding C11: no library, no allocation, no recursion. Numbers are taken apart byte by byte, so that neither the byte
   order nor the alignment of the processor matters. */
#ifndef KEEPER_H
#define KEEPER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- Carry-over (keeper_carry.c) ---- */

enum keeper_fault {
    KEEPER_CARRIED = 0,
    KEEPER_MALFORMED, /* the table is damaged */
    KEEPER_LENGTH,    /* a record is not as long as the table says */
    KEEPER_BEYOND,    /* the table reaches beyond a record */
    KEEPER_REFUSED,   /* a value is not allowed in the new layout, and the rule for it is to refuse */
    KEEPER_ENDLESS,   /* too many operations */
};

struct keeper_bytes {
    const uint8_t *bytes;
    size_t len;
};

/* What an older version could not hold. */
struct keeper_aside {
    struct keeper_bytes newer; /* the record of the new layout that was there before the older version */
    struct keeper_bytes left;  /* what the older version was given of it */
};

/* Runs a table on the record from and fills to. aside may be NULL. given_back may be NULL; it is set when a field came from what
   was kept aside. to is of no use unless the result is KEEPER_CARRIED. */
enum keeper_fault keeper_carry(struct keeper_bytes table, struct keeper_bytes from, const struct keeper_aside *aside, uint8_t *to,
                               size_t to_len, bool *given_back);

/* CRC-32 as in IEEE 802.3. */
uint32_t keeper_crc32(const uint8_t *bytes, size_t len);

/* ---- The store (keeper_store.c) ---- */

enum { KEEPER_CHUNK = 128, KEEPER_SPOTS = 32 };

/* A settings memory. Each call returns false when the memory does not answer or refuses. A write is within one page, or whole
   granules, and is done when the call returns. erase may be NULL where there are no sectors. */
struct keeper_memory {
    void *context;
    bool (*read)(void *context, uint32_t address, uint8_t *to, uint32_t len);
    bool (*write)(void *context, uint32_t address, const uint8_t *from, uint32_t len);
    bool (*erase)(void *context, uint32_t address);
    uint32_t unit;   /* bytes of a page, or of a granule of flash: a power of two */
    uint32_t sector; /* bytes of a sector of flash; 0: EEPROM or FRAM */
    uint8_t erased;  /* what a byte of flash reads after an erase */
};

/* The same in all versions. */
struct keeper_region {
    uint32_t base;
    uint32_t size;
    uint32_t room; /* bytes of the longest payload that any version has here */
};

struct keeper_config {
    const struct keeper_memory *memory;
    struct keeper_region region;
    struct keeper_region aside; /* size 0: nothing is kept aside */
    uint16_t layout;
    uint16_t len;
    const struct keeper_bytes *tables; /* to this layout */
    size_t table_count;
    struct keeper_bytes ways_back; /* tables from this layout to older ones, each behind its length in two bytes */
};

enum keeper_found {
    KEEPER_NOTHING,      /* a new unit: save some */
    KEEPER_OURS,         /* this version's */
    KEEPER_CARRIED_OVER, /* those of another version, carried over and saved */
    KEEPER_SILENT,       /* the memory does not answer, or refuses */
    KEEPER_WORN,         /* nothing that is written can be read back */
    KEEPER_LONGER,       /* there are settings longer than this version can hold */
    KEEPER_CONFIG,       /* the configuration cannot be worked with */
    KEEPER_FOREIGN,      /* there are settings of another layout, and no table for it */
    KEEPER_NO_CARRY,     /* the table for the settings' layout cannot be run */
};

struct keeper_head {
    uint32_t turn;
    uint32_t sure;
    uint16_t layout;
    uint16_t len;
};

struct keeper_ring {
    bool has_newest, has_sure, longer;
    uint32_t newest_spot, sure_spot;
    struct keeper_head newest, sure;
    uint32_t turns[KEEPER_SPOTS];
    uint32_t whole, broken, free, worn, distrusted;
    unsigned rescans;
};

/* A unit's settings. The caller gives the buffers: value, scratch and left of room bytes each, kept of kept_room (or none). */
struct keeper {
    uint8_t *value, *scratch, *left, *kept;
    size_t room, kept_room;
    uint16_t layout, len;
    enum keeper_found found;
    bool given_back;
    struct keeper_ring main, aside;
    uint8_t chunk[KEEPER_CHUNK];
};

/* At power-up: finds the settings, finishes or undoes what a cut interrupted, carries over. The settings are then in value, len
   bytes of them; only the first three results fill it. */
enum keeper_found keeper_load(struct keeper *keeper, const struct keeper_config *config);

/* Saves config->len bytes; unchanged ones are not written again. KEEPER_OURS when they are safe. */
enum keeper_found keeper_save(struct keeper *keeper, const struct keeper_config *config, const uint8_t *payload);

#endif
