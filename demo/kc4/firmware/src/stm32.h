/* What boards C and D share: the parts of both families that have the same registers. */
#ifndef KC4_STM32_H
#define KC4_STM32_H

#include <stdbool.h>
#include <stdint.h>

#define REG(address) (*(volatile uint32_t *)(address))

struct stm32_pin {
    uint32_t port; /* base address of the GPIO port */
    uint8_t number;
};

struct stm32_wiring {
    struct stm32_pin heater, contactor, buzzer;
    struct stm32_pin eeprom_scl, eeprom_sda;
    struct stm32_pin converter_select, converter_clock, converter_out, converter_in;
    struct stm32_pin console_tx, console_rx; /* USART1, alternate function 7 on both */
};

/* Given by the board file. */
extern const struct stm32_wiring stm32_wiring;
void stm32_clocks(void);        /* 16 MHz internal oscillator; ports and USART1 on */
void stm32_console_start(void); /* 9600 baud */
int stm32_console_take(void);   /* what has come since the last call, or -1; called from the tick */

#endif
