/* multiport_moves.c: causes of two-port steps through their joining (multiport_moves.h).
 * Idea        One step's terms are moved by a part of the cause to one side and to the other, taken apart into eight where they are twelve,
 *             and all steps joined anew: means over steps and closed loops move as they are made. */
#include "rf/calibrate/multiport_moves.h"
#include "rf/correct/convert_terms.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define STEP 1e-5   /* of a term: its square is what second order leaves */
#define STILL 1e-11 /* roundings of terms that do not move */
enum { STEPS_MAX = 16 };

void multiport_column(const struct multiport_terms *t, unsigned p, enum multiport_term k, double **ret_re, double **ret_im)
{
        double *const re[MULTIPORT_TERM_COUNT] = {t->port[p].ed_re, t->port[p].es_re, t->port[p].er_re, t->port[p].k_re},
                      *const im[MULTIPORT_TERM_COUNT] = {t->port[p].ed_im, t->port[p].es_im, t->port[p].er_im, t->port[p].k_im};
        *ret_re = re[k];
        *ret_im = im[k];
}

enum code multiport_moved(const struct multiport_terms *t, const struct multiport_cause *c, const size_t *at, double by,
                          struct arena *arena, struct multiport_terms *ret, struct tp_error *err)
{
        size_t n = t->axis->n;
        void *memory = arena_take(arena, multiport_terms_bytes(n, t->ports));
        if (!memory)
                return tp_fail_memory(err);
        *ret = multiport_terms_at(memory, t->axis, t->ports);
        ret->plane = t->plane;
        ret->switch_removed = t->switch_removed;
        memcpy(ret->z_re, t->z_re, n * sizeof *t->z_re);
        memcpy(ret->z_im, t->z_im, n * sizeof *t->z_im);
        for (unsigned p = 0; p < t->ports; p++)
                for (int k = 0; k < MULTIPORT_TERM_COUNT; k++) {
                        double *re, *im, *to_re, *to_im;
                        multiport_column(t, p, (enum multiport_term)k, &re, &im);
                        multiport_column(ret, p, (enum multiport_term)k, &to_re, &to_im);
                        for (size_t i = 0; i < n; i++) {
                                size_t j = at ? at[i] : i;
                                bool moves = c && c->re[p][k];
                                to_re[i] = re[i] + (moves ? by * c->re[p][k][j] : 0);
                                to_im[i] = im[i] + (moves ? by * c->im[p][k][j] : 0);
                        }
                }
        return CODE_OK;
}

/* ---- one step ------------------------------------------------------------------------------------------------------------------------ */

enum code multiport_step_eight(const struct multiport_step *s, struct arena *arena, struct terms *ret, struct switch_terms *ret_sw,
                               bool *ret_has_sw, struct tp_error *err)
{
        const struct terms *t = s->terms;
        if (t->model == TERMS_EIGHT) {
                *ret = *t;
                *ret_has_sw = s->sw != NULL;
                if (s->sw)
                        *ret_sw = *s->sw;
                if (t->switch_removed && !s->sw)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "its terms want the switch terms removed and come without them; solve it with its switch terms");
                return CODE_OK;
        }
        if (t->model == TERMS_ONE_PORT)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "its terms (%s) know reflections alone; a step also joins its two ports: add a thru to the standards and solve it "
                        "with \"unknown_thru\" or \"solt\"",
                        t->method);
        if (t->model != TERMS_TWELVE)
                return tp_fail(err, CODE_BAD_INPUT,
                               "its terms (%s) hold leakage between two ports, which terms of several ports do not; solve the step with "
                               "\"known_standards\" from the same standards, and look at what residual the leakage leaves",
                               t->method);
        void *memory = arena_take(arena, terms_bytes(t->axis->n)), *switches = arena_take(arena, switch_terms_bytes(t->axis->n));
        if (!memory || !switches)
                return tp_fail_memory(err);
        *ret = terms_at(memory, t->axis);
        *ret_sw = switch_terms_at(switches, t->axis);
        *ret_has_sw = true;
        return rf_terms_eight_from_twelve(t, ret, ret_sw, NULL, err);
}

static double largest(const struct terms_cause *c, size_t n)
{
        double most = 0;
        for (size_t i = 0; i < n; i++) {
                for (int k = 0; k < TERM_COUNT; k++)
                        if (c->re[k])
                                most = fmax(most, hypot(c->re[k][i], c->im[k][i]));
                for (int k = 0; k < 2; k++)
                        if (c->switch_re[k])
                                most = fmax(most, hypot(c->switch_re[k][i], c->switch_im[k][i]));
        }
        return most;
}

