/*
 * The board: a simulated flash with an STM32F405's sectors and rules, a stick that is a file, an owner who follows a script.
 *
 * The flash lasts in flash.bin, 512 KiB, as the cells stand; the stick is stick.img; what the owner does is in bench.txt: a line
 * `pick 2 1` picks version 2.1 if it is offered, `cut 17 3` ends the supply at the 17th change of flash, after 3 words of it,
 * `serve` hands the board to a judge on the serial line. The last 512 bytes of the installer's sectors hold what the factory wrote:
 * who this unit is.
 *
 * MISTAKE plants one, for the tests: each is one that a driver's author could make.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#include "board.h"

#include <stddef.h>

#include "drivers.h"
#include "memory.h"
#include "platform.h"

enum { ERASED = 0xff, GRANULE = 4, FACTORY_AT = 0x7e00, FACTORY_LEN = 202 };

/* RM0090, table 5. On the part itself flash begins at 0x08000000; the emulated machine has its memory at 0. */
static const struct packstaff_run runs[] = {{4, 0x4000}, {1, 0x10000}, {3, 0x20000}};

static uint8_t siblings[4][16];
static struct packstaff_signing_key signing_key;
static struct packstaff_unit_key unit_key;
static struct packstaff_config config = {
    .extension = {'U', 'P', 'D'},
    .erased = ERASED,
    .granule = GRANULE,
    .flash_base = 0,
    .run_count = sizeof runs / sizeof runs[0],
    .runs = runs,
    .siblings = siblings,
    .signing_keys = &signing_key,
    .unit_key = &unit_key,
    .signing_key_count = 1,
    .layout = PACKSTAFF_LAYOUT_SINGLE,
    .slot = {0x10000, 0x70000},
    .floors = {{0x8000, 0x4000}, {0xc000, 0x4000}},
};
const struct packstaff_range board_installer = {0, 0x8000};

static intptr_t flash_file = -1, stick_file = -1;
static uint32_t changes, cut_at, cut_words;
static bool judged;
static char script[256];
static char shown[256];

/* ---- flash ---- */

static bool sector_of(uint32_t address, struct packstaff_range *sector)
{
    uint32_t base = config.flash_base;
    for (size_t run = 0; run < config.run_count; run++)
        for (uint32_t index = 0; index < runs[run].count; index++) {
            if (address >= base && address - base < runs[run].size) {
                sector->base = base;
                sector->size = runs[run].size;
                return true;
            }
            base += runs[run].size;
        }
    return false;
}

/* What the cells hold now is there after a cut. */
static bool keep(uint32_t address, uint32_t len)
{
    return len == 0 || platform_write(flash_file, address, platform_cells(address, len), len);
}

/* How many bytes of a change happen: all, unless the supply goes in the middle of it. */
static uint32_t before_the_cut(uint32_t len)
{
    changes++;
    return changes == cut_at && cut_words < len / GRANULE ? cut_words * GRANULE : len;
}

static void cut_if_due(void)
{
    if (changes == cut_at)
        platform_cut();
}

#if MISTAKE == 4
static struct packstaff_range at_work;
#endif

bool flash_read(uint32_t address, uint8_t *to, uint32_t len)
{
#if MISTAKE == 5 /* a cache that nobody clears: what was read last is given again */
    static uint32_t cached_at = 1, cached_len;
    static uint8_t cached[PACKSTAFF_STICK_BLOCK];
    if (cached_at == address && cached_len == len) {
        memcpy(to, cached, len);
        return true;
    }
#endif
    const uint8_t *cells = platform_cells(address, len);
    if (cells == NULL)
        return false;
    memcpy(to, cells, len);
#if MISTAKE == 5
    if (len <= sizeof cached) {
        memcpy(cached, cells, len);
        cached_at = address;
        cached_len = len;
    }
#endif
    return true;
}

