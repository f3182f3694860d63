/* story.c: what happened in a run, in order: touchdowns, journal, checks, intervals, calibrations, the ribbon; and which devices it
 * measures. */
#include "api/route.h"
#include "rf/deembed/deembed.h"
#include "rf/trust/decide_limits.h"
#include "recipe/recipe.h"
#include "run/decide.h"
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static void end_list(struct json_out *o, struct reply *r)
{
        json_close(o, ']');
        json_close(o, '}');
        reply_json(r, 200);
}

static double seconds_of(int64_t ns) { return ns > 0 ? (double)ns * 1e-9 : NAN; }
static bool on_wafer(const struct touchdown_row *t) { return t->device[0] != 0; }

enum code touchdowns_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct touchdown_row *rows = NULL;
        size_t n = 0;
        struct view *view = ask_run(q, err);
        enum code code = view ? view_touchdowns(view, q->arena, &rows, &n, err) : err->code;
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_open(&o, "touchdowns", '[');
        for (size_t i = 0; i < n; i++) {
                const struct touchdown_row *t = &rows[i];
                json_open(&o, NULL, '{');
                json_int(&o, "id", t->id);
                json_text(&o, "place", t->place);
                json_die(&o, "die", on_wafer(t), t->die_x, t->die_y);
                json_word(&o, "device", t->device);
                json_int(&o, "attempt", t->attempt);
                json_id(&o, "replaces", t->replaces);
                json_real(&o, "x_um", t->x_um);
                json_real(&o, "y_um", t->y_um);
                json_real(&o, "overtravel_um", t->overtravel_um);
                json_word(&o, "outcome", t->outcome);
                json_word(&o, "trust", t->trust);
                json_word(&o, "trust_reason", t->trust_reason);
                json_real(&o, "station_s", seconds_of(t->station_ns));
                json_raw(&o, "evidence", json_or_null(t->evidence_json));
                json_close(&o, '}');
        }
        end_list(&o, r);
        return CODE_OK;
}

static void time_text(int64_t wall_us, char ret[32])
{
        struct tm tm;
        time_t s = (time_t)(wall_us / 1000000);
        if (!gmtime_r(&s, &tm) || !strftime(ret, 32, "%Y-%m-%dT%H:%M:%SZ", &tm))
                ret[0] = 0;
}

static void entry_write(struct json_out *o, const struct entry *e)
{
        static const char *const phases[] = {"unknown", "intend", "outcome", "note"};
        struct text body;
        char step[24], at[32];
        text_init(&body, 0);
        entry_body_write(e, &body);
        snprintf(step, sizeof step, "%" PRIu64, e->step);
        time_text(e->wall_us, at);
        bool has_rule = e->phase == PHASE_INTEND && e->rule < rule_n;
        json_open(o, NULL, '{');
        json_int(o, "seq", (int64_t)e->seq);
        json_text(o, "step", step);
        json_text(o, "phase", phases[e->phase <= PHASE_NOTE ? e->phase : 0]);
        json_text(o, "kind", e->kind < STEP_KIND_COUNT ? step_words[e->kind] : "unknown");
        json_text(o, "rule", has_rule ? rules[e->rule].name : NULL);
        json_text(o, "reason", has_rule ? rules[e->rule].reason : NULL);
        json_text(o, "result", e->phase == PHASE_OUTCOME && e->code < CODE_COUNT ? code_rows[e->code].word : NULL);
        json_int(o, "boot", e->boot);
        json_text(o, "at", at);
        json_raw(o, "body", json_or_null(text_of(&body)));
        json_close(o, '}');
        text_done(&body);
}

