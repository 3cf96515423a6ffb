/* Records in a settings memory. What is done in which order, and why, is described in the Rust crate, keeper::ring; this is the
   same in the form of calls that return when the memory has answered. */
#include "keeper.h"

enum { HEAD = 20, FRAME = 24, READ_MAX = 64, REREADS_MAX = 2, RESCANS_MAX = 2 };

struct spots {
    uint32_t base, size, sector, pitch, count, per_sector, sectors, chunk, mark;
    uint8_t erased;
};

struct work {
    const struct keeper_memory *memory;
    struct spots spots;
    uint8_t *payload;
    size_t room;
    uint8_t *chunk;
    struct keeper_ring *ring;
};

/* KEEPER_OURS stands for "done" throughout. */
typedef enum keeper_found result;

static uint32_t bit(uint32_t spot)
{
    return (uint32_t)1 << spot;
}

static bool is_newer(uint32_t turn, uint32_t than)
{
    uint32_t ahead = turn - than;
    return ahead != 0 && ahead < 0x80000000u;
}

static void put_word(uint8_t *to, uint32_t value)
{
    for (unsigned i = 0; i < 4; i++)
        to[i] = (uint8_t)(value >> (8 * i));
}

static uint32_t word(const uint8_t *from)
{
    return (uint32_t)from[0] | (uint32_t)from[1] << 8 | (uint32_t)from[2] << 16 | (uint32_t)from[3] << 24;
}

static void encode_head(struct keeper_head head, uint8_t *to)
{
    to[0] = 'P';
    to[1] = 'K';
    to[2] = 'K';
    to[3] = '1';
    put_word(to + 4, head.turn);
    put_word(to + 8, head.sure);
    put_word(to + 12, head.layout | (uint32_t)head.len << 16);
    put_word(to + 16, keeper_crc32(to, 16));
}

static bool decode_head(const uint8_t *from, struct keeper_head *head)
{
    if (from[0] != 'P' || from[1] != 'K' || from[2] != 'K' || from[3] != '1' || word(from + 16) != keeper_crc32(from, 16))
        return false;
    *head = (struct keeper_head){
        .turn = word(from + 4),
        .sure = word(from + 8),
        .layout = (uint16_t)word(from + 12),
        .len = (uint16_t)(word(from + 12) >> 16),
    };
    return true;
}

/* A check value in the making: keeper_crc32 begins anew each time, so this one goes on. */
static uint32_t crc_on(uint32_t crc, const uint8_t *bytes, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        crc ^= bytes[i];
        for (int n = 0; n < 8; n++)
            crc = (crc >> 1) ^ ((crc & 1u) ? 0xedb88320u : 0u);
    }
    return crc;
}

static uint32_t head_crc(struct keeper_head head)
{
    uint8_t bytes[HEAD];
    encode_head(head, bytes);
    return crc_on(0xffffffffu, bytes, HEAD);
}

static uint32_t record_size(struct keeper_head head)
{
    return FRAME + (uint32_t)head.len;
}

static uint32_t round_up(uint32_t value, uint32_t unit)
{
    return (value + unit - 1) / unit * unit;
}

static bool lay_out(const struct keeper_memory *memory, struct keeper_region region, struct spots *spots)
{
    uint32_t unit = memory->unit;
    if (unit == 0 || (unit & (unit - 1)) != 0 || (memory->sector != 0 && unit > KEEPER_CHUNK) || region.room > 0xffff)
        return false;
    *spots = (struct spots){
        .base = region.base,
        .size = region.size,
        .sector = memory->sector,
        .mark = memory->sector != 0 ? unit : 0,
        .erased = memory->sector != 0 ? memory->erased : 0xff,
    };
    spots->pitch = round_up(FRAME + region.room + spots->mark, unit);
    spots->chunk = memory->sector == 0 && unit < KEEPER_CHUNK ? unit : KEEPER_CHUNK;
    uint32_t sector = memory->sector != 0 ? memory->sector : region.size;
    if (sector == 0)
        return false;
    spots->per_sector = sector / spots->pitch;
    spots->sectors = region.size / sector;
    if (spots->per_sector == 0 || spots->sectors < (spots->mark != 0 ? 2u : 1u) || spots->per_sector * spots->sectors < 2)
        return false;
    if (spots->sectors > KEEPER_SPOTS)
        spots->sectors = KEEPER_SPOTS;
    if (spots->per_sector > KEEPER_SPOTS / spots->sectors)
        spots->per_sector = KEEPER_SPOTS / spots->sectors;
    spots->count = spots->per_sector * spots->sectors;
    return true;
}

