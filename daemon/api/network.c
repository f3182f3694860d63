/* network.c: a stored sweep of a device as the corrected, if asked de-embedded, network.  Everything it needs is in the run file: recipe,
 * calibration, dummies. */
#include "api/route.h"
#include "formats/csv.h"
#include "recipe/calibration_problem.h"
#include "run/job.h"
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct network {
        struct view *view;
        struct sweep_row sweep;
        struct sweep_row *all;
        size_t all_n; /* device sweeps of the run */
        double *hz;
        size_t hz_n;
        struct recipe *recipe;
        struct calibration *calibration;
        char calibration_id[27];
        struct raw_sweep raw, dummies[RF_DUMMY_COUNT];
        struct chain_question ask;
        char wafer[40];
        bool deembedded;
};

enum code sweep_number(const struct request *q, int64_t *ret, struct tp_error *err)
{
        const char *text = q->param[1];
        size_t n = strlen(text);
        if (n == 0 || n > 12 || strspn(text, "0123456789") != n || text[0] == '0')
                return tp_fail(err, CODE_BAD_INPUT, "'%.30s' is no number of a sweep; GET …/sweeps lists them", text);
        *ret = strtoll(text, NULL, 10);
        return CODE_OK;
}

/* The calibration of the interval in which the touch fell; where the recipe has no checks, the last accepted one. */
static enum code find_calibration(const struct request *q, struct network *w, struct tp_error *err)
{
        struct interval_row *intervals = NULL;
        struct calibration_row *rows = NULL;
        size_t interval_n = 0, n = 0;
        const char *want = "";
        enum code code = view_intervals(w->view, q->arena, &intervals, &interval_n, err);
        if (!code)
                code = view_calibrations(w->view, q->arena, &rows, &n, err);
        if (code)
                return code;
        for (size_t i = 0; i < interval_n; i++)
                if (intervals[i].opened <= (uint64_t)w->sweep.id && (!intervals[i].closed || intervals[i].closed >= (uint64_t)w->sweep.id))
                        want = intervals[i].calibration;
        const struct calibration_row *found = NULL;
        for (size_t i = 0; i < n; i++)
                if (want[0] ? strcmp(rows[i].id, want) == 0 : strcmp(rows[i].state, "accepted") == 0)
                        found = &rows[i];
        if (!found)
                return tp_fail(err, CODE_STATE,
                               "sweep %" PRId64
                               " was made without an accepted calibration, so there is nothing to correct it with; take its raw traces",
                               w->sweep.id);
        snprintf(w->calibration_id, sizeof w->calibration_id, "%s", found->id);
        return calibration_read(found->terms, found->term_bytes, q->arena, &w->calibration, err);
}

/* The dummy of the same die, else of the nearest one; contact good, latest touch, and on the same frequencies. */
static bool find_dummy(const struct network *w, const char *name, int64_t *ret)
{
        int64_t best = INT64_MAX;
        for (size_t i = 0; i < w->all_n; i++) {
                const struct sweep_row *s = &w->all[i];
                if (strcmp(s->device, name) != 0 || s->axis != w->sweep.axis || strcmp(s->outcome, "good") != 0)
                        continue;
                int64_t dx = s->die_x - w->sweep.die_x, dy = s->die_y - w->sweep.die_y, d = dx * dx + dy * dy;
                if (d <= best) {
                        best = d;
                        *ret = s->id;
                }
        }
        return best != INT64_MAX;
}

static enum code load_dummy(const struct request *q, struct network *w, const char *name, struct raw_sweep *ret,
                            const struct raw_sweep **ret_at, struct tp_error *err)
{
        int64_t id = 0;
        if (!name[0])
                return CODE_OK;
        if (!find_dummy(w, name, &id))
                return tp_fail(
                        err, CODE_STATE,
                        "sweep %" PRId64
                        " is de-embedded with %s, and no %s with good contact has been measured yet; ask with deembedded=0, or later",
                        w->sweep.id, name, name);
        enum code code = sweep_load(w->view, id, w->hz, w->hz_n, q->arena, ret, err);
        *ret_at = ret;
        return code;
}

static enum code load_recipe(const struct request *q, struct network *w, struct tp_error *err)
{
        const char *plan = NULL, *text = NULL;
        size_t n = 0;
        struct run_row row;
        enum code code = view_plan(w->view, q->arena, &plan, &text, &n, err);
        if (!code)
                code = recipe_read(text, n, q->arena, &w->recipe, err);
        if (!code)
                code = view_run(w->view, q->param[0], q->arena, &row, err);
        if (code)
                return code;
        snprintf(w->wafer, sizeof w->wafer, "%s", row.wafer);
        w->ask.recipe = w->recipe;
        w->ask.replayed = plan && strstr(plan, "\"replayed\":true") != NULL;
        for (size_t i = 0; i < w->recipe->measure_n; i++)
                if (strcmp(w->recipe->measures[i].device, w->sweep.device) == 0)
                        w->ask.measure = &w->recipe->measures[i];
        return w->ask.measure ? CODE_OK
                              : tp_fail(err, CODE_STATE, "sweep %" PRId64 " is a %s, not one of a device; take its raw traces", w->sweep.id,
                                        w->sweep.use);
}

