/*
 * Packstaff's installer, for loaders written in C.
 *
 * The installer is a step machine: it does no input or output. It asks for one thing at a time, such as "erase this sector" or
 * "read that block of the stick"; you carry it out and tell it what came of it; it asks for the next, until it asks for the
 * firmware to be started.
 *
 *     static struct packstaff_installer machine;
 *     struct packstaff_request request;
 *     struct packstaff_reply reply = { PACKSTAFF_REPLY_POWER_UP };
 *
 *     packstaff_installer_begin(&machine, sizeof machine, &config);
 *     for (;;) {
 *         if (packstaff_installer_step(&machine, &config, &reply, &request) != PACKSTAFF_OK)
 *             stop();                        // a mistake in the loader: see the return codes
 *         carry_out(&request, &reply);       // yours: one switch, one case a request
 *     }
 *
 * The guide's page on porting says what each request wants of your drivers, and what a right driver must not do.
 *
 * Whose memory
 * ------------
 * All of it is yours. The library has no variables and no heap, and keeps no pointer after a call has returned. Several machines
 * may be used side by side; one machine must not be used by two threads or interrupts at once. Storage that was begun holds plain
 * data: it may be copied as bytes; nothing outside needs to be given back; it may be dropped at any time, or ended, which
 * overwrites it.
 *
 * What you promise at every call, because no library can look for it in C:
 *   - a pointer that is not null leads to memory of the size that its type, or the length beside it, states;
 *   - what the library reads there is initialised and stays as it is during the call;
 *   - storage that was begun is changed by this library's calls alone.
 *
 * What the library looks for: null and misaligned pointers, storage in which nothing was begun, ranges that overlap, lengths and
 * counts that do not fit, replies that do not answer the last request. Each gives a return code, and nothing has changed then: the
 * machine still waits for the answer to the same request.
 *
 * How much of it
 * --------------
 * sizeof(struct packstaff_installer) and sizeof(struct packstaff_digest) bytes, and what the calls need of the stack: the guide's
 * page on performance has the figures.
 *
 * When which call
 * ---------------
 *   packstaff_config_check        at any time; once in the life of a board is enough
 *   packstaff_installer_begin     once after each power-up, before any other call on that storage
 *   packstaff_installer_step      after begin; first with PACKSTAFF_REPLY_POWER_UP, which may be given again at any time and starts
 *                                 over
 *   packstaff_installer_progress,
 *   packstaff_installer_row,
 *   packstaff_installer_left_out,
 *   packstaff_installer_installed between any two steps
 *   packstaff_installer_end       after begin; before the firmware starts, so that it finds no key of a payload in RAM
 *
 * C99, or C++11, and later.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#ifndef PACKSTAFF_INSTALLER_H
#define PACKSTAFF_INSTALLER_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* ---- return codes ---- */

#define PACKSTAFF_OK 0u          /* done */
#define PACKSTAFF_NULL 1u        /* a pointer that must be there is null */
#define PACKSTAFF_MISALIGNED 2u  /* a pointer is not aligned for what it points to */
#define PACKSTAFF_TOO_SMALL 3u   /* the storage is too small: header and library are not of the same version */
#define PACKSTAFF_NOT_BEGUN 4u   /* nothing was begun in this storage, or it was ended */
#define PACKSTAFF_BAD_CONFIG 5u  /* the configuration breaks a rule: packstaff_config_check says which */
#define PACKSTAFF_BAD_REPLY 6u   /* of no known kind, of a wrong length, or no answer to the last request */
#define PACKSTAFF_OVERLAP 7u     /* two ranges of memory overlap that must not */
#define PACKSTAFF_NOTHING 8u     /* there is no such row; nothing is installed */

/* ---- what a unit knows about itself ---- */

#define PACKSTAFF_SIGNING_KEYS_MAX 4u
#define PACKSTAFF_RUNS_MAX 8u
#define PACKSTAFF_SIBLINGS_MAX 32u

/* A range of flash. */
struct packstaff_range {
    uint32_t base; /* first address */
    uint32_t size; /* bytes */
};

