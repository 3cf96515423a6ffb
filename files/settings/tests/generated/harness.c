/* Runs the generated C on cases from standard input, for comparison with the Rust crate. Numbers are four bytes, little-endian;
   bytes stand behind their length. */
#include "keeper.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 1 << 16 };

static uint8_t cells[MOST];
static uint32_t base, size, writes_left;
static struct keeper_memory memory;

static uint32_t get(void)
{
    uint8_t bytes[4];
    if (fread(bytes, 1, 4, stdin) != 4)
        exit(0);
    return (uint32_t)bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 | (uint32_t)bytes[3] << 24;
}

static struct keeper_bytes get_bytes(void)
{
    uint32_t len = get();
    uint8_t *bytes = malloc(len + 1);
    if (bytes == NULL || fread(bytes, 1, len, stdin) != len)
        exit(2);
    return (struct keeper_bytes){bytes, len};
}

static void put(uint32_t value)
{
    for (int i = 0; i < 4; i++)
        putchar((int)(value >> (8 * i) & 0xff));
}

static void put_bytes(const uint8_t *bytes, size_t len)
{
    put((uint32_t)len);
    fwrite(bytes, 1, len, stdout);
}

static bool inside(uint32_t address, uint32_t len)
{
    return address >= base && address - base <= size && len <= size - (address - base);
}

static bool mem_read(void *context, uint32_t address, uint8_t *to, uint32_t len)
{
    (void)context;
    if (!inside(address, len))
        exit(3);
    memcpy(to, cells + (address - base), len);
    return true;
}

static bool mem_write(void *context, uint32_t address, const uint8_t *from, uint32_t len)
{
    (void)context;
    if (!inside(address, len) || writes_left == 0)
        exit(4);
    writes_left--;
    memcpy(cells + (address - base), from, len);
    return true;
}

static bool mem_erase(void *context, uint32_t address)
{
    (void)context;
    if (!inside(address, memory.sector) || (address - base) % memory.sector != 0)
        exit(5);
    memset(cells + (address - base), memory.erased, memory.sector);
    return true;
}

static void one_carry(void)
{
    struct keeper_bytes table = get_bytes(), from = get_bytes(), newer = get_bytes(), left = get_bytes();
    struct keeper_aside aside = {newer, left};
    size_t len = get();
    uint8_t *to = malloc(len + 1);
    bool given_back = false;
    enum keeper_fault fault = keeper_carry(table, from, newer.len > 0 ? &aside : NULL, to, len, &given_back);
    put(fault);
    put(given_back);
    put_bytes(to, len);
    free(to);
}

static void one_memory(void)
{
    memory = (struct keeper_memory){.read = mem_read, .write = mem_write, .erase = mem_erase};
    memory.unit = get();
    memory.sector = get();
    memory.erased = 0xff;
    struct keeper_config config = {.memory = &memory};
    config.region.base = base = get();
    config.region.size = get();
    config.region.room = get();
    config.aside.base = get();
    config.aside.size = get();
    config.aside.room = get();
    struct keeper_bytes image = get_bytes();
    size = (uint32_t)image.len;
    memcpy(cells, image.bytes, size);
    static uint8_t value[MOST], scratch[MOST], left[MOST], kept[MOST];
    struct keeper keeper = {.value = value, .scratch = scratch, .left = left, .kept = kept};
    keeper.room = get();
    keeper.kept_room = get();
    for (uint32_t boots = get(); boots > 0; boots--) {
        config.layout = (uint16_t)get();
        config.len = (uint16_t)get();
        struct keeper_bytes table = get_bytes();
        config.tables = &table;
        config.table_count = 1;
        config.ways_back = get_bytes();
        struct keeper_bytes payload = get_bytes();
        writes_left = 100000;
        put(keeper_load(&keeper, &config));
        put(keeper.given_back);
        put_bytes(keeper.value, keeper.found <= KEEPER_CARRIED_OVER ? keeper.len : 0);
        if (payload.len > 0)
            put(keeper_save(&keeper, &config, payload.bytes));
        put_bytes(cells, size);
    }
}

int main(void)
{
    for (;;) {
        uint32_t kind = get();
        if (kind == 0)
            one_carry();
        else
            one_memory();
    }
}
