/* Carry-over tables: their form is described in the Rust crate, keeper::table. */
#include "keeper.h"

enum { HEAD = 10, DEPTH = 4, KEPT = 0x80, BIG = 0x10 };
enum { OP_COPY = 1, OP_PUT, OP_FILL, OP_NUMBER, OP_REAL, OP_CHOICE, OP_BITS, OP_TEXT, OP_EACH, OP_CRC };
enum { U8, I8, U16, I16, U32, I32, U64, I64, F32, F64, KINDS };
enum { HALF_AWAY, HALF_EVEN, DOWN, UP, TOWARD_ZERO, ROUNDINGS };
enum { CLAMP, DEFAULT, REFUSE, OUTSIDES };
enum { FILLED, TERMINATED, COUNTED, FORMS };
#define STEPS_MAX 65536u

struct reader {
    const uint8_t *bytes;
    size_t at, len;
    bool bad;
};

struct cell {
    size_t at;
    unsigned kind;
    bool big;
};

struct scale {
    int64_t mul, add, div;
};

struct frame {
    size_t start, end;
    unsigned left;
    size_t from_step, to_step, from_base, to_base;
};

struct run {
    struct keeper_bytes from;
    const struct keeper_aside *aside;
    uint8_t *to;
    size_t to_len, from_base, to_base;
    bool given_back;
};

uint32_t keeper_crc32(const uint8_t *bytes, size_t len)
{
    uint32_t crc = 0xffffffffu;
    for (size_t i = 0; i < len; i++) {
        crc ^= bytes[i];
        for (int bit = 0; bit < 8; bit++)
            crc = (crc >> 1) ^ ((crc & 1u) ? 0xedb88320u : 0u);
    }
    return ~crc;
}

/* ---- Reading a table ---- */

static unsigned byte(struct reader *reader)
{
    if (reader->at >= reader->len) {
        reader->bad = true;
        return 0;
    }
    return reader->bytes[reader->at++];
}

static size_t offset(struct reader *reader)
{
    uint32_t value = 0;
    for (unsigned shift = 0; shift <= 14; shift += 7) {
        unsigned next = byte(reader);
        value |= (uint32_t)(next & 0x7f) << shift;
        if (!(next & 0x80)) {
            if (value > 0xffff)
                reader->bad = true;
            return value & 0xffff;
        }
    }
    reader->bad = true;
    return 0;
}

static int64_t number(struct reader *reader)
{
    uint64_t value = 0;
    for (unsigned shift = 0; shift < 64; shift += 7) {
        unsigned next = byte(reader);
        value |= (uint64_t)(next & 0x7f) << shift;
        if (!(next & 0x80)) {
            if (shift + 7 < 64 && (next & 0x40))
                value |= ~(uint64_t)0 << (shift + 7);
            return (int64_t)value;
        }
    }
    reader->bad = true;
    return 0;
}

static double real(struct reader *reader)
{
    union {
        uint64_t bits;
        double real;
    } both = {0};
    for (unsigned i = 0; i < 8; i++)
        both.bits |= (uint64_t)byte(reader) << (8 * i);
    return both.real;
}

static unsigned one_of(struct reader *reader, unsigned count)
{
    unsigned value = byte(reader);
    if (value >= count)
        reader->bad = true;
    return value;
}

static struct cell cell(struct reader *reader)
{
    struct cell cell = {.at = offset(reader)};
    unsigned kind = byte(reader);
    cell.big = (kind & BIG) != 0;
    cell.kind = kind & ~(unsigned)BIG;
    if (cell.kind >= KINDS) {
        reader->bad = true;
        cell.kind = U8;
    }
    return cell;
}

static bool is_real(struct cell cell)
{
    return cell.kind >= F32;
}

static struct cell whole(struct reader *reader)
{
    struct cell found = cell(reader);
    if (is_real(found))
        reader->bad = true;
    return found;
}

static struct scale scale(struct reader *reader)
{
    struct scale scale;
    scale.mul = number(reader);
    scale.add = number(reader);
    scale.div = number(reader);
    if (scale.div <= 0) {
        reader->bad = true;
        scale.div = 1;
    }
    return scale;
}

