/* vector_fit.c: data checked, poles found, spurious ones dropped, the model reported (vector_fit.h).  Read fit_poles.c first, then
   fit_order.c. */
#include "rf/models/fit_poles.h"
#include "rf/models/model.h"
#include <math.h>
#include <string.h>

const char *const fit_stop_words[FIT_STOP_COUNT + 1] = {"unknown", "order", "noise", "exact", "gain", "most", NULL};

size_t rational_order(const struct rational *r)
{
        size_t n = 0;
        for (size_t i = 0; i < r->pole_n; i++)
                n += cimag(r->pole[i]) > 0 ? 2 : 1;
        return n;
}
double complex rational_at_s(const struct rational *r, size_t q, double complex s)
{
        double complex sum = r->d[q] + s * r->e[q];
        for (size_t i = 0; i < r->pole_n; i++) {
                sum += r->residue[q][i] / (s - r->pole[i]);
                if (cimag(r->pole[i]) > 0)
                        sum += conj(r->residue[q][i]) / (s - conj(r->pole[i]));
        }
        return sum;
}
double complex rational_at(const struct rational *r, size_t q, double hz) { return rational_at_s(r, q, CMPLX(0, RF_TWO_PI * hz)); }

/* ---- memory ---- */
static size_t padded(size_t n) { return (n + 7) / 8 * 8; }
static size_t lay_out(struct work *w, double *memory, size_t n, size_t q, size_t order)
{
        size_t own = order + 2, sigma = order + 1, at = 0;
#define TAKE(member, count) (w->member = memory ? memory + at : NULL, at += padded(count))
        TAKE(x, n);
        TAKE(weight, n * q);
        TAKE(where, n);
        TAKE(own, own * own * q);
        TAKE(top, own * (sigma > q ? sigma : q) * q);
        TAKE(sigma, (sigma + 1) * (sigma + 1));
        TAKE(block, (own + q * sigma) * FIT_ROWS);
        TAKE(phi, 2 * (order + 3) * FIT_BLOCK);
        TAKE(gram, fit_gram_doubles(order, q));
        TAKE(few, FEW_MAX * (1 + 3 * q));
#undef TAKE
        return at;
}
size_t rf_vector_fit_bytes(size_t n, size_t element_n, size_t order_max)
{
        struct work w;
        return lay_out(&w, NULL, n, element_n, order_max && order_max < RF_FIT_ORDER_MAX ? order_max : RF_FIT_ORDER_MAX) * sizeof(double);
}

/* What the data themselves say about their noise (rf_noise_by_differences); 0 with weights of their own. */
static double noise_seen(const struct grid *g)
{
        double sum = 0;
        for (size_t q = 0; q < g->q; q++) {
                double level = g->w[q] ? 0 : rf_noise_by_differences(g->n, g->re[q], g->im[q]);
                sum += level > 0 ? level * level : 0;
        }
        return sqrt(sum / (double)g->q);
}

