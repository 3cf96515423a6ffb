/* GPIO: RM0090 "GPIO registers" (8.4) and RM0440 "GPIO registers" (9.4): same offsets. Watchdog: RM0090 and RM0440,
   "IWDG registers". SysTick and DWT: Armv7-M Architecture Reference Manual (DDI 0403), B3.3 and C1.8.
   Offsets, bits and section numbers are from memory, and have not been run on a board. */
#include "stm32.h"

#include "ads1118.h"
#include "board.h"
#include "eeprom_24lc256.h"
#include "i2c.h"

enum { CLOCK_MHZ = 16 };
enum { GPIO_MODER = 0x00, GPIO_OTYPER = 0x04, GPIO_PUPDR = 0x0C, GPIO_IDR = 0x10, GPIO_BSRR = 0x18, GPIO_AFRL = 0x20 };
enum { MODE_IN = 0, MODE_OUT = 1, MODE_ALTERNATE = 2 };

#define SYST_CSR REG(0xE000E010u)
#define SYST_RVR REG(0xE000E014u)
#define SYST_CVR REG(0xE000E018u)
#define DEMCR REG(0xE000EDFCu)
#define DWT_CTRL REG(0xE0001000u)
#define DWT_CYCCNT REG(0xE0001004u)
#define IWDG_KR REG(0x40003000u)
#define IWDG_PR REG(0x40003004u)
#define IWDG_RLR REG(0x40003008u)

static volatile uint32_t milliseconds;

/* A conversion takes 25 ms and a save half a second, in which many characters come. At 9600 baud one takes longer than
   the tick, so that the tick loses none. */
enum { TYPED_SIZE = 128 }; /* a power of two: the counters wrap */
static volatile uint8_t typed[TYPED_SIZE];
static volatile uint32_t typed_in, typed_out;

void board_tick(void);

void board_tick(void)
{
    milliseconds = milliseconds + 1;
    int character = stm32_console_take();
    if (character >= 0 && typed_in - typed_out < TYPED_SIZE) {
        typed[typed_in % TYPED_SIZE] = (uint8_t)character;
        typed_in = typed_in + 1;
    }
}

int board_console_get(void)
{
    if (typed_in == typed_out)
        return -1;
    int character = typed[typed_out % TYPED_SIZE];
    typed_out = typed_out + 1;
    return character;
}

uint32_t board_millis(void)
{
    return milliseconds;
}

void board_wait(void)
{
    __asm volatile("wfi");
}

static void drive(struct stm32_pin pin, bool high)
{
    REG(pin.port + GPIO_BSRR) = 1u << (pin.number + (high ? 0 : 16));
}

static bool sense(struct stm32_pin pin)
{
    return (REG(pin.port + GPIO_IDR) >> pin.number) & 1u;
}

static void two_bits(uint32_t address, uint8_t number, uint32_t value)
{
    REG(address) = (REG(address) & ~(3u << (2 * number))) | value << (2 * number);
}

static void output(struct stm32_pin pin, bool high)
{
    drive(pin, high); /* first the level, then the direction: no glitch */
    two_bits(pin.port + GPIO_MODER, pin.number, MODE_OUT);
}

static void open_drain(struct stm32_pin pin)
{
    REG(pin.port + GPIO_OTYPER) |= 1u << pin.number;
    output(pin, true);
}

static void alternate_7(struct stm32_pin pin)
{
    uint32_t address = pin.port + GPIO_AFRL + (pin.number >= 8 ? 4u : 0u);
    uint32_t shift = 4u * (pin.number & 7u);
    REG(address) = (REG(address) & ~(15u << shift)) | 7u << shift;
    two_bits(pin.port + GPIO_MODER, pin.number, MODE_ALTERNATE);
}

static void half_bit(void *context)
{
    (void)context;
    uint32_t from = DWT_CYCCNT;
    while (DWT_CYCCNT - from < 5u * CLOCK_MHZ) {
    }
}

static void put_scl(void *context, bool released)
{
    (void)context;
    drive(stm32_wiring.eeprom_scl, released);
}

static void put_sda(void *context, bool released)
{
    (void)context;
    drive(stm32_wiring.eeprom_sda, released);
}

static bool get_scl(void *context)
{
    (void)context;
    return sense(stm32_wiring.eeprom_scl);
}

static bool get_sda(void *context)
{
    (void)context;
    return sense(stm32_wiring.eeprom_sda);
}

static const struct i2c_pins eeprom_pins = {
    .scl = put_scl, .sda = put_sda, .read_scl = get_scl, .read_sda = get_sda, .half_bit = half_bit};

static void put_select(void *context, bool selected)
{
    (void)context;
    drive(stm32_wiring.converter_select, !selected);
}

static void put_clock(void *context, bool high)
{
    (void)context;
    drive(stm32_wiring.converter_clock, high);
}

static void put_data(void *context, bool high)
{
    (void)context;
    drive(stm32_wiring.converter_out, high);
}

static bool get_data(void *context)
{
    (void)context;
    return sense(stm32_wiring.converter_in);
}

static const struct spi_pins converter_pins = {
    .select = put_select, .clock = put_clock, .data_out = put_data, .data_in = get_data, .half_bit = half_bit};

static struct eeprom eeprom;

void board_start(void)
{
    stm32_clocks();
    output(stm32_wiring.heater, false);
    output(stm32_wiring.contactor, false);
    output(stm32_wiring.buzzer, false);

    DEMCR |= 1u << 24;
    DWT_CYCCNT = 0;
    DWT_CTRL |= 1u;
    open_drain(stm32_wiring.eeprom_scl);
    open_drain(stm32_wiring.eeprom_sda);
    output(stm32_wiring.converter_select, true);
    output(stm32_wiring.converter_clock, false);
    output(stm32_wiring.converter_out, false);
    two_bits(stm32_wiring.converter_in.port + GPIO_MODER, stm32_wiring.converter_in.number, MODE_IN);
    alternate_7(stm32_wiring.console_tx);
    alternate_7(stm32_wiring.console_rx);
    stm32_console_start();

    SYST_RVR = 1000u * CLOCK_MHZ - 1u;
    SYST_CVR = 0;
    SYST_CSR = 7u;
    __asm volatile("cpsie i" ::: "memory");

    i2c_free_bus(&eeprom_pins);
    eeprom = eeprom_24lc256(&eeprom_pins);
}

void board_heater(bool on)
{
    drive(stm32_wiring.heater, on);
}

void board_contactor(bool closed)
{
    drive(stm32_wiring.contactor, closed);
}

void board_buzzer(bool on)
{
    drive(stm32_wiring.buzzer, on);
}

bool board_sensors(struct sensor_codes *codes)
{
    return ads1118_read(&converter_pins, codes);
}

const struct eeprom *board_eeprom(void)
{
    return &eeprom;
}

void board_watchdog_start(void)
{
    IWDG_KR = 0xCCCCu; /* start; the independent oscillator comes on with it */
    IWDG_KR = 0x5555u; /* allow the next two */
    IWDG_PR = 3u;      /* 32 kHz / 32 */
    IWDG_RLR = 2000u;  /* 2 s: a save of the settings or a long answer takes up to about 1 s of it */
    board_watchdog_feed();
}

void board_watchdog_feed(void)
{
    IWDG_KR = 0xAAAAu;
}

_Noreturn void board_stop(void)
{
    __asm volatile("cpsid i" ::: "memory");
    for (;;) {
        drive(stm32_wiring.heater, false);
        drive(stm32_wiring.contactor, false);
    }
}