/* ---- Numbers of a record ---- */

static size_t width(struct cell cell)
{
    static const uint8_t widths[KINDS] = {1, 1, 2, 2, 4, 4, 8, 8, 4, 8};
    return widths[cell.kind];
}

static uint64_t raw(struct cell cell, const uint8_t *bytes)
{
    uint64_t value = 0;
    size_t len = width(cell);
    for (size_t i = 0; i < len; i++)
        value = value << 8 | bytes[cell.big ? i : len - 1 - i];
    return value;
}

static void write_raw(struct cell cell, uint64_t value, uint8_t *bytes)
{
    size_t len = width(cell);
    for (size_t i = 0; i < len; i++) {
        bytes[cell.big ? len - 1 - i : i] = (uint8_t)value;
        value >>= 8;
    }
}

/* False above INT64_MAX. */
static bool read_whole(struct cell cell, const uint8_t *bytes, int64_t *value)
{
    uint64_t bits = raw(cell, bytes);
    switch (cell.kind) {
    case I8:
        *value = (int8_t)(uint8_t)bits;
        return true;
    case I16:
        *value = (int16_t)(uint16_t)bits;
        return true;
    case I32:
        *value = (int32_t)(uint32_t)bits;
        return true;
    case I64:
        *value = (int64_t)bits;
        return true;
    default:
        *value = (int64_t)bits;
        return bits <= (uint64_t)INT64_MAX;
    }
}

static double read_real(struct cell cell, const uint8_t *bytes)
{
    uint64_t bits = raw(cell, bytes);
    int64_t value = 0;
    if (cell.kind == F32) {
        union {
            uint32_t bits;
            float real;
        } both = {.bits = (uint32_t)bits};
        return (double)both.real;
    }
    if (cell.kind == F64) {
        union {
            uint64_t bits;
            double real;
        } both = {.bits = bits};
        return both.real;
    }
    if (cell.kind == U64)
        return (double)bits;
    (void)read_whole(cell, bytes, &value);
    return (double)value;
}

static uint64_t real_bits(struct cell cell, double value)
{
    if (cell.kind == F32) {
        union {
            float real;
            uint32_t bits;
        } both = {.real = (float)value};
        return both.bits;
    }
    union {
        double real;
        uint64_t bits;
    } both = {.real = value};
    return both.bits;
}

static void span(struct cell cell, int64_t *low, int64_t *high)
{
    static const int64_t highest[KINDS] = {UINT8_MAX,  INT8_MAX,  UINT16_MAX, INT16_MAX, UINT32_MAX,
                                           INT32_MAX, INT64_MAX, INT64_MAX,  INT64_MAX, INT64_MAX};
    bool is_signed = cell.kind == I8 || cell.kind == I16 || cell.kind == I32 || cell.kind >= I64;
    *high = highest[cell.kind];
    *low = is_signed ? -*high - 1 : 0;
}

/* Where a result lies: -1 below, 1 above, 0 in *value. */
static int scaled(struct scale scale, int64_t value, unsigned rounding, int64_t *result)
{
    bool negative = (value < 0) != (scale.mul < 0);
    uint64_t size = value < 0 ? ~(uint64_t)value + 1 : (uint64_t)value;
    uint64_t factor = scale.mul < 0 ? ~(uint64_t)scale.mul + 1 : (uint64_t)scale.mul;
    uint64_t most = negative ? (uint64_t)INT64_MAX + 1 : (uint64_t)INT64_MAX;
    if (size != 0 && factor > most / size)
        return negative ? -1 : 1;
    int64_t product = negative ? (int64_t)(~(size * factor) + 1) : (int64_t)(size * factor);
    if (scale.add > 0 && product > INT64_MAX - scale.add)
        return 1;
    if (scale.add < 0 && product < INT64_MIN - scale.add)
        return -1;
    int64_t sum = product + scale.add;
    int64_t quotient = sum / scale.div, rest = sum % scale.div;
    uint64_t rest_size = rest < 0 ? (uint64_t)-rest : (uint64_t)rest;
    uint64_t other = (uint64_t)scale.div - rest_size;
    int away = sum < 0 ? -1 : 1, step = 0;
    if (rest != 0) {
        if (rounding == HALF_AWAY && rest_size >= other)
            step = away;
        else if (rounding == HALF_EVEN && (rest_size > other || (rest_size == other && (quotient & 1))))
            step = away;
        else if (rounding == DOWN && sum < 0)
            step = -1;
        else if (rounding == UP && sum > 0)
            step = 1;
    }
    *result = quotient + step;
    return 0;
}