enum code journal_get(struct request *q, struct reply *r, struct tp_error *err)
{
        static const char *const phases[] = {"intend", "outcome", "note", NULL};
        struct entry *rows = NULL;
        size_t n = 0, shown = 0;
        int64_t after = 0, limit = 0;
        int phase = -1;
        enum code code = query_int(q, "after", 0, INT64_C(4294967295), 0, &after, err);
        if (!code)
                code = query_int(q, "limit", 1, 1000, 500, &limit, err);
        if (!code)
                code = query_word(q, "phase", phases, &phase, err);
        struct view *view = code ? NULL : ask_run(q, err);
        if (!code)
                code = view ? view_entries(view, (uint64_t)after, phase < 0 ? (size_t)limit : 0, q->arena, &rows, &n, err) : err->code;
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        uint64_t last = 0;
        json_open(&o, NULL, '{');
        json_open(&o, "entries", '[');
        for (size_t i = 0; i < n && shown < (size_t)limit; i++) {
                if (phase >= 0 && (int)rows[i].phase != phase + 1)
                        continue;
                entry_write(&o, &rows[i]);
                last = rows[i].seq;
                shown++;
        }
        end_list(&o, r);
        if (shown == (size_t)limit)
                snprintf(r->link, sizeof r->link, "</api/v1/runs/%s/journal?after=%" PRIu64 "&limit=%d%s%s>; rel=\"next\"", q->param[0],
                         last, (int)limit, phase < 0 ? "" : "&phase=", phase < 0 ? "" : phases[phase]);
        return CODE_OK;
}

enum code checks_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct check_row *rows = NULL;
        size_t n = 0;
        struct view *view = ask_run(q, err);
        enum code code = view ? view_checks(view, q->arena, &rows, &n, err) : err->code;
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_open(&o, "checks", '[');
        for (size_t i = 0; i < n; i++) {
                json_open(&o, NULL, '{');
                json_int(&o, "id", rows[i].id);
                json_int(&o, "seq", (int64_t)rows[i].ended);
                json_text(&o, "calibration", rows[i].calibration);
                json_bool(&o, "passed", rows[i].passed);
                json_word(&o, "cause", rows[i].cause);
                json_raw(&o, "modes", json_or_null(rows[i].modes_json));
                json_close(&o, '}');
        }
        end_list(&o, r);
        return CODE_OK;
}

enum code intervals_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct interval_row *rows = NULL;
        size_t n = 0;
        struct view *view = ask_run(q, err);
        enum code code = view ? view_intervals(view, q->arena, &rows, &n, err) : err->code;
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_open(&o, "intervals", '[');
        for (size_t i = 0; i < n; i++) {
                json_open(&o, NULL, '{');
                json_int(&o, "id", rows[i].id);
                json_int(&o, "opened", (int64_t)rows[i].opened);
                json_id(&o, "closed", (int64_t)rows[i].closed);
                json_id(&o, "opening", rows[i].opening);
                json_id(&o, "closing", rows[i].closing);
                json_word(&o, "ended_by", rows[i].ended_by);
                json_text(&o, "calibration", rows[i].calibration);
                json_close(&o, '}');
        }
        end_list(&o, r);
        return CODE_OK;
}

static void standards_write(struct json_out *o, const char *calibration, const struct solved_from_row *rows, size_t n)
{
        json_open(o, "standards", '[');
        for (size_t i = 0; i < n; i++) {
                if (strcmp(rows[i].calibration, calibration) != 0)
                        continue;
                json_open(o, NULL, '{');
                json_text(o, "standard", rows[i].standard);
                json_word(o, "copy", rows[i].copy);
                json_id(o, "sweep", rows[i].sweep);
                json_id(o, "touchdown", rows[i].touchdown);
                json_word(o, "swept", rows[i].swept);
                json_close(o, '}');
        }
        json_close(o, ']');
}

enum code calibrations_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct calibration_row *rows = NULL;
        struct solved_from_row *standards = NULL;
        size_t n = 0, standard_n = 0;
        struct view *view = ask_run(q, err);
        enum code code = view ? view_calibrations(view, q->arena, &rows, &n, err) : err->code;
        if (!code)
                code = view_solved_from(view, q->arena, &standards, &standard_n, err);
        view_close(view);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        json_open(&o, "calibrations", '[');
        for (size_t i = 0; i < n; i++) {
                json_open(&o, NULL, '{');
                json_text(&o, "id", rows[i].id);
                json_int(&o, "number", rows[i].number);
                json_text(&o, "method", rows[i].method);
                json_text(&o, "plane", rows[i].plane);
                json_text(&o, "state", rows[i].state);
                json_real(&o, "z_ref_ohm", rows[i].z_ref_ohm > 0 ? rows[i].z_ref_ohm : NAN);
                json_raw(&o, "domain", json_or_null(rows[i].domain_json));
                json_raw(&o, "diagnosis", json_or_null(rows[i].diagnosis_json));
                standards_write(&o, rows[i].id, standards, standard_n);
                json_close(&o, '}');
        }
        end_list(&o, r);
        return CODE_OK;
}

