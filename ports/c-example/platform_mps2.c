/*
 * The platform on QEMU's machine mps2-an386, a Cortex-M4: files and console by semihosting (Arm, "Semihosting for AArch32 and
 * AArch64", ARM-software/abi-aa), start-up code and vector table.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#include <stddef.h>

#include "memory.h"
#include "platform.h"

enum { FIRST = 0x8000, LAST = 0x80000 };

/* ---- start-up ---- */

extern uint32_t data_start[], data_end[], data_from[], bss_start[], bss_end[], stack_top[];
int main(void);

static void halt(void)
{
    for (;;) {
    }
}

void reset(void);

void reset(void)
{
    for (uint32_t *to = data_start, *from = data_from; to < data_end;)
        *to++ = *from++;
    for (uint32_t *to = bss_start; to < bss_end;)
        *to++ = 0;
    main();
    platform_leave(0);
}

/* DDI 0403, B1.5.2 and B1.5.3: stack, reset, and fourteen exceptions that stop this board. */
__attribute__((section(".vectors"), used)) static const struct {
    void *stack;
    void (*handlers[15])(void);
} vectors = {stack_top, {reset, halt, halt, halt, halt, halt, halt, halt, halt, halt, halt, halt, halt, halt, halt}};

void platform_start(uint32_t address)
{
    const uint32_t *table = (const uint32_t *)(uintptr_t)address;
    uint32_t stack = table[0], entry = table[1];
    *(volatile uint32_t *)0xe000ed08u = address; /* VTOR: DDI 0403, B3.2.5 */
    __asm volatile("msr msp, %0\n\tdsb\n\tisb\n\tbx %1" : : "r"(stack), "r"(entry) : "memory");
    for (;;) {
    }
}

/* ---- semihosting ---- */

enum { SYS_OPEN = 0x01, SYS_WRITE0 = 0x04, SYS_WRITE = 0x05, SYS_READ = 0x06, SYS_SEEK = 0x0a, SYS_FLEN = 0x0c, SYS_EXIT = 0x18 };
enum { APPLICATION_EXIT = 0x20026, RUN_TIME_ERROR = 0x20023 };

static intptr_t call(uintptr_t operation, uintptr_t argument)
{
    register uintptr_t r0 __asm("r0") = operation;
    register uintptr_t r1 __asm("r1") = argument;
    __asm volatile("bkpt 0xab" : "+r"(r0) : "r"(r1) : "memory");
    return (intptr_t)r0;
}

intptr_t platform_open(const char *name, bool change)
{
    const uintptr_t block[] = {(uintptr_t)name, change ? 3u /* r+b */ : 1u /* rb */, strlen(name)};
    return call(SYS_OPEN, (uintptr_t)block);
}

uint32_t platform_len(intptr_t file)
{
    const uintptr_t block[] = {(uintptr_t)file};
    intptr_t len = call(SYS_FLEN, (uintptr_t)block);
    return len < 0 ? 0 : (uint32_t)len;
}

static bool transfer(uintptr_t operation, intptr_t file, uint32_t at, const void *memory, uint32_t len)
{
    const uintptr_t seek[] = {(uintptr_t)file, at};
    const uintptr_t block[] = {(uintptr_t)file, (uintptr_t)memory, len};
    return call(SYS_SEEK, (uintptr_t)seek) == 0 && call(operation, (uintptr_t)block) == 0;
}

bool platform_read(intptr_t file, uint32_t at, void *to, uint32_t len)
{
    return transfer(SYS_READ, file, at, to, len);
}

bool platform_write(intptr_t file, uint32_t at, const void *from, uint32_t len)
{
    return transfer(SYS_WRITE, file, at, from, len);
}

void platform_print(const char *text)
{
    call(SYS_WRITE0, (uintptr_t)text);
}

void platform_leave(int code)
{
    for (;;)
        call(SYS_EXIT, code == 0 ? APPLICATION_EXIT : RUN_TIME_ERROR);
}

void platform_cut(void)
{
    /* Whoever runs the emulator kills it then. */
    platform_print("power cut\n");
    halt();
}

/* ---- the line to the judge ----
 *
 * The emulator's own standard streams, as files of the host: its UART takes a byte at a time from the host, which is slow. A real
 * board has its UART here.
 */

static intptr_t opened(const char *name, uintptr_t mode)
{
    const uintptr_t block[] = {(uintptr_t)name, mode, strlen(name)};
    return call(SYS_OPEN, (uintptr_t)block);
}

int platform_line_get(void)
{
    static intptr_t from = -1;
    static char came[256];
    static uint32_t at, len;
    if (at == len) {
        if (from < 0)
            from = opened("/dev/stdin", 0 /* r */);
        const uintptr_t block[] = {(uintptr_t)from, (uintptr_t)came, sizeof came};
        intptr_t missing = call(SYS_READ, (uintptr_t)block);
        at = 0;
        len = missing < 0 ? 0 : (uint32_t)sizeof came - (uint32_t)missing;
        if (len == 0)
            return -1;
    }
    return (unsigned char)came[at++];
}

void platform_line_put(char character)
{
    static intptr_t to = -1;
    static char waiting[256];
    static uint32_t len;
    waiting[len++] = character;
    if (character != '\n' && len < sizeof waiting)
        return;
    if (to < 0)
        to = opened("/dev/stdout", 4 /* w */);
    const uintptr_t block[] = {(uintptr_t)to, (uintptr_t)waiting, len};
    call(SYS_WRITE, (uintptr_t)block);
    len = 0;
}

/* ---- flash: the machine's memory at the same addresses ---- */

uint8_t *platform_cells(uint32_t address, uint32_t len)
{
    if (address < FIRST || address > LAST || len > LAST - address)
        return NULL;
    return (uint8_t *)(uintptr_t)address;
}

/* ---- what the standard's library would bring ---- */

size_t strlen(const char *text)
{
    size_t len = 0;
    while (text[len] != '\0')
        len++;
    return len;
}

int strncmp(const char *a, const char *b, size_t len)
{
    for (size_t at = 0; at < len; at++) {
        if (a[at] != b[at])
            return (unsigned char)a[at] < (unsigned char)b[at] ? -1 : 1;
        if (a[at] == '\0')
            break;
    }
    return 0;
}
