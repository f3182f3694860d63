/* yield.c: how many of a run are good, and how its values lie to their limits.  What is counted and how is wafer/'s (results.c, yield.c); here
   stands what it is counted from: the map and devices as this interface answers them, and the rows of the run file. */
#include "wafer/yield.h"
#include "api/route.h"
#include "base/json.h"
#include "recipe/recipe.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct source {
        struct run_row run;
        char etag[96];
        struct text map, devices; /* JSON */
        struct parameter_row *rows;
        size_t row_n;
};

/* The map of the run in hand, else the stored one. */
static void map_take(const struct request *q, struct source *s)
{
        struct snapshot *live = snapshot_get(q->api->slot);
        bool in_hand = live && live->in_hand && strcmp(live->run, s->run.id) == 0;
        if (in_hand)
                snprintf(s->etag, sizeof s->etag, "yield-%u.%llu", live->epoch, (unsigned long long)live->version);
        else
                snprintf(s->etag, sizeof s->etag, "yield-%s-%.12s", s->run.state, s->run.sha256);
        text_put(&s->map, in_hand ? live->map_json : s->run.map_json ? s->run.map_json : "{}");
        snapshot_put(live);
}

static enum code devices_take(const struct request *q, struct view *view, struct source *s, struct tp_error *err)
{
        struct recipe *recipe = NULL;
        enum code code = ask_recipe(q, view, &recipe, err);
        if (code)
                return code;
        struct json_out o = json_to(&s->devices);
        json_open(&o, NULL, '{');
        devices_say(&o, recipe);
        json_close(&o, '}');
        return CODE_OK;
}

static enum code row_add(struct results *to, const struct parameter_row *p, struct tp_error *err)
{
        cJSON *budget = NULL;
        if (p->budget && p->budget[0] && json_read(p->budget, strlen(p->budget), JSON_DEPTH_MAX, &budget, err))
                return tp_where(err, "the budget of %s %s on die %d,%d", p->device, p->quantity, p->die_x, p->die_y);
        const struct result_row row = {.x = p->die_x,
                                       .y = p->die_y,
                                       .condition = p->condition,
                                       .attempt = p->attempt,
                                       .device = p->device,
                                       .quantity = p->quantity,
                                       .verdict = p->verdict,
                                       .trust = p->trust,
                                       .value = p->has_value ? p->value : NAN,
                                       .u95 = p->has_value ? p->u95 : NAN,
                                       .budget = budget};
        enum code code = results_add(to, &row, err);
        cJSON_Delete(budget); /* what counts of it has been taken */
        return code;
}

static enum code count(const struct source *s, struct arena *arena, struct text *to, struct tp_error *err)
{
        cJSON *map = NULL, *devices = NULL;
        struct results r;
        enum code code = text_ok(&s->map) && text_ok(&s->devices) ? CODE_OK : tp_fail_memory(err);
        if (!code)
                code = json_read(text_of(&s->map), s->map.n, JSON_DEPTH_MAX, &map, err);
        if (!code)
                code = json_read(text_of(&s->devices), s->devices.n, JSON_DEPTH_MAX, &devices, err);
        if (!code)
                code = results_open(map, devices, arena, &r, err);
        for (size_t i = 0; !code && i < s->row_n && r.die_n > 0; i++) /* no map yet: nothing is counted */
                code = row_add(&r, &s->rows[i], err);
        if (!code) {
                results_close(&r, map);
                code = yield_json(&r, s->run.id, s->run.wafer, arena, to, err);
        }
        cJSON_Delete(map);
        cJSON_Delete(devices);
        return code;
}

enum code yield_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct source s = {.row_n = 0};
        text_init(&s.map, 0);
        text_init(&s.devices, 0);
        struct view *view = ask_run(q, err);
        enum code code = view ? view_run(view, q->param[0], q->arena, &s.run, err) : err->code;
        if (!code)
                map_take(q, &s);
        bool same = !code && reply_unchanged(q, r, s.etag);
        if (!code && !same)
                code = devices_take(q, view, &s, err);
        if (!code && !same)
                code = view_parameters(view, NULL, NULL, 0, q->arena, &s.rows, &s.row_n, err);
        view_close(view);
        if (!code && !same)
                code = count(&s, q->arena, &r->body, err);
        if (!code && !same)
                reply_json(r, 200);
        text_done(&s.map);
        text_done(&s.devices);
        return code;
}