/* Three operations, each rounded on its own: volatile keeps a compiler from fusing them. */
static double scaled_real(struct scale scale, double value)
{
    volatile double product = value * (double)scale.mul;
    volatile double sum = product + (double)scale.add;
    return sum / (double)scale.div;
}

static int rounded(double value, unsigned rounding, int64_t *result)
{
    const double too_high = 9223372036854775808.0;
    if (value >= too_high)
        return 1;
    if (!(value >= -too_high))
        return -1;
    int64_t whole = (int64_t)value;
    double rest = value - (double)whole;
    double size = rest < 0 ? -rest : rest;
    int away = value < 0 ? -1 : 1, step = 0;
    if (size > 0) {
        if (rounding == HALF_AWAY && size >= 0.5)
            step = away;
        else if (rounding == HALF_EVEN && (size > 0.5 || (size >= 0.5 && (whole & 1))))
            step = away;
        else if (rounding == DOWN && value < 0)
            step = -1;
        else if (rounding == UP && value > 0)
            step = 1;
    }
    *result = whole + step;
    return 0;
}

/* ---- Places in records ---- */

static const uint8_t *slice(struct keeper_bytes record, size_t base, size_t at, size_t len)
{
    size_t start = base + at;
    return start <= record.len && len <= record.len - start ? record.bytes + start : NULL;
}

static const uint8_t *old(const struct run *run, size_t at, size_t len)
{
    return slice(run->from, run->from_base, at, len);
}

static uint8_t *room(struct run *run, size_t at, size_t len)
{
    size_t start = run->to_base + at;
    return start <= run->to_len && len <= run->to_len - start ? run->to + start : NULL;
}

static enum keeper_fault put(struct run *run, size_t at, const uint8_t *bytes, size_t len)
{
    uint8_t *to = room(run, at, len);
    if (to == NULL)
        return KEEPER_BEYOND;
    for (size_t i = 0; i < len; i++)
        to[i] = bytes[i];
    return KEEPER_CARRIED;
}

static enum keeper_fault put_raw(struct run *run, struct cell cell, uint64_t value)
{
    uint8_t *to = room(run, cell.at, width(cell));
    if (to == NULL)
        return KEEPER_BEYOND;
    write_raw(cell, value, to);
    return KEEPER_CARRIED;
}

/* KEEPER_CARRIED with *done set if the field was given back. */
static enum keeper_fault give_back(struct run *run, size_t from, size_t from_len, size_t to, size_t to_len, bool *done)
{
    *done = false;
    if (from_len > 0) {
        const uint8_t *now = old(run, from, from_len);
        if (now == NULL)
            return KEEPER_BEYOND;
        const uint8_t *then = slice(run->aside->left, run->from_base, from, from_len);
        if (then == NULL)
            return KEEPER_BEYOND;
        for (size_t i = 0; i < from_len; i++) {
            if (now[i] != then[i])
                return KEEPER_CARRIED;
        }
    }
    const uint8_t *newer = slice(run->aside->newer, run->to_base, to, to_len);
    if (newer == NULL)
        return KEEPER_BEYOND;
    enum keeper_fault fault = put(run, to, newer, to_len);
    *done = fault == KEEPER_CARRIED;
    run->given_back |= *done;
    return fault;
}

#define GIVE_BACK(from_at, from_size, to_at, to_size)                                                    \
    do {                                                                                                 \
        if (kept && run->aside != NULL) {                                                                \
            bool done;                                                                                   \
            enum keeper_fault fault = give_back(run, (from_at), (from_size), (to_at), (to_size), &done); \
            if (fault != KEEPER_CARRIED || done)                                                         \
                return fault;                                                                            \
        }                                                                                                \
    } while (0)

/* ---- Operations ---- */

