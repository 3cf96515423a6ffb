/* Board Q: no board, but QEMU's machine mps2-an386 (Cortex-M4 with FPU), with a simulated kiln on it. Time is virtual:
   every wait is 50 ms of kiln time, so that a ten-hour firing takes seconds. The console goes through semihosting (Arm
   "Semihosting for AArch32 and AArch64", ARM-software/abi-aa); what is typed comes from the command line, with ';' for
   the end of a line. Once all of that is taken and the contactor has been open for ten virtual minutes, it leaves. */
#include <stddef.h>

#include "board.h"
#include "kiln_model.h"
#include "memory.h"

enum { SYS_WRITEC = 0x03, SYS_GET_CMDLINE = 0x15, SYS_EXIT = 0x18 };
enum { APPLICATION_EXIT = 0x20026, RUN_TIME_ERROR = 0x20023 };
enum { WAIT_MS = 50, LEAVE_AFTER_MS = 600000 };
enum { MEMORY_SIZE = 32768 };

static uint8_t memory[MEMORY_SIZE];
static struct kiln_model kiln;
static bool heater_on, contactor_closed;
static uint32_t now_ms, open_since_ms;
static char script[256];
static const char *script_at = script;

static uintptr_t semihost(uintptr_t operation, uintptr_t argument)
{
    register uintptr_t r0 __asm("r0") = operation;
    register uintptr_t r1 __asm("r1") = argument;
    __asm volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
    return r0;
}

void board_tick(void);

void board_tick(void)
{
}

static bool memory_read(void *context, uint16_t address, void *to, size_t length)
{
    (void)context;
    if (length > MEMORY_SIZE || address > MEMORY_SIZE - length)
        return false;
    memcpy(to, memory + address, length);
    return true;
}

static bool memory_write(void *context, uint16_t address, const void *from, size_t length)
{
    (void)context;
    if (length > MEMORY_SIZE || address > MEMORY_SIZE - length)
        return false;
    memcpy(memory + address, from, length);
    return true;
}

static const struct eeprom eeprom = {.read = memory_read, .write = memory_write};

void board_start(void)
{
    heater_on = false;
    contactor_closed = false;
    memset(memory, 0xFF, sizeof memory); /* as a new memory comes */
    kiln_model_start(&kiln, 20.0f);
    struct {
        char *to;
        size_t size;
    } block = {script, sizeof script - 1};
    if (semihost(SYS_GET_CMDLINE, (uintptr_t)&block) != 0)
        script[0] = '\0';
}

uint32_t board_millis(void)
{
    return now_ms;
}

void board_wait(void)
{
    now_ms += WAIT_MS;
    kiln_model_step(&kiln, heater_on, contactor_closed, WAIT_MS / 1000.0f);
    if (contactor_closed || *script_at != '\0')
        open_since_ms = now_ms;
    if (now_ms - open_since_ms >= LEAVE_AFTER_MS)
        semihost(SYS_EXIT, APPLICATION_EXIT);
}

void board_heater(bool on)
{
    heater_on = on;
}

void board_contactor(bool closed)
{
    contactor_closed = closed;
}

void board_buzzer(bool on)
{
    (void)on;
}

bool board_sensors(struct sensor_codes *codes)
{
    kiln_model_codes(&kiln, codes);
    return true;
}

const struct eeprom *board_eeprom(void)
{
    return &eeprom;
}

void board_console_put(char character)
{
    semihost(SYS_WRITEC, (uintptr_t)&character);
}

int board_console_get(void)
{
    /* The first command waits until there has been a reading. */
    if (*script_at == '\0' || now_ms < 500)
        return -1;
    char next = *script_at++;
    if (*script_at == '\0' && next != ';')
        script_at = ";"; /* the last line need not be ended */
    return next == ';' ? '\n' : next;
}

void board_watchdog_start(void)
{
}

void board_watchdog_feed(void)
{
}

_Noreturn void board_stop(void)
{
    heater_on = false;
    contactor_closed = false;
    semihost(SYS_EXIT, RUN_TIME_ERROR);
    for (;;) {
    }
}