/* A run of equal sectors. */
struct packstaff_run {
    uint32_t count;
    uint32_t size; /* bytes of each */
};

/* Kinds of signing key, by the algorithm's number in COSE. */
#define PACKSTAFF_KEY_ED25519 (-19)
#define PACKSTAFF_KEY_HSS_LMS (-46) /* in a library with the feature hss-lms: define PACKSTAFF_HSS_LMS before this header */

/* A key whose signatures the unit accepts. */
struct packstaff_signing_key {
    int32_t algorithm; /* PACKSTAFF_KEY_... */
    uint32_t kid_len;  /* 1 to 16 */
    uint8_t kid[16];   /* identifier; what is beyond kid_len does not count */
    uint8_t key[60];   /* Ed25519: 32 bytes (RFC 8032, 5.1.5); HSS-LMS: 60 bytes (RFC 8554, 6.1) */
};

/* The secret of the unit's generation: it reads update files, and can sign none. */
struct packstaff_unit_key {
    uint32_t kid_len; /* 1 to 16 */
    uint8_t kid[16];
    uint8_t key[32];
};

/* A memory beside the part's own flash: external flash on a serial bus, say. Its addresses are the port's choice, apart from those
 * of the part's own flash; requests name them as they are here, and drivers tell by them which memory is meant. */
struct packstaff_memory {
    uint32_t base;      /* address of the first sector */
    uint32_t granule;   /* smallest unit that may be programmed, in bytes: a power of two up to 512; a page, say */
    uint32_t run_count; /* up to PACKSTAFF_RUNS_MAX */
    uint8_t erased;     /* what a byte reads after an erase */
    const struct packstaff_run *runs; /* all sectors, upward from base */
};

/* What there is beside the slot. */
#define PACKSTAFF_LAYOUT_SINGLE 0u /* nothing; `second` does not count */
#define PACKSTAFF_LAYOUT_STAGED 1u /* `second` is where an image is put together before it is copied to the slot */
#define PACKSTAFF_LAYOUT_PAIRED 2u /* `second` is a second slot; the part maps the one that is started */

/* Belongs into flash, as a constant; must be the same at every call on a machine. */
struct packstaff_config {
    uint8_t vendor[16];   /* vendor identifier */
    uint8_t class_id[16]; /* class identifier of this board revision */
    uint8_t extension[3]; /* ending of update files' names: upper case, padded with spaces */
    uint8_t erased;       /* what a byte reads after an erase */
    uint32_t granule;     /* smallest unit that may be programmed, in bytes: a power of two up to 512 */
    uint32_t flash_base;  /* address of the first sector */
    uint32_t run_count;   /* up to PACKSTAFF_RUNS_MAX */
    const struct packstaff_run *runs;                 /* all sectors, upward from flash_base */
    const uint8_t (*siblings)[16];                    /* class identifiers of the other board revisions; null if there are none */
    const struct packstaff_signing_key *signing_keys; /* at least one */
    const struct packstaff_unit_key *unit_key;
    const struct packstaff_memory *beside; /* null if there is none; a stage may lie in it, and nothing else */
    uint32_t sibling_count;     /* up to PACKSTAFF_SIBLINGS_MAX */
    uint32_t signing_key_count; /* 1 to PACKSTAFF_SIGNING_KEYS_MAX */
    uint32_t layout;            /* PACKSTAFF_LAYOUT_... */
    struct packstaff_range slot;      /* holds one image and its descriptor: whole sectors */
    struct packstaff_range second;    /* whole sectors; a stage may lie in the memory beside */
    struct packstaff_range floors[2]; /* one sector each, for the installer's records alone */
};

