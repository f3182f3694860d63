/* circuit_fit.c: elements of a circuit from measured S (circuit.h).
 *
 * Residual    First (Y_model - Y) / (|Y| + floor) for all elements, floor 1 % of the element's largest |Y| (at 70 kHz the noise of S is
 *             larger than a femtofarad's Y): it has fewer wrong valleys.  Then S_model - S, in units of its uncertainty if that is
 *             given: where the noise of S is even, only this makes the stated uncertainties true.
 *
 * Starts      Read off the data (circuit_shapes.c), and some beside them, on at most 64 points; the best goes on with all.
 *
 * Leaving     An element that the data do not determine goes to zero: one after the other, in the order of the shape, while the residual
 *             allows it; how far the others move by that is part of their uncertainty. */
#include "rf/models/circuit_own.h"
#include "rf/numbers/levenberg.h"
#include "rf/models/model_own.h"
#include "rf/numbers/small.h"
#include <math.h>
#include <string.h>

#define REFUSED_RMS 0.05
#define REFUSED_CONDITION 1e8
#define FLOOR 0.01
#define VAGUE 0.5

struct job {
        enum circuit_kind kind;
        const struct model_data *data;
        const struct circuit_options *o;
        const struct shape *shape;
        bool in_s, exists[RF_CIRCUIT_ELEMENTS_MAX], dropped[RF_CIRCUIT_ELEMENTS_MAX], needed[RF_CIRCUIT_ELEMENTS_MAX];
        double v[RF_CIRCUIT_ELEMENTS_MAX], floor[RF_FIT_ELEMENTS_MAX];
        double shift[RF_CIRCUIT_ELEMENTS_MAX]; /* how far (logarithm, squares) others' leaving has moved an element */
        size_t first, step;                    /* frequencies first, first + step … */
        size_t active[RF_CIRCUIT_ELEMENTS_MAX], active_n;
};

static void values(const struct job *j, const double *x, double *v)
{
        memcpy(v, j->v, sizeof j->v);
        for (size_t k = 0; k < j->active_n; k++)
                v[j->active[k]] = exp(x[k]);
}

static void s_of(const struct job *j, const double *v, double hz, double complex *ret)
{
        circuit_s(j->kind, v, j->data->ports, j->o->differential, j->o->length_m, hz, j->data->z_ohm, ret);
}

static void residual(const void *context, size_t first, size_t count, size_t x_n, const double *x, double *r)
{
        const struct job *j = context;
        struct seen seen = {j->data};
        size_t e = j->data->ports * j->data->ports;
        double v[1 + 2 * RF_CIRCUIT_ELEMENTS_MAX][RF_CIRCUIT_ELEMENTS_MAX];
        for (size_t k = 0; k < x_n; k++)
                values(j, x + k * j->active_n, v[k]);
        for (size_t item = 0; item < count; item++) {
                size_t i = j->first + (first + item) * j->step;
                double complex was[4];
                double over[4], hz = j->data->axis->hz[i];
                if (j->in_s)
                        seen_s(&seen, i, was);
                else
                        seen_y(&seen, i, was);
                for (size_t q = 0; q < e; q++) {
                        double u = j->o->u_of[q] ? j->o->u_of[q][i] : j->o->u;
                        over[q] = !j->in_s ? 1 / (cabs(was[q]) + j->floor[q]) : u > 0 ? 1 / u : 1;
                }
                for (size_t k = 0; k < x_n; k++) {
                        double complex is[4];
                        double *to = r + (k * count + item) * 2 * e;
                        if (j->in_s)
                                s_of(j, v[k], hz, is);
                        else
                                circuit_y(j->kind, v[k], j->data->ports, j->o->differential, j->o->length_m, hz, is);
                        for (size_t q = 0; q < e; q++) {
                                to[2 * q] = creal(is[q] - was[q]) * over[q];
                                to[2 * q + 1] = cimag(is[q] - was[q]) * over[q];
                        }
                }
        }
}

