/* standards_describe.c: how many numbers a definition takes, and whether they describe the data (standards_describe.h).
 * Problem     An open whose C goes with frequency, fitted with C0 alone, gives a wrong C0 with a small u: the fit takes the misfit, which
 *             is smooth, for noise, of which hundreds of points average.
 * Noise       third differences of what is left, medians of |d|^2 over 16 neighbours: 40 u^2 ln 2 of two components with u each.
 * Weights     1/(noise there^2 + what the residuals have beyond noise, by their median): where a calibration has much noise (lines at the
 *             lowest frequencies) it does not lead; where the misfit leads, all count alike.
 * Order       signs of n residuals without order change (n - 1)/2 times, +- sqrt(n - 1)/2; of those that go with frequency seldom.  n
 *             values with r runs are worth about 2 r independent ones (Wald & Wolfowitz, Ann. Math. Stat. 11 (1940) 147, for the test).
 * Freed       F of one more number is t^2 with as many degrees of freedom as independent values are left: so an order is not freed to
 *             follow what the calibration itself has wrong, unless it takes nearly all of it away.
 * Blocks      where there is order, u is at least that of leaving out each of eight parts of the band in turn (jackknife: Quenouille,
 *             Biometrika 43 (1956) 353): a fault of one part, as of one band of a joined calibration, shows there and not in runs.
 * Rejected    all four orders at once: over a band that does not tell them apart they trade, and C0 loses its u. */
#include "rf/calibrate/standards_describe.h"
#include "rf/numbers/probability.h"
#include "rf/numbers/robust.h"
#include <math.h>
#include <string.h>

enum { WINDOW = 16, POINTS_LEAST = 16, BLOCKS = 8, SETTLES = 4 /* weights and fit, in turn */ };
#define OF_NOISE_LEAST 0.1 /* a point's noise against that of all: a window's own estimate may be small by chance */
#define FAR 3.0            /* noises: what lies farther counts less (Huber), as where the noise rises within a window */
#define SIGNIFICANT 0.999
#define ORDER_SIGMA 4.0 /* fewer runs than chance leaves, by so many standard deviations */
#define TIMES_NOISE 2.0
#define ARITHMETIC 1e-9 /* of a reflection: what is less is rounding */

struct room {
        size_t n;
        double *re, *im, *u, *sorted; /* [n]: residuals, weights, for medians */
};
size_t rf_standard_describe_bytes(size_t n) { return 4 * n * sizeof(double); }

static void residuals(const struct standard_definition *d, double t_c, const struct axis *axis, const double *re, const double *im,
                      struct room *r)
{
        for (size_t i = 0; i < r->n; i++) {
                double complex left = CMPLX(re[i], im[i]) - rf_standard_reflection(d, t_c, axis->hz[i]);
                r->re[i] = creal(left);
                r->im[i] = cimag(left);
        }
}

static double third(const double *x, size_t i) { return x[i + 3] - 3 * x[i + 2] + 3 * x[i + 1] - x[i]; }

/* Variance per component around point i. */
static double noise2_at(const struct room *r, size_t i)
{
        double size[WINDOW];
        size_t all = r->n - 3, width = all < WINDOW ? all : WINDOW, from = i > width / 2 + 1 ? i - width / 2 - 1 : 0;
        from = from + width > all ? all - width : from;
        for (size_t k = 0; k < width; k++)
                size[k] = pow(third(r->re, from + k), 2) + pow(third(r->im, from + k), 2);
        return rf_quantile(rf_sort(width, size), size, 0.5) / (40 * log(2));
}

static double median_of(struct room *r, const double *x)
{
        memcpy(r->sorted, x, r->n * sizeof *x);
        return rf_quantile(rf_sort(r->n, r->sorted), r->sorted, 0.5);
}

/* u of each point from the residuals; returns the noise, rms over all points. */
static double weigh(struct room *r)
{
        double all2 = 0;
        for (size_t i = 0; i < r->n; i++) {
                r->u[i] = noise2_at(r, i);
                all2 += r->u[i] / (double)r->n;
        }
        double noise2 = median_of(r, r->u);
        for (size_t i = 0; i < r->n; i++)
                r->sorted[i] = r->re[i] * r->re[i] + r->im[i] * r->im[i];
        double beyond = fmax(0, rf_quantile(rf_sort(r->n, r->sorted), r->sorted, 0.5) / (2 * log(2)) - noise2);
        for (size_t i = 0; i < r->n; i++) {
                double is2 = (r->re[i] * r->re[i] + r->im[i] * r->im[i]) / (2 * FAR * FAR);
                r->u[i] = sqrt(fmax(fmax(r->u[i], OF_NOISE_LEAST * OF_NOISE_LEAST * noise2) + beyond, is2) + ARITHMETIC * ARITHMETIC);
        }
        return sqrt(all2);
}

/* Independent values among the 2 n of the residuals: 2 n when their signs have no order. */
static double independent(const struct room *r)
{
        double runs = 2, n = (double)r->n;
        for (size_t i = 1; i < r->n; i++)
                runs += (double)((r->re[i] < 0) != (r->re[i - 1] < 0)) + (double)((r->im[i] < 0) != (r->im[i - 1] < 0));
        double chance = 2 + (n - 1), s = sqrt(2 * (n - 1)) / 2;
        return runs < chance - ORDER_SIGMA * s ? fmin(2 * runs, 2 * n) : 2 * n;
}