/* ---- the whole ---- */
static enum code data_check(const struct fit_data *d, const struct fit_options *o, struct tp_error *err)
{
        if (d->element_n < 1 || d->element_n > RF_FIT_ELEMENTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a fit takes 1 to %d responses at once, these are %zu", RF_FIT_ELEMENTS_MAX,
                               d->element_n);
        if (o->order > RF_FIT_ORDER_MAX || o->order_max > RF_FIT_ORDER_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a fit has at most %d poles, asked for are %zu", RF_FIT_ORDER_MAX,
                               o->order > o->order_max ? o->order : o->order_max);
        if (d->n < 2)
                return tp_fail(err, CODE_BAD_INPUT, "a fit needs at least 2 frequencies, given are %zu", d->n);
        for (size_t i = 0; i < d->n; i++) {
                if (!(d->hz[i] >= 0 && d->hz[i] < 1e18))
                        return tp_fail(err, CODE_BAD_INPUT, "frequency %zu is %g Hz; it must be 0 or more and finite", i + 1, d->hz[i]);
                if (i > 0 && !(d->hz[i] > d->hz[i - 1]))
                        return tp_fail(err, CODE_BAD_INPUT, "frequency %zu, %.9g Hz, does not rise after %.9g Hz", i + 1, d->hz[i],
                                       d->hz[i - 1]);
                for (size_t q = 0; q < d->element_n; q++)
                        if (!(isfinite(d->re[q][i]) && isfinite(d->im[q][i])))
                                return tp_fail(err, CODE_BAD_INPUT, "response %zu is not a number at %.9g Hz; leave that point out", q + 1,
                                               d->hz[i]);
                if (o->weight == FIT_WEIGHT_GIVEN && !(o->weights[i] >= 0 && isfinite(o->weights[i])))
                        return tp_fail(err, CODE_BAD_INPUT, "weight %zu is %g; it must be 0 or more and finite", i + 1, o->weights[i]);
        }
        if (o->hold_dc && o->no_constant)
                return tp_fail(err, CODE_BAD_INPUT, "to keep the value at 0 Hz the model needs its constant term");
        if (!(o->floor >= 0 && isfinite(o->floor)))
                return tp_fail(err, CODE_BAD_INPUT, "the floor of the weights is %g; it must be 0 or more and finite", o->floor);
        if (!(o->noise >= 0 && isfinite(o->noise)))
                return tp_fail(err, CODE_BAD_INPUT, "the noise is %g; give its rms, or 0 when it is not known", o->noise);
        size_t unknowns = o->order + !o->no_constant + o->proportional;
        if (2 * d->n * d->element_n < unknowns * d->element_n + o->order || 2 * d->n < unknowns)
                return tp_fail(err, CODE_BAD_INPUT, "%zu frequencies are too few for %zu poles; measure more points or fit fewer poles",
                               d->n, o->order);
        return CODE_OK;
}

static struct grid grid_of(struct work *w, const struct fit_data *d, const struct fit_options *o)
{
        struct grid g = {.n = d->n, .q = d->element_n, .x = w->x, .shared = o->weight != FIT_WEIGHT_INVERSE};
        for (size_t i = 0; i < d->n; i++)
                w->x[i] = d->hz[i] / d->hz[d->n - 1];
        for (size_t q = 0; q < g.q; q++) {
                g.re[q] = d->re[q];
                g.im[q] = d->im[q];
                double most = 0, *to = w->weight + q * d->n;
                for (size_t i = 0; i < d->n; i++)
                        most = fmax(most, hypot(d->re[q][i], d->im[q][i]));
                double least = fmax(1e-6 * most, o->floor);
                if (o->weight == FIT_WEIGHT_INVERSE) {
                        for (size_t i = 0; i < d->n; i++)
                                to[i] = least > 0 ? 1 / fmax(hypot(d->re[q][i], d->im[q][i]), least) : 1;
                        g.w[q] = to;
                } else if (o->weight == FIT_WEIGHT_GIVEN) {
                        g.w[q] = o->weights;
                }
                for (size_t i = 0; i < d->n; i++) {
                        double m = g.w[q] ? g.w[q][i] : 1;
                        g.signal2 += m * m * (d->re[q][i] * d->re[q][i] + d->im[q][i] * d->im[q][i]);
                }
        }
        return g;
}

static void rational_from(const struct work *w, const struct grid *g, const struct poles *p, double w0, struct rational *ret)
{
        size_t order = fit_order_of(p);
        memset(ret, 0, sizeof *ret);
        ret->element_n = g->q;
        ret->pole_n = p->n;
        for (size_t i = 0; i < p->n; i++)
                ret->pole[i] = p->p[i] * w0;
        for (size_t q = 0; q < g->q; q++) {
                const double *c = w->coefficient + q * FIT_OWN_MAX;
                for (size_t i = 0, j = 0; i < p->n; i++) {
                        bool pair = cimag(p->p[i]) > 0;
                        ret->residue[q][i] = CMPLX(c[j], pair ? c[j + 1] : 0) * w0;
                        j += pair ? 2 : 1;
                }
                ret->d[q] = c[order];
                ret->e[q] = c[order + 1] / w0;
        }
}