static enum keeper_fault do_number(struct run *run, struct reader *reader, bool kept)
{
    struct cell from = cell(reader), to = whole(reader);
    struct scale by = scale(reader);
    unsigned rounding = one_of(reader, ROUNDINGS), outside = one_of(reader, OUTSIDES);
    int64_t low = number(reader), high = number(reader), otherwise = number(reader), value = 0, lowest, highest;
    if (reader->bad)
        return KEEPER_MALFORMED;
    GIVE_BACK(from.at, width(from), to.at, width(to));
    const uint8_t *bytes = old(run, from.at, width(from));
    if (bytes == NULL)
        return KEEPER_BEYOND;
    int where;
    if (is_real(from))
        where = rounded(scaled_real(by, read_real(from, bytes)), rounding, &value);
    else
        where = read_whole(from, bytes, &value) ? scaled(by, value, rounding, &value) : 1;
    span(to, &lowest, &highest);
    if (low < lowest)
        low = lowest;
    if (high > highest)
        high = highest;
    if (where == 0 && value >= low && value <= high)
        return put_raw(run, to, (uint64_t)value);
    bool below = where < 0 || (where == 0 && value < low);
    if (outside == REFUSE)
        return KEEPER_REFUSED;
    return put_raw(run, to, (uint64_t)(outside == DEFAULT ? otherwise : below ? low : high));
}

static enum keeper_fault do_real(struct run *run, struct reader *reader, bool kept)
{
    struct cell from = cell(reader), to = cell(reader);
    if (!is_real(to))
        reader->bad = true;
    struct scale by = scale(reader);
    unsigned outside = one_of(reader, OUTSIDES);
    double low = real(reader), high = real(reader), otherwise = real(reader);
    if (reader->bad)
        return KEEPER_MALFORMED;
    GIVE_BACK(from.at, width(from), to.at, width(to));
    const uint8_t *bytes = old(run, from.at, width(from));
    if (bytes == NULL)
        return KEEPER_BEYOND;
    double value = scaled_real(by, read_real(from, bytes));
    if (!(value >= low && value <= high)) {
        if (outside == REFUSE)
            return KEEPER_REFUSED;
        value = outside == DEFAULT ? otherwise : value > high ? high : low;
    }
    return put_raw(run, to, real_bits(to, value));
}

static void skip_pairs(struct reader *reader, size_t count)
{
    for (size_t i = 0; i < 2 * count && !reader->bad; i++)
        (void)number(reader);
}

static enum keeper_fault do_choice(struct run *run, struct reader *reader, bool kept)
{
    struct cell from = whole(reader), to = whole(reader);
    unsigned outside = one_of(reader, OUTSIDES);
    int64_t becomes = number(reader), value = 0;
    size_t count = offset(reader);
    struct reader pairs = *reader;
    skip_pairs(reader, count);
    if (reader->bad)
        return KEEPER_MALFORMED;
    GIVE_BACK(from.at, width(from), to.at, width(to));
    const uint8_t *bytes = old(run, from.at, width(from));
    if (bytes == NULL)
        return KEEPER_BEYOND;
    bool found = false, fits = read_whole(from, bytes, &value);
    for (size_t i = 0; i < count && !found; i++) {
        int64_t is = number(&pairs), then = number(&pairs);
        found = fits && is == value;
        if (found)
            becomes = then;
    }
    if (!found && outside == REFUSE)
        return KEEPER_REFUSED;
    return put_raw(run, to, (uint64_t)becomes);
}

static unsigned bit_of(uint64_t value, int64_t number)
{
    return number < 64 ? (unsigned)(value >> number) & 1u : 0;
}

