#include "commands.h"

#include <stddef.h>

#include "board.h"
#include "cones.h"
#include "identity.h"
#include "memory.h"
#include "text.h"

/* --- temperatures in the owner's unit --- */

static float shown(const struct app *app, float celsius)
{
    return app->config.fahrenheit ? celsius * 1.8f + 32.0f : celsius;
}

static float shown_difference(const struct app *app, float celsius)
{
    return app->config.fahrenheit ? celsius * 1.8f : celsius;
}

static float meant(const struct app *app, float number)
{
    return app->config.fahrenheit ? (number - 32.0f) / 1.8f : number;
}

static float meant_difference(const struct app *app, float number)
{
    return app->config.fahrenheit ? number / 1.8f : number;
}

static void put_temperature(const struct app *app, float celsius)
{
    text_decimal(shown(app, celsius), 1);
    text_put(app->config.fahrenheit ? " F" : " C");
}

/* --- reading arguments --- */

static bool number_in(char **rest, float low, float high, float *value)
{
    float number;
    if (!text_number(text_word(rest), &number) || !(number >= low && number <= high))
        return false;
    *value = number;
    return true;
}

/* Counted from 1 on the console, from 0 inside. */
static bool index_in(char **rest, uint32_t count, uint32_t *index)
{
    float number;
    if (!number_in(rest, 1.0f, (float)count, &number) || number != (float)(uint32_t)number)
        return false;
    *index = (uint32_t)number - 1;
    return true;
}

static void finish(struct app *app, const struct config *before)
{
    const char *problem = config_problem(&app->config);
    if (!problem && app_save(app)) {
        text_line("saved");
        return;
    }
    app->config = *before;
    text_put("not saved: ");
    text_line(problem ? problem : "the settings memory does not take it");
}

static bool may_edit(const struct app *app)
{
    if (!app->proven) {
        text_line("no: there are no settings to change; see 'status'");
        return false;
    }
    if (app->firing.state == STATE_FIRING || app->firing.state == STATE_HOLD) {
        text_line("no: stop the firing first");
        return false;
    }
    return true;
}

/* --- commands --- */

void command_version(void)
{
    text_put("KC-4 kiln controller " KC4_VERSION_TEXT " board ");
    board_console_put(kc4_identity.board);
    text_line("");
}

void command_status(const struct app *app)
{
    text_put("state ");
    text_put(firing_state_text(app->firing.state));
    if (app->firing.state == STATE_FAULT) {
        text_put(": ");
        text_put(fault_text(app->firing.fault));
    }
    for (int i = 0; i < CHANNELS; i++) {
        text_put(i == CHANNEL_CONTROL ? "\r\ncontrol " : "\r\nwatch ");
        if (app->reading.open[i])
            text_put("open");
        else
            put_temperature(app, app->reading.celsius[i]);
    }
    text_put("\r\nterminals ");
    put_temperature(app, app->reading.cold_c);
    text_put("\r\nset point ");
    put_temperature(app, app->firing.set_c);
    text_put("\r\npower ");
    text_decimal(app->firing.share * 100.0f, 0);
    text_put(" %\r\nfired for ");
    text_unsigned(app->config.heating_minutes / 60, 1);
    text_put(" h ");
    text_unsigned(app->config.heating_minutes % 60, 2);
    text_put(" min\r\nsettings ");
    text_line(settings_found_text(app->found));
}

static void run_version(struct app *app, char *rest)
{
    (void)app;
    (void)rest;
    command_version();
}

static void run_status(struct app *app, char *rest)
{
    (void)rest;
    command_status(app);
}

static void run_settings(struct app *app, char *rest)
{
    (void)rest;
    const struct config *config = &app->config;
    text_put("limit ");
    put_temperature(app, config->limit_c);
    text_put("\r\nband ");
    text_decimal(shown_difference(app, config->tuning.band_c), 1);
    text_put("\r\nintegral ");
    text_decimal(config->tuning.integral_s, 0);
    text_put(" s\r\nderivative ");
    text_decimal(config->tuning.derivative_s, 0);
    text_put(" s\r\ncycle ");
    text_decimal(config->cycle_s, 1);
    text_put(" s\r\n");
    if (KC4_HAS_HOLD_BACK) {
        text_put("holdback ");
        text_decimal(shown_difference(app, config->hold_back_c), 1);
        text_line("");
    }
    if (KC4_HAS_WATCH_MARGIN) {
        text_put("margin ");
        text_decimal(shown_difference(app, config->watch_margin_c), 1);
        text_line("");
    }
    text_put("unit ");
    text_line(config->fahrenheit ? "f" : "c");
    text_put("sound ");
    text_line(config->sound ? "1" : "0");
    for (int i = 0; i < CHANNELS; i++) {
        text_put(i == CHANNEL_CONTROL ? "calibration 1 control offset " : "calibration 2 watch offset ");
        text_decimal(shown_difference(app, config->calibration[i].offset_c), 2);
        text_put(" gain ");
        text_decimal(config->calibration[i].gain, 4);
        text_line("");
    }
    if (config->calibrated_on != 0) {
        text_put("calibrated on ");
        text_unsigned(config->calibrated_on, 8);
        text_line("");
    }
}