/* What is wrong with a configuration. */
#define PACKSTAFF_FAULT_NONE 0u
#define PACKSTAFF_FAULT_GRANULE 1u          /* the granule must be a power of two of at most 512 bytes */
#define PACKSTAFF_FAULT_NO_KEY 2u           /* no signing key: the unit could never be updated */
#define PACKSTAFF_FAULT_SLOT 3u             /* slot or second range are not whole sectors, or too small for a descriptor */
#define PACKSTAFF_FAULT_DESCRIPTOR_SPLIT 4u /* the slot's last sector is too small for a whole descriptor */
#define PACKSTAFF_FAULT_FLOOR_SECTOR 5u     /* a floor range is not exactly one sector */
#define PACKSTAFF_FAULT_OVERLAP 6u          /* slot, second range and floors share bytes, or two memories addresses */
#define PACKSTAFF_FAULT_COUNT 7u            /* a count is beyond its limit */
#define PACKSTAFF_FAULT_KEY 8u              /* a key identifier is not 1 to 16 bytes, or the algorithm is not known */
#define PACKSTAFF_FAULT_LAYOUT 9u           /* the layout is not known */

/*
 * Looks for mistakes in a configuration; `fault` gets the first, as PACKSTAFF_FAULT_....
 * Returns PACKSTAFF_OK, PACKSTAFF_BAD_CONFIG, PACKSTAFF_NULL or PACKSTAFF_MISALIGNED.
 */
uint32_t packstaff_config_check(const struct packstaff_config *config, uint32_t *fault);

/* ---- requests ---- */

#define PACKSTAFF_REQUEST_FIND_STICK 1u   /* is a stick there? wait until one is up, or until it is clear that there is none */
#define PACKSTAFF_REQUEST_READ_STICK 2u   /* read `block`, 512 bytes, whatever the stick's own blocks are */
#define PACKSTAFF_REQUEST_READ_FLASH 3u   /* read `len` bytes, 1 to 512, from `address` */
#define PACKSTAFF_REQUEST_DIGEST_FLASH 4u /* SHA-256 over `len` bytes from `address`; see packstaff_digest_begin */
#define PACKSTAFF_REQUEST_CHECK_BLANK 5u  /* do all of `len` bytes from `address` read as erased? */
#define PACKSTAFF_REQUEST_ERASE 6u        /* erase the one sector that begins at `address`; wait; look at the error flags */
#define PACKSTAFF_REQUEST_PROGRAM 7u      /* program `len` bytes from `data` at `address`: whole granules, upward; wait; look */
#define PACKSTAFF_REQUEST_ASK 8u          /* show the rows; let the owner pick one that is offered, or none */
#define PACKSTAFF_REQUEST_TELL 9u         /* show `code`; go on by itself after a while */
#define PACKSTAFF_REQUEST_WAIT 10u        /* show `code`: nothing can be started; wait until the owner has changed something */
#define PACKSTAFF_REQUEST_START 11u       /* start the image whose vector table lies at `address`; end the machine first */

/* A reason, as the owner reads it to the maker: S102, F20, N3, U1. The guide lists them. They never change once released. */
struct packstaff_code {
    uint16_t number;
    uint8_t letter; /* 'S', 'F', 'N' or 'U'; 0 for no reason */
    uint8_t zero;   /* always 0 */
};

/* What a kind does not use is 0 or null. */
struct packstaff_request {
    uint32_t kind; /* PACKSTAFF_REQUEST_... */
    uint32_t address;
    uint32_t len;
    struct packstaff_code code;
    uint64_t block;
    const uint8_t *data; /* inside the machine's storage: valid until the next call on it */
};

/* ---- replies ---- */

#define PACKSTAFF_REPLY_POWER_UP 1u  /* to the very first step */
#define PACKSTAFF_REPLY_NO_STICK 2u  /* to FIND_STICK */
#define PACKSTAFF_REPLY_STICK 3u     /* to FIND_STICK: there is one of `blocks` blocks of 512 bytes */
#define PACKSTAFF_REPLY_BLOCK 4u     /* to READ_STICK: `data`, `len` 512 */
#define PACKSTAFF_REPLY_FLASH 5u     /* to READ_FLASH: `data`, `len` as it was asked for */
#define PACKSTAFF_REPLY_DIGEST 6u    /* to DIGEST_FLASH: `data`, `len` 32 */
#define PACKSTAFF_REPLY_BLANK 7u     /* to CHECK_BLANK */
#define PACKSTAFF_REPLY_NOT_BLANK 8u /* to CHECK_BLANK */
#define PACKSTAFF_REPLY_CHOSEN 9u    /* to ASK: `row`, or PACKSTAFF_NO_ROW to leave all as it is. A row without an offer: asked again */
#define PACKSTAFF_REPLY_DONE 10u     /* to ERASE, PROGRAM, TELL, WAIT, START */
#define PACKSTAFF_REPLY_FAILED 11u   /* to READ_STICK, READ_FLASH, DIGEST_FLASH, CHECK_BLANK, ERASE, PROGRAM */