/* ---- the ribbon --------------------------------------------------------------------------------------------------------------------- */

struct ribbon {
        struct touchdown_row *touches;
        struct check_row *checks;
        struct interval_row *intervals;
        size_t touch_n, check_n, interval_n;
        int64_t begin_ns;
        const struct check_limits *limits; /* what a check allows; NULL: the recipe asks for none */
};

/* Worst of what the DC meter read at the start: to ground where it reads ground, else port to port; negative readings were not made. */
static double contact_ohm(const char *evidence)
{
        const char *at = evidence ? strstr(evidence, "\"dc_ohm_start\":[") : NULL;
        double worst = NAN;
        if (!at)
                return NAN;
        at += strlen("\"dc_ohm_start\":[");
        for (int i = 0; i < 3; i++) {
                char *end = NULL;
                double ohm = strtod(at, &end);
                if (end == at)
                        break;
                if (ohm >= 0 && !(worst >= ohm))
                        worst = ohm;
                at = *end == ',' ? end + 1 : end;
        }
        return worst;
}

/* Station time of the last touch up to this entry; entries themselves need not be read for it. */
static double ribbon_s(const struct ribbon *b, uint64_t seq)
{
        double s = NAN;
        for (size_t i = 0; i < b->touch_n && (uint64_t)b->touches[i].id <= seq; i++)
                if (b->touches[i].station_ns > 0)
                        s = (double)(b->touches[i].station_ns - b->begin_ns) * 1e-9;
        return s;
}

static void ribbon_write(struct json_out *o, const struct ribbon *b, const char *run)
{
        json_open(o, NULL, '{');
        json_text(o, "run", run);
        json_open(o, "touches", '[');
        for (size_t i = 0; i < b->touch_n; i++) {
                const struct touchdown_row *t = &b->touches[i];
                json_open(o, NULL, '{');
                json_int(o, "seq", t->id);
                json_real(o, "t_s", t->station_ns > 0 ? (double)(t->station_ns - b->begin_ns) * 1e-9 : NAN);
                json_text(o, "place", t->place);
                json_die(o, "die", on_wafer(t), t->die_x, t->die_y);
                json_word(o, "device", t->device);
                json_int(o, "attempt", t->attempt);
                json_word(o, "outcome", t->outcome);
                json_word(o, "trust", t->trust);
                json_real(o, "contact_ohm", contact_ohm(t->evidence_json));
                json_close(o, '}');
        }
        json_close(o, ']');
        json_open(o, "checks", '[');
        for (size_t i = 0; i < b->check_n; i++) {
                json_open(o, NULL, '{');
                json_int(o, "id", b->checks[i].id);
                json_int(o, "seq", (int64_t)b->checks[i].ended);
                json_real(o, "t_s", ribbon_s(b, b->checks[i].ended));
                json_bool(o, "passed", b->checks[i].passed);
                json_word(o, "cause", b->checks[i].cause);
                json_raw(o, "modes", json_or_null(b->checks[i].modes_json));
                json_close(o, '}');
        }
        json_close(o, ']');
        if (b->limits) {
                json_open(o, "limits", '{');
                json_real(o, "delay_fs", b->limits->delay_fs);
                json_real(o, "loss_db", b->limits->loss_db);
                json_real(o, "contact_ohm", b->limits->contact_ohm);
                json_real(o, "contact_h", b->limits->contact_h);
                json_close(o, '}');
        }
        json_open(o, "intervals", '[');
        for (size_t i = 0; i < b->interval_n; i++) {
                const struct interval_row *v = &b->intervals[i];
                json_open(o, NULL, '{');
                json_int(o, "id", v->id);
                json_int(o, "opened", (int64_t)v->opened);
                json_id(o, "closed", (int64_t)v->closed);
                json_real(o, "from_s", ribbon_s(b, v->opened));
                json_real(o, "to_s", v->closed ? ribbon_s(b, v->closed) : NAN);
                json_word(o, "ended_by", v->ended_by);
                json_close(o, '}');
        }
        json_close(o, ']');
        json_close(o, '}');
}