static uint32_t sector_address(const struct spots *spots, uint32_t sector)
{
    return spots->base + sector * spots->sector;
}

static uint32_t spot_address(const struct spots *spots, uint32_t spot)
{
    uint32_t sector = spot / spots->per_sector;
    return sector_address(spots, sector) + spot % spots->per_sector * spots->pitch;
}

static uint32_t record_address(const struct spots *spots, uint32_t spot)
{
    return spot_address(spots, spot) + spots->mark;
}

static bool read(const struct work *work, uint32_t address, uint8_t *to, uint32_t len)
{
    return work->memory->read(work->memory->context, address, to, len);
}

static bool all(const uint8_t *bytes, uint32_t len, uint8_t value)
{
    for (uint32_t i = 0; i < len; i++) {
        if (bytes[i] != value)
            return false;
    }
    return true;
}

/* ---- Looking for records ---- */

enum seen { SEEN_VOID, SEEN_FREE, SEEN_WHOLE, SEEN_BROKEN, SEEN_LONGER, SEEN_SILENT };

/* Reads the body behind a head; its payload goes to to, unless that is NULL. */
static enum seen read_body(const struct work *work, uint32_t spot, struct keeper_head head, uint8_t *to)
{
    uint32_t crc = head_crc(head), total = (uint32_t)head.len + 4;
    uint8_t seal[4] = {0};
    for (uint32_t at = 0; at < total;) {
        uint32_t len = total - at < READ_MAX ? total - at : READ_MAX;
        if (!read(work, record_address(&work->spots, spot) + HEAD + at, work->chunk, len))
            return work->spots.mark != 0 ? SEEN_BROKEN : SEEN_SILENT;
        for (uint32_t i = 0; i < len; i++, at++) {
            if (at >= head.len) {
                seal[at - head.len] = work->chunk[i];
                continue;
            }
            crc = crc_on(crc, work->chunk + i, 1);
            if (to != NULL)
                to[at] = work->chunk[i];
        }
    }
    return ~crc == word(seal) ? SEEN_WHOLE : SEEN_BROKEN;
}

static enum seen look(const struct work *work, uint32_t spot, struct keeper_head *head)
{
    const struct spots *spots = &work->spots;
    bool flash = spots->mark != 0;
    uint32_t record = record_address(spots, spot);
    if (flash && (!read(work, spot_address(spots, spot), work->chunk, spots->mark)
                  || !all(work->chunk, spots->mark, spots->erased)))
        return SEEN_VOID;
    if (!read(work, record, work->chunk, HEAD))
        return flash ? SEEN_BROKEN : SEEN_SILENT;
    if (decode_head(work->chunk, head)) {
        if (head->len > work->room)
            return SEEN_LONGER;
        return read_body(work, spot, *head, NULL);
    }
    if (!flash) {
        uint32_t first = spots->chunk < HEAD ? spots->chunk : HEAD;
        return all(work->chunk, first, 0) || all(work->chunk, first, 0xff) ? SEEN_FREE : SEEN_BROKEN;
    }
    if (!all(work->chunk, HEAD, spots->erased))
        return SEEN_BROKEN;
    uint32_t total = spots->pitch - spots->mark;
    for (uint32_t at = HEAD; at < total; at += READ_MAX) {
        uint32_t len = total - at < READ_MAX ? total - at : READ_MAX;
        if (!read(work, record + at, work->chunk, len) || !all(work->chunk, len, spots->erased))
            return SEEN_VOID;
    }
    return SEEN_FREE;
}