#define PACKSTAFF_NO_ROW 0xffffffffu
#define PACKSTAFF_STICK_BLOCK 512u

/* What a kind does not use does not count. */
struct packstaff_reply {
    uint32_t kind; /* PACKSTAFF_REPLY_... */
    uint32_t row;
    uint64_t blocks;
    const uint8_t *data; /* read during the call only; not inside the machine's storage */
    uint32_t len;
};

/* ---- the machine ---- */

/* What the room for HSS-LMS signatures adds. */
#if defined(PACKSTAFF_HSS_LMS)
#define PACKSTAFF_WIDER 1280u
#else
#define PACKSTAFF_WIDER 0u
#endif
#if UINTPTR_MAX > 0xffffffffu
#define PACKSTAFF_INSTALLER_SIZE (4864u + PACKSTAFF_WIDER)
#else
#define PACKSTAFF_INSTALLER_SIZE (4736u + PACKSTAFF_WIDER)
#endif
#define PACKSTAFF_DIGEST_SIZE 128u
#define PACKSTAFF_STORAGE_ALIGN 8u

#if defined(__cplusplus)
#define PACKSTAFF_ALIGNED alignas(8)
#elif defined(__STDC_VERSION__) && __STDC_VERSION__ >= 201112L
#define PACKSTAFF_ALIGNED _Alignas(8)
#elif defined(__GNUC__)
#define PACKSTAFF_ALIGNED __attribute__((aligned(8)))
#else
#error "say here how your compiler aligns a member to 8 bytes"
#endif

/* Storage for a machine. What is in it is the library's affair. */
struct packstaff_installer {
    PACKSTAFF_ALIGNED uint8_t storage[PACKSTAFF_INSTALLER_SIZE];
};

/*
 * Begins a machine in `size` bytes: write sizeof(struct packstaff_installer) there, so that a header of another version is noticed.
 * Storage may be begun again at any time.
 * Returns PACKSTAFF_OK, _TOO_SMALL, _BAD_CONFIG, _OVERLAP, _NULL or _MISALIGNED.
 */
uint32_t packstaff_installer_begin(struct packstaff_installer *machine, uint32_t size, const struct packstaff_config *config);

/*
 * Takes the reply to the last request and makes the next one. After PACKSTAFF_REQUEST_START it is the same one for ever.
 * Returns PACKSTAFF_OK, _BAD_REPLY, _NOT_BEGUN, _BAD_CONFIG, _OVERLAP, _NULL or _MISALIGNED.
 */
uint32_t packstaff_installer_step(struct packstaff_installer *machine, const struct packstaff_config *config,
                                  const struct packstaff_reply *reply, struct packstaff_request *request);

/* Overwrites the storage with zeros. Returns PACKSTAFF_OK, _NOT_BEGUN, _NULL or _MISALIGNED. */
uint32_t packstaff_installer_end(struct packstaff_installer *machine);

/* ---- for the display ---- */

#define PACKSTAFF_PHASE_INSPECT 1u /* checks its own flash */
#define PACKSTAFF_PHASE_SURVEY 2u  /* looks for a stick, and through it */
#define PACKSTAFF_PHASE_OWNER 3u   /* asks or tells the owner */
#define PACKSTAFF_PHASE_CHECK 4u   /* checks the chosen file; nothing has been erased */
#define PACKSTAFF_PHASE_ERASE 5u   /* erases: from here on, power should stay on */
#define PACKSTAFF_PHASE_PROGRAM 6u /* programs */
#define PACKSTAFF_PHASE_CONFIRM 7u /* checks what was programmed */
#define PACKSTAFF_PHASE_START 8u   /* starts the image */