/* The step's terms, and its switch terms where the cause moves them, moved by `by`. */
static enum code step_moved(const struct multiport_step *s, const struct terms_cause *c, double by, struct arena *arena,
                            struct terms *terms, struct switch_terms *sw, struct multiport_step *ret, struct tp_error *err)
{
        size_t n = s->terms->axis->n;
        void *memory = arena_take(arena, terms_bytes(n)), *switches = arena_take(arena, switch_terms_bytes(n));
        if (!memory || !switches)
                return tp_fail_memory(err);
        struct terms room = terms_at(memory, s->terms->axis);
        *terms = *s->terms;
        for (int k = 0; k < TERM_COUNT; k++) {
                terms->re[k] = room.re[k];
                terms->im[k] = room.im[k];
                for (size_t i = 0; i < n; i++) {
                        terms->re[k][i] = s->terms->re[k][i] + (c->re[k] ? by * c->re[k][i] : 0);
                        terms->im[k][i] = s->terms->im[k][i] + (c->re[k] ? by * c->im[k][i] : 0);
                }
        }
        *ret = *s;
        ret->terms = terms;
        if (s->sw && (c->switch_re[0] || c->switch_re[1])) {
                *sw = switch_terms_at(switches, s->sw->axis);
                for (size_t i = 0; i < n; i++) {
                        sw->f_re[i] = s->sw->f_re[i] + (c->switch_re[0] ? by * c->switch_re[0][i] : 0);
                        sw->f_im[i] = s->sw->f_im[i] + (c->switch_re[0] ? by * c->switch_im[0][i] : 0);
                        sw->r_re[i] = s->sw->r_re[i] + (c->switch_re[1] ? by * c->switch_re[1][i] : 0);
                        sw->r_im[i] = s->sw->r_im[i] + (c->switch_re[1] ? by * c->switch_im[1][i] : 0);
                }
                ret->sw = sw;
        }
        return rf_terms_complete(terms, err);
}

/* ---- all of them --------------------------------------------------------------------------------------------------------------------- */

struct side {
        struct multiport_terms terms;
        struct port_switch sw;
};
struct job {
        const struct multiport_step *steps;
        size_t step_n;
        unsigned ports;
        bool has_switch;
        struct arena *arena, *scratch;
        struct multiport_causes *to;
};

/* All steps joined, step k as `moved`. */
static enum code joined(struct job *j, size_t k, const struct multiport_step *moved, struct side *ret, struct tp_error *err)
{
        struct terms eight[STEPS_MAX];
        struct switch_terms sw[STEPS_MAX];
        const struct switch_terms *list[STEPS_MAX];
        struct pair_terms pairs[STEPS_MAX];
        const struct axis *axis = j->steps[0].terms->axis;
        void *memory = arena_take(j->scratch, multiport_terms_bytes(axis->n, j->ports));
        enum code code = memory ? CODE_OK : tp_fail_memory(err);
        for (size_t s = 0; s < j->step_n && !code; s++) {
                bool has = false;
                code = multiport_step_eight(s == k ? moved : &j->steps[s], j->scratch, &eight[s], &sw[s], &has, err);
                pairs[s] = (struct pair_terms){j->steps[s].p, j->steps[s].q, &eight[s]};
                list[s] = has ? &sw[s] : NULL;
        }
        for (unsigned p = 0; p < j->ports && !code; p++)
                if (!(ret->sw.re[p] = arena_take(j->scratch, axis->n * sizeof(double))) ||
                    !(ret->sw.im[p] = arena_take(j->scratch, axis->n * sizeof(double))))
                        code = tp_fail_memory(err);
        if (code)
                return code;
        ret->terms = multiport_terms_at(memory, axis, j->ports);
        code = rf_multiport_terms(pairs, j->step_n, &ret->terms, NULL, err);
        return code || !j->has_switch ? code : rf_multiport_switch(pairs, list, j->step_n, j->ports, &ret->sw, NULL, err);
}

/* (up - down) scale as a column, unless it stays; false: no memory. */
static bool difference(struct job *j, const double *a_re, const double *a_im, const double *b_re, const double *b_im, double scale,
                       double **ret_re, double **ret_im, bool *moves)
{
        size_t n = j->steps[0].terms->axis->n;
        double most = 0;
        for (size_t i = 0; i < n; i++)
                most = fmax(most, hypot(a_re[i] - b_re[i], a_im[i] - b_im[i]));
        if (!(most > STILL))
                return true;
        *moves = true;
        *ret_re = arena_take(j->arena, n * sizeof(double));
        *ret_im = arena_take(j->arena, n * sizeof(double));
        for (size_t i = 0; *ret_re && *ret_im && i < n; i++) {
                (*ret_re)[i] = (a_re[i] - b_re[i]) * scale;
                (*ret_im)[i] = (a_im[i] - b_im[i]) * scale;
        }
        return *ret_re && *ret_im;
}