static bool clear(struct packstaff_range sector)
{
    uint8_t *cells = platform_cells(sector.base, sector.size);
    if (cells == NULL)
        return false;
    uint32_t len = before_the_cut(sector.size);
    memset(cells, ERASED, len);
    bool kept = keep(sector.base, len);
    cut_if_due();
    return kept;
}

bool flash_erase(uint32_t address)
{
    struct packstaff_range sector;
#if MISTAKE == 1 /* counts the large sectors from one too low: each of them erases the one before it */
    if (address >= 0x20000u)
        address = address == 0x20000u ? 0x10000u : address - 0x20000u;
#endif
    if (!sector_of(address, &sector) || sector.base != address)
        return false;
#if MISTAKE == 4 /* does not wait: the part goes on erasing while the loader thinks that it is done */
    at_work = sector;
    return true;
#elif MISTAKE == 6 /* forgets to unlock the controller, and does not look at its error flags */
    sector.size = 0;
    return clear(sector);
#else
    return clear(sector);
#endif
}

bool flash_program(uint32_t address, const uint8_t *data, uint32_t len)
{
    uint8_t *cells = platform_cells(address, len);
    if (cells == NULL || len == 0 || (address | len) % GRANULE != 0)
        return false;
    /* A bit goes from 1 to 0 here, and never back (RM0090, 3.5.4). */
    for (uint32_t at = 0; at < len; at++)
        if ((data[at] & ~cells[at]) != 0) {
#if MISTAKE == 4
            break;
#else
            return false;
#endif
        }
#if MISTAKE == 2 /* counts one granule too few */
    len -= GRANULE;
#endif
    len = before_the_cut(len);
    memcpy(cells, data, len);
    bool kept = keep(address, len);
    cut_if_due();
    if (!kept)
        return false;
#if MISTAKE == 4
    if (at_work.size != 0 && !clear(at_work))
        return false;
    at_work.size = 0;
#endif
    return true;
}

/* ---- the stick ---- */

bool stick_find(uint64_t *blocks)
{
    if (stick_file < 0)
        stick_file = platform_open("stick.img", false);
    if (stick_file < 0)
        return false;
    *blocks = platform_len(stick_file) / PACKSTAFF_STICK_BLOCK;
    return true;
}

bool stick_read(uint64_t block, uint8_t *to)
{
    uint64_t blocks = 0;
    return stick_find(&blocks) && block < blocks &&
           platform_read(stick_file, (uint32_t)block * PACKSTAFF_STICK_BLOCK, to, PACKSTAFF_STICK_BLOCK);
}

/* ---- the owner ---- */

void screen_show(const char *text)
{
    size_t at = 0;
    for (; text[at] != '\0' && at + 1 < sizeof shown; at++)
        shown[at] = text[at];
    shown[at] = '\0';
    if (judged)
        return;
    platform_print("display: ");
    for (at = 0; shown[at] != '\0'; at++) {
        char letter[2] = {shown[at], '\0'};
        platform_print(letter);
        if (shown[at] == '\n')
            platform_print("display: ");
    }
    platform_print("\n");
}

const char *board_shown(void)
{
    return shown;
}

static const char *script_line(const char *word)
{
    size_t len = strlen(word);
    for (const char *line = script; *line != '\0';) {
        if (strncmp(line, word, len) == 0)
            return line + len;
        while (*line != '\0' && *line++ != '\n') {
        }
    }
    return NULL;
}

/* The numbers of a line of the script; how many there are. */
static uint32_t script_numbers(const char *word, uint32_t numbers[3])
{
    uint32_t count = 0;
    const char *text = script_line(word);
    for (; text != NULL && *text == ' ' && count < 3; count++) {
        numbers[count] = 0;
        for (text++; *text >= '0' && *text <= '9'; text++)
            numbers[count] = numbers[count] * 10u + (uint32_t)(*text - '0');
    }
    return count;
}

