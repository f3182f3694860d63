/* offer.c: a rescue that the mandate did not grant, on a person's asking: the suspects of a sealed run evaluated between two calibrations.
   What the run offered before it ended is stored in its file, and that is what is taken.  Where it stored none (nothing could be offered, or
   an older build began it) the answer is made of the file, the same by the same build; the file is never written again. */
#include "api/route.h"
#include "run/plan_stored.h"
#include "run/rescue_run.h"
#include <stdio.h>
#include <string.h>

#define ASK_NS (INT64_C(60) * NS_PER_S) /* a sealed file is pinned by nobody, and a wafer takes seconds */

static void row_fill(const struct recipe *recipe, const struct plan *plan, const struct rescued_sweep *s, const struct parameter_answer *a,
                     struct parameter_row *to)
{
        const struct target *t = &plan->targets[s->target];
        *to = (struct parameter_row){.sweep = s->sweep,
                                     .touchdown = s->touchdown,
                                     .die_x = plan->dies[t->die].x,
                                     .die_y = plan->dies[t->die].y,
                                     .freq_hz = a->plan->freq_hz,
                                     .value = a->value,
                                     .u95 = a->u95,
                                     .has_value = a->has_value,
                                     .reason = a->reason,
                                     .trust_reason = s->reason,
                                     .budget = a->budget,
                                     .attempt = s->attempt,
                                     .condition = s->condition};
        snprintf(to->device, sizeof to->device, "%s", recipe->measures[t->item].device);
        snprintf(to->quantity, sizeof to->quantity, "%s", a->plan->name);
        snprintf(to->unit, sizeof to->unit, "%s", quantity_units[a->plan->quantity]);
        snprintf(to->plane, sizeof to->plane, "%s", a->plane);
        snprintf(to->verdict, sizeof to->verdict, "%s", a->verdict);
        snprintf(to->trust, sizeof to->trust, "%s", trust_words[TRUST_RESCUED]);
        snprintf(to->contact, sizeof to->contact, "good"); /* or it would not be rescued */
}

/* The answer: the run's own offer, or what its file gives now. */
struct taken {
        struct offer_row offer; /* id "": made of the file */
        struct recipe *recipe;
        struct parameter_row *rows;
        size_t n;
};

static enum code compute(struct request *q, struct view *view, struct taken *to, struct tp_error *err)
{
        struct plan *plan = NULL;
        struct rescued rescued;
        size_t at = 0;
        enum code code = plan_stored(view, q->param[0], q->arena, &to->recipe, &plan, err);
        if (!code)
                code = rescue_run(view, to->recipe, plan, q->arena, &rescued, err);
        to->rows = code ? NULL : arena_take(q->arena, (rescued.value_n + 1) * sizeof *to->rows);
        if (!code && !to->rows)
                code = tp_fail_memory(err);
        if (code)
                return code;
        to->n = rescued.value_n;
        to->offer.suspects = (int64_t)rescued.asked_n;
        to->offer.devices = (int64_t)rescued.device_n;
        to->offer.spec_json = rescued.spec_json;
        for (size_t i = 0; i < rescued.sweep_n; i++)
                for (size_t k = 0; rescued.sweeps[i].rows && k < rescued.sweeps[i].n; k++)
                        row_fill(to->recipe, plan, &rescued.sweeps[i], &rescued.sweeps[i].rows[k], &to->rows[at++]);
        return CODE_OK;
}

static enum code take(struct request *q, struct taken *to, struct tp_error *err)
{
        bool has = false;
        *to = (struct taken){.n = 0};
        struct view *view = view_open(q->api->store, q->param[0], world_boot_ns(q->api->world) + ASK_NS, err);
        if (!view && err->code == CODE_NOT_FOUND)
                tp_fail(err, CODE_NOT_FOUND, "there is no run %.40s; GET /api/v1/runs lists what there is", q->param[0]);
        struct run_row row;
        enum code code = view ? view_run(view, q->param[0], q->arena, &row, err) : err->code;
        if (!code && strcmp(row.state, "sealed") != 0)
                code = tp_fail(err, CODE_STATE,
                               "run %.26s is in hand; ask again when it has ended, or grant mandate.rescue_suspects in the recipe",
                               q->param[0]);
        if (!code)
                code = view_offer(view, q->arena, &to->offer, &has, err);
        if (!code)
                code = has ? view_offer_parameters(view, q->arena, &to->rows, &to->n, err) : compute(q, view, to, err);
        if (!code && has)
                code = ask_limits(q, view, &to->recipe, err);
        view_close(view);
        return code;
}

enum code rescue_json(struct request *q, struct reply *r, struct tp_error *err)
{
        struct taken taken;
        enum code code = take(q, &taken, err);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_int(&o, "suspects", taken.offer.suspects);
        json_int(&o, "rescued", taken.offer.devices);
        if (taken.offer.id[0])
                json_text(&o, "offered", taken.offer.made);
        else
                json_null(&o, "offered");
        json_raw(&o, "spec", taken.offer.spec_json);
        parameters_say(&o, taken.recipe, taken.rows, taken.n);
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}

enum code rescue_csv(struct request *q, struct reply *r, struct tp_error *err)
{
        struct taken taken;
        enum code code = take(q, &taken, err);
        if (!code)
                code = parameters_table(q->param[0], taken.recipe, taken.rows, taken.n, &r->body, err);
        if (code)
                return code;
        snprintf(r->save_as, sizeof r->save_as, "%.26s.rescued.csv", q->param[0]);
        reply_text(r, "text/csv; charset=utf-8; header=present");
        return CODE_OK;
}