struct data {
        double t_c;
        const struct axis *axis;
        const double *re, *im;
};

/* One fit by the weights there are; residuals are its own. */
static enum code fit(const struct data *x, const struct standard_definition *from, unsigned numbers, bool weighted, struct room *r,
                     struct standard_definition *def, struct standard_fit *ret, struct tp_error *err)
{
        *def = *from;
        enum code code = rf_standard_solve(def, numbers, x->t_c, x->axis, x->re, x->im, weighted ? r->u : NULL, ret, err);
        if (!code)
                residuals(def, x->t_c, x->axis, x->re, x->im, r);
        return code;
}

static double chi2_of(const struct standard_fit *f, size_t n) { return f->chi2_per_freedom * (2 * (double)n - (double)f->n); }

/* The next order that makes chi2 significantly smaller, by the present weights; 0: none. */
static unsigned next_order(const struct data *x, const struct standard_definition *at, unsigned numbers, const struct standard_fit *is,
                           struct room *r)
{
        unsigned first = at->kind == RF_OPEN ? STANDARD_C1 : STANDARD_L1, best = 0;
        double least = INFINITY;
        for (unsigned k = first; k < first + 3 && is->scatter > ARITHMETIC; k++) {
                struct standard_definition def;
                struct standard_fit f;
                if (numbers & STANDARD_FIT(k) || fit(x, at, numbers | STANDARD_FIT(k), true, r, &def, &f, NULL))
                        continue;
                double chi2 = chi2_of(&f, r->n), freedom = independent(r) - (double)f.n;
                double t = freedom > 0.5 ? student_two_sided(SIGNIFICANT, freedom) : INFINITY;
                if (chi2 < least && (chi2_of(is, r->n) - chi2) * freedom > t * t * chi2) {
                        least = chi2;
                        best = STANDARD_FIT(k);
                }
        }
        return best;
}

/* u of each number by leaving out one block of frequencies after the other; those that cannot be fitted so keep theirs. */
static void by_blocks(const struct data *x, const struct standard_definition *at, unsigned numbers, struct room *r, struct standard_fit *of)
{
        double sum[STANDARD_NUMBER_COUNT] = {0}, square[STANDARD_NUMBER_COUNT] = {0};
        for (size_t b = 0; b < BLOCKS; b++) {
                struct standard_definition def;
                struct standard_fit f;
                size_t from = b * r->n / BLOCKS, to = (b + 1) * r->n / BLOCKS;
                for (size_t i = from; i < to; i++)
                        r->u[i] *= 1e6;
                enum code code = fit(x, at, numbers, true, r, &def, &f, NULL);
                for (size_t i = from; i < to; i++)
                        r->u[i] /= 1e6;
                if (code)
                        return;
                for (size_t k = 0; k < f.n; k++) {
                        double off = f.value[k] - of->value[k];
                        sum[k] += off / BLOCKS;
                        square[k] += off * off / BLOCKS;
                }
        }
        for (size_t k = 0; k < of->n; k++)
                of->u[k] = fmax(of->u[k], sqrt((BLOCKS - 1) * fmax(square[k] - sum[k] * sum[k], 0)));
}

enum code rf_standard_describe(struct standard_definition *def, unsigned numbers, double t_c, const struct axis *axis, const double *g_re,
                               const double *g_im, void *workspace, struct standard_described *ret, struct tp_error *err)
{
        struct data x = {t_c, axis, g_re, g_im};
        double *room = workspace;
        size_t n = axis->n;
        struct room r = {n, room, room + n, room + 2 * n, room + 3 * n};
        struct standard_described d = {.noise = NAN, .describes = true, .widened = 1};
        struct standard_definition at;
        enum code code = fit(&x, def, numbers, false, &r, &at, &d.fit, err);
        for (bool more = n >= POINTS_LEAST; more && !code;) {
                struct standard_definition from;
                for (int k = 0; k < SETTLES && !code; k++) {
                        from = at;
                        d.noise = weigh(&r);
                        code = fit(&x, &from, numbers | d.freed, true, &r, &at, &d.fit, err);
                }
                if (code)
                        break;
                unsigned next = next_order(&x, &at, numbers | d.freed, &d.fit, &r);
                d.freed |= next;
                more = next != 0;
                from = at;
                code = fit(&x, &from, numbers | d.freed, true, &r, &at, &d.fit, err);
        }
        if (code)
                return code;
        if (n >= POINTS_LEAST) {
                double values = independent(&r), birge = sqrt(fmax(d.fit.chi2_per_freedom, 1));
                d.widened = sqrt(2 * (double)n / values);
                d.describes = d.fit.scatter <= TIMES_NOISE * d.noise + 2 * ARITHMETIC;
                for (size_t k = 0; k < d.fit.n; k++)
                        d.fit.u[k] *= birge * d.widened;
                if (d.widened > 1 || !d.describes)
                        by_blocks(&x, &at, numbers | d.freed, &r, &d.fit);
        }
        *def = at;
        *ret = d;
        return CODE_OK;
}
