/* The I2C and 24LC256 drivers against a device that looks at nothing but its two pins, as the data sheet tells
   (Microchip DS20001203: 5.0 device addressing, 6.0 write operations, 7.0 acknowledge polling, 8.0 read operations). */
#include <string.h>

#include "check.h"
#include "eeprom_24lc256.h"

enum phase { IDLE, CONTROL, HIGH_ADDRESS, LOW_ADDRESS, WRITING, READING };

static struct {
    uint8_t memory[EEPROM_24LC256_SIZE];
    bool scl_host, sda_host, sda_device; /* false pulls low */
    bool scl, sda;
    enum phase phase;
    int bit;
    uint8_t shift;
    bool acking;      /* in the ninth clock */
    uint16_t address;
    uint8_t page[EEPROM_24LC256_PAGE];
    bool touched[EEPROM_24LC256_PAGE];
    int busy; /* half bits until a write cycle is over */
    int page_writes;
    bool absent;
} chip;

static void begin_byte(void)
{
    chip.bit = 0;
    chip.shift = 0;
    chip.acking = false;
}

static void on_start(void)
{
    chip.phase = CONTROL;
    chip.sda_device = true;
    begin_byte();
}

static void on_stop(void)
{
    bool any = false;
    for (int i = 0; i < EEPROM_24LC256_PAGE; i++)
        any |= chip.touched[i];
    if (chip.phase == WRITING && any) {
        uint16_t base = (uint16_t)(chip.address / EEPROM_24LC256_PAGE * EEPROM_24LC256_PAGE);
        for (int i = 0; i < EEPROM_24LC256_PAGE; i++) {
            if (chip.touched[i])
                chip.memory[base + i] = chip.page[i];
        }
        memset(chip.touched, 0, sizeof chip.touched);
        chip.busy = 1000; /* 5 ms of 5 us */
        chip.page_writes++;
    }
    chip.phase = IDLE;
    chip.sda_device = true;
}

/* A byte has come; true to acknowledge it. */
static bool on_byte(uint8_t byte)
{
    switch (chip.phase) {
    case CONTROL:
        if (chip.busy > 0 || chip.absent || byte >> 1 != 0x50) {
            chip.phase = IDLE;
            return false;
        }
        chip.phase = byte & 1 ? READING : HIGH_ADDRESS;
        return true;
    case HIGH_ADDRESS:
        chip.address = (uint16_t)((byte & 0x7F) << 8);
        chip.phase = LOW_ADDRESS;
        return true;
    case LOW_ADDRESS:
        chip.address |= byte;
        chip.phase = WRITING;
        return true;
    case WRITING: {
        int at = chip.address % EEPROM_24LC256_PAGE;
        chip.page[at] = byte;
        chip.touched[at] = true;
        /* The page wraps. */
        chip.address = (uint16_t)(chip.address - at + (at + 1) % EEPROM_24LC256_PAGE);
        return true;
    }
    default:
        return false;
    }
}

static void on_clock_up(void)
{
    if (chip.phase == IDLE)
        return;
    if (chip.phase == READING && chip.acking) {
        if (chip.sda) /* the host has had enough */
            chip.phase = IDLE;
    } else if (chip.phase != READING && !chip.acking) {
        chip.shift = (uint8_t)(chip.shift << 1 | chip.sda);
    }
}

static bool read_bit(void)
{
    return chip.memory[chip.address] >> (7 - chip.bit) & 1;
}

static void on_clock_down(void)
{
    if (chip.phase == IDLE) {
        chip.sda_device = true;
        return;
    }
    if (chip.acking) {
        begin_byte();
        chip.sda_device = chip.phase == READING ? read_bit() : true;
        return;
    }
    chip.bit++;
    if (chip.bit < 8) {
        if (chip.phase == READING)
            chip.sda_device = read_bit();
        return;
    }
    if (chip.phase == READING) {
        chip.sda_device = true;
        chip.address = (uint16_t)((chip.address + 1) % EEPROM_24LC256_SIZE);
        chip.acking = true;
    } else {
        chip.sda_device = !on_byte(chip.shift);
        chip.acking = true;
    }
}

