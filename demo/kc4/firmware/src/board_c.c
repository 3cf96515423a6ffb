/* Board revision C: STM32F405RG (512 KiB used). Reference manual RM0090: memory map 2.3, RCC registers 7.3, USART
   registers 30.6. Addresses, bits and section numbers are from memory, and have not been run on a board. */
#include "board.h"
#include "stm32.h"

enum { GPIOA = 0x40020000, GPIOB = 0x40020400 };

#define RCC_CR REG(0x40023800u)
#define RCC_CFGR REG(0x40023808u)
#define RCC_AHB1ENR REG(0x40023830u)
#define RCC_APB2ENR REG(0x40023844u)
#define USART1_SR REG(0x40011000u)
#define USART1_DR REG(0x40011004u)
#define USART1_BRR REG(0x40011008u)
#define USART1_CR1 REG(0x4001100Cu)

const struct stm32_wiring stm32_wiring = {
    .heater = {GPIOB, 0},
    .contactor = {GPIOB, 1},
    .buzzer = {GPIOB, 10},
    .eeprom_scl = {GPIOB, 6},
    .eeprom_sda = {GPIOB, 7},
    .converter_select = {GPIOA, 4},
    .converter_clock = {GPIOA, 5},
    .converter_out = {GPIOA, 7},
    .converter_in = {GPIOA, 6},
    .console_tx = {GPIOA, 9},
    .console_rx = {GPIOA, 10},
};

void stm32_clocks(void)
{
    RCC_CR |= 1u << 0; /* HSION */
    while (!(RCC_CR & 1u << 1)) { /* HSIRDY */
    }
    RCC_CFGR &= ~3u; /* SW: HSI, 16 MHz */
    while (RCC_CFGR & 3u << 2) { /* SWS */
    }
    RCC_AHB1ENR |= 1u << 0 | 1u << 1; /* GPIOA, GPIOB */
    RCC_APB2ENR |= 1u << 4;           /* USART1 */
    (void)RCC_APB2ENR;                /* the read gives the clock time to arrive */
}

void stm32_console_start(void)
{
    USART1_BRR = 1667u; /* 16 MHz / 9600 */
    USART1_CR1 = 1u << 13 | 1u << 3 | 1u << 2;
}

void board_console_put(char character)
{
    while (!(USART1_SR & 1u << 7)) { /* TXE */
    }
    USART1_DR = (uint8_t)character;
}

int stm32_console_take(void)
{
    if (!(USART1_SR & 1u << 5)) /* RXNE; an overrun is cleared by the read of the data after that of the status */
        return -1;
    return (int)(USART1_DR & 0xFFu);
}
