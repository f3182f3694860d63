/* compare.c: a run's numbers, contacts and suspects against the truth. */
#include "simulators/judge/judge.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* "L", "L_10GHz", "S21_40GHz" and so on: the longest word that the name begins with. */
static enum true_quantity quantity_of(const char *name)
{
        enum true_quantity best = TRUE_UNKNOWN;
        size_t best_n = 0;
        if (strncmp(name, "S21", 3) == 0)
                return TRUE_S21_DB;
        for (int k = TRUE_L; true_quantity_words[k]; k++) {
                size_t n = strlen(true_quantity_words[k]);
                if (strncmp(name, true_quantity_words[k], n) == 0 && (name[n] == 0 || name[n] == '_' || name[n] == ' ') && n > best_n) {
                        best = (enum true_quantity)k;
                        best_n = n;
                }
        }
        return best;
}

static int by_ratio(const void *a, const void *b)
{
        double x = *(const double *)a, y = *(const double *)b;
        return (x > y) - (x < y);
}

static enum code groups_make(struct parameters_judged *p, struct arena *arena, struct tp_error *err)
{
        double *ratio = arena_take(arena, (p->n + 1) * sizeof *ratio);
        p->groups = arena_take(arena, (p->n + 1) * sizeof *p->groups);
        if (!ratio || !p->groups)
                return tp_fail_memory(err);
        for (size_t i = 0; i < p->n; i++) {
                char name[80];
                size_t n = 0, known = 0;
                snprintf(name, sizeof name, "%s %s", p->rows[i].device, p->rows[i].name);
                while (known < p->group_n && strcmp(p->groups[known].name, name) != 0)
                        known++;
                if (known < p->group_n)
                        continue;
                for (size_t k = i; k < p->n; k++)
                        if (strcmp(p->rows[k].device, p->rows[i].device) == 0 && strcmp(p->rows[k].name, p->rows[i].name) == 0)
                                ratio[n++] = p->rows[k].ratio;
                qsort(ratio, n, sizeof *ratio, by_ratio);
                struct judged_group *g = &p->groups[p->group_n++];
                memcpy(g->name, name, sizeof g->name);
                g->n = n;
                g->median = (ratio[(n - 1) / 2] + ratio[n / 2]) / 2;
                g->worst = ratio[n - 1];
        }
        return CODE_OK;
}

static int need(const struct table *t, const char *name, enum code *code, struct tp_error *err)
{
        int k = table_column(t, name);
        if (k < 0 && !*code)
                *code = tp_fail(err, CODE_BAD_INPUT, "there is no column \"%s\"; the first row must name the columns", name);
        return k;
}

enum code parameters_judge(const struct truth *truth, const struct table *t, const char *trusted, struct arena *arena,
                           struct parameters_judged *ret, struct tp_error *err)
{
        struct parameters_judged p = {0};
        enum code code = CODE_OK;
        int x = need(t, "die_x", &code, err), y = need(t, "die_y", &code, err), device = need(t, "device", &code, err),
            value = need(t, "value", &code, err);
        int u95 = need(t, "u95", &code, err), trust = need(t, "trust", &code, err), hz = need(t, "freq_hz", &code, err);
        int quantity = table_column(t, "quantity"), name = table_column(t, "parameter"), volt = table_column(t, "volt"),
            condition = table_column(t, "condition"), lo = table_column(t, "lo_hz"), hi = table_column(t, "hi_hz");
        if (!code && quantity < 0 && name < 0)
                code = tp_fail(err, CODE_BAD_INPUT, "there is neither a column \"quantity\" nor \"parameter\"");
        if (code)
                return code;
        name = name < 0 ? quantity : name;
        quantity = quantity < 0 ? name : quantity;
        p.rows = arena_take(arena, (t->row_n + 1) * sizeof *p.rows);
        if (!p.rows)
                return tp_fail_memory(err);
        for (size_t i = 0; i < t->row_n; i++) {
                struct judged j = {.die_x = atoi(table_text(t, i, x)),
                                   .die_y = atoi(table_text(t, i, y)),
                                   .value = table_real(t, i, value),
                                   .u95 = table_real(t, i, u95)};
                if (strcmp(table_text(t, i, trust), trusted) != 0)
                        continue;
                if (isnan(j.value) || !(j.u95 > 0)) {
                        p.without_value_n++;
                        continue;
                }
                snprintf(j.device, sizeof j.device, "%s", table_text(t, i, device));
                snprintf(j.name, sizeof j.name, "%s", table_text(t, i, name));
                const struct sim_device *d = truth_device(truth, j.die_x, j.die_y, j.device);
                enum true_quantity q = quantity_of(table_text(t, i, quantity));
                struct true_at at = truth_at(truth, j.device, atoi(table_text(t, i, condition)));
                if (volt >= 0 && table_text(t, i, volt)[0]) {
                        at.bias = (struct sim_bias){.volt = {table_real(t, i, volt), 0}};
                }
                at.hz = table_real(t, i, hz);
                if (!(at.hz > 0)) /* read in the middle of its best window; what is found in a sweep does not ask */
                        at.hz = sqrt(table_real(t, i, lo) * table_real(t, i, hi));
                q = q ? q : quantity_of(j.name);
                at.inside = at.inside && true_is_of_inside(q);
                j.truth = d ? true_value_at(d, q, &at) : NAN;
                if (isnan(j.truth)) {
                        p.unknown_n++;
                        continue;
                }
                j.ratio = fabs(j.value - j.truth) / j.u95;
                p.within_n += j.ratio <= 1;
                p.far_n += !(j.ratio <= 3);
                p.rows[p.n++] = j;
        }
        code = groups_make(&p, arena, err);
        if (!code)
                *ret = p;
        return code;
}