static enum code check(enum circuit_kind kind, const struct model_data *d, const struct circuit_options *o, struct tp_error *err)
{
        if (!circuit_shape(kind))
                return tp_fail(err, CODE_BAD_INPUT, "no such circuit; there are inductor, capacitor, resistor, line");
        if (d->ports != 1 && d->ports != 2)
                return tp_fail(err, CODE_BAD_INPUT, "a circuit is fitted to one or two ports, the data have %zu", d->ports);
        if (!(d->z_ohm > 0 && isfinite(d->z_ohm)))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the data's reference impedance is not one real value; renormalise them to 50 ohm first");
        if (kind == CIRCUIT_LINE && !(o->length_m > 0 && isfinite(o->length_m)))
                return tp_fail(err, CODE_BAD_INPUT, "a line needs its length; given is %g m", o->length_m);
        if (kind == CIRCUIT_LINE && d->ports != 2)
                return tp_fail(err, CODE_BAD_INPUT, "a line is fitted to two-port data");
        if (o->differential && (d->ports != 1 || kind != CIRCUIT_INDUCTOR))
                return tp_fail(err, CODE_BAD_INPUT, "differential is said of one-port data of an inductor; two-port data are fitted whole");
        if (!(o->u >= 0 && isfinite(o->u)))
                return tp_fail(err, CODE_BAD_INPUT, "the uncertainty of S is %g; give a standard uncertainty, or 0 when it is not known",
                               o->u);
        for (size_t i = 0; i < d->axis->n; i++) {
                if (!(d->axis->hz[i] >= 0) || (i && !(d->axis->hz[i] > d->axis->hz[i - 1])))
                        return tp_fail(err, CODE_BAD_INPUT, "frequency %zu, %.9g Hz, does not rise", i + 1, d->axis->hz[i]);
                for (size_t q = 0; q < d->ports * d->ports; q++) {
                        if (!(isfinite(d->re[q][i]) && isfinite(d->im[q][i])))
                                return tp_fail(err, CODE_BAD_INPUT, "S%zu%zu is not a number at %.9g Hz; leave that point out",
                                               q / d->ports + 1, q % d->ports + 1, d->axis->hz[i]);
                        if (o->u_of[q] && !(o->u_of[q][i] > 0 && isfinite(o->u_of[q][i])))
                                return tp_fail(err, CODE_BAD_INPUT, "the uncertainty of S%zu%zu at %.9g Hz is %g; it must be above 0",
                                               q / d->ports + 1, q % d->ports + 1, d->axis->hz[i], o->u_of[q][i]);
                }
        }
        return CODE_OK;
}

static const char *article(enum circuit_kind kind) { return kind == CIRCUIT_INDUCTOR ? "an" : "a"; }

/* Which elements there are to find. */
static void choose(struct job *j)
{
        bool one = j->data->ports == 1;
        for (size_t i = 0; i < j->shape->n; i++) {
                const char *name = j->shape->element[i].name;
                bool second = name[strlen(name) - 1] == '2';
                bool is_skin = strcmp(name, "f_skin") == 0, is_rsub = strncmp(name, "rsub", 4) == 0;
                bool hidden = one && j->kind == CIRCUIT_INDUCTOR && i == IND_CP; /* parallel to the shunt: its three constants hold it */
                j->exists[i] = !(one && second) && !hidden && !(is_skin && !j->o->skin && j->kind != CIRCUIT_LINE) &&
                               !(is_rsub && j->kind == CIRCUIT_CAPACITOR && !j->o->substrate);
                if (!j->exists[i])
                        j->v[i] = is_skin ? INFINITY : 0;
        }
}

static struct levenberg problem_of(struct job *j, size_t points_max, double *x)
{
        j->first = j->data->axis->hz[0] > 0 ? 0u : 1u;
        size_t n = j->data->axis->n - j->first;
        j->step = points_max && n > points_max ? (n + points_max - 1) / points_max : 1;
        j->active_n = 0;
        for (size_t i = 0; i < j->shape->n; i++)
                if (j->exists[i] && !j->dropped[i]) {
                        x[j->active_n] = log(j->v[i]);
                        j->active[j->active_n++] = i;
                }
        return (struct levenberg){.n = j->active_n,
                                  .items = (n + j->step - 1) / j->step,
                                  .rows = 2 * j->data->ports * j->data->ports,
                                  .residual = residual,
                                  .context = j,
                                  .rounds_max = points_max ? 30 : 0,
                                  .tolerance = points_max ? 1e-4 : 0}; /* of a start it is enough to know where it leads */
}

