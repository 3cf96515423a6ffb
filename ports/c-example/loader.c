/*
 * The loader. Nothing here knows the board.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#include "loader.h"
#include "memory.h"

#include <stddef.h>

/* Bytes that are read at once where more of them are only looked at. */
enum { PORTION = 256 };

static uint32_t portion_of(uint32_t left)
{
    return left < PORTION ? left : (uint32_t)PORTION;
}

static bool digest(uint32_t address, uint32_t len, uint8_t *to)
{
    struct packstaff_digest running;
    uint8_t bytes[PORTION];
    uint8_t out[32];
    if (packstaff_digest_begin(&running, sizeof running) != PACKSTAFF_OK)
        return false;
    while (len > 0) {
        uint32_t now = portion_of(len);
        if (!flash_read(address, bytes, now) || packstaff_digest_add(&running, bytes, now) != PACKSTAFF_OK)
            return false;
        address += now;
        len -= now;
    }
    if (packstaff_digest_end(&running, &out) != PACKSTAFF_OK)
        return false;
    memcpy(to, out, sizeof out);
    return true;
}

static bool check_blank(uint32_t address, uint32_t len, uint8_t erased, bool *blank)
{
    uint8_t bytes[PORTION];
    *blank = true;
    while (len > 0) {
        uint32_t now = portion_of(len);
        if (!flash_read(address, bytes, now))
            return false;
        for (uint32_t at = 0; at < now; at++)
            if (bytes[at] != erased)
                *blank = false;
#if MISTAKE == 3 /* looks at the beginning only, because the rest "must be the same" */
        break;
#endif
        address += now;
        len -= now;
    }
    return true;
}

bool loader_look_or_change(const struct packstaff_config *config, const struct packstaff_request *request,
                           struct packstaff_reply *reply, uint8_t buffer[PACKSTAFF_STICK_BLOCK])
{
    bool blank = false;
    uint32_t kind = PACKSTAFF_REPLY_FAILED;
    memset(reply, 0, sizeof *reply);
    switch (request->kind) {
    case PACKSTAFF_REQUEST_FIND_STICK:
        kind = stick_find(&reply->blocks) ? PACKSTAFF_REPLY_STICK : PACKSTAFF_REPLY_NO_STICK;
        break;
    case PACKSTAFF_REQUEST_READ_STICK:
        if (stick_read(request->block, buffer))
            kind = PACKSTAFF_REPLY_BLOCK;
        reply->len = PACKSTAFF_STICK_BLOCK;
        break;
    case PACKSTAFF_REQUEST_READ_FLASH:
        if (request->len <= PACKSTAFF_STICK_BLOCK && flash_read(request->address, buffer, request->len))
            kind = PACKSTAFF_REPLY_FLASH;
        reply->len = request->len;
        break;
    case PACKSTAFF_REQUEST_DIGEST_FLASH:
        if (digest(request->address, request->len, buffer))
            kind = PACKSTAFF_REPLY_DIGEST;
        reply->len = 32;
        break;
    case PACKSTAFF_REQUEST_CHECK_BLANK:
        if (check_blank(request->address, request->len, config->erased, &blank))
            kind = blank ? PACKSTAFF_REPLY_BLANK : PACKSTAFF_REPLY_NOT_BLANK;
        break;
    case PACKSTAFF_REQUEST_ERASE:
        if (flash_erase(request->address))
            kind = PACKSTAFF_REPLY_DONE;
        break;
    case PACKSTAFF_REQUEST_PROGRAM:
        if (flash_program(request->address, request->data, request->len))
            kind = PACKSTAFF_REPLY_DONE;
        break;
    default:
        return false;
    }
    reply->kind = kind;
    reply->data = buffer;
    return true;
}

static char *add_text(char *to, const char *end, const char *text)
{
    while (*text != '\0' && to < end)
        *to++ = *text++;
    return to;
}

static char *add_number(char *to, const char *end, uint32_t number)
{
    char digits[11];
    char *first = digits + sizeof digits - 1;
    *first = '\0';
    do {
        *--first = (char)('0' + number % 10u);
        number /= 10u;
    } while (number != 0);
    return add_text(to, end, first);
}

static const char *relation_name(uint32_t relation)
{
    switch (relation) {
    case PACKSTAFF_RELATION_FIRST:
        return " first";
    case PACKSTAFF_RELATION_NEWER:
        return " newer";
    case PACKSTAFF_RELATION_SIBLING:
        return " other";
    case PACKSTAFF_RELATION_INSTALLED:
        return " same";
    default:
        return " older";
    }
}

void loader_show(struct packstaff_installer *machine, const struct packstaff_request *request)
{
    char text[200];
    char *to = text;
    const char *const end = text + sizeof text - 1;
    struct packstaff_row row;
    if (request->kind == PACKSTAFF_REQUEST_ASK) {
        for (uint32_t index = 0; packstaff_installer_row(machine, index, &row) == PACKSTAFF_OK; index++) {
            if (row.relation == 0)
                continue;
            if (to != text)
                to = add_text(to, end, "\n");
            for (uint32_t at = 0; at < row.release.version_count && at < 3u; at++) {
                to = add_text(to, end, at == 0 ? "" : ".");
                to = add_number(to, end, row.release.version[at]);
            }
            to = add_text(to, end, relation_name(row.relation));
            to = add_text(to, end, " ?");
        }
    } else {
        char letter[2] = {(char)request->code.letter, '\0'};
        to = add_text(to, end, request->kind == PACKSTAFF_REQUEST_TELL ? "not used " : "waiting ");
#if MISTAKE != 7 /* shows that something is the matter, but not what */
        to = add_text(to, end, letter);
        to = add_number(to, end, request->code.number);
#else
        (void)letter;
#endif
    }
    *to = '\0';
    screen_show(text);
}

void loader_run(struct loader *loader, const struct packstaff_config *config)
{
    uint32_t said = packstaff_installer_begin(&loader->machine, sizeof loader->machine, config);
    memset(&loader->reply, 0, sizeof loader->reply);
    loader->reply.kind = PACKSTAFF_REPLY_POWER_UP;
    while (said == PACKSTAFF_OK) {
        const struct packstaff_request *request = &loader->request;
        struct packstaff_reply *reply = &loader->reply;
        said = packstaff_installer_step(&loader->machine, config, reply, &loader->request);
        if (said != PACKSTAFF_OK)
            break;
        if (loader_look_or_change(config, request, reply, loader->buffer))
            continue;
        reply->kind = PACKSTAFF_REPLY_DONE;
        switch (request->kind) {
        case PACKSTAFF_REQUEST_ASK:
            loader_show(&loader->machine, request);
            reply->kind = PACKSTAFF_REPLY_CHOSEN;
            reply->row = owner_picks(&loader->machine);
            break;
        case PACKSTAFF_REQUEST_TELL:
            loader_show(&loader->machine, request);
            break;
        case PACKSTAFF_REQUEST_WAIT:
            loader_show(&loader->machine, request);
            owner_changes_something();
            break;
        case PACKSTAFF_REQUEST_START:
            packstaff_installer_end(&loader->machine);
            image_start(request->address);
            return;
        default:
            board_stop("a request that this loader does not know");
            return;
        }
    }
    board_stop("the installer and this loader do not understand one another");
}