static result scan(struct work *work)
{
    struct keeper_ring *ring = work->ring;
    for (uint32_t spot = 0; spot < work->spots.count; spot++) {
        struct keeper_head head = {0};
        enum seen seen = SEEN_BROKEN;
        for (unsigned tries = 0; seen == SEEN_BROKEN && tries <= REREADS_MAX; tries++) {
            seen = look(work, spot, &head);
            if (seen == SEEN_WHOLE && (ring->distrusted & bit(spot)))
                seen = SEEN_BROKEN;
        }
        if (seen == SEEN_SILENT)
            return KEEPER_SILENT;
        if (seen == SEEN_LONGER)
            ring->longer = true;
        if (seen == SEEN_BROKEN)
            ring->broken |= bit(spot);
        if (seen == SEEN_FREE || (seen == SEEN_BROKEN && work->spots.mark == 0))
            ring->free |= bit(spot);
        if (seen != SEEN_WHOLE)
            continue;
        ring->whole |= bit(spot);
        ring->turns[spot] = head.turn;
        if (!ring->has_newest || is_newer(head.turn, ring->newest.turn)) {
            ring->has_newest = true;
            ring->newest = head;
            ring->newest_spot = spot;
        }
    }
    return ring->longer ? KEEPER_LONGER : KEEPER_OURS;
}

/* ---- Writing ---- */

static void forget_sector(struct work *work, uint32_t sector)
{
    for (uint32_t spot = 0; spot < work->spots.count; spot++) {
        if (spot / work->spots.per_sector == sector) {
            work->ring->whole &= ~bit(spot);
            work->ring->broken &= ~bit(spot);
            work->ring->free |= bit(spot);
        }
    }
}

static result make_void(struct work *work, uint32_t spots)
{
    struct keeper_ring *ring = work->ring;
    const struct keeper_memory *memory = work->memory;
    for (uint32_t sector = 0; work->spots.mark != 0 && sector < work->spots.sectors; sector++) {
        uint32_t within = 0;
        for (uint32_t spot = 0; spot < work->spots.count; spot++)
            within |= spot / work->spots.per_sector == sector ? bit(spot) : 0;
        /* A sector without a whole record may have been hit in its erase: marks would not hold there. */
        if ((within & ring->broken & spots) == 0 || (within & ring->whole) != 0)
            continue;
        if (!memory->erase(memory->context, sector_address(&work->spots, sector)))
            return KEEPER_SILENT;
        forget_sector(work, sector);
        spots &= ~within;
    }
    uint32_t len = work->spots.mark != 0 ? work->spots.mark : work->spots.chunk;
    for (uint32_t spot = 0; spot < work->spots.count; spot++) {
        if ((spots & bit(spot)) == 0)
            continue;
        for (uint32_t i = 0; i < len; i++)
            work->chunk[i] = work->spots.erased == 0 ? 0xff : 0;
        if (!memory->write(memory->context, spot_address(&work->spots, spot), work->chunk, len))
            return KEEPER_SILENT;
        ring->whole &= ~bit(spot);
        ring->broken &= ~bit(spot);
        if (work->spots.mark == 0)
            ring->free |= bit(spot);
    }
    return KEEPER_OURS;
}

static result clean(struct work *work)
{
    uint32_t keep = work->ring->has_newest ? bit(work->ring->newest_spot) : 0;
    return make_void(work, (work->ring->broken | work->ring->whole) & ~keep);
}