/* Fits from j->v into j->v. */
static bool fit(struct job *j, size_t points_max, struct levenberg_result *ret)
{
        double x[RF_CIRCUIT_ELEMENTS_MAX];
        struct levenberg p = problem_of(j, points_max, x);
        if (!levenberg_fit(&p, x, ret))
                return false;
        values(j, x, j->v);
        return true;
}

/* The start from the data and a few around it: what is under the oxide, and the small reactances, are the least certain guesses. */
static bool first_fit(struct job *j, struct levenberg_result *ret)
{
        static const double factors[6][2] = {{1, 1}, {4, 0.25}, {0.25, 4}, {4, 4}, {0.25, 0.25}, {1, 0.03}};
        double start[RF_CIRCUIT_ELEMENTS_MAX], best[RF_CIRCUIT_ELEMENTS_MAX], least = INFINITY;
        memcpy(start, j->v, sizeof start);
        for (int k = 0; k < 6; k++) {
                memcpy(j->v, start, sizeof start);
                for (size_t i = 0; i < j->shape->n; i++) {
                        int leave = j->shape->element[i].leave;
                        if (leave > 0 && j->exists[i])
                                j->v[i] *= factors[k][leave % 2]; /* neighbours in the order of leaving go opposite ways */
                }
                struct levenberg_result r;
                if (!fit(j, 64, &r) || !(r.rms < least))
                        continue;
                *ret = r;
                least = r.rms;
                memcpy(best, j->v, sizeof best);
        }
        if (!isfinite(least))
                return false;
        memcpy(j->v, best, sizeof best);
        return true;
}

/* Variance of the logarithm of each active element. */
static void variances(const struct job *j, const struct levenberg_result *r, double *ret)
{
        double rows = (double)(j->data->axis->n - j->first) * 2.0 * (double)(j->data->ports * j->data->ports), n = (double)j->active_n;
        double chi = rows > n ? r->rms * r->rms * rows / (rows - n) : INFINITY;
        bool given = j->o->u > 0 || j->o->u_of[0];
        for (size_t k = 0; k < j->active_n; k++)
                ret[k] = r->covariance[k * j->active_n + k] * (given ? fmax(1, chi) : chi);
}

/* The element that should leave: the first in the shape's order among the undetermined; shape->n: none. */
static size_t vague(const struct job *j, const struct levenberg_result *r)
{
        double variance[RF_CIRCUIT_ELEMENTS_MAX], most = 0;
        size_t found = j->shape->n, weakest = j->shape->n;
        variances(j, r, variance);
        for (size_t k = 0; k < j->active_n; k++) {
                size_t i = j->active[k];
                int leave = j->shape->element[i].leave;
                if (leave == 0 || j->needed[i])
                        continue;
                if (!(r->covariance[k * j->active_n + k] <= most)) {
                        most = r->covariance[k * j->active_n + k];
                        weakest = i;
                }
                if (!(variance[k] <= 1) && (found == j->shape->n || leave < j->shape->element[found].leave))
                        found = i;
        }
        return found == j->shape->n && !(r->condition <= REFUSED_CONDITION) ? weakest : found;
}

static void take_out(struct job *j, size_t i)
{
        j->dropped[i] = true;
        j->v[i] = strcmp(j->shape->element[i].name, "f_skin") == 0 ? INFINITY : 0;
        /* nothing lies under an oxide that is not there, or without a resistance in series */
        if (j->kind == CIRCUIT_INDUCTOR)
                for (size_t side = IND_COX1; side <= IND_COX2; side += IND_COX2 - IND_COX1)
                        for (size_t k = i + 1; i >= side && i <= side + 1 && k <= side + 2; k++)
                                if (j->exists[k])
                                        take_out(j, k);
        if (j->kind == CIRCUIT_CAPACITOR && (i == CAP_COX1 || i == CAP_COX2) && j->exists[i + 1])
                take_out(j, i + 1);
}

