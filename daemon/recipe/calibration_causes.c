/* calibration_causes.c: terms of a calibration moved by what is stated of standards, lines and touches (calibration_causes.h).
 * Problem     Each method believes other things of its standards, and some look at all frequencies together; a list of closed forms would
 *             be one per method.
 * Idea        A standard that is not what it is believed to be, and a touch on it, move what is read of it; a length or an impedance is a
 *             number of the plan.  The calibration as a whole is solved with each moved to both sides, and the terms' difference is the
 *             cause's column.  What is read when S of a standard moves is told by the terms themselves.  So it does not matter what a
 *             method believes of the standard: of a reflect that it is alike at both ports, of an open its capacitance.
 * Sign        of no interest: causes are independent; each is kept as one vector through all that shares it.
 * Not here    noise (calibration_noise.c), drift, cables, crosstalk: nothing in a plan says how large they are. */
#include "recipe/calibration_causes.h"
#include "rf/trust/reading_causes.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define STEP 1e-5 /* of S: the derivative is good to its square, and ten digits of the difference are left */

/* ---- moving -------------------------------------------------------------------------------------------------------------------------- */

/* What moves: one reading's raw data, all frequencies together, or the plan, or one standard. */
struct move {
        enum cause_kind kind;
        const struct calibration_plan *plan; /* NULL: the job's */
        const struct standard *standard;     /* in the place of reading k's; NULL: its own */
        size_t k;                            /* the reading */
        struct net2 *d_raw;                  /* by one standard uncertainty; NULL: none */
        struct net2 *const *d_raws;          /* of every reading, by one standard uncertainty; NULL where it stays; NULL: none */
        double freedom;                      /* 0: stated */
};

static struct net2 *net_like(const struct net2 *of, struct arena *arena)
{
        struct net2 *net = arena_take(arena, sizeof *net);
        void *memory = arena_take(arena, net2_bytes(of->axis->n));
        if (!net || !memory)
                return NULL;
        *net = net2_at(memory, of->axis, of->plane);
        return net;
}

static struct net2 *net_moved(const struct net2 *of, const struct net2 *d, double by, struct arena *arena)
{
        struct net2 *net = net_like(of, arena);
        for (size_t i = 0; net && i < d->axis->n; i++) {
                struct m2 change = m2_scale(by, net2_get(d, i));
                net2_put(net, i, m2_add(net2_get(of, i), change));
        }
        return net;
}

/* Solved with the move `by` times its standard uncertainty; in the scratch arena. */
static enum code solve_moved(struct causes_job *j, const struct move *m, double by, struct solved_calibration **ret, struct tp_error *err)
{
        struct standard_reading *r = arena_take(j->scratch, j->n * sizeof *r);
        if (!r)
                return tp_fail_memory(err);
        memcpy(r, j->readings, j->n * sizeof *r);
        if (m->standard)
                r[m->k].standard = m->standard;
        if (m->d_raw && !(r[m->k].raw = net_moved(r[m->k].raw, m->d_raw, by, j->scratch)))
                return tp_fail_memory(err);
        for (size_t k = 0; k < j->n && m->d_raws; k++)
                if (m->d_raws[k] && !(r[k].raw = net_moved(r[k].raw, m->d_raws[k], by, j->scratch)))
                        return tp_fail_memory(err);
        return calibration_plan_solve(m->plan ? m->plan : j->plan, &j->at, r, j->n, j->scratch, ret, err);
}

static struct causes_side side_of(const struct solved_calibration *s)
{
        return (struct causes_side){&s->terms, s->has_switch ? &s->switch_terms : NULL};
}

/* up, down: the moves to either side, by `by` standard uncertainties. */
static enum code cause_by(struct causes_job *j, const struct move *up, const struct move *down, double by, struct tp_error *err,
                          const char *name)
{
        struct solved_calibration *a = NULL, *b = NULL;
        enum code code = solve_moved(j, up, by, &a, err);
        if (!code)
                code = solve_moved(j, down, -by, &b, err);
        if (!code)
                code = causes_add(j, up->kind, up->freedom > 0 ? up->freedom : INFINITY, side_of(a), side_of(b), 1 / (2 * by), err, "%s",
                                  name);
        arena_reset(j->scratch);
        return code ? tp_where(err, "moved by a part of \"%s\"", name) : CODE_OK;
}

