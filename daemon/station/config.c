/* config.c: see config.h. */
#include "station/config.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define REAL(name, member, u, absent, lo, hi, text)                                                                                        \
        {                                                                                                                                  \
                .key = name, .type = FIELD_REAL, .offset = offsetof(struct limits_file, member), .standard = absent, .min = lo, .max = hi, \
                .unit = u, .say = text                                                                                                     \
        }
static const struct field limits_fields[] = {
        REAL("volt_max", volt_max, "V", 30, 0, 3000, "the highest bias this station ever sets"),
        REAL("overtravel_um_max", overtravel_um_max, "um", 60, 1, 500, "the deepest overtravel this station ever goes to"),
        REAL("separation_um_min", separation_um_min, "um", 200, 20, 20000, "below this height the probes count as in contact"),
        REAL("temperature_c_max", temperature_c_max, "degC", 125, -70, 400, "above this the chuck lowers nothing and biases nothing"),
        REAL("bias_unknown_wait_s", bias_unknown_wait_s, "s", 30, 0, 3600, "how long the ladder waits for a bias that cannot be read"),
        {.key = "armed",
         .type = FIELD_BOOL,
         .offset = offsetof(struct limits_file, armed),
         .say = "true: bias above 60 V DC may be set on this station"},
        {.key = "separate_when_bias_unknown",
         .type = FIELD_BOOL,
         .offset = offsetof(struct limits_file, separate_when_bias_unknown),
         .has_offset = offsetof(struct limits_file, has_separate),
         .say = "after that wait: true separates anyway, false latches in place; when absent, true unless armed"},
};
static const struct object limits_object = {.name = "limits",
                                            .say = "What this station never does, whoever asks.",
                                            .bytes = sizeof(struct limits_file),
                                            .fields = limits_fields,
                                            .field_n = sizeof limits_fields / sizeof *limits_fields};
static const struct field config_fields[] = {
        {.key = "name",
         .type = FIELD_TEXT,
         .offset = offsetof(struct station_config, name),
         .size = 64,
         .required = true,
         .say = "the station's name, in every run file"},
        {.key = "driver",
         .type = FIELD_NAME,
         .offset = offsetof(struct station_config, driver),
         .size = 32,
         .required = true,
         .say = "what holds the instruments: simulated or replay; its own settings stand in \"config\""},
        {.key = "limits", .type = FIELD_OBJECT, .offset = offsetof(struct station_config, limits), .object = &limits_object},
        {.key = "log",
         .type = FIELD_TEXT,
         .offset = offsetof(struct station_config, log),
         .size = 256,
         .standard_text = "",
         .say = "path of the station's own log; --log goes before it"},
};
static const struct object config_object = {.name = "station",
                                            .say = "A station: its driver, its limits, its log.",
                                            .bytes = sizeof(struct station_config),
                                            .fields = config_fields,
                                            .field_n = sizeof config_fields / sizeof *config_fields};

/* The driver reads its own settings: taken out here and handed on as text. */
static enum code take_driver_json(cJSON *json, struct station_config *c, struct tp_error *err)
{
        cJSON *own = cJSON_DetachItemFromObjectCaseSensitive(json, "config");
        if (own && !cJSON_IsObject(own)) {
                cJSON_Delete(own);
                return tp_fail_at(err, CODE_BAD_INPUT, "/config", "/config: the driver's settings must be an object in { }");
        }
        c->driver_json = own ? cJSON_PrintUnformatted(own) : strdup("{}");
        cJSON_Delete(own);
        if (!c->driver_json)
                return tp_fail_memory(err);
        c->driver_json_n = strlen(c->driver_json);
        return CODE_OK;
}

/* A table that is left out takes the standard values of its fields. */
static enum code give_limits(cJSON *json, struct tp_error *err)
{
        if (!cJSON_IsObject(json) || cJSON_HasObjectItem(json, "limits"))
                return CODE_OK;
        return cJSON_AddObjectToObject(json, "limits") ? CODE_OK : tp_fail_memory(err);
}

static void folder_of(const char *path, char *ret, size_t size)
{
        const char *slash = strrchr(path, '/');
        snprintf(ret, size, "%.*s", slash ? (int)(slash - path) : 1, slash ? (slash == path ? "/" : path) : ".");
        if (slash == path)
                snprintf(ret, size, "/");
}

enum code station_config_read(const char *text, size_t n, const char *path, const char *base_dir, struct station_config *ret,
                              struct tp_error *err)
{
        cJSON *json = NULL;
        char *driver_json = NULL;
        struct station_config c = {0};
        enum code code = json_read(text, n, JSON_DEPTH_MAX, &json, err);
        if (!code)
                code = take_driver_json(json, &c, err);
        driver_json = c.driver_json;
        size_t driver_json_n = c.driver_json_n;
        if (!code)
                code = give_limits(json, err);
        if (!code)
                code = fields_read(&config_object, json, NULL, &c, err);
        cJSON_Delete(json);
        if (code) {
                free(driver_json);
                return tp_where(err, "station file %s", path);
        }
        c.driver_json = driver_json;
        c.driver_json_n = driver_json_n;
        c.daemon_uid = -1;
        if (base_dir)
                snprintf(c.base_dir, sizeof c.base_dir, "%s", base_dir);
        else
                folder_of(path, c.base_dir, sizeof c.base_dir);
        *ret = c;
        return CODE_OK;
}

void station_config_done(struct station_config *c)
{
        free(c->driver_json);
        c->driver_json = NULL;
}

struct limits station_limits(const struct station_config *c, unsigned channels)
{
        return (struct limits){.volt_max = c->limits.volt_max,
                               .volt_max_unarmed = 60,
                               .overtravel_um_max = c->limits.overtravel_um_max,
                               .separation_um_min = c->limits.separation_um_min,
                               .temperature_c_max = c->limits.temperature_c_max,
                               .channels = channels,
                               .armed = c->limits.armed,
                               .bias_unknown_wait_ns = (int64_t)(c->limits.bias_unknown_wait_s * 1e9),
                               .separate_when_bias_unknown =
                                       c->limits.has_separate ? c->limits.separate_when_bias_unknown : !c->limits.armed};
}

void station_config_schema(struct text *to)
{
        struct text plain;
        cJSON *json = NULL;
        text_init(&plain, 0);
        fields_schema(&config_object, &plain);
        char *printed = NULL;
        if (text_ok(&plain) && !json_read(text_of(&plain), plain.n, JSON_DEPTH_MAX, &json, NULL)) {
                cJSON *properties = cJSON_GetObjectItemCaseSensitive(json, "properties");
                cJSON *own = cJSON_AddObjectToObject(properties, "config");
                cJSON_AddStringToObject(own, "type", "object");
                cJSON_AddStringToObject(own, "description", "the driver's own settings");
                printed = cJSON_Print(json);
        }
        for (const char *c = printed; c && *c; c++) /* two spaces a level, as the other schemas; a tab inside a text would be \\t */
                text_put(to, *c != '\t' ? (char[2]){*c, 0} : c[-1] == ':' ? " " : "  ");
        if (printed)
                text_put(to, "\n");
        else
                to->broken = true;
        cJSON_free(printed);
        cJSON_Delete(json);
        text_done(&plain);
}