static void report(const struct job *j, const struct levenberg_result *r, struct circuit *ret)
{
        double variance[RF_CIRCUIT_ELEMENTS_MAX];
        variances(j, r, variance);
        ret->element_n = 0;
        for (size_t i = 0; i < j->shape->n; i++) {
                if (!j->exists[i])
                        continue;
                struct circuit_element *e = &ret->element[ret->element_n++];
                *e = (struct circuit_element){.name = j->shape->element[i].name,
                                              .unit = j->shape->element[i].unit,
                                              .value = j->v[i],
                                              .u = NAN,
                                              .dropped = j->dropped[i]};
                for (size_t k = 0; k < j->active_n; k++)
                        if (j->active[k] == i) {
                                double all = variance[k] + j->shift[i];
                                e->u = e->value * sqrt(all);
                                e->undetermined = !(all <= VAGUE * VAGUE);
                        }
        }
        ret->condition = r->condition;
        model_error_begin(&ret->error);
        size_t e = j->data->ports * j->data->ports;
        struct seen seen = {j->data};
        for (size_t i = j->first; i < j->data->axis->n; i++) {
                double complex s[4], data[4];
                s_of(j, j->v, j->data->axis->hz[i], s);
                seen_s(&seen, i, data);
                model_error_add(&ret->error, j->data->axis->hz[i], e, s, data);
        }
        model_error_end(&ret->error, e);
        bool given = j->o->u > 0 || j->o->u_of[0];
        ret->misfit = given ? r->rms : NAN;
        ret->rms = ret->error.rms;
        if (j->kind == CIRCUIT_LINE)
                return;
        struct job scaled = *j;
        double x[RF_CIRCUIT_ELEMENTS_MAX], one[2 * RF_FIT_ELEMENTS_MAX], sum = 0;
        struct levenberg p = problem_of(&scaled, 0, x);
        scaled.in_s = false;
        for (size_t i = 0; i < p.items; i++) {
                residual(&scaled, i, 1, 1, x, one);
                for (size_t k = 0; k < p.rows; k++)
                        sum += one[k] * one[k];
        }
        ret->rms = sqrt(sum / (double)(p.items * p.rows));
}

/* What counts as nothing in each element of Y; refuses where Y does not exist. */
static enum code floors(struct job *j, size_t from, struct tp_error *err)
{
        struct seen seen = {j->data};
        for (size_t i = from; i < j->data->axis->n; i++) {
                double complex y[4];
                seen_y(&seen, i, y);
                for (size_t q = 0; q < j->data->ports * j->data->ports; q++) {
                        if (!(cabs(y[q]) * j->data->z_ohm < 1e9))
                                return tp_fail(err, CODE_UNRESOLVABLE,
                                               "Y does not exist at %.9g Hz (a short, or a thru without impedance); %s %s cannot be fitted",
                                               j->data->axis->hz[i], article(j->kind), circuit_words[j->kind]);
                        j->floor[q] = fmax(j->floor[q], FLOOR * cabs(y[q]));
                }
        }
        return CODE_OK;
}

static enum code begin(struct job *j, struct tp_error *err)
{
        size_t n = j->data->axis->n, elements = 0;
        bool dc = n && !(j->data->axis->hz[0] > 0);
        choose(j);
        for (size_t i = 0; i < j->shape->n; i++)
                elements += j->exists[i];
        if (2 * j->data->ports * j->data->ports * (n - dc) < elements + 1 || n < (dc ? 4u : 3u))
                return tp_fail(err, CODE_BAD_INPUT, "%zu frequencies are too few for the %zu elements of a %s; measure more points", n,
                               elements, circuit_words[j->kind]);
        enum code code = j->kind == CIRCUIT_LINE ? CODE_OK : floors(j, dc, err);
        if (code)
                return code;
        double start[RF_CIRCUIT_ELEMENTS_MAX] = {0};
        circuit_start(j->kind, &(struct seen){j->data}, j->o->length_m, start);
        for (size_t i = 0; i < j->shape->n; i++)
                if (j->exists[i])
                        j->v[i] = start[i] > 0 && isfinite(start[i]) ? start[i] : 1e-12;
        return CODE_OK;
}