static enum keeper_fault do_bits(struct run *run, struct reader *reader, bool kept)
{
    struct cell from = whole(reader), to = whole(reader);
    size_t count = offset(reader);
    struct reader pairs = *reader;
    skip_pairs(reader, count);
    if (reader->bad)
        return KEEPER_MALFORMED;
    const uint8_t *bytes = old(run, from.at, width(from));
    uint8_t *place = room(run, to.at, width(to));
    if (bytes == NULL || place == NULL)
        return KEEPER_BEYOND;
    uint64_t now = raw(from, bytes), made = raw(to, place), then = 0;
    bool compare = kept && run->aside != NULL;
    if (compare) {
        const uint8_t *newer = slice(run->aside->newer, run->to_base, to.at, width(to));
        const uint8_t *left = slice(run->aside->left, run->from_base, from.at, width(from));
        if (newer == NULL || left == NULL)
            return KEEPER_BEYOND;
        run->given_back |= made != raw(to, newer);
        made = raw(to, newer);
        then = raw(from, left);
    }
    for (size_t i = 0; i < count; i++) {
        int64_t is = number(&pairs), becomes = number(&pairs);
        if (is < 0 || becomes < 0 || is > (int64_t)UINT32_MAX || becomes > (int64_t)UINT32_MAX)
            return KEEPER_MALFORMED;
        if (compare && bit_of(then, is) == bit_of(now, is))
            continue;
        uint64_t mask = becomes < 64 ? (uint64_t)1 << becomes : 0;
        made = bit_of(now, is) ? made | mask : made & ~mask;
    }
    write_raw(to, made, place);
    return KEEPER_CARRIED;
}

/* At most hold bytes, and no character of UTF-8 cut in two. */
static size_t cut(const uint8_t *text, size_t hold)
{
    for (size_t back = 0; back <= 3 && back <= hold; back++) {
        if ((text[hold - back] & 0xc0) != 0x80)
            return hold - back;
    }
    return hold;
}

static enum keeper_fault do_text(struct run *run, struct reader *reader, bool kept)
{
    size_t from = offset(reader), from_room = offset(reader);
    unsigned from_form = one_of(reader, FORMS);
    size_t to = offset(reader), to_room = offset(reader);
    unsigned to_form = one_of(reader, FORMS), outside = one_of(reader, OUTSIDES);
    if (reader->bad)
        return KEEPER_MALFORMED;
    GIVE_BACK(from, from_room, to, to_room);
    const uint8_t *text = old(run, from, from_room);
    if (text == NULL)
        return KEEPER_BEYOND;
    size_t len = 0, hold = to_room;
    if (from_form == COUNTED) {
        len = from_room > 0 ? text[0] : 0;
        if (from_room > 0)
            text++;
        if (from_room == 0 || len > from_room - 1)
            len = from_room > 0 ? from_room - 1 : 0;
    } else {
        while (len < from_room && text[len] != 0)
            len++;
    }
    if (to_form != FILLED && hold > 0)
        hold--;
    if (to_form == COUNTED && hold > 255)
        hold = 255;
    if (len > hold) {
        if (outside == REFUSE)
            return KEEPER_REFUSED;
        len = outside == CLAMP ? cut(text, hold) : 0;
    }
    uint8_t *place = room(run, to, to_room);
    if (place == NULL)
        return KEEPER_BEYOND;
    for (size_t i = 0; i < to_room; i++)
        place[i] = 0;
    if (to_form == COUNTED && to_room > 0)
        *place++ = (uint8_t)len;
    for (size_t i = 0; i < len; i++)
        place[i] = text[i];
    return KEEPER_CARRIED;
}

static enum keeper_fault do_crc(struct run *run, struct reader *reader)
{
    size_t start = offset(reader), len = offset(reader), at = offset(reader);
    bool big = byte(reader) != 0;
    if (reader->bad)
        return KEEPER_MALFORMED;
    const uint8_t *bytes = room(run, start, len);
    if (bytes == NULL)
        return KEEPER_BEYOND;
    struct cell place = {.at = at, .kind = U32, .big = big};
    return put_raw(run, place, keeper_crc32(bytes, len));
}