static double largest_of(const struct net2 *net)
{
        double most = 0;
        for (int k = 0; k < 4; k++)
                for (size_t i = 0; i < net->axis->n; i++)
                        most = fmax(most, hypot(net->re[k][i], net->im[k][i]));
        return most;
}

bool causes_reads_port(const struct standard_reading *r, int port) { return r->ports == 0 || (r->ports & (port == 0 ? 1u : 2u)); }

/* By how much reading k moves with one standard uncertainty of the cause; in the scratch arena, NULL: no memory. */
static struct net2 *read_moved(struct causes_job *j, size_t k, causes_change *change, const void *cause)
{
        const struct standard_reading *r = &j->readings[k];
        const struct solved_calibration *s = j->solved;
        struct net2 *net = net_like(r->raw, j->scratch);
        bool whole = standard_reading_transmits(r) || s->terms.model == TERMS_SIXTEEN;
        for (size_t i = 0; net && i < net->axis->n; i++) {
                struct m2 raw = net2_get(r->raw, i);
                double complex f = s->has_switch ? CMPLX(s->switch_terms.f_re[i], s->switch_terms.f_im[i]) : 0,
                               b = s->has_switch ? CMPLX(s->switch_terms.r_re[i], s->switch_terms.r_im[i]) : 0;
                struct m2 is = rf_corrected_as_read(&s->terms, i, whole ? raw : m2_diag(raw.e[0], raw.e[3]), f, b),
                          d = change(j, k, i, is, cause);
                const double h = 1e-4; /* of one standard uncertainty */
                d = standard_reading_transmits(r) ? d : m2_diag(d.e[0], d.e[3]);
                struct m2 up = rf_read_of(&s->terms, i, m2_add(is, m2_scale(h, d)), f, b),
                          down = rf_read_of(&s->terms, i, m2_sub(is, m2_scale(h, d)), f, b);
                struct m2 moved = m2_scale(1 / (2 * h), m2_sub(up, down));
                net2_put(net, i, whole ? moved : m2_diag(moved.e[0], moved.e[3]));
        }
        return net;
}

enum code causes_of_reading(struct causes_job *j, enum cause_kind kind, size_t k, causes_change *change, const void *cause, bool *ret_moves,
                            struct tp_error *err, const char *name)
{
        size_t before = j->to->n;
        struct move m = {.kind = kind, .k = k, .d_raw = read_moved(j, k, change, cause)};
        if (!m.d_raw)
                return tp_fail_memory(err);
        double most = largest_of(m.d_raw);
        enum code code = most > 0 ? cause_by(j, &m, &m, STEP / most, err, name) : CODE_OK;
        if (ret_moves)
                *ret_moves = j->to->n > before;
        return code;
}

/* What stands there is less than its data say. */
static struct m2 less_than_believed(const struct causes_job *j, size_t k, size_t i, struct m2 is, const void *cause)
{
        (void)j, (void)k, (void)is;
        return m2_scale(-1, net2_get(cause, i));
}

enum code causes_of_beliefs(struct causes_job *j, const struct cause_about *about, const struct net2 *const *d_ideals, struct tp_error *err)
{
        struct net2 **d_raws = arena_take(j->scratch, j->n * sizeof *d_raws);
        struct move m = {.kind = about->kind, .freedom = isfinite(about->freedom) ? about->freedom : 0, .d_raws = d_raws};
        double most = 0;
        if (!d_raws)
                return tp_fail_memory(err);
        for (size_t k = 0; k < j->n; k++) {
                d_raws[k] = NULL;
                if (d_ideals[k] && !(d_raws[k] = read_moved(j, k, less_than_believed, d_ideals[k])))
                        return tp_fail_memory(err);
                most = d_raws[k] ? fmax(most, largest_of(d_raws[k])) : most;
        }
        return most > 0 ? cause_by(j, &m, &m, STEP / most, err, about->name) : CODE_OK;
}

/* ---- touches ------------------------------------------------------------------------------------------------------------------------- */

struct touched {
        enum rf_touch touch;
        int port;
        const struct reading_u *u;
};
static struct m2 touch_change(const struct causes_job *j, size_t k, size_t i, struct m2 is, const void *cause)
{
        const struct touched *t = cause;
        const struct terms *terms = &j->solved->terms;
        (void)k;
        return rf_touch_change(is, t->touch, t->port, t->u, terms->axis->hz[i], terms->z_re[i] > 0 ? terms->z_re[i] : 50);
}