uint32_t owner_picks(struct packstaff_installer *machine)
{
    uint32_t wanted[3] = {0, 0, 0};
    uint32_t count = script_numbers("pick", wanted);
    struct packstaff_row row;
    for (uint32_t index = 0; packstaff_installer_row(machine, index, &row) == PACKSTAFF_OK; index++)
        if (row.relation != 0 && row.release.version_count == count && memcmp(row.release.version, wanted, sizeof wanted) == 0)
            return index;
    return PACKSTAFF_NO_ROW;
}

void owner_changes_something(void)
{
    /* This owner goes home. */
    platform_leave(0);
}

void image_start(uint32_t address)
{
    platform_print("starts the image\n");
    platform_start(address);
}

/* ---- who this unit is ---- */

static uint8_t *take(uint8_t *from, void *to, size_t len)
{
    memcpy(to, from, len);
    return from + len;
}

/* As the factory writes it: PKU1, vendor, class, ending of names, count of siblings and room for four, whom it trusts, its key. */
static bool read_factory(void)
{
    uint8_t bytes[FACTORY_LEN], count = 0, signer_len = 0, reader_len = 0;
    if (flash_file < 0 || !platform_read(flash_file, FACTORY_AT, bytes, sizeof bytes) || memcmp(bytes, "PKU1", 4) != 0)
        return false;
    uint8_t *at = take(bytes + 4, config.vendor, 16);
    at = take(at, config.class_id, 16);
    at = take(at, config.extension, 3);
    at = take(at, &count, 1);
    at = take(at, siblings, sizeof siblings);
    at = take(at, &signer_len, 1);
    at = take(at, signing_key.kid, 16);
    at = take(at, signing_key.key, 32);
    at = take(at, &reader_len, 1);
    at = take(at, unit_key.kid, 16);
    take(at, unit_key.key, 32);
    config.sibling_count = count;
    signing_key.kid_len = signer_len;
    signing_key.algorithm = PACKSTAFF_KEY_ED25519;
    unit_key.kid_len = reader_len;
    return count <= 4;
}

void board_become(const struct board_identity *identity)
{
    memcpy(config.vendor, identity->vendor, 16);
    memcpy(config.class_id, identity->class_id, 16);
    memcpy(siblings[0], identity->sibling, 16);
    config.sibling_count = 1;
    signing_key.algorithm = PACKSTAFF_KEY_ED25519;
    signing_key.kid_len = unit_key.kid_len = 1;
    signing_key.kid[0] = 's';
    unit_key.kid[0] = 'u';
    memcpy(signing_key.key, identity->signing_key, 32);
    memcpy(unit_key.key, identity->unit_key, 32);
}

const struct packstaff_config *board_config(void)
{
    return &config;
}

void board_stop(const char *why)
{
    platform_print("stopped: ");
    platform_print(why);
    platform_print("\n");
    platform_leave(1);
}

bool board_begin(void)
{
    static const uint16_t compiled[] = PACKSTAFF_LAYOUT;
    if (memcmp(compiled, packstaff_layout, sizeof compiled) != 0)
        board_stop("the compilers of loader and library lay out structs differently");
    intptr_t bench = platform_open("bench.txt", false);
    uint32_t len = bench < 0 ? 0 : platform_len(bench);
    if (len >= sizeof script || (len > 0 && !platform_read(bench, 0, script, len)))
        board_stop("bench.txt cannot be read");
    judged = script_line("serve") != NULL;
    uint32_t cut[3] = {0, 0, 0};
    script_numbers("cut", cut);
    cut_at = cut[0];
    cut_words = cut[1];
    flash_file = platform_open("flash.bin", true);
    if (flash_file < 0)
        board_stop("flash.bin is not there");
    if (!platform_read(flash_file, 0x8000, platform_cells(0x8000, 0x78000), 0x78000))
        board_stop("flash.bin cannot be read");
    if (!judged && !read_factory())
        board_stop("the factory has not written who this unit is");
    return judged;
}
