#include "app.h"

#include <stddef.h>

#include "board.h"
#include "text.h"

static const uint32_t tick_ms = 250;
/* 16 000 h of heating at one save an hour stay far below the memory's million writes. */
static const float save_after_s = 3600.0f;

static void outputs_off(void)
{
    board_heater(false);
    board_contactor(false);
}

static void take_reading(struct app *app)
{
    struct sensor_codes codes;
    if (!board_sensors(&codes)) {
        /* A silent converter must look like a fault, not like a cold kiln. */
        for (int i = 0; i < CHANNELS; i++)
            codes.junction[i] = INT16_MAX;
        codes.cold = INT16_MIN;
    }
    sensor_read(&codes, app->config.calibration, &app->reading);
}

void app_start(struct app *app)
{
    outputs_off();
    firing_init(&app->firing);
    app->found = settings_load(&app->store, board_eeprom(), &app->settings);
    if (app->found <= SETTINGS_OLDER) {
        settings_decode(&app->settings, &app->config);
        app->proven = config_problem(&app->config) == NULL;
    } else {
        /* Readings are shown by factory values, but nothing heats by them: this unit's own calibration is not in
           them, and a kiln fired by another's may be tens of degrees out. */
        config_factory(&app->config);
        app->proven = false;
    }
    if (!app->proven)
        firing_fail(&app->firing, FAULT_SETTINGS);
    window_start(&app->window, app->config.cycle_s);
    app->unsaved_s = 0.0f;
    app->last_ms = board_millis();
    take_reading(app);
}

static void count_heating(struct app *app, float dt, bool heating)
{
    if (heating)
        app->unsaved_s += dt;
    bool due = app->unsaved_s >= save_after_s || (!heating && app->unsaved_s >= 60.0f);
    if (!due || !app->proven)
        return;
    uint32_t minutes = (uint32_t)(app->unsaved_s / 60.0f);
    app->unsaved_s -= (float)minutes * 60.0f;
    app->config.heating_minutes += minutes;
    app_save(app);
}

static void report(enum firing_state before, const struct firing *now)
{
    if (now->state == before)
        return;
    text_put("state ");
    text_put(firing_state_text(now->state));
    if (now->state == STATE_FIRING || now->state == STATE_HOLD) {
        text_put(" step ");
        text_unsigned((uint32_t)now->step + 1, 1);
    }
    if (now->state == STATE_FAULT) {
        text_put(": ");
        text_put(fault_text(now->fault));
    }
    text_line("");
}

void app_poll(struct app *app)
{
    uint32_t now = board_millis();
    if (now - app->last_ms < tick_ms)
        return;
    float dt = (float)(now - app->last_ms) / 1000.0f;
    app->last_ms = now;
    take_reading(app);

    enum firing_state before = app->firing.state;
    float share = firing_step(&app->firing, &app->config, &app->reading, dt);
    bool heating = app->firing.state == STATE_FIRING || app->firing.state == STATE_HOLD;
    bool allowed = heating && app->proven;
    bool on = window_step(&app->window, allowed ? share : 0.0f, dt);
    board_contactor(allowed);
    board_heater(allowed && on);
    board_buzzer(app->config.sound && app->firing.state == STATE_FAULT);
    board_watchdog_feed();
    report(before, &app->firing);
    count_heating(app, dt, heating);
}

bool app_save(struct app *app)
{
    if (config_problem(&app->config))
        return false;
    settings_encode(&app->config, &app->settings);
    return settings_save(&app->store, &app->settings);
}

bool app_factory(struct app *app)
{
    struct calibration kept[CHANNELS];
    uint32_t kept_date = app->config.calibrated_on;
    for (int i = 0; i < CHANNELS; i++)
        kept[i] = app->config.calibration[i];
    uint32_t minutes = app->config.heating_minutes;
    bool known = app->proven;

    config_factory(&app->config);
    app->config.heating_minutes = minutes;
    if (known) {
        for (int i = 0; i < CHANNELS; i++)
            app->config.calibration[i] = kept[i];
        app->config.calibrated_on = kept_date;
    } else {
        settings_salvage_calibration(board_eeprom(), &app->config);
    }
    app->proven = app_save(app);
    if (app->proven) {
        app->found = SETTINGS_OURS;
        firing_clear(&app->firing);
        window_start(&app->window, app->config.cycle_s);
    }
    return app->proven;
}
