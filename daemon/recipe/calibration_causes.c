/* calibration_causes.c: terms of a calibration moved by what is stated of standards, lines and touches (calibration_causes.h).
 * Problem     Each method believes other things of its standards, and some look at all frequencies together; a list of closed forms would
 *             be one per method.
 * Idea        A wrong definition moves what a standard is believed to be; a touch moves what is read of it; a length or an impedance is a
 *             number of the plan.  The calibration as a whole is solved with each moved to both sides, and the terms' difference is the
 *             cause's column.  What is read when S of a standard moves is told by the terms themselves.
 * Sign        of no interest: causes are independent; each is kept as one vector through all that shares it.
 * Not here    noise (calibration_noise.c), drift, cables, crosstalk: nothing in a plan says how large they are. */
#include "recipe/calibration_causes.h"
#include "rf/trust/reading_causes.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define STEP 1e-5 /* of S: the derivative is good to its square, and ten digits of the difference are left */

/* ---- moving -------------------------------------------------------------------------------------------------------------------------- */

/* What moves: one reading's raw data or ideal, all frequencies together, or the plan, or one standard. */
struct move {
        enum cause_kind kind;
        const struct calibration_plan *plan; /* NULL: the job's */
        const struct standard *standard;     /* in the place of reading k's; NULL: its own */
        size_t k;                            /* the reading */
        struct net2 *d_raw, *d_ideal;        /* by one standard uncertainty; NULL: none */
        const struct net2 *const *d_ideals;  /* of every reading at once, NULL where it stays; NULL: none */
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
        struct net2 *net = net_like(d, arena);
        for (size_t i = 0; net && i < d->axis->n; i++) {
                struct m2 change = m2_scale(by, net2_get(d, i));
                net2_put(net, i, of ? m2_add(net2_get(of, i), change) : change);
        }
        if (net && of)
                net->plane = of->plane;
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
        if (m->d_ideal && !(r[m->k].d_ideal = net_moved(NULL, m->d_ideal, by, j->scratch)))
                return tp_fail_memory(err);
        for (size_t k = 0; k < j->n && m->d_ideals; k++)
                if (m->d_ideals[k] && !(r[k].d_ideal = net_moved(NULL, m->d_ideals[k], by, j->scratch)))
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

static enum code cause_of_move(struct causes_job *j, const struct move *m, struct tp_error *err, const char *fmt, ...)
        __attribute__((format(printf, 4, 5)));
static enum code cause_of_move(struct causes_job *j, const struct move *m, struct tp_error *err, const char *fmt, ...)
{
        char name[CAUSE_NAME_MAX];
        va_list args;
        va_start(args, fmt);
        vsnprintf(name, sizeof name, fmt, args);
        va_end(args);
        double most = largest_of(m->d_raw ? m->d_raw : m->d_ideal);
        return most > 0 ? cause_by(j, m, m, STEP / most, err, name) : CODE_OK;
}

/* ---- definitions --------------------------------------------------------------------------------------------------------------------- */

static bool reads_port(const struct standard_reading *r, int port) { return r->ports == 0 || (r->ports & (port == 0 ? 1u : 2u)); }

/* Does some method of the plan take what this standard is from its definition? */
static bool definition_counts(const struct causes_job *j, const char *name)
{
        for (size_t b = 0; b < j->solved->band_n; b++) {
                const struct solved_band *band = &j->solved->bands[b];
                for (size_t k = 0; k < band->problem.standard_n; k++) {
                        const struct rf_standard *s = &band->problem.standards[k];
                        for (size_t m = 0; m < band->method->need_n && strcmp(s->name, name) == 0; m++)
                                if (band->method->needs[m].kind == s->kind && band->method->needs[m].ideal && s->ideal)
                                        return true;
                }
        }
        return false;
}

/* Cause c of the definition at one port (port 2: the whole two-port) as the change of what the standard is believed to be. */
static enum code definition_cause(struct causes_job *j, size_t k, int port, size_t c, struct tp_error *err)
{
        const struct standard_reading *r = &j->readings[k];
        struct standard_definition d = standard_definition_at(r->standard, port == 1);
        struct net2 *net = net_like(r->raw, j->scratch);
        const char *names[RF_STANDARD_CAUSES] = {NULL};
        struct m2 moves[RF_STANDARD_CAUSES];
        if (!net)
                return tp_fail_memory(err);
        for (size_t i = 0; i < net->axis->n; i++) {
                rf_standard_moves(&d, j->at.temperature_c, 0, net->axis->hz[i], moves, names);
                net2_put(net, i, port == 0 ? m2_diag(moves[c].e[0], 0) : port == 1 ? m2_diag(0, moves[c].e[3]) : moves[c]);
        }
        struct move m = {.kind = CAUSE_OF_STANDARD, .k = k, .d_ideal = net};
        return port == 2 ? cause_of_move(j, &m, err, "%s: %s", r->standard->name, names[c])
                         : cause_of_move(j, &m, err, "%s: %s, port %d", r->standard->name, names[c], port + 1);
}

static bool is_reciprocal(const struct net2 *net)
{
        double worst = 0;
        for (size_t i = 0; i < net->axis->n; i++)
                worst = fmax(worst, hypot(net->re[1][i] - net->re[2][i], net->im[1][i] - net->im[2][i]));
        return worst < 1e-9;
}

/* What a standard is by data, one entry of S by one part: wrong by the same at all frequencies, for whoever measured or reckoned the data
   erred in one way over a band, and many points do not average that out.  Twice the entry 1: S12 and S21 of what is reciprocal. */
static enum code data_cause(struct causes_job *j, size_t k, int e, bool both, bool imaginary, struct tp_error *err)
{
        static const char *const entry[4] = {"S11", "S12", "S21", "S22"};
        const struct standard_reading *r = &j->readings[k];
        struct net2 *net = net_like(r->raw, j->scratch);
        struct m2 d = m2_of(0, 0, 0, 0);
        if (!net)
                return tp_fail_memory(err);
        d.e[e] = imaginary ? CMPLX(0, r->u_data) : r->u_data;
        if (both)
                d.e[e == 1 ? 2 : 1] = d.e[e];
        for (size_t i = 0; i < net->axis->n; i++)
                net2_put(net, i, d);
        struct move m = {.kind = CAUSE_OF_STANDARD, .k = k, .d_ideal = net};
        return cause_of_move(j, &m, err, "%s: data, %s %s", r->standard->name, both ? "S21 and S12" : entry[e],
                             imaginary ? "imaginary" : "real");
}

static enum code causes_of_data(struct causes_job *j, size_t k, struct tp_error *err)
{
        const struct standard_reading *r = &j->readings[k];
        bool through = standard_reading_transmits(r), reciprocal = true;
        enum code code = CODE_OK;
        if (r->ideal_causes) /* causes_of_documents() */
                return CODE_OK;
        if (!(r->u_data > 0)) {
                causes_not_counted(j, "definition of %s", r->standard->name);
                return CODE_OK;
        }
        for (size_t i = 0; i < r->standard->data_n; i++)
                reciprocal = reciprocal && !r->standard->data[i].has_s12;
        if (r->ideal)
                reciprocal = is_reciprocal(r->ideal);
        for (int e = 0; e < 4; e++) {
                bool reflects = e == 0 || e == 3;
                if (reflects ? !reads_port(r, e == 0 ? 0 : 1) : !through || (reciprocal && e == 1))
                        continue;
                for (int part = 0; part < 2 && !code; part++)
                        code = data_cause(j, k, e, !reflects && reciprocal, part == 1, err);
        }
        return code;
}

static enum code causes_of_definition(struct causes_job *j, size_t k, struct tp_error *err)
{
        const struct standard_reading *r = &j->readings[k];
        const char *names[RF_STANDARD_CAUSES];
        struct m2 moves[RF_STANDARD_CAUSES];
        size_t stated = 0;
        enum code code = CODE_OK;
        bool through = standard_reading_transmits(r);
        if (r->ideal || r->standard->data_n || r->kind == RF_KNOWN)
                return causes_of_data(j, k, err);
        for (int port = through ? 2 : 0; port < (through ? 3 : 2) && !code; port++) {
                struct standard_definition d = standard_definition_at(r->standard, port == 1);
                if (!d.kind || d.kind == RF_REFLECT || (!through && !reads_port(r, port)))
                        continue;
                size_t n = rf_standard_moves(&d, j->at.temperature_c, 0, r->raw->axis->hz[0], moves, names);
                for (size_t c = 0; c < n && !code; c++)
                        code = definition_cause(j, k, port, c, err);
                stated += n;
        }
        if (!stated && definition_counts(j, r->standard->name))
                causes_not_counted(j, "definition of %s", r->standard->name);
        return code;
}

enum code causes_of_beliefs(struct causes_job *j, const struct cause_about *about, const struct net2 *const *d_ideals, struct tp_error *err)
{
        double most = 0;
        for (size_t k = 0; k < j->n; k++)
                most = d_ideals[k] ? fmax(most, largest_of(d_ideals[k])) : most;
        struct move m = {.kind = about->kind, .freedom = isfinite(about->freedom) ? about->freedom : 0, .d_ideals = d_ideals};
        return most > 0 ? cause_by(j, &m, &m, STEP / most, err, about->name) : CODE_OK;
}

/* ---- touches ------------------------------------------------------------------------------------------------------------------------- */

/* What is read of the standard when its S move by one standard uncertainty of the touch. */
static enum code touch_cause(struct causes_job *j, size_t k, enum rf_touch touch, int port, const struct reading_u *u, struct tp_error *err)
{
        const struct standard_reading *r = &j->readings[k];
        const struct solved_calibration *s = j->solved;
        struct net2 *net = net_like(r->raw, j->scratch);
        bool whole = standard_reading_transmits(r) || s->terms.model == TERMS_SIXTEEN;
        if (!net)
                return tp_fail_memory(err);
        for (size_t i = 0; i < net->axis->n; i++) {
                struct m2 raw = net2_get(r->raw, i);
                double complex f = s->has_switch ? CMPLX(s->switch_terms.f_re[i], s->switch_terms.f_im[i]) : 0,
                               b = s->has_switch ? CMPLX(s->switch_terms.r_re[i], s->switch_terms.r_im[i]) : 0;
                struct m2 is = rf_corrected_as_read(&s->terms, i, whole ? raw : m2_diag(raw.e[0], raw.e[3]), f, b),
                          d = rf_touch_change(is, touch, port, u, net->axis->hz[i], s->terms.z_re[i] > 0 ? s->terms.z_re[i] : 50);
                const double h = 1e-4; /* of one standard uncertainty */
                struct m2 up = rf_read_of(&s->terms, i, m2_add(is, m2_scale(h, d)), f, b),
                          down = rf_read_of(&s->terms, i, m2_sub(is, m2_scale(h, d)), f, b);
                struct m2 change = m2_scale(1 / (2 * h), m2_sub(up, down));
                net2_put(net, i, whole ? change : m2_diag(change.e[0], change.e[3]));
        }
        struct move m = {.kind = touch <= RF_TOUCH_L ? CAUSE_OF_CONTACT : CAUSE_OF_PLACEMENT, .k = k, .d_raw = net};
        return touch == RF_TOUCH_BOTH ? cause_of_move(j, &m, err, "%s: %s, both ports", r->standard->name, rf_touch_words[touch])
                                      : cause_of_move(j, &m, err, "%s: %s, port %d", r->standard->name, rf_touch_words[touch], port + 1);
}

static enum code causes_of_touch(struct causes_job *j, size_t k, const struct reading_u *u, struct tp_error *err)
{
        const struct standard_reading *r = &j->readings[k];
        enum code code = CODE_OK;
        for (int port = 0; port < 2 && !r->standard->raised; port++) {
                if (!reads_port(r, port))
                        continue;
                if (u->contact_ohm > 0 && !code)
                        code = touch_cause(j, k, RF_TOUCH_R, port, u, err);
                if (u->contact_h > 0 && !code)
                        code = touch_cause(j, k, RF_TOUCH_L, port, u, err);
                if (u->placement_um > 0 && !code)
                        code = touch_cause(j, k, RF_TOUCH_PLACE, port, u, err);
        }
        bool both = reads_port(r, 0) && reads_port(r, 1);
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
        if (!code && (each->noise_floor > 0 || each->noise_trace > 0))
                code = causes_of_noise(&j, err);
        else
                causes_not_counted(&j, "noise of the readings");
        arena_free(j.scratch);
        if (!code)
                *ret = j.to;
        return code;
}