/* Where the next record goes: never over the one that is relied on, nor into a sector that is erased for it. */
static bool next_place(const struct work *work, uint32_t *place, bool *erase)
{
    const struct keeper_ring *ring = work->ring;
    const struct spots *spots = &work->spots;
    uint32_t first = ring->has_newest ? ring->newest_spot + 1 : 0;
    *erase = false;
    if (spots->mark == 0) {
        bool doubtful = ring->has_newest && ring->has_sure && ring->sure_spot != ring->newest_spot;
        if (doubtful && !(ring->worn & bit(ring->newest_spot))) {
            *place = ring->newest_spot;
            return true;
        }
        for (uint32_t step = 0; step < spots->count; step++) {
            *place = (first + step) % spots->count;
            if (!(ring->has_sure && *place == ring->sure_spot) && !(ring->worn & bit(*place)))
                return true;
        }
        return false;
    }
    uint32_t sector = ring->has_newest ? ring->newest_spot / spots->per_sector : 0;
    for (uint32_t spot = first; ring->has_newest && spot < spots->count; spot++) {
        if (spot / spots->per_sector == sector && (ring->free & bit(spot)) && !(ring->worn & bit(spot))) {
            *place = spot;
            return true;
        }
    }
    *erase = true;
    uint32_t after = ring->has_newest ? sector + 1 : 0;
    for (uint32_t step = 0; step < spots->sectors; step++) {
        uint32_t next = (after + step) % spots->sectors;
        *place = next * spots->per_sector;
        if (!(ring->has_sure && ring->sure_spot / spots->per_sector == next) && !(ring->worn & bit(*place)))
            return true;
    }
    return false;
}

static uint8_t record_byte(const struct work *work, const uint8_t *head, const uint8_t *seal, uint32_t len, uint32_t at)
{
    if (at < HEAD)
        return head[at];
    if (at < HEAD + len)
        return work->payload[at - HEAD];
    return at < FRAME + len ? seal[at - HEAD - len] : work->spots.erased;
}

enum tried { WRITTEN, ANOTHER_PLACE, TOLD_NOTHING };

static enum tried write_record(struct work *work, uint32_t spot, bool erase, struct keeper_head record)
{
    const struct keeper_memory *memory = work->memory;
    struct keeper_ring *ring = work->ring;
    enum tried failed = work->spots.mark != 0 ? ANOTHER_PLACE : TOLD_NOTHING;
    uint8_t head[HEAD], seal[4];
    encode_head(record, head);
    put_word(seal, ~crc_on(head_crc(record), work->payload, record.len));
    if (erase) {
        uint32_t sector = spot / work->spots.per_sector;
        if (!memory->erase(memory->context, sector_address(&work->spots, sector)))
            return failed;
        forget_sector(work, sector);
    }
    uint32_t size = record_size(record), chunk = work->spots.chunk, address = record_address(&work->spots, spot);
    uint32_t end = work->spots.mark != 0 ? round_up(size, memory->unit) : size;
    /* The first chunk comes last: with it the record begins to count. */
    uint32_t at = chunk < size ? chunk : 0;
    for (;;) {
        uint32_t len = end - at < chunk ? end - at : chunk;
        for (uint32_t i = 0; i < len; i++)
            work->chunk[i] = record_byte(work, head, seal, record.len, at + i);
        if (!memory->write(memory->context, address + at, work->chunk, len))
            return failed;
        ring->free &= ~bit(spot);
        ring->whole &= ~bit(spot);
        ring->broken &= ~bit(spot);
        if (at == 0)
            break;
        at = at + chunk < size ? at + chunk : 0;
    }
    for (at = 0; at < size; at += READ_MAX) {
        uint32_t len = size - at < READ_MAX ? size - at : READ_MAX;
        if (!read(work, address + at, work->chunk, len))
            return failed;
        for (uint32_t i = 0; i < len; i++) {
            if (work->chunk[i] != record_byte(work, head, seal, record.len, at + i))
                return ANOTHER_PLACE;
        }
    }
    return WRITTEN;
}