enum code ribbon_get(struct request *q, struct reply *r, struct tp_error *err)
{
        struct ribbon b = {0};
        struct recipe *recipe = NULL;
        struct view *view = ask_run(q, err);
        enum code code = view ? view_touchdowns(view, q->arena, &b.touches, &b.touch_n, err) : err->code;
        if (!code)
                code = view_checks(view, q->arena, &b.checks, &b.check_n, err);
        if (!code)
                code = view_intervals(view, q->arena, &b.intervals, &b.interval_n, err);
        if (!code)
                code = ask_recipe(q, view, &recipe, err);
        view_close(view);
        if (code)
                return code;
        b.limits = recipe->check.standard_n ? &recipe->check.limits : NULL;
        for (size_t i = 0; i < b.touch_n && !b.begin_ns; i++)
                b.begin_ns = b.touches[i].station_ns > 0 ? b.touches[i].station_ns : 0;
        struct json_out o = json_to(&r->body);
        ribbon_write(&o, &b, q->param[0]);
        reply_json(r, 200);
        return CODE_OK;
}

/* ---- devices ------------------------------------------------------------------------------------------------------------------------ */

static bool is_dummy_of(const struct measure *m, const char *device)
{
        for (int k = 1; k < RF_DUMMY_COUNT; k++)
                if (strcmp(measure_dummy(m, k), device) == 0)
                        return true;
        return false;
}

static bool is_dummy(const struct recipe *recipe, const char *device)
{
        for (size_t i = 0; i < recipe->measure_n; i++)
                if (is_dummy_of(&recipe->measures[i], device))
                        return true;
        return false;
}

static void measure_write(struct json_out *o, const struct recipe *recipe, const struct measure *m)
{
        int d = layout_device(&recipe->layout, m->device);
        const struct device *device = d >= 0 ? &recipe->layout.devices[d] : NULL;
        json_open(o, NULL, '{');
        json_text(o, "name", m->device);
        json_text(o, "kind", device_kind_words[device ? device->kind : 0]);
        json_real(o, "x_um", device ? device->x_um : NAN);
        json_real(o, "y_um", device ? device->y_um : NAN);
        json_real(o, "length_um", device && device->length_um > 0 ? device->length_um : NAN);
        json_text(o, "deembed", deembed_words[m->deembed]);
        json_bool(o, "dummy", is_dummy(recipe, m->device));
        json_open(o, "conditions", '[');
        for (size_t i = 0; i < m->condition_n; i++) {
                json_open(o, NULL, '{');
                json_word(o, "name", m->conditions[i].name);
                json_real(o, "volt", m->conditions[i].volt);
                json_real(o, "base_a", m->conditions[i].has_base ? m->conditions[i].base.ampere : NAN);
                json_close(o, '}');
        }
        json_close(o, ']');
        json_open(o, "parameters", '[');
        for (size_t i = 0; i < m->parameter_n; i++) {
                const struct parameter_plan *p = &m->parameters[i];
                json_open(o, NULL, '{');
                json_text(o, "name", p->name);
                json_text(o, "quantity", quantity_words[p->quantity]);
                json_text(o, "unit", quantity_units[p->quantity]);
                json_real(o, "freq_hz", p->freq_hz);
                json_real(o, "low", p->has_low ? p->low : NAN);
                json_real(o, "high", p->has_high ? p->high : NAN);
                json_text(o, "acceptance", acceptance_words[p->acceptance]);
                json_real(o, "risk", p->risk);
                json_close(o, '}');
        }
        json_close(o, ']');
        json_close(o, '}');
}

void devices_say(struct json_out *o, const struct recipe *recipe)
{
        json_open(o, "devices", '[');
        for (size_t i = 0; i < recipe->measure_n; i++)
                measure_write(o, recipe, &recipe->measures[i]);
        json_close(o, ']');
}

enum code devices_get(struct request *q, struct reply *r, struct tp_error *err)
{
        const char *plan = NULL, *text = NULL;
        size_t n = 0;
        struct recipe *recipe = NULL;
        struct view *view = ask_run(q, err);
        enum code code = view ? view_plan(view, q->arena, &plan, &text, &n, err) : err->code;
        view_close(view);
        if (code || reply_unchanged(q, r, q->param[0])) /* a run's recipe never changes */
                return code;
        code = recipe_read(text, n, q->arena, &recipe, err);
        if (code)
                return code;
        struct json_out o = json_to(&r->body);
        json_open(&o, NULL, '{');
        devices_say(&o, recipe);
        json_close(&o, '}');
        reply_json(r, 200);
        return CODE_OK;
}
