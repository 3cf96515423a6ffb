/* From reset to main. Vector table and reset sequence: Armv7-M Architecture Reference Manual (DDI 0403), B1.5. */
#include <stdint.h>

#include "board.h"

#ifndef KC4_IRQS
#error "say how many interrupts the part has: -DKC4_IRQS=82 (C), 102 (D) or 32 (Q)"
#endif

extern uint32_t image_data_from[], image_data_start[], image_data_end[], image_bss_start[], image_bss_end[];
extern uint32_t image_stack_top[];

int main(void);
void board_tick(void);

typedef void (*handler)(void);

struct vectors {
    const uint32_t *stack;
    handler core[15];
    handler interrupts[KC4_IRQS];
};

_Noreturn void image_reset(void);
static void stop(void);

/* No interrupt but the tick is used; each of the others stops the unit rather than running into anything. */
__attribute__((section(".vectors"), used)) static const struct vectors vectors = {
    .stack = image_stack_top,
    .core = {image_reset, stop, stop, stop, stop, stop, 0, 0, 0, 0, stop, stop, 0, stop, board_tick},
    .interrupts = {[0 ... KC4_IRQS - 1] = stop},
};

static volatile uint32_t *const vtor = (volatile uint32_t *)0xE000ED08u;  /* DDI 0403, B3.2.5 */
static volatile uint32_t *const cpacr = (volatile uint32_t *)0xE000ED88u; /* DDI 0403, B3.2.20 */

static void stop(void)
{
    board_stop();
}

/* In a function of its own, so that the compiler cannot move anything that uses the FPU ahead of its enabling. */
__attribute__((noinline)) _Noreturn static void run(void)
{
    uint32_t *to = image_data_start;
    for (const uint32_t *from = image_data_from; to < image_data_end;)
        *to++ = *from++;
    for (to = image_bss_start; to < image_bss_end;)
        *to++ = 0;
    main();
    board_stop();
}

/* The image may be entered at power-up or from an installer that used the machine before: nothing is taken as given. */
_Noreturn void image_reset(void)
{
    __asm volatile("cpsid i" ::: "memory");
    *vtor = (uint32_t)(uintptr_t)&vectors;
    *cpacr |= 0xFu << 20; /* full access to the FPU */
    __asm volatile("dsb\n\tisb" ::: "memory");
    run();
}