/* Writes the payload as the next record, and makes all others void. */
static result begin(struct work *work, uint16_t layout, uint16_t len)
{
    struct keeper_ring *ring = work->ring;
    for (;;) {
        uint32_t spot;
        bool erase;
        if (!next_place(work, &spot, &erase))
            return KEEPER_WORN;
        uint32_t turn = ring->has_newest ? ring->newest.turn + 1 : 1;
        struct keeper_head head = {
            .turn = turn != 0 ? turn : 1,
            .sure = ring->has_sure ? ring->sure.turn : 0,
            .layout = layout,
            .len = len,
        };
        enum tried tried = write_record(work, spot, erase, head);
        if (tried == TOLD_NOTHING)
            return KEEPER_SILENT;
        if (tried == ANOTHER_PLACE) {
            ring->worn |= bit(spot);
            ring->broken |= bit(spot);
            continue;
        }
        ring->whole |= bit(spot);
        ring->has_newest = ring->has_sure = true;
        ring->newest = ring->sure = head;
        ring->newest_spot = ring->sure_spot = spot;
        /* The very first one: once more, naming this one. */
        if (head.sure != 0)
            return clean(work);
    }
}

static result load(struct work *work)
{
    struct keeper_ring *ring = work->ring;
    uint32_t distrusted = 0;
    unsigned rescans = 0;
    for (;;) {
        *ring = (struct keeper_ring){.distrusted = distrusted, .rescans = rescans};
        result scanned = scan(work);
        if (scanned != KEEPER_OURS)
            return scanned;
        if (!ring->has_newest)
            return clean(work);
        enum seen seen = read_body(work, ring->newest_spot, ring->newest, work->payload);
        if (seen == SEEN_SILENT)
            return KEEPER_SILENT;
        if (seen == SEEN_WHOLE)
            break;
        if (++rescans > RESCANS_MAX) {
            rescans = 0;
            distrusted |= bit(ring->newest_spot);
        }
    }
    struct keeper_head newest = ring->newest;
    for (uint32_t spot = 0; newest.sure != 0 && spot < work->spots.count && !ring->has_sure; spot++) {
        if (spot != ring->newest_spot && (ring->whole & bit(spot)) && ring->turns[spot] == newest.sure) {
            ring->has_sure = true;
            ring->sure_spot = spot;
            ring->sure = newest;
            ring->sure.turn = newest.sure;
        }
    }
    if (ring->has_sure || newest.sure == 0) {
        result cleared = make_void(work, ring->broken);
        return cleared == KEEPER_OURS ? begin(work, newest.layout, newest.len) : cleared;
    }
    ring->has_sure = true;
    ring->sure = newest;
    ring->sure_spot = ring->newest_spot;
    return clean(work);
}

/* ---- The keeper ---- */

static bool work_on(struct keeper *keeper, const struct keeper_config *config, bool aside, struct work *work)
{
    *work = (struct work){
        .memory = config->memory,
        .payload = aside ? keeper->kept : keeper->value,
        .room = aside ? keeper->kept_room : keeper->room,
        .chunk = keeper->chunk,
        .ring = aside ? &keeper->aside : &keeper->main,
    };
    return lay_out(config->memory, aside ? config->aside : config->region, &work->spots);
}

static bool check(const struct keeper *keeper, const struct keeper_config *config)
{
    struct spots spots;
    if (!lay_out(config->memory, config->region, &spots) || config->len > config->region.room || config->len > keeper->room)
        return false;
    if (config->aside.size == 0)
        return true;
    size_t needed = config->ways_back.len + 2;
    return lay_out(config->memory, config->aside, &spots) && needed <= config->aside.room && needed <= keeper->kept_room;
}

static uint16_t half(const uint8_t *bytes)
{
    return (uint16_t)(bytes[0] | bytes[1] << 8);
}