static enum code load_all(const struct request *q, struct network *w, int64_t id, int deembedded, struct tp_error *err)
{
        enum code code = view_sweep(w->view, id, q->arena, &w->sweep, err);
        if (!code && strcmp(w->sweep.use, "device") != 0)
                code = tp_fail(err, CODE_STATE, "sweep %" PRId64 " is a %s, not one of a device; take its raw traces", id, w->sweep.use);
        if (!code)
                code = load_recipe(q, w, err);
        if (!code)
                code = find_calibration(q, w, err);
        if (!code)
                code = view_axis(w->view, w->sweep.axis, q->arena, &w->hz, &w->hz_n, err);
        if (!code)
                code = sweep_load(w->view, id, w->hz, w->hz_n, q->arena, &w->raw, err);
        if (!code)
                code = view_sweeps(w->view, "device", q->arena, &w->all, &w->all_n, err);
        if (code)
                return code;
        w->deembedded = deembedded < 0 ? w->ask.measure->deembed != DEEMBED_NONE : deembedded == 1;
        if (w->deembedded && w->ask.measure->deembed == DEEMBED_NONE)
                return tp_fail_at(err, CODE_BAD_INPUT, "deembedded",
                                  "?deembedded=1: the recipe gives %s no dummies to de-embed with; ask with deembedded=0", w->sweep.device);
        w->ask.calibration = w->calibration;
        w->ask.raw = &w->raw;
        for (int k = 1; k < RF_DUMMY_COUNT && !code && w->deembedded; k++)
                code = load_dummy(q, w, measure_dummy(w->ask.measure, k), &w->dummies[k], &w->ask.dummies[k], err);
        return code;
}

static enum code network_open(struct request *q, struct network *w, struct tp_error *err)
{
        static const char *const words[] = {"0", "1", NULL};
        int64_t id = 0;
        int deembedded = -1;
        memset(w, 0, sizeof *w);
        enum code code = sweep_number(q, &id, err);
        if (!code)
                code = query_word(q, "deembedded", words, &deembedded, err);
        if (code)
                return code;
        w->view = ask_view(q, q->param[0], err);
        code = w->view ? load_all(q, w, id, deembedded, err) : err->code;
        view_close(w->view);
        w->view = NULL;
        return code;
}

static void name_file(const struct network *w, const char *ending, struct reply *r)
{
        snprintf(r->save_as, sizeof r->save_as, "%.20s_%d_%d_%.20s_%" PRId64 ".%s", w->wafer, w->sweep.die_x, w->sweep.die_y,
                 w->sweep.device, w->sweep.id, ending);
}

enum code network_s2p(struct request *q, struct reply *r, struct tp_error *err)
{
        struct network w;
        char lines[5][160];
        const char *comments[5] = {lines[0], lines[1], lines[2], lines[3], lines[4]};
        enum code code = network_open(q, &w, err);
        if (code)
                return code;
        snprintf(lines[0], sizeof lines[0], "run %s, sweep %" PRId64 ", touchdown %" PRId64 ", contact %s", q->param[0], w.sweep.id,
                 w.sweep.touchdown, w.sweep.outcome);
        snprintf(lines[1], sizeof lines[1], "wafer %s, die %d,%d, device %s, condition %d", w.wafer, w.sweep.die_x, w.sweep.die_y,
                 w.sweep.device, w.sweep.condition);
        snprintf(lines[2], sizeof lines[2], "calibration %s, method %s", w.calibration_id, calibration_plan_word(&w.recipe->calibration));
        snprintf(lines[3], sizeof lines[3], "de-embedding %s", w.deembedded ? deembed_words[w.ask.measure->deembed] : "none");
        snprintf(lines[4], sizeof lines[4], "trust %s, by the calibration in force then%s%s", w.sweep.trust[0] ? w.sweep.trust : "unknown",
                 w.sweep.trust_reason[0] ? ": " : "", w.sweep.trust_reason);
        code = chain_touchstone(&w.ask, w.deembedded, comments, 5, &r->body, err);
        if (code)
                return tp_where(err, "sweep %" PRId64, w.sweep.id);
        name_file(&w, "s2p", r);
        reply_text(r, "text/plain; charset=utf-8");
        return CODE_OK;
}

enum code network_csv(struct request *q, struct reply *r, struct tp_error *err)
{
        static const char *const heads[] = {"freq_hz", "s11_re", "s11_im", "s12_re", "s12_im", "s21_re", "s21_im", "s22_re", "s22_im"};
        struct network w;
        double *re[4], *im[4];
        enum code code = network_open(q, &w, err);
        if (!code)
                code = chain_network(&w.ask, w.deembedded, q->arena, re, im, err);
        if (code)
                return code;
        struct csv_out o = csv_to(&r->body);
        for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
                csv_text(&o, heads[i]);
        csv_end_row(&o);
        for (size_t i = 0; i < w.hz_n; i++) {
                csv_real(&o, w.hz[i]);
                for (int k = 0; k < 4; k++) {
                        csv_real(&o, re[k][i]);
                        csv_real(&o, im[k][i]);
                }
                csv_end_row(&o);
        }
        name_file(&w, "csv", r);
        reply_text(r, "text/csv; charset=utf-8; header=present");
        return CODE_OK;
}
