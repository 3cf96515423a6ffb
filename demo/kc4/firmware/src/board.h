/* What the firmware needs from a board. One board file is linked: board_c.c, board_d.c or board_q.c. */
#ifndef KC4_BOARD_H
#define KC4_BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "eeprom.h"
#include "sensor.h"

/* Clocks and pins. The two heater outputs are driven off before they are made outputs: at reset they float, and the
   pull-downs on the board hold them off until then. */
void board_start(void);

/* Milliseconds since the start; wraps after 49 days, so only differences mean anything. */
uint32_t board_millis(void);

/* Waits for the next thing to happen, at most a few milliseconds. */
void board_wait(void);

/* The solid-state relay that is switched on and off within a cycle. */
void board_heater(bool on);

/* The contactor ahead of it, which opens the mains even when the relay has welded shut. */
void board_contactor(bool closed);

void board_buzzer(bool on);

/* False when the converter does not answer; the codes then read as a bad cold junction. */
bool board_sensors(struct sensor_codes *codes);

const struct eeprom *board_eeprom(void);

void board_console_put(char character);
int board_console_get(void); /* -1: nothing waiting */

/* From here on the watchdog resets the unit, and so drops both outputs, unless it is fed every second. */
void board_watchdog_start(void);
void board_watchdog_feed(void);

/* Both outputs off and nothing more, ever: for faults of the program itself. Touches no stack or variable. */
_Noreturn void board_stop(void);

#endif
