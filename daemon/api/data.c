/* data.c: parameters and sweeps as rows, raw traces as bytes. */
#include "api/route.h"
#include "formats/csv.h"
#include "recipe/judged.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static enum code parameters(struct request *q, struct recipe **ret_recipe, struct parameter_row **ret, size_t *ret_n, struct tp_error *err)
{
        int64_t evaluation = 0;
        enum code code = query_int(q, "evaluation", 0, 1000, 0, &evaluation, err);
        struct view *view = code ? NULL : ask_run(q, err);
        if (!code)
                code = view ? view_parameters(view, query_text(q, "device"), query_text(q, "quantity"), evaluation, q->arena, ret, ret_n,
                                              err)
                            : err->code;
        if (!code)
                code = ask_limits(q, view, ret_recipe, err);
        view_close(view);
        return code;
}

enum code ask_limits(struct request *q, struct view *view, struct recipe **ret, struct tp_error *err)
{
        enum code code = ask_recipe(q, view, ret, err);
        if (code != CODE_BAD_INPUT)
                return code;
        *ret = NULL;
        return CODE_OK;
}

static struct judgement judgement_of(const struct recipe *recipe, const struct parameter_row *p)
{
        const struct parameter_plan *plan = recipe ? recipe_parameter(recipe, p->device, p->quantity) : NULL;
        return parameter_judgement(plan, p->has_value ? p->value : NAN, p->u95);
}

void parameters_say(struct json_out *o, const struct recipe *recipe, const struct parameter_row *rows, size_t n)
{
        json_open(o, "parameters", '[');
        for (size_t i = 0; i < n; i++) {
                const struct parameter_row *p = &rows[i];
                const struct judgement j = judgement_of(recipe, p);
                json_open(o, NULL, '{');
                json_die(o, "die", true, p->die_x, p->die_y);
                json_text(o, "device", p->device);
                json_text(o, "quantity", p->quantity);
                json_text(o, "unit", p->unit);
                json_real(o, "freq_hz", p->freq_hz);
                json_real(o, "value", p->has_value ? p->value : NAN);
                json_real(o, "u95", p->has_value ? p->u95 : NAN);
                json_text(o, "verdict", p->verdict);
                json_real(o, "conformance", j.conformance);
                json_real(o, "guard_band", j.guard_band);
                json_word(o, "reason", p->reason);
                json_word(o, "trust", p->trust);
                json_word(o, "trust_reason", p->trust_reason);
                json_word(o, "contact", p->contact);
                json_text(o, "plane", p->plane);
                json_int(o, "attempt", p->attempt);
                json_int(o, "condition", p->condition);
                json_int(o, "touchdown", p->touchdown);
                json_int(o, "sweep", p->sweep);
                json_raw(o, "budget", json_or_null(p->budget));
                json_id(o, "evaluation", p->evaluation);
                json_close(o, '}');
        }
        json_close(o, ']');
}

enum code parameters_table(const char *run, const struct recipe *recipe, const struct parameter_row *rows, size_t n, struct text *to,
                           struct tp_error *err)
{
        static const char *const heads[] = {"die_x",   "die_y",     "device", "quantity",   "unit",      "freq_hz",      "value",
                                            "u95",     "verdict",   "trust",  "contact",    "reason",    "trust_reason", "plane",
                                            "attempt", "touchdown", "sweep",  "evaluation", "condition", "conformance",  "guard_band"};
        struct csv_out o = csv_to(to);
        for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
                csv_text(&o, heads[i]);
        csv_end_row(&o);
        for (size_t i = 0; i < n; i++) {
                const struct parameter_row *p = &rows[i];
                const struct judgement j = judgement_of(recipe, p);
                csv_int(&o, p->die_x);
                csv_int(&o, p->die_y);
                csv_text(&o, p->device);
                csv_text(&o, p->quantity);
                csv_text(&o, p->unit);
                csv_real(&o, p->freq_hz);
                csv_real(&o, p->has_value ? p->value : NAN);
                csv_real(&o, p->has_value ? p->u95 : NAN);
                csv_text(&o, p->verdict);
                csv_text(&o, p->trust);
                csv_text(&o, p->contact);
                csv_text(&o, p->reason);
                csv_text(&o, p->trust_reason);
                csv_text(&o, p->plane);
                csv_int(&o, p->attempt);
                csv_int(&o, p->touchdown);
                csv_int(&o, p->sweep);
                csv_int(&o, p->evaluation);
                csv_int(&o, p->condition);
                csv_real(&o, j.conformance);
                csv_real(&o, j.guard_band);
                csv_end_row(&o);
        }
        if (!csv_ok(&o) && text_ok(to))
                return tp_fail(
                        err, CODE_DAMAGED,
                        "run %.26s: a cell of its parameters would start a formula, so it is not written as CSV; take /parameters.json",
                        run);
        return CODE_OK;
}

enum code parameters_json(struct request *q, struct reply *r, struct tp_error *err)
{
        struct recipe *recipe = NULL;
        struct parameter_row *rows = NULL;
        size_t n = 0;
        enum code code = parameters(q, &recipe, &rows, &n, err);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        parameters_say(&o, recipe, rows, n);
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}