/* ---- contacts ----------------------------------------------------------------------------------------------------------------------- */
static bool is_contact(const char *what) { return strcmp(what, "lost_ground") == 0 || strcmp(what, "open_contact") == 0; }

/* What was wrong with this touch, "" if nothing: by the scenario's list, or by the log of what happened (faults by chance stand there
 * alone). */
static const char *fault_at(const struct truth *truth, int x, int y, const char *device, int touch)
{
        char begins[80];
        snprintf(begins, sizeof begins, "%d,%d %s touch %d port", x, y, device, touch);
        for (size_t i = 0; i < truth->event_n; i++)
                if (is_contact(truth->events[i].what) && strncmp(truth->events[i].detail, begins, strlen(begins)) == 0)
                        return truth->events[i].what;
        for (size_t i = 0; i < truth->fault_n; i++) {
                const struct true_fault *f = &truth->faults[i];
                if (is_contact(f->what) && f->device[0] && f->die_x == x && f->die_y == y && strcmp(f->device, device) == 0 &&
                    touch >= f->first && touch < f->first + f->attempts)
                        return f->what;
        }
        return "";
}

enum code contacts_judge(const struct truth *truth, const struct table *t, struct arena *arena, struct contacts_judged *ret,
                         struct tp_error *err)
{
        struct contacts_judged c = {0};
        enum code code = CODE_OK;
        int x = need(t, "die_x", &code, err), y = need(t, "die_y", &code, err), device = need(t, "device", &code, err),
            outcome = need(t, "outcome", &code, err);
        int trust = table_column(t, "trust");
        int *touches = arena_take(arena, (truth->device_n + 1) * sizeof *touches);
        size_t injected = 0, met = 0;
        if (!code && !touches)
                code = tp_fail_memory(err);
        for (size_t i = 0; !code && i < t->row_n; i++) {
                const char *name = table_text(t, i, device), *said = table_text(t, i, outcome);
                const struct sim_device *d = truth_device(truth, atoi(table_text(t, i, x)), atoi(table_text(t, i, y)), name);
                if (!name[0] || !d || strcmp(said, "not done") == 0)
                        continue; /* a standard, or never lowered */
                int touch = ++touches[d - truth->devices];
                const char *what = fault_at(truth, d->die_x, d->die_y, name, touch);
                bool found = strcmp(said, "absent") == 0 || strcmp(said, "doubtful") == 0;
                if (!what[0]) {
                        c.sound_n++;
                        c.false_n += found;
                        continue;
                }
                met++;
                bool lost = what[0] == 'l';
                *(lost ? &c.lost_n : &c.open_n) += 1;
                *(lost ? &c.lost_found_n : &c.open_found_n) += found;
                if (!found && c.missed_n < 10)
                        snprintf(c.missed[c.missed_n++], sizeof c.missed[0], "%s at %d,%d %s", what, (int)d->die_x, (int)d->die_y, name);
                c.missed_trusted_n += !found && strcmp(table_text(t, i, trust), "proven") == 0;
        }
        for (size_t i = 0; i < truth->fault_n; i++)
                injected += truth->faults[i].device[0] && is_contact(truth->faults[i].what) ? (size_t)truth->faults[i].attempts : 0;
        c.not_touched_n = injected > met ? injected - met : 0;
        if (!code)
                *ret = c;
        return code;
}

/* ---- drift -------------------------------------------------------------------------------------------------------------------------- */
enum code drift_judge(const struct truth *truth, const char *path, struct arena *arena, struct drift_judged *ret, struct tp_error *err)
{
        struct drift_judged d = {0};
        struct table all = {0}, checks = {0};
        enum code code = CODE_OK;
        double step_id = -1, closed = INFINITY, opened = -1;
        for (size_t i = 0; i < truth->event_n && !d.stepped; i++)
                if (strcmp(truth->events[i].what, "drift_step") == 0) {
                        d.stepped = true;
                        d.touches = (size_t)truth->events[i].touches;
                }
        if (!d.stepped) {
                *ret = d;
                return CODE_OK;
        }
        code = table_read_sql(path, "SELECT id, die_x, die_y, device, kind, outcome, trust, station_ns FROM v_touchdown ORDER BY id", arena,
                              &all, err);
        if (!code)
                code = table_read_sql(path, "SELECT ended FROM check_done ORDER BY ended", arena, &checks, err);
        if (code)
                return code;
        for (size_t i = 0, n = 0; i < all.row_n; i++) { /* the step is first felt after so many touches, counted over everything touched */
                n += strcmp(table_text(&all, i, 5), "not done") != 0;
                if (n == d.touches)
                        step_id = table_real(&all, i, 0);
        }
        for (size_t i = 0; i < checks.row_n; i++) {
                double ended = table_real(&checks, i, 0);
                if (ended <= step_id)
                        opened = ended;
                else if (ended < closed)
                        closed = ended;
        }
        for (size_t i = 0; i < all.row_n; i++) {
                const char *kind = table_text(&all, i, 4), *trust = table_text(&all, i, 6);
                double id = table_real(&all, i, 0);
                if (!table_text(&all, i, 3)[0] || strcmp(kind, "ladder") == 0 || strcmp(table_text(&all, i, 5), "good") != 0)
                        continue;
                bool inside = id > opened && id < closed, suspect = strcmp(trust, "suspect") == 0 || strcmp(trust, "rescued") == 0;
                d.affected_n += inside;
                d.suspect_n += suspect;
                d.missed_n += inside && !suspect;
                d.extra_n += !inside && suspect;
                if (inside && !d.from[0])
                        snprintf(d.from, sizeof d.from, "%s,%s %s", table_text(&all, i, 1), table_text(&all, i, 2), table_text(&all, i, 3));
        }
        *ret = d;
        return CODE_OK;
}