static enum code touch_cause(struct causes_job *j, size_t k, enum rf_touch touch, int port, const struct reading_u *u, struct tp_error *err)
{
        const struct touched t = {touch, port, u};
        char name[CAUSE_NAME_MAX], at[20];
        snprintf(at, sizeof at, touch == RF_TOUCH_BOTH ? "both ports" : "port %d", port + 1);
        snprintf(name, sizeof name, "%s: %s, %s", j->readings[k].standard->name, rf_touch_words[touch], at);
        return causes_of_reading(j, touch <= RF_TOUCH_L ? CAUSE_OF_CONTACT : CAUSE_OF_PLACEMENT, k, touch_change, &t, NULL, err, name);
}

static enum code causes_of_touch(struct causes_job *j, size_t k, const struct reading_u *u, struct tp_error *err)
{
        const struct standard_reading *r = &j->readings[k];
        enum code code = CODE_OK;
        for (int port = 0; port < 2 && !r->standard->raised; port++) {
                if (!causes_reads_port(r, port))
                        continue;
                if (u->contact_ohm > 0 && !code)
                        code = touch_cause(j, k, RF_TOUCH_R, port, u, err);
                if (u->contact_h > 0 && !code)
                        code = touch_cause(j, k, RF_TOUCH_L, port, u, err);
                if (u->placement_um > 0 && !code)
                        code = touch_cause(j, k, RF_TOUCH_PLACE, port, u, err);
        }
        bool both = causes_reads_port(r, 0) && causes_reads_port(r, 1);
        if (u->placement_um > 0 && both && !r->standard->raised && !code)
                code = touch_cause(j, k, RF_TOUCH_BOTH, 0, u, err);
        return code;
}

/* ---- lines --------------------------------------------------------------------------------------------------------------------------- */

static enum code cause_of_length(struct causes_job *j, size_t k, struct tp_error *err)
{
        const struct standard *s = j->readings[k].standard;
        char name[CAUSE_NAME_MAX];
        struct standard up = *s, down = *s;
        double u_um = s->model.u_length_um;
        const double by = STEP / u_um * 100; /* a thousandth of a um */
        up.model.length_um += by * u_um;
        down.model.length_um -= by * u_um;
        snprintf(name, sizeof name, "%s: length", s->name);
        return cause_by(j, &(struct move){.kind = CAUSE_OF_LENGTH, .k = k, .standard = &up},
                        &(struct move){.kind = CAUSE_OF_LENGTH, .k = k, .standard = &down}, by, err, name);
}

enum line_number { LINE_CAPACITANCE, LINE_LOSS_TANGENT, LINE_Z };
static double *line_number(struct calibration_plan *p, enum line_number which)
{
        return which == LINE_CAPACITANCE ? &p->line_capacitance_f_m : which == LINE_Z ? &p->line_z_ohm : &p->line_loss_tangent;
}

static enum code cause_of_plan(struct causes_job *j, enum line_number which, double u, double step, const char *name, struct tp_error *err)
{
        struct calibration_plan up = *j->plan, down = *j->plan;
        if (!(u > 0))
                return CODE_OK;
        *line_number(&up, which) += step;
        *line_number(&down, which) -= step;
        return cause_by(j, &(struct move){.kind = CAUSE_OF_LINE, .plan = &up}, &(struct move){.kind = CAUSE_OF_LINE, .plan = &down},
                        step / u, err, name);
}

/* What a real impedance leaves out: loss makes it gamma/(jwC).  The C whose line has this impedance at the highest frequency, where loss counts
   least; the whole difference is one standard uncertainty. */
static enum code cause_of_real_impedance(struct causes_job *j, struct tp_error *err)
{
        const struct solved_calibration *s = j->solved;
        struct solved_calibration *lossy = NULL;
        struct calibration_plan plan = *j->plan;
        size_t i = s->axis.n;
        while (i > 0 && !isfinite(s->gamma_im[i - 1]))
                i--;
        if (i == 0 || !(s->gamma_re[i - 1] > 0))
                return CODE_OK;
        plan.line_capacitance_f_m = s->gamma_im[i - 1] / (RF_TWO_PI * s->axis.hz[i - 1] * plan.line_z_ohm);
        plan.line_z_ohm = plan.line_loss_tangent = 0;
        enum code code = solve_moved(j, &(struct move){.kind = CAUSE_OF_LINE, .plan = &plan}, 0, &lossy, err);
        if (!code)
                code = causes_add(j, CAUSE_OF_LINE, INFINITY, side_of(lossy), side_of(s), 1, err, "%s", "lines: impedance taken as real");
        arena_reset(j->scratch);
        return code;
}