static void settle(void)
{
    bool scl = chip.scl_host;
    bool sda = chip.sda_host && chip.sda_device;
    bool old_scl = chip.scl, old_sda = chip.sda;
    chip.scl = scl;
    chip.sda = sda;
    if (old_scl && scl && old_sda && !sda)
        on_start();
    else if (old_scl && scl && !old_sda && sda)
        on_stop();
    else if (!old_scl && scl)
        on_clock_up();
    else if (old_scl && !scl && chip.bit <= 8)
        on_clock_down();
    chip.sda = chip.sda_host && chip.sda_device;
}

static bool clocked; /* the falling edge right after a start begins the first byte and shifts nothing */

static void put_scl(void *context, bool released)
{
    (void)context;
    if (chip.scl_host == released)
        return;
    chip.scl_host = released;
    if (!released && chip.phase == CONTROL && !clocked) {
        chip.scl = false;
        clocked = true;
        return;
    }
    settle();
}

static void put_sda(void *context, bool released)
{
    (void)context;
    if (chip.sda_host == released)
        return;
    chip.sda_host = released;
    enum phase before = chip.phase;
    bool was_high = chip.scl;
    settle();
    if (was_high && chip.phase == CONTROL && (before != CONTROL || chip.bit == 0))
        clocked = false;
}

static bool get_scl(void *context)
{
    (void)context;
    return chip.scl_host;
}

static bool get_sda(void *context)
{
    (void)context;
    return chip.sda_host && chip.sda_device;
}

static void half_bit(void *context)
{
    (void)context;
    if (chip.busy > 0)
        chip.busy--;
}

static const struct i2c_pins pins = {
    .scl = put_scl, .sda = put_sda, .read_scl = get_scl, .read_sda = get_sda, .half_bit = half_bit};

static void new_chip(void)
{
    memset(&chip, 0, sizeof chip);
    memset(chip.memory, 0xFF, sizeof chip.memory);
    chip.scl_host = chip.sda_host = chip.sda_device = chip.scl = chip.sda = true;
    clocked = false;
}

static void writes_and_reads(void)
{
    new_chip();
    struct eeprom eeprom = eeprom_24lc256(&pins);
    uint8_t out[300], in[300];
    for (size_t i = 0; i < sizeof out; i++)
        out[i] = (uint8_t)(i * 7 + 3);
    for (uint16_t address = 0; address < 200; address += 37) {
        int before = chip.page_writes;
        CHECK(eeprom.write(eeprom.context, address, out, sizeof out));
        /* As many page writes as pages touched, or bytes would have wrapped. */
        CHECK_INT(chip.page_writes - before, (address + 299) / 64 - address / 64 + 1);
        CHECK(memcmp(chip.memory + address, out, sizeof out) == 0);
        memset(in, 0, sizeof in);
        CHECK(eeprom.read(eeprom.context, address, in, sizeof in));
        CHECK(memcmp(in, out, sizeof in) == 0);
    }
    CHECK(chip.memory[600] == 0xFF);
    CHECK(eeprom.write(eeprom.context, 32767, out, 1) && chip.memory[32767] == 3);
    CHECK(eeprom.read(eeprom.context, 32767, in, 1) && in[0] == 3);
}

static void refuses(void)
{
    new_chip();
    struct eeprom eeprom = eeprom_24lc256(&pins);
    uint8_t byte = 0;
    CHECK(!eeprom.write(eeprom.context, 32767, "ab", 2));
    CHECK(!eeprom.read(eeprom.context, 1, &byte, 32768));
    chip.absent = true;
    CHECK(!eeprom.read(eeprom.context, 0, &byte, 1));
    CHECK(!eeprom.write(eeprom.context, 0, &byte, 1));
    chip.absent = false;
    CHECK(eeprom.read(eeprom.context, 0, &byte, 1) && byte == 0xFF);
}

void test_eeprom(void)
{
    writes_and_reads();
    refuses();
}