/* Takes bytes off the front that stand behind their length. */
static bool counted(struct keeper_bytes *rest, struct keeper_bytes *taken)
{
    if (rest->len < 2 || half(rest->bytes) > rest->len - 2)
        return false;
    *taken = (struct keeper_bytes){rest->bytes + 2, half(rest->bytes)};
    rest->bytes += 2 + taken->len;
    rest->len -= 2 + taken->len;
    return true;
}

static bool is_table(struct keeper_bytes table, uint16_t from, uint16_t to)
{
    return table.len >= 10 && table.bytes[0] == 'K' && table.bytes[1] == '1' && half(table.bytes + 2) == from
        && half(table.bytes + 4) == to;
}

struct kept {
    bool there;
    uint16_t layout;
    struct keeper_bytes tables, payload;
};

static struct kept kept_of(const struct keeper *keeper)
{
    struct kept kept = {.there = keeper->aside.has_newest, .layout = keeper->aside.newest.layout};
    struct keeper_bytes rest = {keeper->kept, kept.there ? keeper->aside.newest.len : 0};
    if (counted(&rest, &kept.tables))
        kept.payload = rest;
    return kept;
}

static bool find(struct kept kept, uint16_t from, uint16_t to, struct keeper_bytes *table)
{
    struct keeper_bytes rest = kept.tables;
    while (counted(&rest, table)) {
        if (is_table(*table, from, to))
            return true;
    }
    return false;
}

static bool leads_to(struct kept kept, uint16_t layout)
{
    struct keeper_bytes rest = kept.tables, table;
    while (counted(&rest, &table)) {
        if (table.len >= 10 && is_table(table, half(table.bytes + 2), layout))
            return true;
    }
    return false;
}

static bool same(struct keeper_bytes one, struct keeper_bytes other)
{
    bool same = one.len == other.len;
    for (size_t i = 0; same && i < one.len; i++)
        same = one.bytes[i] == other.bytes[i];
    return same;
}

static result save_value(struct keeper *keeper, const struct keeper_config *config)
{
    struct work work;
    return work_on(keeper, config, false, &work) ? begin(&work, keeper->layout, keeper->len) : KEEPER_CONFIG;
}

static result keep(struct keeper *keeper, const struct keeper_config *config, uint16_t layout, size_t len)
{
    struct work work;
    return work_on(keeper, config, true, &work) ? begin(&work, layout, (uint16_t)len) : KEEPER_CONFIG;
}

static result keep_ways_back(struct keeper *keeper, const struct keeper_config *config)
{
    keeper->kept[0] = (uint8_t)config->ways_back.len;
    keeper->kept[1] = (uint8_t)(config->ways_back.len >> 8);
    for (size_t i = 0; i < config->ways_back.len; i++)
        keeper->kept[2 + i] = config->ways_back.bytes[i];
    return keep(keeper, config, config->layout, config->ways_back.len + 2);
}

static void take_over(struct keeper *keeper, const struct keeper_config *config)
{
    for (size_t i = 0; i < config->len; i++)
        keeper->value[i] = keeper->scratch[i];
    keeper->layout = config->layout;
    keeper->len = config->len;
}

static result up(struct keeper *keeper, const struct keeper_config *config, struct keeper_bytes table, bool ways_back)
{
    struct kept kept = kept_of(keeper);
    struct keeper_bytes back;
    struct keeper_aside aside, *given = NULL;
    bool there = kept.there && kept.layout == config->layout && kept.payload.len == config->len;
    if (there && find(kept, config->layout, keeper->layout, &back)
        && keeper_carry(back, kept.payload, NULL, keeper->left, keeper->len, NULL) == KEEPER_CARRIED) {
        aside = (struct keeper_aside){.newer = kept.payload, .left = {keeper->left, keeper->len}};
        given = &aside;
    }
    struct keeper_bytes from = {keeper->value, keeper->len};
    if (keeper_carry(table, from, given, keeper->scratch, config->len, &keeper->given_back) != KEEPER_CARRIED)
        return KEEPER_NO_CARRY;
    take_over(keeper, config);
    /* What is given back must not go before it is saved. */
    result done = ways_back && given == NULL ? keep_ways_back(keeper, config) : KEEPER_OURS;
    if (done == KEEPER_OURS)
        done = save_value(keeper, config);
    if (done == KEEPER_OURS && ways_back && given != NULL)
        done = keep_ways_back(keeper, config);
    return done == KEEPER_OURS ? KEEPER_CARRIED_OVER : done;
}