static void run_programme(struct app *app, char *rest)
{
    uint32_t which;
    if (!index_in(&rest, PROGRAMMES, &which)) {
        text_line("say which: programme 1 to 6");
        return;
    }
    const struct programme *programme = &app->config.programmes[which];
    text_put_part(programme->name, sizeof programme->name);
    text_line("");
    for (uint32_t i = 0; i < programme->step_count && i < KC4_STEPS; i++) {
        const struct step *step = &programme->steps[i];
        text_unsigned(i + 1, 1);
        if (step->rate_c_per_h > 0.0f) {
            text_put(": at ");
            text_decimal(shown_difference(app, step->rate_c_per_h), 0);
            text_put(" an hour to ");
        } else {
            text_put(": as fast as it can to ");
        }
        put_temperature(app, step->target_c);
        text_put(", soak ");
        text_unsigned(step->soak_min, 1);
        text_line(" min");
    }
}

static void run_step(struct app *app, char *rest)
{
    uint32_t which, step;
    float rate, target, soak;
    if (!index_in(&rest, PROGRAMMES, &which) || !index_in(&rest, KC4_STEPS, &step)
        || !number_in(&rest, 0.0f, 9999.0f, &rate) || !number_in(&rest, -100.0f, 9999.0f, &target)
        || !number_in(&rest, 0.0f, 5999.0f, &soak)) {
        text_line("say: step PROGRAMME STEP RATE TARGET SOAK-MINUTES");
        return;
    }
    if (!may_edit(app))
        return;
    struct config before = app->config;
    struct programme *programme = &app->config.programmes[which];
    if (step > programme->step_count) {
        text_line("no: the step before it is empty");
        return;
    }
    programme->steps[step] = (struct step){meant_difference(app, rate), meant(app, target), (uint16_t)soak};
    if (step == programme->step_count)
        programme->step_count++;
    finish(app, &before);
}

static void run_steps(struct app *app, char *rest)
{
    uint32_t which;
    float count;
    if (!index_in(&rest, PROGRAMMES, &which) || !number_in(&rest, 0.0f, KC4_STEPS, &count)) {
        text_line("say: steps PROGRAMME COUNT, to shorten it");
        return;
    }
    if (!may_edit(app))
        return;
    struct config before = app->config;
    struct programme *programme = &app->config.programmes[which];
    if (count < (float)programme->step_count)
        programme->step_count = (uint8_t)count;
    finish(app, &before);
}

static void run_name(struct app *app, char *rest)
{
    uint32_t which;
    if (!index_in(&rest, PROGRAMMES, &which) || *rest == '\0') {
        text_line("say: name PROGRAMME TEXT");
        return;
    }
    if (!may_edit(app))
        return;
    struct config before = app->config;
    struct programme *programme = &app->config.programmes[which];
    memset(programme->name, 0, sizeof programme->name);
    for (size_t i = 0; i < sizeof programme->name && rest[i] != '\0'; i++)
        programme->name[i] = rest[i];
    finish(app, &before);
}

static void run_cone(struct app *app, char *rest)
{
    const struct cone *cone = cone_named(text_word(&rest));
    if (!cone) {
        text_put("cones:");
        for (size_t i = 0; i < cone_count(); i++) {
            text_put(" ");
            text_put(cone_at(i)->name);
        }
        text_line("");
        return;
    }
    if (*rest == '\0') {
        text_put("ends near ");
        put_temperature(app, cone_end_c(cone, 60.0f));
        text_line("");
        return;
    }
    uint32_t which;
    if (!index_in(&rest, PROGRAMMES, &which)) {
        text_line("say: cone NAME, or cone NAME PROGRAMME to make a programme of it");
        return;
    }
    if (!may_edit(app))
        return;
    struct config before = app->config;
    cone_programme(cone, &app->config.programmes[which]);
    finish(app, &before);
}

static void run_calibrate(struct app *app, char *rest)
{
    uint32_t channel;
    float offset, gain, date = 0.0f;
    if (!index_in(&rest, CHANNELS, &channel) || !number_in(&rest, -100.0f, 100.0f, &offset)
        || !number_in(&rest, 0.9f, 1.1f, &gain)) {
        text_line("say: calibrate CHANNEL OFFSET GAIN, and the day as YYMMDD if you like");
        return;
    }
    if (*rest != '\0' && !number_in(&rest, 200101.0f, 991231.0f, &date)) {
        text_line("the day is YYMMDD, from 2020 on");
        return;
    }
    if (!may_edit(app))
        return;
    struct config before = app->config;
    app->config.calibration[channel] = (struct calibration){meant_difference(app, offset), gain};
    app->config.calibrated_on = date > 0.0f ? 20000000u + (uint32_t)date : 0;
    finish(app, &before);
}