enum code parameters_csv(struct request *q, struct reply *r, struct tp_error *err)
{
        struct recipe *recipe = NULL;
        struct parameter_row *rows = NULL;
        size_t n = 0;
        enum code code = parameters(q, &recipe, &rows, &n, err);
        if (!code)
                code = parameters_table(q->param[0], recipe, rows, n, &r->body, err);
        if (code)
                return code;
        snprintf(r->save_as, sizeof r->save_as, "%.26s.csv", q->param[0]);
        reply_text(r, "text/csv; charset=utf-8; header=present");
        return CODE_OK;
}

static void offer_say(struct json_out *o, const struct offer_row *offer)
{
        json_open(o, "offer", '{');
        json_text(o, "id", offer->id);
        json_text(o, "offered", offer->made);
        json_int(o, "entry", (int64_t)offer->entry);
        json_int(o, "suspects", offer->suspects);
        json_int(o, "devices", offer->devices);
        json_int(o, "values", offer->values);
        json_raw(o, "spec", json_or_null(offer->spec_json));
        json_text(o, "build", offer->build);
        json_close(o, '}');
}

enum code evaluations_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct evaluation_row *rows = NULL;
        size_t n = 0;
        struct view *view = ask_run(q, err);
        struct offer_row offer;
        bool has_offer = false;
        enum code code = view ? view_evaluations(view, q->arena, &rows, &n, err) : err->code;
        if (!code)
                code = view_offer(view, q->arena, &offer, &has_offer, err);
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        if (has_offer)
                offer_say(&o, &offer);
        else
                json_null(&o, "offer");
        json_open(&o, "evaluations", '[');
        for (size_t i = 0; i < n; i++) {
                json_open(&o, NULL, '{');
                json_int(&o, "n", rows[i].n);
                json_text(&o, "id", rows[i].id);
                json_text(&o, "made", rows[i].made);
                json_raw(&o, "spec", json_or_null(rows[i].spec_json));
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}

/* ---- sweeps ------------------------------------------------------------------------------------------------------------------------- */

static void sweep_write(struct json_out *o, const struct sweep_row *s, const double *hz, size_t n)
{
        bool wafer = s->device[0] != 0;
        json_open(o, NULL, '{');
        json_int(o, "n", s->id);
        json_id(o, "touchdown", s->touchdown);
        json_text(o, "use", s->use);
        json_int(o, "condition", s->condition);
        json_die(o, "die", wafer, s->die_x, s->die_y);
        json_word(o, "device", s->device);
        json_word(o, "kind", s->kind);
        json_word(o, "contact", s->outcome);
        json_word(o, "trust", s->trust);
        json_real(o, "x_um", s->x_um);
        json_real(o, "y_um", s->y_um);
        json_int(o, "flags", s->flags);
        if (n) {
                json_int(o, "points", (int64_t)n);
                json_real(o, "freq_hz_min", hz[0]);
                json_real(o, "freq_hz_max", hz[n - 1]);
        }
        json_raw(o, "bias", json_or_null(s->bias_json));
        json_raw(o, "temps", json_or_null(s->temps_json));
        json_close(o, '}');
}

enum code sweeps_get(struct request *q, struct reply *r, struct tp_error *err)
{
        static const char *const uses[] = {"device", "standard", "check", "witness", NULL};
        struct sweep_row *rows = NULL;
        size_t n = 0;
        int use = -1;
        const char *device = query_text(q, "device");
        enum code code = query_word(q, "use", uses, &use, err);
        struct view *view = code ? NULL : ask_run(q, err);
        if (!code)
                code = view ? view_sweeps(view, use < 0 ? NULL : uses[use], q->arena, &rows, &n, err) : err->code;
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_open(&o, "sweeps", '[');
        for (size_t i = 0; i < n; i++)
                if (!device || strcmp(device, rows[i].device) == 0)
                        sweep_write(&o, &rows[i], NULL, 0);
        json_close(&o, ']');
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}

enum code sweep_number(const struct request *q, int64_t *ret, struct tp_error *err); /* network.c */

enum code sweep_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct sweep_row row;
        double *hz = NULL;
        size_t n = 0;
        int64_t id = 0;
        enum code code = sweep_number(q, &id, err);
        struct view *view = code ? NULL : ask_run(q, err);
        if (!code)
                code = view ? view_sweep(view, id, q->arena, &row, err) : err->code;
        if (!code)
                code = view_axis(view, row.axis, q->arena, &hz, &n, err);
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        sweep_write(&o, &row, hz, n);
        reply_json(r, 200);
        return CODE_OK;
}

enum code trace_get(struct request *q, struct reply *r, struct tp_error *err)
{
        const void *bytes = NULL;
        size_t n = 0;
        int64_t id = 0;
        enum code code = sweep_number(q, &id, err);
        struct view *view = code ? NULL : ask_run(q, err);
        if (!code)
                code = view ? view_trace(view, id, q->param[2], q->arena, r->dtype, &bytes, &n, err) : err->code;
        view_close(view);
        if (code == CODE_NOT_FOUND && view)
                tp_fail(err, CODE_NOT_FOUND,
                        "sweep %.20s of run %.26s has no trace '%.20s'; there are S11, S12, S21, S22 and, where the analyzer gives switch "
                        "terms, GF and GR",
                        q->param[1], q->param[0], q->param[2]);
        if (code)
                return code;
        text_bytes(&r->body, bytes, n);
        reply_text(r, "application/octet-stream");
        return CODE_OK;
}