static enum keeper_fault one(struct run *run, struct reader *reader, unsigned op, bool kept)
{
    size_t from = 0, to, len;
    const uint8_t *bytes;
    switch (op) {
    case OP_COPY:
        from = offset(reader);
        to = offset(reader);
        len = offset(reader);
        if (reader->bad)
            return KEEPER_MALFORMED;
        GIVE_BACK(from, len, to, len);
        bytes = old(run, from, len);
        return bytes != NULL ? put(run, to, bytes, len) : KEEPER_BEYOND;
    case OP_PUT:
        to = offset(reader);
        len = offset(reader);
        if (reader->bad || len > reader->len - reader->at)
            return KEEPER_MALFORMED;
        bytes = reader->bytes + reader->at;
        reader->at += len;
        GIVE_BACK(0, 0, to, len);
        return put(run, to, bytes, len);
    case OP_FILL: {
        to = offset(reader);
        len = offset(reader);
        unsigned value = byte(reader);
        if (reader->bad)
            return KEEPER_MALFORMED;
        GIVE_BACK(0, 0, to, len);
        uint8_t *place = room(run, to, len);
        if (place == NULL)
            return KEEPER_BEYOND;
        for (size_t i = 0; i < len; i++)
            place[i] = (uint8_t)value;
        return KEEPER_CARRIED;
    }
    case OP_NUMBER:
        return do_number(run, reader, kept);
    case OP_REAL:
        return do_real(run, reader, kept);
    case OP_CHOICE:
        return do_choice(run, reader, kept);
    case OP_BITS:
        return do_bits(run, reader, kept);
    case OP_TEXT:
        return do_text(run, reader, kept);
    case OP_CRC:
        return do_crc(run, reader);
    default:
        return KEEPER_MALFORMED;
    }
}

static uint16_t half(const uint8_t *bytes)
{
    return (uint16_t)(bytes[0] | bytes[1] << 8);
}

enum keeper_fault keeper_carry(struct keeper_bytes table, struct keeper_bytes from, const struct keeper_aside *aside, uint8_t *to,
                               size_t to_len, bool *given_back)
{
    if (given_back != NULL)
        *given_back = false;
    if (table.len < HEAD || table.bytes[0] != 'K' || table.bytes[1] != '1')
        return KEEPER_MALFORMED;
    size_t from_len = half(table.bytes + 6), made_len = half(table.bytes + 8);
    if (from.len != from_len || to_len != made_len)
        return KEEPER_LENGTH;
    if (aside != NULL && (aside->newer.len != made_len || aside->left.len != from_len))
        return KEEPER_LENGTH;
    for (size_t i = 0; i < to_len; i++)
        to[i] = 0;
    struct run run = {.from = from, .aside = aside, .to = to, .to_len = to_len};
    struct reader reader = {.bytes = table.bytes + HEAD, .len = table.len - HEAD};
    struct frame frames[DEPTH];
    unsigned depth = 0;
    for (uint32_t steps = 1;; steps++) {
        while (depth > 0 && reader.at >= frames[depth - 1].end) {
            struct frame *frame = &frames[depth - 1];
            if (--frame->left == 0) {
                run.from_base = frame->from_base;
                run.to_base = frame->to_base;
                depth--;
            } else {
                run.from_base += frame->from_step;
                run.to_base += frame->to_step;
                reader.at = frame->start;
            }
        }
        if (reader.at >= reader.len)
            break;
        if (steps > STEPS_MAX)
            return KEEPER_ENDLESS;
        size_t end = depth > 0 ? frames[depth - 1].end : reader.len;
        /* What is inside of a body must end there: an operation sees no more than that. */
        unsigned code = byte(&reader), op = code & ~(unsigned)KEPT;
        if (op != OP_EACH) {
            struct reader body = {.bytes = reader.bytes, .at = reader.at, .len = end};
            enum keeper_fault fault = one(&run, &body, op, (code & KEPT) != 0);
            if (fault != KEEPER_CARRIED)
                return fault;
            reader.at = body.at;
            continue;
        }
        size_t times = offset(&reader), from_step = offset(&reader), to_step = offset(&reader), len = offset(&reader);
        if (reader.bad || reader.at > end || len > end - reader.at)
            return KEEPER_MALFORMED;
        if (times > 0 && len > 0) {
            if (depth >= DEPTH)
                return KEEPER_MALFORMED;
            frames[depth++] = (struct frame){
                .start = reader.at,
                .end = reader.at + len,
                .left = (unsigned)times,
                .from_step = from_step,
                .to_step = to_step,
                .from_base = run.from_base,
                .to_base = run.to_base,
            };
        } else {
            reader.at += len;
        }
    }
    if (given_back != NULL)
        *given_back = run.given_back;
    return KEEPER_CARRIED;
}
