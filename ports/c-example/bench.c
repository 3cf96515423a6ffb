/*
 * The port's side of the bench line, version 1. The guide's page on porting describes the line; this file may be copied for another
 * board as it is: what it needs of the board is in drivers.h and board.h, and one character in and out.
 *
 * A line is words, a space, '~' and the CRC-32 of what stands before that space, in eight hexadecimal digits. Numbers are
 * hexadecimal.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#include "bench.h"
#include "memory.h"

#include <stddef.h>

#include "board.h"
#include "platform.h"

enum { LINE_MAX = 1200 };

static char line[LINE_MAX];   /* what came */
static char answer[LINE_MAX]; /* what goes */
static size_t answer_len;
static uint8_t bytes[PACKSTAFF_STICK_BLOCK];

/* IEEE 802.3, bit by bit: small, and quick enough for a serial line. */
static uint32_t crc32(const char *text, size_t len)
{
    uint32_t crc = 0xffffffffu;
    for (size_t at = 0; at < len; at++) {
        crc ^= (uint8_t)text[at];
        for (int bit = 0; bit < 8; bit++)
            crc = (crc >> 1) ^ ((crc & 1u) != 0 ? 0xedb88320u : 0u);
    }
    return ~crc;
}

/* ---- what goes ---- */

static void say(const char *text)
{
    while (*text != '\0' && answer_len < sizeof answer - 1)
        answer[answer_len++] = *text++;
}

static void say_digits(uint64_t number, int digits)
{
    char text[2] = {0, 0};
    while (digits-- > 0) {
        text[0] = "0123456789abcdef"[(number >> (4 * digits)) & 15u];
        say(text);
    }
}

static void say_number(uint64_t number)
{
    int digits = 1;
    while (digits < 16 && (number >> (4 * digits)) != 0)
        digits++;
    say_digits(number, digits);
}

static void say_bytes(const char *word, const uint8_t *from, size_t len)
{
    say(word);
    for (size_t at = 0; at < len; at++)
        say_digits(from[at], 2);
}

static void say_range(const char *word, struct packstaff_range range)
{
    say(word);
    say_number(range.base);
    say("+");
    say_number(range.size);
}

static void send_answer(void)
{
    uint32_t crc = crc32(answer, answer_len);
    say(" ~");
    say_digits(crc, 8);
    say("\n");
    for (size_t at = 0; at < answer_len; at++)
        platform_line_put(answer[at]);
    answer_len = 0;
}

/* ---- what came ---- */

static int digit(char character)
{
    if (character >= '0' && character <= '9')
        return character - '0';
    if (character >= 'a' && character <= 'f')
        return character - 'a' + 10;
    return -1;
}

static bool parse_number(const char **at, uint64_t *number)
{
    const char *from = *at;
    *number = 0;
    while (*from == ' ')
        from++;
    const char *first = from;
    for (; digit(*from) >= 0; from++)
        *number = (*number << 4) | (uint64_t)digit(*from);
    bool some = from > first && from - first <= 16 && (*from == ' ' || *from == '\0');
    *at = from;
    return some;
}

static bool parse_address(const char **at, uint32_t *number)
{
    uint64_t wide = 0;
    bool parsed = parse_number(at, &wide) && wide <= UINT32_MAX;
    *number = (uint32_t)wide;
    return parsed;
}

static bool parse_bytes(const char **at, uint8_t *to, size_t most, size_t *len)
{
    const char *from = *at;
    while (*from == ' ')
        from++;
    for (*len = 0; digit(from[0]) >= 0 && digit(from[1]) >= 0; from += 2) {
        if (*len == most)
            return false;
        to[(*len)++] = (uint8_t)(digit(from[0]) << 4 | digit(from[1]));
    }
    *at = from;
    return *len > 0 && (*from == ' ' || *from == '\0');
}

static bool parse_exactly(const char **at, uint8_t *to, size_t len)
{
    size_t found = 0;
    return parse_bytes(at, to, len, &found) && found == len;
}

/* The text after `word`, if the line begins with it. */
static const char *after(const char *text, const char *word)
{
    size_t len = strlen(word);
    if (strncmp(text, word, len) != 0 || (text[len] != ' ' && text[len] != '\0'))
        return NULL;
    return text + len + (text[len] == ' ' ? 1 : 0);
}

/* Reads a line; false if it is not whole. */
static bool receive(void)
{
    size_t len = 0;
    bool fits = true;
    for (;;) {
        int character = platform_line_get();
        if (character < 0)
            platform_leave(0); /* nobody is there any more */
        if (character == '\n')
            break;
        if (character == '\r')
            continue;
        if (len < sizeof line - 1)
            line[len++] = (char)character;
        else
            fits = false;
    }
    line[len] = '\0';
    if (!fits || len < 10 || line[len - 10] != ' ' || line[len - 9] != '~')
        return false;
    const char *stated = line + len - 8;
    uint64_t crc = 0;
    line[len - 10] = '\0';
    return parse_number(&stated, &crc) && crc == crc32(line, len - 10);
}