static void run_set(struct app *app, char *rest)
{
    const char *what = text_word(&rest);
    if (!may_edit(app))
        return;
    struct config before = app->config;
    struct config *config = &app->config;
    float number = 0.0f;
    const char *word = text_word(&rest);
    bool is_number = text_number(word, &number);
    if (text_same(what, "unit") && (text_same(word, "c") || text_same(word, "f")))
        config->fahrenheit = word[0] == 'f';
    else if (!is_number)
        what = "";
    else if (text_same(what, "limit"))
        config->limit_c = meant(app, number);
    else if (text_same(what, "band"))
        config->tuning.band_c = meant_difference(app, number);
    else if (text_same(what, "integral"))
        config->tuning.integral_s = number;
    else if (text_same(what, "derivative"))
        config->tuning.derivative_s = number;
    else if (text_same(what, "cycle"))
        config->cycle_s = number;
    else if (text_same(what, "sound"))
        config->sound = number != 0.0f;
    else if (text_same(what, "chosen") && number >= 1.0f && number <= (float)PROGRAMMES)
        config->chosen = (uint8_t)(number - 1.0f);
    else if (KC4_HAS_HOLD_BACK && text_same(what, "holdback"))
        config->hold_back_c = meant_difference(app, number);
    else if (KC4_HAS_WATCH_MARGIN && text_same(what, "margin"))
        config->watch_margin_c = meant_difference(app, number);
    else
        what = "";
    if (*what == '\0') {
        text_line("say: set NAME VALUE; 'settings' lists the names");
        return;
    }
    finish(app, &before);
}

static void run_start(struct app *app, char *rest)
{
    uint32_t which = app->config.chosen;
    if (*rest != '\0' && !index_in(&rest, PROGRAMMES, &which)) {
        text_line("say: start, or start 1 to 6");
        return;
    }
    if (!app->proven || !firing_start(&app->firing, &app->config, &app->config.programmes[which], &app->reading)) {
        text_line("no: it is firing, in fault, without a thermocouple, or the programme is empty; see 'status'");
        return;
    }
    window_start(&app->window, app->config.cycle_s);
    text_put("firing ");
    text_put_part(app->firing.programme.name, sizeof app->firing.programme.name);
    text_line("");
}

static void run_stop(struct app *app, char *rest)
{
    (void)rest;
    firing_stop(&app->firing);
    board_heater(false);
    board_contactor(false);
    text_line("stopped");
}

static void run_clear(struct app *app, char *rest)
{
    (void)rest;
    if (!app->proven) {
        text_line("no: the settings are still at fault");
        return;
    }
    if (app->firing.state == STATE_FAULT)
        firing_clear(&app->firing);
    text_line(firing_state_text(app->firing.state));
}

static void run_factory(struct app *app, char *rest)
{
    if (app->firing.state == STATE_FIRING || app->firing.state == STATE_HOLD) {
        text_line("no: stop the firing first");
        return;
    }
    if (app->found == SETTINGS_FOREIGN && !text_same(text_word(&rest), "erase")) {
        text_line("no: there are settings of another version, with this unit's calibration. Install that version, or say"
                  " 'factory erase' and calibrate again.");
        return;
    }
    text_line(app_factory(app) ? "factory settings saved" : "not saved: the settings memory does not take it");
}

static void run_help(struct app *app, char *rest);

static const struct {
    const char *name;
    void (*run)(struct app *app, char *rest);
    const char *help;
} commands[] = {
    {"help", run_help, "this list"},
    {"version", run_version, "what this is"},
    {"status", run_status, "temperatures, power and state"},
    {"settings", run_settings, "all settings but the programmes"},
    {"set", run_set, "NAME VALUE: change one of them"},
    {"calibrate", run_calibrate, "CHANNEL OFFSET GAIN [YYMMDD]"},
    {"programme", run_programme, "N: show a programme"},
    {"step", run_step, "N STEP RATE TARGET SOAK: change or add a step"},
    {"steps", run_steps, "N COUNT: shorten a programme"},
    {"name", run_name, "N TEXT: name a programme"},
    {"cone", run_cone, "NAME [N]: where a cone ends; make programme N of it"},
    {"start", run_start, "[N]: fire a programme"},
    {"stop", run_stop, "end the firing now"},
    {"clear", run_clear, "a fault has been seen to"},
    {"factory", run_factory, "new settings; a proven calibration is kept"},
};

static void run_help(struct app *app, char *rest)
{
    (void)app;
    (void)rest;
    for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
        text_put(commands[i].name);
        text_put("  ");
        text_line(commands[i].help);
    }
}

void command_run(struct app *app, char *line)
{
    char *rest = line;
    const char *name = text_word(&rest);
    for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
        if (text_same(name, commands[i].name)) {
            commands[i].run(app, rest);
            return;
        }
    }
    text_line("no such command; 'help' lists them");
}
