/* truth_read.c: the truth file and its event log into memory. */
#include "simulators/judge/judge.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static enum code slurp(const char *path, struct text *ret, struct tp_error *err)
{
        char part[65536];
        size_t n;
        FILE *f = fopen(path, "rb");
        if (!f)
                return tp_fail(err, CODE_NOT_FOUND, "%s cannot be opened; give the truth file that the simulated station wrote", path);
        while ((n = fread(part, 1, sizeof part, f)) > 0)
                text_bytes(ret, part, n);
        fclose(f);
        return text_ok(ret) ? CODE_OK : tp_fail(err, CODE_MEMORY, "%s is too large", path);
}

static void text_member(const cJSON *o, const char *key, char *ret, size_t size)
{
        const char *s = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(o, key));
        snprintf(ret, size, "%s", s ? s : "");
}
static double real_member(const cJSON *o, const char *key)
{
        const cJSON *v = cJSON_GetObjectItemCaseSensitive(o, key);
        return cJSON_IsNumber(v) ? v->valuedouble : 0;
}

static enum code devices_read(const cJSON *list, struct arena *arena, struct truth *t, struct tp_error *err)
{
        const cJSON *item;
        size_t n = (size_t)cJSON_GetArraySize(list);
        t->devices = arena_take(arena, (n + 1) * sizeof *t->devices);
        if (!t->devices)
                return tp_fail_memory(err);
        cJSON_ArrayForEach(item, list)
        {
                enum code code = fields_read(&sim_device_object, item, NULL, &t->devices[t->device_n++], err);
                if (code)
                        return tp_where(err, "device %zu of the truth", t->device_n);
        }
        return n ? CODE_OK : tp_fail(err, CODE_BAD_INPUT, "it holds no devices; is it a truth file?");
}

static enum code faults_read(const cJSON *list, struct arena *arena, struct truth *t, struct tp_error *err)
{
        const cJSON *item;
        t->faults = arena_take(arena, ((size_t)cJSON_GetArraySize(list) + 1) * sizeof *t->faults);
        if (!t->faults)
                return tp_fail_memory(err);
        cJSON_ArrayForEach(item, list)
        {
                struct true_fault *f = &t->faults[t->fault_n++];
                text_member(item, "what", f->what, sizeof f->what);
                text_member(item, "device", f->device, sizeof f->device);
                text_member(item, "standard", f->standard, sizeof f->standard);
                f->die_x = (int32_t)real_member(item, "die_x");
                f->die_y = (int32_t)real_member(item, "die_y");
                f->first = (int32_t)real_member(item, "first");
                f->attempts = (int32_t)real_member(item, "attempts");
        }
        return CODE_OK;
}

static enum code conditions_read(const cJSON *list, struct arena *arena, struct truth *t, struct tp_error *err)
{
        const cJSON *item;
        t->conditions = arena_take(arena, ((size_t)cJSON_GetArraySize(list) + 1) * sizeof *t->conditions);
        if (!t->conditions)
                return tp_fail_memory(err);
        cJSON_ArrayForEach(item, list)
        {
                struct true_condition *c = &t->conditions[t->condition_n++];
                text_member(item, "device", c->device, sizeof c->device);
                c->condition = (int32_t)real_member(item, "condition");
                c->at = (struct true_at){.bias = {.volt = {real_member(item, "volt_1"), real_member(item, "volt_2")},
                                                  .ampere = {real_member(item, "ampere_1"), real_member(item, "ampere_2")},
                                                  .held = {cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(item, "held_1")),
                                                           cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(item, "held_2"))}},
                                         .inside = cJSON_IsTrue(cJSON_GetObjectItemCaseSensitive(item, "inside"))};
        }
        return CODE_OK;
}

/* One JSON object a line; a line cut short by a death is skipped. */
static enum code events_read(const char *path, struct arena *arena, struct truth *t, struct tp_error *err)
{
        struct text all;
        size_t lines = 1;
        char name[512];
        text_init(&all, 0);
        snprintf(name, sizeof name, "%s.events", path);
        enum code code = slurp(name, &all, err);
        for (size_t i = 0; !code && i < all.n; i++)
                lines += all.at[i] == '\n';
        t->events = code ? NULL : arena_take(arena, lines * sizeof *t->events);
        if (!code && !t->events)
                code = tp_fail_memory(err);
        const char *at = text_of(&all);
        while (!code && *at) {
                const char *end = strchr(at, '\n');
                size_t n = end ? (size_t)(end - at) : strlen(at);
                cJSON *json = NULL;
                if (n && !json_read(at, n, 4, &json, NULL)) {
                        struct true_event *e = &t->events[t->event_n++];
                        text_member(json, "what", e->what, sizeof e->what);
                        text_member(json, "detail", e->detail, sizeof e->detail);
                        e->at_s = real_member(json, "at_s");
                        e->touches = (int64_t)real_member(json, "touches");
                        e->target = (int32_t)real_member(json, "target");
                        cJSON_Delete(json);
                }
                at += n + (end != NULL);
        }
        text_done(&all);
        return code;
}

enum code truth_read(const char *path, struct arena *arena, struct truth *ret, struct tp_error *err)
{
        struct truth t = {0};
        struct text all;
        cJSON *json = NULL;
        text_init(&all, 0);
        enum code code = slurp(path, &all, err);
        if (!code)
                code = json_read(text_of(&all), all.n, JSON_DEPTH_MAX, &json, err);
        if (!code)
                code = devices_read(cJSON_GetObjectItemCaseSensitive(json, "devices"), arena, &t, err);
        if (!code)
                code = faults_read(cJSON_GetObjectItemCaseSensitive(json, "faults"), arena, &t, err);
        if (!code)
                code = conditions_read(cJSON_GetObjectItemCaseSensitive(json, "conditions"), arena, &t, err);
        cJSON_Delete(json);
        text_done(&all);
        if (!code)
                code = events_read(path, arena, &t, err);
        if (!code)
                *ret = t;
        return code ? tp_where(err, "truth %s", path) : CODE_OK;
}

const struct sim_device *truth_device(const struct truth *t, int die_x, int die_y, const char *name)
{
        for (size_t i = 0; i < t->device_n; i++)
                if (t->devices[i].die_x == die_x && t->devices[i].die_y == die_y && strcmp(t->devices[i].name, name) == 0)
                        return &t->devices[i];
        return NULL;
}

struct true_at truth_at(const struct truth *t, const char *device, int condition)
{
        for (size_t i = 0; i < t->condition_n; i++)
                if (t->conditions[i].condition == condition && strcmp(t->conditions[i].device, device) == 0)
                        return t->conditions[i].at;
        return (struct true_at){.inside = false};
}