/* ---- the answers ---- */

static void say_runs(const char *before, const struct packstaff_run *runs, uint32_t count)
{
    for (uint32_t run = 0; run < count; run++) {
        say(run == 0 ? before : ",");
        say_number(runs[run].count);
        say("*");
        say_number(runs[run].size);
    }
}

static void say_map(const struct packstaff_config *config)
{
    say("map base=");
    say_number(config->flash_base);
    say(" granule=");
    say_number(config->granule);
    say(" erased=");
    say_number(config->erased);
    say_runs(" runs=", config->runs, config->run_count);
    if (config->beside != NULL) {
        const struct packstaff_memory *beside = config->beside;
        say(" beside=");
        say_number(beside->base);
        say("/");
        say_number(beside->granule);
        say("/");
        say_number(beside->erased);
        say_runs("/", beside->runs, beside->run_count);
    }
    say_range(" installer=", board_installer);
    say_range(" slot=", config->slot);
    say_range(" floors=", config->floors[0]);
    say_range(",", config->floors[1]);
    if (config->layout != PACKSTAFF_LAYOUT_SINGLE)
        say_range(config->layout == PACKSTAFF_LAYOUT_STAGED ? " stage=" : " twin=", config->second);
}

static void say_request(const struct packstaff_request *request)
{
    static const char *const names[] = {"",      "find-stick", "read-stick", "read-flash", "digest-flash", "check-blank",
                                        "erase", "program",    "ask",        "tell",       "wait",         "start"};
    say("wants ");
    if (request->kind < sizeof names / sizeof names[0])
        say(names[request->kind]);
    switch (request->kind) {
    case PACKSTAFF_REQUEST_READ_STICK:
        say(" ");
        say_number(request->block);
        break;
    case PACKSTAFF_REQUEST_READ_FLASH:
    case PACKSTAFF_REQUEST_DIGEST_FLASH:
    case PACKSTAFF_REQUEST_CHECK_BLANK:
    case PACKSTAFF_REQUEST_PROGRAM:
        say(" ");
        say_number(request->address);
        say(" ");
        say_number(request->len);
        break;
    case PACKSTAFF_REQUEST_ERASE:
    case PACKSTAFF_REQUEST_START:
        say(" ");
        say_number(request->address);
        break;
    case PACKSTAFF_REQUEST_TELL:
    case PACKSTAFF_REQUEST_WAIT: {
        char letter[3] = {' ', (char)request->code.letter, '\0'};
        say(letter);
        say_number(request->code.number);
        break;
    }
    default:
        break;
    }
}

static void say_reply(const struct packstaff_reply *reply)
{
    switch (reply->kind) {
    case PACKSTAFF_REPLY_NO_STICK:
        say("no-stick");
        break;
    case PACKSTAFF_REPLY_STICK:
        say("stick ");
        say_number(reply->blocks);
        break;
    case PACKSTAFF_REPLY_BLOCK:
        say_bytes("block ", reply->data, reply->len);
        break;
    case PACKSTAFF_REPLY_FLASH:
        say_bytes("flash ", reply->data, reply->len);
        break;
    case PACKSTAFF_REPLY_DIGEST:
        say_bytes("digest ", reply->data, reply->len);
        break;
    case PACKSTAFF_REPLY_BLANK:
        say("blank");
        break;
    case PACKSTAFF_REPLY_NOT_BLANK:
        say("not-blank");
        break;
    case PACKSTAFF_REPLY_DONE:
        say("done");
        break;
    default:
        say("failed");
        break;
    }
}

/* A request that the judge makes itself, of the drivers alone. */
static bool parse_request(struct packstaff_request *request)
{
    static const struct {
        const char *name;
        uint32_t kind;
    } kinds[] = {
        {"find-stick", PACKSTAFF_REQUEST_FIND_STICK},   {"read-stick", PACKSTAFF_REQUEST_READ_STICK},
        {"read-flash", PACKSTAFF_REQUEST_READ_FLASH},   {"digest-flash", PACKSTAFF_REQUEST_DIGEST_FLASH},
        {"check-blank", PACKSTAFF_REQUEST_CHECK_BLANK}, {"erase", PACKSTAFF_REQUEST_ERASE},
        {"program", PACKSTAFF_REQUEST_PROGRAM},
    };
    memset(request, 0, sizeof *request);
    for (size_t at = 0; at < sizeof kinds / sizeof kinds[0]; at++) {
        const char *rest = after(line, kinds[at].name);
        if (rest == NULL)
            continue;
        size_t len = 0;
        request->kind = kinds[at].kind;
        switch (request->kind) {
        case PACKSTAFF_REQUEST_FIND_STICK:
            return true;
        case PACKSTAFF_REQUEST_READ_STICK:
            return parse_number(&rest, &request->block);
        case PACKSTAFF_REQUEST_ERASE:
            return parse_address(&rest, &request->address);
        case PACKSTAFF_REQUEST_PROGRAM:
            if (!parse_address(&rest, &request->address) || !parse_bytes(&rest, bytes, sizeof bytes, &len))
                return false;
            request->data = bytes;
            request->len = (uint32_t)len;
            return true;
        default:
            return parse_address(&rest, &request->address) && parse_address(&rest, &request->len);
        }
    }
    return false;
}