struct packstaff_progress {
    uint32_t phase; /* PACKSTAFF_PHASE_... */
    uint32_t done;  /* in the phase's own measure: bytes or sectors */
    uint32_t total; /* 0 where the phase has no measure */
};

/* Returns PACKSTAFF_OK, _NOT_BEGUN, _BAD_CONFIG, _OVERLAP, _NULL or _MISALIGNED. */
uint32_t packstaff_installer_progress(struct packstaff_installer *machine, const struct packstaff_config *config,
                                      struct packstaff_progress *progress);

/* A release, as a signed manifest or a descriptor states it. */
struct packstaff_release {
    uint64_t issue;
    uint32_t version[3]; /* what does not count is 0 */
    uint32_t version_count; /* 1 to 3 */
    uint32_t image_size;
};

#define PACKSTAFF_RELATION_FIRST 1u     /* the unit has no image that could be started */
#define PACKSTAFF_RELATION_NEWER 2u     /* a later version */
#define PACKSTAFF_RELATION_SIBLING 3u   /* the same version with another content */
#define PACKSTAFF_RELATION_INSTALLED 4u /* the very image that is installed */
#define PACKSTAFF_RELATION_OLDER 5u     /* an earlier version */

#define PACKSTAFF_ROWS 8u
#define PACKSTAFF_NAME_LEN 13u

/* A file on the stick that is, or looks like, an update. */
struct packstaff_row {
    struct packstaff_release release; /* of an offer */
    uint32_t relation;                /* PACKSTAFF_RELATION_... of an offer; 0 if the file is refused */
    struct packstaff_code code;       /* why it is refused */
    char name[PACKSTAFF_NAME_LEN];    /* as shown: KC4.UPD, ended by a zero */
    uint8_t manifest[32];             /* digest of an offer's signed manifest: names it for certain */
};

/*
 * The row at `index`, from 0 to PACKSTAFF_ROWS - 1. At PACKSTAFF_REQUEST_ASK at least one row is an offer.
 * Returns PACKSTAFF_OK, _NOTHING if that row is empty (all after it are, too), _NOT_BEGUN, _OVERLAP, _NULL or _MISALIGNED.
 */
uint32_t packstaff_installer_row(struct packstaff_installer *machine, uint32_t index, struct packstaff_row *row);

/* How many files found no row. Returns PACKSTAFF_OK, _NOT_BEGUN, _OVERLAP, _NULL or _MISALIGNED. */
uint32_t packstaff_installer_left_out(struct packstaff_installer *machine, uint32_t *count);

/*
 * What is installed and may be started, as far as it is known between these two steps.
 * Returns PACKSTAFF_OK, _NOTHING, _NOT_BEGUN, _OVERLAP, _NULL or _MISALIGNED.
 */
uint32_t packstaff_installer_installed(struct packstaff_installer *machine, struct packstaff_release *release);

/* ---- SHA-256, for PACKSTAFF_REQUEST_DIGEST_FLASH: the installer's own, so that there need not be a second one ---- */

struct packstaff_digest {
    PACKSTAFF_ALIGNED uint8_t storage[PACKSTAFF_DIGEST_SIZE];
};

/* `size` is sizeof(struct packstaff_digest). Returns PACKSTAFF_OK, _TOO_SMALL, _NULL or _MISALIGNED. */
uint32_t packstaff_digest_begin(struct packstaff_digest *digest, uint32_t size);

/* Takes in `len` bytes; `bytes` may be null if `len` is 0. Returns PACKSTAFF_OK, _NOT_BEGUN, _OVERLAP, _NULL or _MISALIGNED. */
uint32_t packstaff_digest_add(struct packstaff_digest *digest, const uint8_t *bytes, uint32_t len);

/* Gives the 32 bytes and ends the digest. Returns PACKSTAFF_OK, _NOT_BEGUN, _OVERLAP, _NULL or _MISALIGNED. */
uint32_t packstaff_digest_end(struct packstaff_digest *digest, uint8_t (*out)[32]);

/* ---- whether compiler and library agree ---- */