static result down(struct keeper *keeper, const struct keeper_config *config)
{
    struct kept kept = kept_of(keeper);
    struct keeper_bytes table, from = {keeper->value, keeper->len};
    if (!kept.there || !find(kept, keeper->layout, config->layout, &table))
        return KEEPER_FOREIGN;
    if (keeper_carry(table, from, NULL, keeper->scratch, config->len, NULL) != KEEPER_CARRIED)
        return KEEPER_NO_CARRY;
    size_t start = kept.tables.len + 2, end = start + from.len;
    if (end > keeper->kept_room || end > 0xffff)
        return KEEPER_NO_CARRY;
    for (size_t i = 0; i < from.len; i++)
        keeper->kept[start + i] = from.bytes[i];
    uint16_t layout = keeper->layout;
    take_over(keeper, config);
    result done = keep(keeper, config, layout, end);
    if (done == KEEPER_OURS)
        done = save_value(keeper, config);
    return done == KEEPER_OURS ? KEEPER_CARRIED_OVER : done;
}

static result decide(struct keeper *keeper, const struct keeper_config *config)
{
    struct kept kept = kept_of(keeper);
    bool stale = kept.there && kept.layout == config->layout ? !same(kept.tables, config->ways_back)
                                                              : !leads_to(kept, config->layout);
    bool ways_back = config->aside.size != 0 && config->ways_back.len != 0 && stale;
    bool none = !keeper->main.has_newest;
    if (none || keeper->layout == config->layout) {
        if (!none && keeper->len != config->len)
            return KEEPER_FOREIGN;
        result done = ways_back ? keep_ways_back(keeper, config) : KEEPER_OURS;
        return done == KEEPER_OURS && none ? KEEPER_NOTHING : done;
    }
    for (size_t i = 0; i < config->table_count; i++) {
        if (is_table(config->tables[i], keeper->layout, config->layout))
            return up(keeper, config, config->tables[i], ways_back);
    }
    return down(keeper, config);
}

enum keeper_found keeper_load(struct keeper *keeper, const struct keeper_config *config)
{
    struct work work;
    keeper->given_back = false;
    keeper->layout = keeper->len = 0;
    keeper->aside = (struct keeper_ring){0};
    if (!check(keeper, config) || !work_on(keeper, config, false, &work))
        return keeper->found = KEEPER_CONFIG;
    result found = load(&work);
    if (found == KEEPER_OURS && keeper->main.has_newest) {
        keeper->layout = keeper->main.newest.layout;
        keeper->len = keeper->main.newest.len;
    }
    if (found == KEEPER_OURS && config->aside.size != 0)
        found = work_on(keeper, config, true, &work) ? load(&work) : KEEPER_CONFIG;
    if (found == KEEPER_OURS)
        found = decide(keeper, config);
    return keeper->found = found;
}

enum keeper_found keeper_save(struct keeper *keeper, const struct keeper_config *config, const uint8_t *payload)
{
    if (keeper->found > KEEPER_CARRIED_OVER)
        return keeper->found;
    struct keeper_bytes now = {keeper->value, keeper->len}, then = {payload, config->len};
    if (keeper->found != KEEPER_NOTHING && keeper->layout == config->layout && same(now, then))
        return keeper->found;
    for (size_t i = 0; i < config->len; i++)
        keeper->value[i] = payload[i];
    keeper->layout = config->layout;
    keeper->len = config->len;
    return keeper->found = save_value(keeper, config);
}
