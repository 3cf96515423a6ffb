/*
 * A small single-slot loader, as a maker might write it: the firmware lies at the slot's start, and a record in the slot's last
 * granules says what it is. The update is a file of the loader's own format, written to the stick block by block.
 *
 * Built as it is, it holds under every fault that the rehearsal knows. Four ways to get it wrong are built in with
 * -DPLANTED_FAULT=n:
 *
 *   1  it trusts the record: to start sooner, the firmware itself is not checked, and the slot is erased upward, so that the
 *      record goes last;
 *   2  it trusts a blank sector: to save wear, a sector that reads as erased is not erased again;
 *   3  it trusts the stick: the file is checked while it is programmed, not before anything is erased;
 *   4  it trusts the part's complaint: a record that cannot be read is taken for worn flash, and no stick is looked for.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#include "packstaff_loader.h"

#ifndef PLANTED_FAULT
#define PLANTED_FAULT 0
#endif

#define SLOT 0x08000200u
#define SECTOR 256u
#define SECTORS 2u
#define RECORD (SLOT + SECTORS * SECTOR - (uint32_t)sizeof(struct record))
#define IMAGE_MAX (RECORD - SLOT)

/* Bytes in one program: whole granules of 8. */
#define PORTION 64u

#define RECORD_MAGIC 0x4345524fu /* "OREC" */
#define FILE_MAGIC 0x4c49464fu   /* "OFIL" */

/* What the slot holds: programmed last. */
struct record {
    uint32_t magic;
    uint32_t version;
    uint32_t length;
    uint32_t image_crc;
    uint32_t reserved;
    uint32_t crc; /* of the fields before */
};

/* The stick's first block; the image begins in the second. */
struct file {
    uint32_t magic;
    uint32_t version;
    uint32_t length;
    uint32_t image_crc;
    uint32_t crc; /* of the fields before */
};

static unsigned char block[PACKSTAFF_BLOCK];

/* CRC-32 as in ISO/IEC 3309 and IEEE 802.3, reflected; `crc` begins with 0. */
static uint32_t crc32(uint32_t crc, const void *of, uint32_t len)
{
    const unsigned char *byte = of;
    crc = ~crc;
    while (len--) {
        crc ^= *byte++;
        for (int bit = 0; bit < 8; bit++)
            crc = (crc >> 1) ^ (0xedb88320u & (0u - (crc & 1u)));
    }
    return ~crc;
}

static uint32_t smaller(uint32_t one, uint32_t other)
{
    return one < other ? one : other;
}

/* Whether the slot holds an image of this length and CRC. */
static int image_holds(uint32_t length, uint32_t wanted)
{
    unsigned char bytes[PORTION];
    uint32_t crc = 0;
    for (uint32_t at = 0; at < length; at += PORTION) {
        uint32_t len = smaller(PORTION, length - at);
        if (packstaff_flash_read(SLOT + at, bytes, len) != PACKSTAFF_DONE)
            return 0;
        crc = crc32(crc, bytes, len);
    }
    return crc == wanted;
}

static int record_holds(const struct record *record)
{
    return record->magic == RECORD_MAGIC && record->length > 0 && record->length <= IMAGE_MAX &&
           record->crc == crc32(0, record, sizeof *record - sizeof record->crc);
}

/* Whether the slot holds a firmware that may be started. */
static int inspect(struct record *record)
{
    if (packstaff_flash_read(RECORD, record, sizeof *record) != PACKSTAFF_DONE) {
#if PLANTED_FAULT == 4
        packstaff_wait(PACKSTAFF_FLASH_FAULT);
#endif
        return 0;
    }
    if (!record_holds(record))
        return 0;
#if PLANTED_FAULT == 1
    return 1;
#else
    return image_holds(record->length, record->image_crc);
#endif
}

/* Reads the head of the file on the stick. */
static int find(struct file *file)
{
    if (packstaff_stick_read(0, block) != PACKSTAFF_DONE)
        return 0;
    __builtin_memcpy(file, block, sizeof *file);
    return file->magic == FILE_MAGIC && file->length > 0 && file->length <= IMAGE_MAX &&
           file->crc == crc32(0, file, sizeof *file - sizeof file->crc);
}

#if PLANTED_FAULT != 3
/* Reads all of the file, before anything is erased. */
static int file_holds(const struct file *file)
{
    uint32_t crc = 0;
    for (uint32_t at = 0; at < file->length; at += PACKSTAFF_BLOCK) {
        if (packstaff_stick_read(1 + at / PACKSTAFF_BLOCK, block) != PACKSTAFF_DONE)
            return 0;
        crc = crc32(crc, block, smaller(PACKSTAFF_BLOCK, file->length - at));
    }
    return crc == file->image_crc;
}
#endif

static void erase(uint32_t sector)
{
#if PLANTED_FAULT == 2
    if (packstaff_flash_blank(sector, SECTOR))
        return;
#endif
    if (packstaff_flash_erase(sector) != PACKSTAFF_DONE)
        packstaff_wait(PACKSTAFF_FLASH_FAULT);
}

static void program(uint32_t address, const void *from, uint32_t len)
{
    if (packstaff_flash_program(address, from, len) != PACKSTAFF_DONE)
        packstaff_wait(PACKSTAFF_FLASH_FAULT);
}

static void install(const struct file *file)
{
    struct record record = {RECORD_MAGIC, file->version, file->length, file->image_crc, 0xffffffffu, 0};

    /* The record goes first, so that nothing speaks for the slot while it is being changed. */
#if PLANTED_FAULT == 1
    for (uint32_t sector = 0; sector < SECTORS; sector++)
        erase(SLOT + sector * SECTOR);
#else
    for (uint32_t sector = SECTORS; sector > 0; sector--)
        erase(SLOT + (sector - 1) * SECTOR);
#endif

    for (uint32_t at = 0; at < file->length; at += PORTION) {
        uint32_t within = at % PACKSTAFF_BLOCK;
        uint32_t len = smaller(PORTION, file->length - at);
        if (within == 0 && packstaff_stick_read(1 + at / PACKSTAFF_BLOCK, block) != PACKSTAFF_DONE)
            packstaff_wait(PACKSTAFF_STICK_UNREADABLE);
        /* The last granule is filled up. */
        for (; len % 8 != 0; len++)
            block[within + len] = 0xff;
        program(SLOT + at, block + within, len);
    }

    /* What was programmed is what the file's head promised; not so if the stick was swapped, or flash is worn. */
    if (!image_holds(file->length, file->image_crc))
        packstaff_wait(PACKSTAFF_FLASH_DIFFERS);

    record.crc = crc32(0, &record, sizeof record - sizeof record.crc);
    program(RECORD, &record, sizeof record);
}

void loader_boot(void)
{
    struct record record;
    struct file file;
    int whole = inspect(&record);
    enum packstaff_reason why = PACKSTAFF_NO_FIRMWARE;

    if (packstaff_stick_blocks() > 0) {
        if (!find(&file)) {
            why = PACKSTAFF_NO_UPDATE;
        } else if (whole && file.image_crc == record.image_crc && file.length == record.length) {
            /* It is installed already. */
#if PLANTED_FAULT != 3
        } else if (!file_holds(&file)) {
            why = PACKSTAFF_UPDATE_DAMAGED;
#endif
        } else {
            install(&file);
            whole = 1;
        }
    }
    if (whole)
        packstaff_start(SLOT);
    packstaff_wait(why);
}