/* A reply that the judge makes in the place of stick and owner. */
static bool parse_reply(const char *rest, struct packstaff_reply *reply)
{
    uint64_t number = 0;
    const char *more = NULL;
    memset(reply, 0, sizeof *reply);
    if (after(rest, "no-stick") != NULL) {
        reply->kind = PACKSTAFF_REPLY_NO_STICK;
    } else if ((more = after(rest, "stick")) != NULL) {
        reply->kind = PACKSTAFF_REPLY_STICK;
        return parse_number(&more, &reply->blocks);
    } else if ((more = after(rest, "block")) != NULL) {
        reply->kind = PACKSTAFF_REPLY_BLOCK;
        reply->data = bytes;
        reply->len = sizeof bytes;
        return parse_exactly(&more, bytes, sizeof bytes);
    } else if (after(rest, "chosen none") != NULL) {
        reply->kind = PACKSTAFF_REPLY_CHOSEN;
        reply->row = PACKSTAFF_NO_ROW;
    } else if ((more = after(rest, "chosen")) != NULL) {
        bool parsed = parse_number(&more, &number);
        reply->kind = PACKSTAFF_REPLY_CHOSEN;
        reply->row = (uint32_t)number;
        return parsed;
    } else if (after(rest, "done") != NULL) {
        reply->kind = PACKSTAFF_REPLY_DONE;
    } else if (after(rest, "failed") != NULL) {
        reply->kind = PACKSTAFF_REPLY_FAILED;
    } else {
        return false;
    }
    return true;
}

static void step(struct loader *loader)
{
    uint32_t said = packstaff_installer_step(&loader->machine, board_config(), &loader->reply, &loader->request);
    if (said != PACKSTAFF_OK) {
        say("no return-code ");
        say_number(said);
        return;
    }
    say_request(&loader->request);
}

static bool become(const char *rest)
{
    struct board_identity identity;
    if (!parse_exactly(&rest, identity.vendor, 16) || !parse_exactly(&rest, identity.class_id, 16) ||
        !parse_exactly(&rest, identity.sibling, 16) || !parse_exactly(&rest, identity.signing_key, 32) ||
        !parse_exactly(&rest, identity.unit_key, 32))
        return false;
    board_become(&identity);
    return true;
}

static void answer_line(struct loader *loader)
{
    struct packstaff_request asked;
    const char *rest = NULL;
    if (after(line, "hello") != NULL) {
        say("port 1");
    } else if (after(line, "map") != NULL) {
        say_map(board_config());
    } else if ((rest = after(line, "unit")) != NULL) {
        say(become(rest) ? "ok" : "no unit");
    } else if (after(line, "power-up") != NULL) {
        uint32_t said = packstaff_installer_begin(&loader->machine, sizeof loader->machine, board_config());
        memset(&loader->reply, 0, sizeof loader->reply);
        loader->reply.kind = PACKSTAFF_REPLY_POWER_UP;
        if (said == PACKSTAFF_OK) {
            step(loader);
        } else {
            say("no return-code ");
            say_number(said);
        }
    } else if (after(line, "do") != NULL) {
        if (loader_look_or_change(board_config(), &loader->request, &loader->reply, loader->buffer))
            say_reply(&loader->reply);
        else
            say("no request for a driver");
    } else if (after(line, "next") != NULL) {
        step(loader);
    } else if ((rest = after(line, "reply")) != NULL) {
        if (parse_reply(rest, &loader->reply))
            step(loader);
        else
            say("no such reply");
    } else if (after(line, "show") != NULL) {
        loader_show(&loader->machine, &loader->request);
        say("shown ");
        for (const char *at = board_shown(); *at != '\0'; at++) {
            char letter[2] = {*at == '\n' ? '|' : *at, '\0'};
            say(letter);
        }
    } else if (parse_request(&asked)) {
        struct packstaff_reply found;
        if (asked.kind != PACKSTAFF_REQUEST_READ_FLASH || asked.len <= sizeof bytes) {
            loader_look_or_change(board_config(), &asked, &found, bytes);
            say_reply(&found);
        } else {
            say("no so many bytes");
        }
    } else {
        say("no such command");
    }
}

void bench_serve(struct loader *loader)
{
    for (;;) {
        if (!receive())
            say("garbled");
        else if (after(line, "reset") != NULL)
            platform_leave(0);
        else
            answer_line(loader);
        send_answer();
    }
}