enum code rf_vector_fit(const struct fit_data *d, const struct fit_options *o, void *workspace, struct rational *ret,
                        struct fit_report *report, struct tp_error *err)
{
        enum code code = data_check(d, o, err);
        if (code)
                return code;
        struct work w = {.constant = !o->no_constant, .proportional = o->proportional, .rounds_max = o->rounds_max ? o->rounds_max : 20};
        size_t most = o->order ? o->order : o->order_max ? o->order_max : RF_FIT_ORDER_MAX;
        while (!o->order && most > 0 &&
               2 * d->n * d->element_n < (most + 2) * d->element_n + 2 * most) /* twice the order: something to average */
                most--;
        lay_out(&w, workspace, d->n, d->element_n, most);
        struct grid g = grid_of(&w, d, o);
        for (size_t q = 0; q < g.q; q++)
                w.dc[q] = o->dc ? o->dc[q] : d->re[q][0];
        struct fit_report r = {.signal_rms = sqrt(g.signal2 / ((double)g.n * (double)g.q))};
        double floor = 1e-13 * r.signal_rms, exact = 1e-11 * r.signal_rms;
        struct poles p;
        double noise = o->noise, seen = noise > 0 ? noise : noise_seen(&g);
        /* the value at 0 Hz is held in the residues only: while poles are looked for, it would bend them */
        if (o->order) {
                struct grid few = fit_few(&w, &g, fit_few_for(o->order));
                p = fit_start(&g, o->order);
                r.order_tried = o->order;
                double here = fit_settle(&w, &few, &p, w.rounds_max, 3, floor);
                r.stop = FIT_STOP_ORDER;
                if (few.n < g.n)
                        fit_polish(&w, &g, &p, here, r.signal_rms);
        } else {
                p = fit_grow(&w, &g, seen, noise, most, floor, &r);
                struct grid few = fit_few(&w, &g, fit_few_for(fit_order_of(&p)));
                if (few.n < g.n)
                        fit_polish(&w, &g, &p, fit_residues(&w, &few, &p), r.signal_rms);
        }
        fit_sort(&p);
        double rms = fit_residues(&w, &g, &p);
        if (!isfinite(rms))
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "no rational model could be found: the equations have no finite solution; look at the data "
                               "for outliers, or fit fewer poles");
        fit_weigh(&w, &g, &p, &r, NULL);
        if (o->order > 2 && seen > 0 && rms > 1.1 * seen &&
            fit_order_of(&p) == o->order) { /* a wrong valley, or the data want more poles */
                struct fit_report up = r;
                struct poles other = fit_grow(&w, &g, seen, 0, o->order, floor, &up);
                fit_settle(&w, &g, &other, 6, 2, floor);
                if (fit_residues(&w, &g, &other) < 0.9 * rms) {
                        p = other;
                        fit_sort(&p);
                }
                rms = fit_residues(&w, &g, &p);
                fit_weigh(&w, &g, &p, &r, NULL);
        }
        size_t before = fit_order_of(&p);
        bool again = o->hold_dc;
        if (!o->keep_all && fit_something_idle(&w, &p, rms, exact)) {
                struct poles was = p;
                again = true;
                struct grid few = fit_few(&w, &g, fit_few_for(before));
                double allowed = o->order ? 1.0005 : 1.02, here = few.n < g.n ? fit_residues(&w, &few, &p) : rms;
                here = fit_prune(&w, &few, &p, here, exact, allowed);
                if (here <= exact && fit_order_of(&p) < before &&
                    o->order) { /* more poles than the data have: the short way up may need fewer still */
                        struct fit_report up = r;
                        struct poles fewer = fit_grow(&w, &g, 0, 0, fit_order_of(&p) - 1, exact, &up);
                        few = fit_few(&w, &g, fit_few_for(before));
                        if (fit_residues(&w, &few, &fewer) <= exact) {
                                p = fewer;
                                fit_prune(&w, &few, &p, exact, exact, 1);
                        }
                }
                if (fit_order_of(&p) < before && few.n < g.n) {
                        fit_polish(&w, &g, &p, here, r.signal_rms);
                        if (fit_residues(&w, &g, &p) > fmax((cabs(was.p[was.n - 1]) > 5 ? 1.1 : allowed) * rms, 10 * exact))
                                p = was; /* the few did not speak for all */
                }
                fit_sort(&p);
        }
        r.dropped = before - fit_order_of(&p);
        w.hold_dc = o->hold_dc;
        if (again) {
                fit_residues(&w, &g, &p);
                fit_weigh(&w, &g, &p, &r, NULL);
        }
        r.worst_hz *= d->hz[d->n - 1];
        r.order = fit_order_of(&p);
        r.rounds = w.rounds;
        rational_from(&w, &g, &p, RF_TWO_PI * d->hz[d->n - 1], ret);
        if (report)
                *report = r;
        return CODE_OK;
}