static enum code carry(struct job *j, size_t k, const struct terms_cause *one, struct tp_error *err)
{
        const struct multiport_step *s = &j->steps[k];
        double most = largest(one, s->terms->axis->n), by = most > 0 ? STEP / most : 0;
        struct side side[2];
        char name[CAUSE_NAME_MAX + 1];
        bool moves = false, ok = true;
        if (!(most > 0))
                return CODE_OK;
        if (j->to->n == CAUSES_MAX)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the steps have more than %d causes together, from \"%s\" of step %zu on; state less of "
                               "the standards, or solve with --no-causes",
                               CAUSES_MAX, one->about.name, k + 1);
        for (int up = 0; up < 2; up++) {
                struct terms terms;
                struct switch_terms sw;
                struct multiport_step moved;
                enum code code = step_moved(s, one, up ? by : -by, j->scratch, &terms, &sw, &moved, err);
                if (!code)
                        code = joined(j, k, &moved, &side[up], err);
                if (code)
                        return tp_where(err, "moved by a part of \"%s\"", one->about.name);
        }
        struct multiport_cause *to = &j->to->of[j->to->n];
        *to = (struct multiport_cause){.about = one->about};
        for (unsigned p = 0; p < j->ports && ok; p++) {
                for (int m = 0; m < (p ? MULTIPORT_TERM_COUNT : MULTIPORT_K) && ok; m++) {
                        double *a_re, *a_im, *b_re, *b_im;
                        multiport_column(&side[1].terms, p, (enum multiport_term)m, &a_re, &a_im);
                        multiport_column(&side[0].terms, p, (enum multiport_term)m, &b_re, &b_im);
                        ok = difference(j, a_re, a_im, b_re, b_im, 1 / (2 * by), &to->re[p][m], &to->im[p][m], &moves);
                }
                if (ok && j->has_switch)
                        ok = difference(j, side[1].sw.re[p], side[1].sw.im[p], side[0].sw.re[p], side[0].sw.im[p], 1 / (2 * by),
                                        &to->switch_re[p], &to->switch_im[p], &moves);
        }
        snprintf(name, sizeof name, "step %u,%u: %.100s", s->p + 1, s->q + 1, one->about.name);
        if (!ok || !(to->about.name = arena_text(j->arena, name)))
                return tp_fail_memory(err);
        j->to->n += moves;
        arena_reset(j->scratch);
        return CODE_OK;
}

static void reading_take(struct reading_u *to, const struct reading_u *u)
{
        to->noise_floor = fmax(to->noise_floor, u->noise_floor);
        to->noise_trace = fmax(to->noise_trace, u->noise_trace);
        to->noise_freedom = fmin(to->noise_freedom, u->noise_freedom);
        to->contact_ohm = fmax(to->contact_ohm, u->contact_ohm);
        to->contact_h = fmax(to->contact_h, u->contact_h);
        to->placement_um = fmax(to->placement_um, u->placement_um);
        to->drift_delay_s = fmax(to->drift_delay_s, u->drift_delay_s);
        to->drift_loss_db = fmax(to->drift_loss_db, u->drift_loss_db);
        to->eps_eff = u->eps_eff;
}

static enum code not_counted(struct job *j, const struct multiport_step *s, const char *text, struct tp_error *err)
{
        char own[CAUSE_NAME_MAX + 1];
        snprintf(own, sizeof own, "step %u,%u: %.100s", s->p + 1, s->q + 1, text);
        if (j->to->not_counted_n == CAUSES_NOT_COUNTED_MAX)
                return CODE_OK;
        const char *copy = arena_text(j->arena, own);
        if (copy)
                j->to->not_counted[j->to->not_counted_n++] = copy;
        return copy ? CODE_OK : tp_fail_memory(err);
}

enum code rf_multiport_moves(const struct multiport_step *steps, size_t step_n, unsigned ports, bool has_switch, struct arena *arena,
                             struct multiport_causes *ret, struct tp_error *err)
{
        struct job j = {.steps = steps, .step_n = step_n, .ports = ports, .has_switch = has_switch, .arena = arena, .to = ret};
        *ret = (struct multiport_causes){.reading = {.noise_freedom = INFINITY, .eps_eff = ALUMINA_EPS_EFF}};
        if (step_n > STEPS_MAX || ports > RF_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu steps of %u ports; at most %d of %d", step_n, ports, STEPS_MAX, RF_PORTS_MAX);
        if (!(ret->of = arena_take(arena, CAUSES_MAX * sizeof *ret->of)) ||
            !(ret->not_counted = arena_take(arena, CAUSES_NOT_COUNTED_MAX * sizeof *ret->not_counted)) || !(j.scratch = arena_new(0)))
                return tp_fail_memory(err);
        enum code code = CODE_OK;
        for (size_t k = 0; k < step_n && !code; k++) {
                const struct terms_causes *c = steps[k].causes;
                if (!c) {
                        code = not_counted(&j, &steps[k], "all of it", err);
                        continue;
                }
                reading_take(&ret->reading, &c->reading);
                for (size_t m = 0; m < c->n && !code; m++)
                        code = carry(&j, k, &c->of[m], err);
                for (size_t m = 0; m < c->not_counted_n && !code; m++)
                        code = not_counted(&j, &steps[k], c->not_counted[m], err);
        }
        arena_free(j.scratch);
        return code;
}