/* By S or by Y first, whichever ends better; then by S over all frequencies. */
static bool settle(struct job *j, struct levenberg_result *r)
{
        struct levenberg_result other;
        struct job by_y = *j;
        j->in_s = true;
        by_y.in_s = false;
        bool found = first_fit(j, r);
        if (j->kind != CIRCUIT_LINE && first_fit(&by_y, &other)) {
                by_y.in_s = true;
                if (fit(&by_y, 64, &other) && !(found && r->rms <= other.rms)) {
                        *j = by_y;
                        found = true;
                }
        }
        return found && fit(j, 0, r);
}

/* Elements that nobody can tell go, one after the other.  Returns the rounds that took. */
static unsigned leave(struct job *j, struct levenberg_result *r)
{
        unsigned rounds = 0;
        for (size_t out; (out = vague(j, r)) < j->shape->n;) {
                struct job less = *j;
                struct levenberg_result s;
                take_out(&less, out);
                if (!fit(&less, 0, &s) || !(s.rms <= 1.02 * r->rms + 1e-9)) {
                        j->needed[out] = true; /* though nobody can say how large it is */
                        continue;
                }
                for (size_t i = 0; i < j->shape->n; i++)
                        if (j->exists[i] && !less.dropped[i]) {
                                double moved = log(less.v[i] / j->v[i]);
                                less.shift[i] += isfinite(moved) ? moved * moved : 0;
                        }
                *j = less;
                *r = s;
                rounds += r->rounds;
        }
        return rounds;
}

static enum code judge(const struct job *j, const struct levenberg_result *r, const struct circuit *c, struct tp_error *err)
{
        double bad = isfinite(c->misfit) ? c->error.rms : fmax(c->rms, c->error.rms), most = -1;
        if (!(bad <= REFUSED_RMS))
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "%s %s does not describe these data: the residual is %.2g of the data, worst at %.4g GHz; choose another "
                               "circuit, a narrower band, or a vector fit",
                               article(j->kind), circuit_words[j->kind], bad, c->error.worst_hz / 1e9);
        if (r->condition <= REFUSED_CONDITION)
                return CODE_OK;
        const char *name = "";
        for (size_t k = 0; k < j->active_n; k++)
                if (!(r->covariance[k * j->active_n + k] <= most)) {
                        most = r->covariance[k * j->active_n + k];
                        name = j->shape->element[j->active[k]].name;
                }
        return tp_fail(err, CODE_UNRESOLVABLE,
                       "the data do not determine the %s of this %s (condition number %.1e); measure over a wider band", name,
                       circuit_words[j->kind], r->condition);
}

enum code rf_fit_circuit(enum circuit_kind kind, const struct model_data *data, const struct circuit_options *options, struct circuit *ret,
                         struct tp_error *err)
{
        struct job j = {.kind = kind, .data = data, .o = options, .shape = circuit_shape(kind)};
        struct levenberg_result r;
        enum code code = check(kind, data, options, err);
        if (!code)
                code = begin(&j, err);
        if (code)
                return code;
        *ret = (struct circuit){.kind = kind,
                                .ports = data->ports,
                                .differential = options->differential,
                                .z_ohm = data->z_ohm,
                                .length_m = options->length_m,
                                .hz_lo = data->axis->hz[0],
                                .hz_hi = data->axis->hz[data->axis->n - 1]};
        if (!settle(&j, &r))
                return tp_fail(err, CODE_UNRESOLVABLE, "the data do not look like %s %s at all: no start could be found", article(kind),
                               circuit_words[kind]);
        ret->rounds = r.rounds;
        ret->rounds += leave(&j, &r);
        report(&j, &r, ret);
        return judge(&j, &r, ret, err);
}