/*
 * Sizes and offsets as the library has them. A loader's test compares them with its compiler's on the processor itself:
 *
 *     static const uint16_t ours[] = PACKSTAFF_LAYOUT;
 *     if (memcmp(ours, packstaff_layout, sizeof ours) != 0) ...
 */
#define PACKSTAFF_LAYOUT_COUNT 72u
extern const uint16_t packstaff_layout[PACKSTAFF_LAYOUT_COUNT];

#define PACKSTAFF_S(type) (uint16_t)sizeof(struct packstaff_##type)
#define PACKSTAFF_O(type, field) (uint16_t)offsetof(struct packstaff_##type, field)
#define PACKSTAFF_LAYOUT                                                                                                        \
    {                                                                                                                           \
        PACKSTAFF_S(range), PACKSTAFF_O(range, base), PACKSTAFF_O(range, size),                                                 \
        PACKSTAFF_S(run), PACKSTAFF_O(run, count), PACKSTAFF_O(run, size),                                                      \
        PACKSTAFF_S(memory), PACKSTAFF_O(memory, base), PACKSTAFF_O(memory, granule), PACKSTAFF_O(memory, run_count),           \
        PACKSTAFF_O(memory, erased), PACKSTAFF_O(memory, runs),                                                                 \
        PACKSTAFF_S(signing_key), PACKSTAFF_O(signing_key, algorithm), PACKSTAFF_O(signing_key, kid_len),                       \
        PACKSTAFF_O(signing_key, kid), PACKSTAFF_O(signing_key, key),                                                           \
        PACKSTAFF_S(unit_key), PACKSTAFF_O(unit_key, kid_len), PACKSTAFF_O(unit_key, kid), PACKSTAFF_O(unit_key, key),          \
        PACKSTAFF_S(config), PACKSTAFF_O(config, vendor), PACKSTAFF_O(config, class_id), PACKSTAFF_O(config, extension),        \
        PACKSTAFF_O(config, erased), PACKSTAFF_O(config, granule), PACKSTAFF_O(config, flash_base),                             \
        PACKSTAFF_O(config, run_count), PACKSTAFF_O(config, runs), PACKSTAFF_O(config, siblings),                               \
        PACKSTAFF_O(config, signing_keys), PACKSTAFF_O(config, unit_key), PACKSTAFF_O(config, beside),                          \
        PACKSTAFF_O(config, sibling_count),                                                                                     \
        PACKSTAFF_O(config, signing_key_count), PACKSTAFF_O(config, layout), PACKSTAFF_O(config, slot),                         \
        PACKSTAFF_O(config, second), PACKSTAFF_O(config, floors),                                                               \
        PACKSTAFF_S(request), PACKSTAFF_O(request, kind), PACKSTAFF_O(request, address), PACKSTAFF_O(request, len),             \
        PACKSTAFF_O(request, code), PACKSTAFF_O(request, block), PACKSTAFF_O(request, data),                                    \
        PACKSTAFF_S(reply), PACKSTAFF_O(reply, kind), PACKSTAFF_O(reply, row), PACKSTAFF_O(reply, blocks),                      \
        PACKSTAFF_O(reply, data), PACKSTAFF_O(reply, len),                                                                      \
        PACKSTAFF_S(progress), PACKSTAFF_O(progress, phase), PACKSTAFF_O(progress, done), PACKSTAFF_O(progress, total),         \
        PACKSTAFF_S(release), PACKSTAFF_O(release, issue), PACKSTAFF_O(release, version), PACKSTAFF_O(release, version_count),  \
        PACKSTAFF_O(release, image_size),                                                                                       \
        PACKSTAFF_S(row), PACKSTAFF_O(row, release), PACKSTAFF_O(row, relation), PACKSTAFF_O(row, code),                        \
        PACKSTAFF_O(row, name), PACKSTAFF_O(row, manifest),                                                                     \
        PACKSTAFF_S(installer), PACKSTAFF_O(installer, storage),                                                                \
        PACKSTAFF_S(digest), PACKSTAFF_O(digest, storage)                                                                       \
    }

#ifdef __cplusplus
}
#endif

#endif
