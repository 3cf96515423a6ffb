/* Board revision D: STM32G474RE. Reference manual RM0440: memory map 2.2, RCC registers 7.4, USART registers 37.8.
   Addresses, bits and section numbers are from memory, and have not been run on a board. */
#include "board.h"
#include "stm32.h"

enum { GPIOA = 0x48000000, GPIOB = 0x48000400, GPIOC = 0x48000800 };

#define RCC_CR REG(0x40021000u)
#define RCC_CFGR REG(0x40021008u)
#define RCC_AHB2ENR REG(0x4002104Cu)
#define RCC_APB2ENR REG(0x40021060u)
#define USART1_CR1 REG(0x40013800u)
#define USART1_BRR REG(0x4001380Cu)
#define USART1_ISR REG(0x4001381Cu)
#define USART1_ICR REG(0x40013820u)
#define USART1_RDR REG(0x40013824u)
#define USART1_TDR REG(0x40013828u)

const struct stm32_wiring stm32_wiring = {
    .heater = {GPIOC, 6},
    .contactor = {GPIOC, 7},
    .buzzer = {GPIOB, 5},
    .eeprom_scl = {GPIOC, 8},
    .eeprom_sda = {GPIOC, 9},
    .converter_select = {GPIOB, 12},
    .converter_clock = {GPIOB, 13},
    .converter_out = {GPIOB, 15},
    .converter_in = {GPIOB, 14},
    .console_tx = {GPIOA, 9},
    .console_rx = {GPIOA, 10},
};

void stm32_clocks(void)
{
    RCC_CR |= 1u << 8; /* HSION */
    while (!(RCC_CR & 1u << 10)) { /* HSIRDY */
    }
    RCC_CFGR = (RCC_CFGR & ~3u) | 1u; /* SW: HSI16 */
    while ((RCC_CFGR >> 2 & 3u) != 1u) { /* SWS */
    }
    RCC_AHB2ENR |= 1u << 0 | 1u << 1 | 1u << 2; /* GPIOA, GPIOB, GPIOC */
    RCC_APB2ENR |= 1u << 14;                    /* USART1 */
    (void)RCC_APB2ENR;                          /* the read gives the clock time to arrive */
}

void stm32_console_start(void)
{
    USART1_BRR = 1667u; /* 16 MHz / 9600 */
    USART1_CR1 = 1u << 3 | 1u << 2 | 1u << 0;
}

void board_console_put(char character)
{
    while (!(USART1_ISR & 1u << 7)) { /* TXE */
    }
    USART1_TDR = (uint8_t)character;
}

int stm32_console_take(void)
{
    USART1_ICR = 1u << 3; /* an overrun would stop reception until it is cleared */
    if (!(USART1_ISR & 1u << 5)) /* RXNE */
        return -1;
    return (int)(USART1_RDR & 0xFFu);
}