static enum code causes_of_lines(struct causes_job *j, struct tp_error *err)
{
        const struct calibration_plan *p = j->plan;
        bool lines = false, lengths = false;
        enum code code = CODE_OK;
        for (size_t b = 0; b < j->solved->band_n; b++)
                lines = lines || method_is_of_lines(j->solved->bands[b].method);
        for (size_t k = 0; k < j->n && !code && lines; k++) {
                const struct standard *s = j->readings[k].standard;
                if (!(s->model.u_length_um > 0) || (s->kind != STANDARD_LINE && s->kind != STANDARD_THRU))
                        continue;
                lengths = true;
                code = cause_of_length(j, k, err);
        }
        if (lines && !lengths)
                causes_not_counted(j, "lengths of the lines");
        if (lines && p->line_capacitance_f_m > 0 && !(p->line_capacitance_u_f_m > 0))
                causes_not_counted(j, "the lines' capacitance");
        if (lines && p->line_z_ohm > 0 && !(p->line_z_ohm_u > 0))
                causes_not_counted(j, "the lines' impedance");
        if (!code && lines && p->line_capacitance_f_m > 0)
                code = cause_of_plan(j, LINE_CAPACITANCE, p->line_capacitance_u_f_m, STEP * p->line_capacitance_f_m, "lines: capacitance",
                                     err);
        if (!code && lines && p->line_capacitance_f_m > 0)
                code = cause_of_plan(j, LINE_LOSS_TANGENT, p->line_loss_tangent_u, STEP, "lines: loss tangent", err);
        if (!code && lines && p->line_z_ohm > 0)
                code = cause_of_plan(j, LINE_Z, p->line_z_ohm_u, STEP * p->line_z_ohm, "lines: impedance", err);
        if (!code && lines && p->line_z_ohm > 0 && p->line_z_ohm_u > 0 && !(p->line_capacitance_f_m > 0))
                code = cause_of_real_impedance(j, err);
        return code;
}

/* ---- all of it ----------------------------------------------------------------------------------------------------------------------- */

enum code calibration_causes(const struct calibration_plan *plan, const struct solve_conditions *at,
                             const struct standard_reading *readings, size_t n, const struct solved_calibration *solved,
                             const struct reading_u *each, struct arena *arena, struct terms_causes **ret, struct tp_error *err)
{
        struct causes_job j = {.plan = plan, .at = *at, .readings = readings, .n = n, .solved = solved, .arena = arena};
        j.at.held = solved;
        if (!(j.to = arena_take(arena, sizeof *j.to)) || !(j.to->of = arena_take(arena, CAUSES_MAX * sizeof *j.to->of)) ||
            !(j.to->not_counted = arena_take(arena, CAUSES_NOT_COUNTED_MAX * sizeof *j.to->not_counted)) || !(j.scratch = arena_new(0)))
                return tp_fail_memory(err);
        j.to->reading = *each;
        enum code code = CODE_OK;
        for (size_t k = 0; k < n && !code; k++)
                code = causes_of_definition(&j, k, err);
        if (!code)
                code = causes_of_documents(&j, err);
        if (!code)
                code = causes_of_lines(&j, err);
        for (size_t k = 0; k < n && !code; k++)
                code = causes_of_touch(&j, k, each, err);
        if (each->contact_ohm == 0 && each->contact_h == 0)
                causes_not_counted(&j, "contact");
        if (each->placement_um == 0)
                causes_not_counted(&j, "placement");
        if (!code)
                code = causes_of_other_pairs(&j, err);
        if (!code && (each->noise_floor > 0 || each->noise_trace > 0))
                code = causes_of_noise(&j, err);
        else
                causes_not_counted(&j, "noise of the readings");
        arena_free(j.scratch);
        if (!code)
                *ret = j.to;
        return code;
}
