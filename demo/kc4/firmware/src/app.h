/* The controller as a whole: what main and the console share. */
#ifndef KC4_APP_H
#define KC4_APP_H

#include "config.h"
#include "firing.h"
#include "settings_store.h"
#include "window.h"

struct app {
    struct settings_store store;
    kc4_settings settings; /* as last loaded or saved */
    enum settings_found found;
    bool proven; /* config came from whole settings and has no problem: only then may the heater be driven */
    struct config config;
    struct reading reading;
    struct firing firing;
    struct window window;
    float unsaved_s; /* heating time not yet in heating_minutes */
    uint32_t last_ms;
};

void app_start(struct app *app);

/* One round: reads the sensors, steps the firing and drives the outputs, if a tick is due. */
void app_poll(struct app *app);

/* Takes the config as it now is into the memory. False: not saved, and the settings are no longer proven if the
   config has a problem. */
bool app_save(struct app *app);

/* New settings: factory values, keeping a calibration that can be proven. */
bool app_factory(struct app *app);

#endif
