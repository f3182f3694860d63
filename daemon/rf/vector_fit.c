/* vector_fit.c: relaxed, fast vector fitting (vector_fit.h).
 * Idea        Poles are the zeros of sigma(s) = sum ct_n phi_n + dt, where sum c phi + d + s e = H sigma in the sense of least squares for
 *             all elements; only ct, dt are common, so each element's own unknowns are rotated away first (fit_squares.c).
 * Start       Pairs over the band (by logarithm when it spans decades) with Re = -Im/100, real poles for the low end.
 * Order       Grown by two from the poles found so far, the new pair where most of the error lies; then poles that carry nothing are
 *             dropped one by one for as long as the rms allows it: data of order 8 asked for order 20 return 8 poles.
 * Scale       s is divided by 2 pi f_max, columns are scaled to unit norm. */
#include "rf/fit_own.h"
#include "rf/eigen.h"
#include "rf/model.h"
#include <math.h>
#include <string.h>

#define HOT __attribute__((optimize("O3", "no-math-errno", "no-trapping-math")))

const char *const fit_stop_words[FIT_STOP_COUNT + 1] = {"unknown", "order", "noise", "exact", "gain", "most", NULL};

struct poles { /* in units of 2 pi f_max */
        size_t n;
        double complex p[RF_FIT_ORDER_MAX];
};
/* Frequencies of a fit: all of them, or the few that settle the poles. */
struct grid {
        size_t n, q;
        const double *x;                                                                          /* f / f_max */
        const double *re[RF_FIT_ELEMENTS_MAX], *im[RF_FIT_ELEMENTS_MAX], *w[RF_FIT_ELEMENTS_MAX]; /* w NULL: one */
        bool shared;                                                                              /* one weight for all elements */
        double signal2;                                                                           /* sum |w H|^2 */
};
struct work {
        double *x, *weight, *where, *own, *top, *sigma, *block, *phi, *gram, *few;
        bool constant, proportional, hold_dc;
        double dc[RF_FIT_ELEMENTS_MAX];
        double coefficient[FIT_OWN_MAX * RF_FIT_ELEMENTS_MAX]; /* of the last residues(): own x q */
        double carried[RF_FIT_ORDER_MAX];                      /* mean square of each listed pole's part, of the last weigh() */
        unsigned rounds, rounds_max;
};

static size_t order_of(const struct poles *p)
{
        size_t n = 0;
        for (size_t i = 0; i < p->n; i++)
                n += cimag(p->p[i]) > 0 ? 2 : 1;
        return n;
}
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

/* ---- memory -------------------------------------------------------------------------------------------------------------------------- */
#define FEW_MAX 768
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

/* ---- basis --------------------------------------------------------------------------------------------------------------------------- */
/* Columns phi (re: FIT_BLOCK values, then im) of `count` points, zero up to `room`. */
static HOT void basis(const struct poles *p, size_t count, size_t room, const double *restrict x, double *restrict phi)
{
        for (size_t i = 0; i < p->n; i++) {
                double a = -creal(p->p[i]), b = cimag(p->p[i]);
                double *restrict re = phi, *restrict im = phi + FIT_BLOCK;
                if (!(b > 0)) {
                        for (size_t k = 0; k < count; k++) {
                                double m = 1 / (a * a + x[k] * x[k]);
                                re[k] = a * m;
                                im[k] = -x[k] * m;
                        }
                } else {
                        double *restrict re2 = phi + 2 * FIT_BLOCK, *restrict im2 = phi + 3 * FIT_BLOCK;
                        for (size_t k = 0; k < count; k++) {
                                double u = x[k] - b, v = x[k] + b, m = 1 / (a * a + u * u), l = 1 / (a * a + v * v);
                                re[k] = a * (m + l);
                                im[k] = -(u * m + v * l);
                                re2[k] = u * m - v * l;
                                im2[k] = a * (m - l);
                        }
                        for (size_t k = count; k < room; k++)
                                re2[k] = im2[k] = 0;
                }
                for (size_t k = count; k < room; k++)
                        re[k] = im[k] = 0;
                phi += (b > 0 ? 4 : 2) * FIT_BLOCK;
        }
}
/* phi at s = 0: real. */
static void basis_dc(const struct poles *p, double *phi)
{
        for (size_t i = 0; i < p->n; i++) {
                double a = creal(p->p[i]), b = cimag(p->p[i]);
                if (!(b > 0)) {
                        *phi++ = -1 / a;
                } else {
                        *phi++ = -2 * a / (a * a + b * b);
                        *phi++ = -2 * b / (a * a + b * b);
                }
        }
}

/* Own columns (weighted) of a block for element q; returns their number. */
static HOT size_t own_columns(const struct work *w, const struct grid *g, size_t q, size_t order, bool constant, size_t first, size_t count,
                              size_t half, const double *dc, double *to)
{
        const double *weight = g->w[q] ? g->w[q] + first : NULL;
        size_t n = order;
        for (size_t j = 0; j < order; j++) {
                const double *re = w->phi + 2 * j * FIT_BLOCK, *im = re + FIT_BLOCK;
                double *c = to + j * FIT_ROWS, shift = dc ? dc[j] : 0;
                for (size_t k = 0; k < half; k++) {
                        double m = k >= count ? 0 : weight ? weight[k] : 1;
                        c[k] = m * (re[k] - shift);
                        c[half + k] = m * im[k];
                }
        }
        if (constant) {
                double *c = to + n++ * FIT_ROWS;
                for (size_t k = 0; k < half; k++) {
                        c[k] = k >= count ? 0 : weight ? weight[k] : 1;
                        c[half + k] = 0;
                }
        }
        if (w->proportional) {
                double *c = to + n++ * FIT_ROWS;
                for (size_t k = 0; k < half; k++) {
                        c[k] = 0;
                        c[half + k] = k >= count ? 0 : (weight ? weight[k] : 1) * g->x[first + k];
                }
        }
        return n;
}

/* ---- one relocation ------------------------------------------------------------------------------------------------------------------ */
static HOT void sigma_columns(const struct work *w, const struct grid *g, size_t q, size_t order, size_t first, size_t count, size_t half,
                              double *to)
{
        double hr[FIT_BLOCK], hi[FIT_BLOCK];
        for (size_t k = 0; k < half; k++) {
                double m = k >= count ? 0 : g->w[q] ? -g->w[q][first + k] : -1;
                hr[k] = k < count ? m * g->re[q][first + k] : 0;
                hi[k] = k < count ? m * g->im[q][first + k] : 0;
        }
        for (size_t j = 0; j < order; j++) {
                const double *restrict re = w->phi + 2 * j * FIT_BLOCK, *restrict im = re + FIT_BLOCK;
                double *restrict c = to + j * FIT_ROWS, *restrict d = c + half;
                for (size_t k = 0; k < half; k++) {
                        c[k] = hr[k] * re[k] - hi[k] * im[k];
                        d[k] = hr[k] * im[k] + hi[k] * re[k];
                }
        }
        memcpy(to + order * FIT_ROWS, hr, half * sizeof *hr);
        memcpy(to + order * FIT_ROWS + half, hi, half * sizeof *hi);
}

static bool zeros_of_sigma(struct poles *p, size_t order, const double *ct, double dt)
{
        double a[RF_FIT_ORDER_MAX * RF_FIT_ORDER_MAX], b[RF_FIT_ORDER_MAX], re[RF_FIT_ORDER_MAX], im[RF_FIT_ORDER_MAX];
        memset(a, 0, order * order * sizeof *a);
        size_t k = 0;
        for (size_t i = 0; i < p->n; i++) {
                double x = creal(p->p[i]), y = cimag(p->p[i]);
                a[k * order + k] = x;
                b[k] = 1;
                if (y > 0) {
                        a[k * order + k + 1] = y;
                        a[(k + 1) * order + k] = -y;
                        a[(k + 1) * order + k + 1] = x;
                        b[k] = 2;
                        b[++k] = 0;
                }
                k++;
        }
        for (size_t i = 0; i < order; i++)
                for (size_t j = 0; j < order; j++)
                        a[i * order + j] -= b[i] * (ct[j] / dt);
        if (!rf_eigenvalues(order, a, re, im))
                return false;
        p->n = 0;
        for (size_t i = 0; i < order; i++) {
                if (im[i] < 0)
                        continue;
                double size = hypot(re[i], im[i]), out = fmax(fabs(re[i]), 1e-9 * size); /* flipped if unstable; never on the axis */
                if (!(size > 1e-12))
                        size = out = 1e-12;
                p->p[p->n++] = CMPLX(-out, im[i]);
        }
        return true;
}

/* Largest relative distance of a new pole from the nearest old one. */
static double moved(const struct poles *was, const struct poles *is)
{
        double most = 0;
        for (size_t i = 0; i < is->n; i++) {
                double near = INFINITY;
                for (size_t j = 0; j < was->n; j++)
                        near = fmin(near, cabs(is->p[i] - was->p[j]) / cabs(was->p[j]));
                most = fmax(most, near);
        }
        return most;
}

static size_t half_of(size_t count) { return (count + 3) / 4 * 4; }

/* w->sigma holds the triangle of the common unknowns; sum: of Re phi over all points.  The new poles are put in place of the old. */
static bool next_poles(struct work *w, const struct grid *g, struct poles *p, const double *sum, double *ret_move)
{
        size_t order = order_of(p), sigma = order + 1;
        double *ct = w->own; /* what stood there is not needed any more */
        /* relaxed: Re sum_k sigma(s_k) = K, weight rms|wH|/K; without it sigma = 0 would do */
        double k = (double)g->n, scale = sqrt(g->signal2) / k, y[FIT_SIGMA_MAX] = {0}, *row = w->block;
        memset(row, 0, 8 * (sigma + 1) * sizeof *row);
        for (size_t j = 0; j < order; j++)
                row[8 * j] = scale * sum[j];
        row[8 * order] = scale * k;
        row[8 * sigma] = scale * k;
        double kept[FIT_SIGMA_MAX];
        for (size_t j = 0; j < sigma; j++)
                kept[j] = w->sigma[j * sigma + order];
        double *triangle = w->top; /* a copy, in case dt comes out as nothing */
        memcpy(triangle, w->sigma, sigma * sigma * sizeof(double));
        fit_absorb(sigma, w->sigma, 1, y, row, 8, 8);
        fit_solve(sigma, w->sigma, 1, y, ct, 1e-13);
        double dt = ct[order];
        if (!isfinite(dt))
                return false;
        if (fabs(dt) < 1e-8) {
                dt = copysign(1e-8, dt);
                for (size_t i = 0; i < order; i++) {
                        y[i] = -kept[i] * dt;
                        for (size_t j = 0; j < order; j++)
                                w->sigma[i * order + j] = triangle[i * sigma + j];
                }
                fit_solve(order, w->sigma, 1, y, ct, 1e-13);
        }
        struct poles was = *p;
        if (!zeros_of_sigma(p, order, ct, dt)) {
                *p = was;
                return false;
        }
        *ret_move = moved(&was, p);
        w->rounds++;
        return true;
}

/* s e times 1/(s - p) has a constant part: it must be free while poles are looked for. */
static bool needs_constant(const struct work *w) { return w->constant || w->proportional; }

static bool relocate(struct work *w, const struct grid *g, struct poles *p, double *ret_move)
{
        bool constant = needs_constant(w);
        size_t order = order_of(p), sigma = order + 1, own = order + constant + w->proportional, sets = g->shared ? 1 : g->q;
        double sum[FIT_SIGMA_MAX] = {0};
        memset(w->own, 0, own * own * sets * sizeof(double));
        memset(w->top, 0, own * sigma * g->q * sizeof(double));
        memset(w->sigma, 0, sigma * sigma * sizeof(double));
        for (size_t first = 0; first < g->n; first += FIT_BLOCK) {
                size_t count = g->n - first < FIT_BLOCK ? g->n - first : FIT_BLOCK, half = half_of(count), rows = 2 * half;
                basis(p, count, half, g->x + first, w->phi);
                for (size_t j = 0; j < order; j++)
                        for (size_t k = 0; k < count; k++)
                                sum[j] += w->phi[2 * j * FIT_BLOCK + k];
                double *tail = w->block + own * FIT_ROWS;
                if (g->shared) {
                        own_columns(w, g, 0, order, constant, first, count, half, NULL, w->block);
                        for (size_t q = 0; q < g->q; q++)
                                sigma_columns(w, g, q, order, first, count, half, tail + q * sigma * FIT_ROWS);
                        fit_absorb(own, w->own, g->q * sigma, w->top, w->block, FIT_ROWS, rows);
                        for (size_t q = 0; q < g->q; q++)
                                fit_absorb(sigma, w->sigma, 0, NULL, tail + q * sigma * FIT_ROWS, FIT_ROWS, rows);
                        continue;
                }
                for (size_t q = 0; q < g->q; q++) {
                        own_columns(w, g, q, order, constant, first, count, half, NULL, w->block);
                        sigma_columns(w, g, q, order, first, count, half, tail);
                        fit_absorb(own, w->own + q * own * own, sigma, w->top + q * own * sigma, w->block, FIT_ROWS, rows);
                        fit_absorb(sigma, w->sigma, 0, NULL, tail, FIT_ROWS, rows);
                }
        }
        return next_poles(w, g, p, sum, ret_move);
}

/* The same by normal equations; *ret_rms: of the poles as they come in. */
static bool relocate_fast(struct work *w, const struct grid *g, struct poles *p, double *ret_rms, double *ret_move)
{
        static const double ones[FIT_BLOCK] __attribute__((aligned(16))) = {[0 ... FIT_BLOCK - 1] = 1};
        size_t order = order_of(p);
        double sum[FIT_SIGMA_MAX] = {0}, left2;
        struct fit_gram gram;
        fit_gram_begin(&gram, order, needs_constant(w), w->proportional, g->q, g->shared, w->gram);
        for (size_t first = 0; first < g->n; first += FIT_BLOCK) {
                size_t count = g->n - first < FIT_BLOCK ? g->n - first : FIT_BLOCK, half = half_of(count);
                double rows[3 * RF_FIT_ELEMENTS_MAX][FIT_BLOCK] __attribute__((aligned(16)));
                const double *weight[RF_FIT_ELEMENTS_MAX], *re[RF_FIT_ELEMENTS_MAX], *im[RF_FIT_ELEMENTS_MAX];
                double *one = w->phi + 2 * order * FIT_BLOCK, *s = one + 2 * FIT_BLOCK;
                basis(p, count, half, g->x + first, w->phi);
                for (size_t j = 0; j < order; j++)
                        for (size_t k = 0; k < count; k++)
                                sum[j] += w->phi[2 * j * FIT_BLOCK + k];
                for (size_t k = 0; k < half; k++) {
                        one[k] = k < count;
                        one[FIT_BLOCK + k] = s[k] = 0;
                        s[FIT_BLOCK + k] = k < count ? g->x[first + k] : 0;
                }
                for (size_t q = 0; q < g->q; q++) {
                        double *m = rows[3 * q], *hr = rows[3 * q + 1], *hi = rows[3 * q + 2];
                        weight[q] = q && g->shared ? weight[0] : g->w[q] ? m : ones;
                        for (size_t k = 0; k < half && weight[q] == m; k++)
                                m[k] = k < count ? g->w[q][first + k] * g->w[q][first + k] : 0;
                        for (size_t k = 0; k < half; k++) {
                                hr[k] = k < count ? g->re[q][first + k] : 0;
                                hi[k] = k < count ? g->im[q][first + k] : 0;
                        }
                        re[q] = hr;
                        im[q] = hi;
                }
                fit_gram_add(&gram, half, w->phi, weight, re, im);
        }
        if (!fit_gram_end(&gram, w->sigma, &left2))
                return false;
        *ret_rms = sqrt(left2 / ((double)g->n * (double)g->q));
        return next_poles(w, g, p, sum, ret_move);
}

/* ---- residues for given poles ---------------------------------------------------------------------------------------------------------
 */
/* Fills w->coefficient; returns the rms of |w (model - H)|. */
static double residues(struct work *w, const struct grid *g, const struct poles *p)
{
        size_t order = order_of(p), n = order + (w->constant && !w->hold_dc) + w->proportional, sets = g->shared ? 1 : g->q;
        size_t k = g->shared ? g->q : 1;
        double dc[RF_FIT_ORDER_MAX], left = 0;
        basis_dc(p, dc);
        memset(w->own, 0, n * n * sets * sizeof(double));
        memset(w->top, 0, n * g->q * sizeof(double));
        for (size_t first = 0; first < g->n; first += FIT_BLOCK) {
                size_t count = g->n - first < FIT_BLOCK ? g->n - first : FIT_BLOCK, half = half_of(count), rows = 2 * half;
                basis(p, count, half, g->x + first, w->phi);
                for (size_t set = 0; set < sets; set++) {
                        own_columns(w, g, set, order, w->constant && !w->hold_dc, first, count, half, w->hold_dc ? dc : NULL, w->block);
                        for (size_t q = set; q < set + k; q++) {
                                double *c = w->block + (n + q - set) * FIT_ROWS, from = w->hold_dc ? w->dc[q] : 0;
                                memset(c, 0, rows * sizeof *c);
                                for (size_t i = 0; i < count; i++) {
                                        double m = g->w[q] ? g->w[q][first + i] : 1;
                                        c[i] = m * (g->re[q][first + i] - from);
                                        c[half + i] = m * g->im[q][first + i];
                                }
                        }
                        fit_absorb(n, w->own + set * n * n, k, w->top + set * n, w->block, FIT_ROWS, rows);
                        for (size_t q = 0; q < k; q++)
                                for (size_t i = 0; i < rows; i++)
                                        left += w->block[(n + q) * FIT_ROWS + i] * w->block[(n + q) * FIT_ROWS + i];
                }
        }
        for (size_t set = 0; set < sets; set++) {
                double *x = w->sigma; /* n x k */
                fit_solve(n, w->own + set * n * n, k, w->top + set * n, x, 1e-14);
                for (size_t q = 0; q < k; q++) {
                        double *c = w->coefficient + (set + q) * FIT_OWN_MAX, held = w->hold_dc ? w->dc[set + q] : 0;
                        for (size_t j = 0; j < n; j++)
                                c[j] = x[j * k + q];
                        if (w->hold_dc) {
                                for (size_t j = 0; j < order; j++)
                                        held -= c[j] * dc[j];
                                c[order + 1] = w->proportional ? c[order] : 0;
                                c[order] = held;
                        } else if (!w->constant) {
                                c[order + 1] = w->proportional ? c[order] : 0;
                                c[order] = 0;
                        } else if (!w->proportional) {
                                c[order + 1] = 0;
                        }
                }
        }
        return sqrt(left / ((double)g->n * (double)g->q));
}

/* The model of w->coefficient against the data: rms with weight, worst without, where the error lies, what each pole carries. */
static HOT double weigh(struct work *w, const struct grid *g, const struct poles *p, struct fit_report *report, double *where)
{
        size_t order = order_of(p);
        double sum = 0, most = 0;
        memset(w->carried, 0, sizeof w->carried);
        for (size_t first = 0; first < g->n; first += FIT_BLOCK) {
                size_t count = g->n - first < FIT_BLOCK ? g->n - first : FIT_BLOCK;
                double lost[FIT_BLOCK] = {0};
                basis(p, count, count, g->x + first, w->phi);
                for (size_t q = 0; q < g->q; q++) {
                        const double *c = w->coefficient + q * FIT_OWN_MAX;
                        double re[FIT_BLOCK], im[FIT_BLOCK], m[FIT_BLOCK];
                        for (size_t k = 0; k < count; k++) {
                                m[k] = g->w[q] ? g->w[q][first + k] : 1;
                                re[k] = c[order] - g->re[q][first + k];
                                im[k] = c[order + 1] * g->x[first + k] - g->im[q][first + k];
                        }
                        for (size_t i = 0, j = 0; i < p->n; i++) {
                                bool pair = cimag(p->p[i]) > 0;
                                const double *a = w->phi + 2 * j * FIT_BLOCK, *b = pair ? a + 2 * FIT_BLOCK : a;
                                double c0 = c[j], c1 = pair ? c[j + 1] : 0, part = 0;
                                for (size_t k = 0; k < count; k++) {
                                        double u = c0 * a[k] + c1 * b[k], v = c0 * a[FIT_BLOCK + k] + c1 * b[FIT_BLOCK + k];
                                        re[k] += u;
                                        im[k] += v;
                                        part += m[k] * m[k] * (u * u + v * v);
                                }
                                w->carried[i] += part;
                                j += pair ? 2 : 1;
                        }
                        for (size_t k = 0; k < count; k++) {
                                double e2 = re[k] * re[k] + im[k] * im[k];
                                lost[k] += m[k] * m[k] * e2;
                                if (e2 > most) {
                                        most = e2;
                                        if (report) {
                                                report->worst_hz = g->x[first + k];
                                                report->worst_element = q;
                                        }
                                }
                        }
                }
                for (size_t k = 0; k < count; k++) {
                        sum += lost[k];
                        if (where)
                                where[first + k] = lost[k];
                }
        }
        double samples = (double)g->n * (double)g->q;
        for (size_t i = 0; i < p->n; i++)
                w->carried[i] /= samples;
        if (report) {
                report->worst = sqrt(most);
                report->rms = sqrt(sum / samples);
        }
        return sqrt(sum / samples);
}

/* ---- poles -----------------------------------------------------------------------------------------------------------------------------
 */
static double lowest(const struct grid *g) { return fmax(g->x[0] > 0 || g->n < 2 ? g->x[0] : g->x[1], 1e-8); }

static struct poles start_poles(const struct grid *g, size_t order)
{
        struct poles p = {0};
        double low = lowest(g), decades = -log10(low);
        bool wide = decades > 1.5;
        size_t real = order % 2 ? 1 : wide && order >= 4 ? 2 : 0, pairs = (order - real) / 2;
        double from = fmin(wide ? 3 * low : 0.1, 0.05);
        for (size_t i = 0; i < real; i++) {
                double part = real == 1 ? 0.5 : (double)i / (double)(real - 1);
                p.p[p.n++] = -from * pow(0.1 / from, part);
        }
        from = wide ? fmax(3 * low, 1e-4) : low;
        for (size_t i = 0; i < pairs; i++) {
                double part = pairs == 1 ? 0.7 : (double)i / (double)(pairs - 1);
                double im = wide ? from * pow(1 / from, part) : from + (1 - from) * part;
                p.p[p.n++] = CMPLX(-im / 100, im);
        }
        return p;
}

/* Relocates until poles stand still or the rms no longer falls; *p is the best seen, its rms is returned (Inf: nothing can be solved).  The
   coefficients of the best are not kept. */
static double settle(struct work *w, const struct grid *g, struct poles *p, unsigned rounds, unsigned patience, double floor)
{
        struct poles best = *p;
        double least = residues(w, g, p);
        if (!isfinite(least))
                least = INFINITY;
        for (unsigned round = 0, stale = 0; round < rounds && stale < patience; round++) {
                double move, rms;
                if (!relocate(w, g, p, &move))
                        break;
                rms = residues(w, g, p);
                stale = rms < 0.999 * least ? 0 : stale + 1;
                if (rms < least) {
                        least = rms;
                        best = *p;
                }
                if (move < 1e-9 || (least < floor && move < 1e-6))
                        break;
        }
        *p = best;
        return least;
}

/* At most `m` points of the sweep, as many by count as by logarithm of frequency as by length of the curve: poles are settled on them. */
static struct grid few_of(const struct work *w, const struct grid *g, size_t m)
{
        struct grid f = *g;
        if (m > FEW_MAX)
                m = FEW_MAX;
        if (g->n < 2 * m + m / 2) /* not worth it */
                return f;
        double log_all = 0, curve_all = 0, n = (double)g->n - 1, along = 0;
        for (size_t i = 1; i < g->n; i++) {
                double curve = 0;
                for (size_t q = 0; q < g->q; q++)
                        curve += (g->w[q] ? g->w[q][i] : 1) * (fabs(g->re[q][i] - g->re[q][i - 1]) + fabs(g->im[q][i] - g->im[q][i - 1]));
                w->where[i] = curve;
                curve_all += curve;
                log_all += (g->x[i] - g->x[i - 1]) / (g->x[i] + g->x[i - 1]);
        }
        size_t at[FEW_MAX], count = 0;
        at[count++] = 0;
        for (size_t i = 1; i + 1 < g->n && count + 1 < m; i++) {
                along += 1 / n + (curve_all > 0 ? w->where[i] / curve_all : 1 / n) +
                         (g->x[i] - g->x[i - 1]) / (g->x[i] + g->x[i - 1]) / log_all;
                if (along * (double)(m - 1) >= 3 * (double)count)
                        at[count++] = i;
        }
        at[count++] = g->n - 1;
        double *to = w->few;
        f.n = count;
        f.signal2 = 0;
        f.x = to;
        for (size_t i = 0; i < count; i++)
                *to++ = g->x[at[i]];
        for (size_t q = 0; q < g->q; q++) {
                const double *const from[3] = {g->re[q], g->im[q], g->w[q]};
                const double **const into[3] = {&f.re[q], &f.im[q], &f.w[q]};
                for (int k = 0; k < 3; k++) {
                        if (!from[k])
                                continue;
                        *into[k] = to;
                        for (size_t i = 0; i < count; i++)
                                *to++ = from[k][at[i]];
                }
                for (size_t i = 0; i < count; i++) {
                        double m2 = f.w[q] ? f.w[q][i] * f.w[q][i] : 1;
                        f.signal2 += m2 * (f.re[q][i] * f.re[q][i] + f.im[q][i] * f.im[q][i]);
                }
        }
        return f;
}
static size_t few_for(size_t order) { return 8 * order + 32; }

/* Poles that were settled on few points, on all: until the rms falls by less than one in a thousand. */
static void polish(struct work *w, const struct grid *g, struct poles *p, double few_rms, double signal_rms)
{
        if (!(few_rms > 1e-6 * signal_rms)) { /* between noise and rounding: nothing to average */
                if (residues(w, g, p) > 1e-11 * signal_rms)
                        settle(w, g, p, 6, 1, 1e-13 * signal_rms);
                return;
        }
        struct poles best = *p, next = *p;
        double least = INFINITY;
        for (unsigned round = 0; round < w->rounds_max; round++) {
                struct poles is = next;
                double rms, move;
                if (!relocate_fast(w, g, &next, &rms, &move)) {
                        if (round == 0)
                                settle(w, g, &best, 6, 1, 1e-13 * signal_rms);
                        break;
                }
                bool enough = rms > 0.999 * least || move < 1e-7;
                if (rms < least) {
                        least = rms;
                        best = is;
                }
                if (enough)
                        break;
        }
        *p = best;
}

static void sort_poles(struct poles *p)
{
        for (size_t i = 1; i < p->n; i++)
                for (size_t j = i; j > 0 && cabs(p->p[j]) < cabs(p->p[j - 1]); j--) {
                        double complex z = p->p[j];
                        p->p[j] = p->p[j - 1];
                        p->p[j - 1] = z;
                }
}

/* Is there a pole whose part lies within reach of the rms?  (w->carried of the last weigh.) */
static bool something_idle(const struct work *w, const struct poles *p, double rms, double exact)
{
        for (size_t i = 0; i < p->n; i++)
                if (sqrt(w->carried[i]) <= 30 * fmax(1.1 * rms, exact))
                        return true;
        return p->n > 0 && rms <= exact && order_of(p) > 12;
}

/* Takes out, one by one, poles whose leaving costs nothing: within `allowed` the rms may rise.  Far outside the band 10 % is allowed. */
static double prune(struct work *w, const struct grid *g, struct poles *p, double rms, double exact, double allowed)
{
        double limit = fmax(allowed * rms, exact), far = fmax(1.1 * rms, exact);
        for (bool again = true; again && p->n > 0;) {
                again = false;
                size_t tried[5], tries = 0;
                residues(w, g, p);
                weigh(w, g, p, NULL, NULL);
                double carried[RF_FIT_ORDER_MAX];
                memcpy(carried, w->carried, sizeof carried);
                for (; tries < 5 && tries < p->n && !again; tries++) {
                        size_t least = p->n;
                        for (size_t i = 0; i < p->n; i++) {
                                bool seen = false;
                                for (size_t k = 0; k < tries; k++)
                                        seen = seen || tried[k] == i;
                                if (!seen && (least == p->n || carried[i] < carried[least]))
                                        least = i;
                        }
                        tried[tries] = least;
                        double may = cabs(p->p[least]) > 5 ? far : limit;
                        if (sqrt(carried[least]) > 30 * fmax(may, rms)) /* the others cannot make up for it */
                                break;
                        struct poles fewer = {0};
                        for (size_t i = 0; i < p->n; i++)
                                if (i != least)
                                        fewer.p[fewer.n++] = p->p[i];
                        double left = residues(w, g, &fewer);
                        if (!(left <= may))
                                left = settle(w, g, &fewer, 8, 3, exact);
                        if (left <= may) {
                                *p = fewer;
                                again = true;
                        }
                }
        }
        return residues(w, g, p);
}

/* Adds two poles where the error is: a pair at the centre of the window with most of it, or two real ones below the pairs' reach. */
static void add_pair(struct work *w, const struct grid *g, struct poles *p, double *where)
{
        residues(w, g, p);
        weigh(w, g, p, NULL, where);
        size_t span = g->n / 16 + 1, at = 0;
        double sum = 0, most = -1;
        for (size_t i = 0; i < g->n; i++) {
                sum += where[i];
                if (i >= span)
                        sum -= where[i - span];
                if (sum > most) {
                        most = sum;
                        at = i >= span / 2 ? i - span / 2 : 0;
                }
        }
        double im = fmax(g->x[at], lowest(g));
        if (im < 1e-3 && p->n + 2 <= RF_FIT_ORDER_MAX) {
                p->p[p->n++] = -im;
                p->p[p->n++] = -3 * im;
        } else {
                p->p[p->n++] = CMPLX(-im / 10, im);
        }
}

/* seen: the noise, if anybody knows it: while the rms stands far above it, a step without gain is no reason to stop. */
static struct poles grow(struct work *w, const struct grid *all, double seen, double noise, size_t most, double floor,
                         struct fit_report *ret)
{
        struct poles best = {0}, now = {0};
        struct grid g = few_of(w, all, few_for(4));
        double least = residues(w, &g, &best), exact = 1e-11 * ret->signal_rms;
        unsigned poor = 0;
        ret->stop = least <= floor ? FIT_STOP_EXACT : FIT_STOP_MOST;
        for (size_t order = most < 2 ? most : 2; order && order <= most && least > floor; order += order + 1 == most ? 1 : 2) {
                g = few_of(w, all, few_for(order));
                struct poles warm = best, fresh = start_poles(&g, order);
                double a = INFINITY, b;
                ret->order_tried = order;
                if (order > 2 && order_of(&now) + 2 <= order) {
                        warm = now;
                        add_pair(w, &g, &warm, w->where);
                        a = settle(w, &g, &warm, w->rounds_max, 2, floor);
                }
                if (a < 0.5 * least) {
                        now = warm;
                } else {
                        b = settle(w, &g, &fresh, w->rounds_max, 2, floor);
                        now = a <= b ? warm : fresh;
                        a = fmin(a, b);
                }
                poor = a < 0.9 * least ? 0 : poor + 1;
                if (a < least) {
                        least = a;
                        best = now;
                }
                if (least <= fmax(exact, floor)) {
                        ret->stop = FIT_STOP_EXACT;
                        break;
                }
                if (noise > 0 && least < 3 * noise && (poor || least < 1.2 * noise)) {
                        ret->stop = FIT_STOP_NOISE;
                        break;
                }
                if (poor >= (seen > 0 && least > 3 * seen ? 5u : 2u)) {
                        ret->stop = FIT_STOP_GAIN;
                        break;
                }
        }
        return best;
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

/* ---- the whole -------------------------------------------------------------------------------------------------------------------------
 */
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
        size_t order = order_of(p);
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
                struct grid few = few_of(&w, &g, few_for(o->order));
                p = start_poles(&g, o->order);
                r.order_tried = o->order;
                double here = settle(&w, &few, &p, w.rounds_max, 3, floor);
                r.stop = FIT_STOP_ORDER;
                if (few.n < g.n)
                        polish(&w, &g, &p, here, r.signal_rms);
        } else {
                p = grow(&w, &g, seen, noise, most, floor, &r);
                struct grid few = few_of(&w, &g, few_for(order_of(&p)));
                if (few.n < g.n)
                        polish(&w, &g, &p, residues(&w, &few, &p), r.signal_rms);
        }
        sort_poles(&p);
        double rms = residues(&w, &g, &p);
        if (!isfinite(rms))
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "no rational model could be found: the equations have no finite solution; look at the data "
                               "for outliers, or fit fewer poles");
        weigh(&w, &g, &p, &r, NULL);
        if (o->order > 2 && seen > 0 && rms > 3 * seen && order_of(&p) == o->order) { /* a wrong valley, or the data want more poles */
                struct fit_report up = r;
                struct poles other = grow(&w, &g, seen, 0, o->order, floor, &up);
                settle(&w, &g, &other, 6, 2, floor);
                if (residues(&w, &g, &other) < 0.9 * rms) {
                        p = other;
                        sort_poles(&p);
                }
                rms = residues(&w, &g, &p);
                weigh(&w, &g, &p, &r, NULL);
        }
        size_t before = order_of(&p);
        bool again = o->hold_dc;
        if (!o->keep_all && something_idle(&w, &p, rms, exact)) {
                struct poles was = p;
                again = true;
                struct grid few = few_of(&w, &g, few_for(before));
                double allowed = o->order ? 1.0005 : 1.02, here = few.n < g.n ? residues(&w, &few, &p) : rms;
                here = prune(&w, &few, &p, here, exact, allowed);
                if (here <= exact && order_of(&p) < before &&
                    o->order) { /* more poles than the data have: the short way up may need fewer still */
                        struct fit_report up = r;
                        struct poles fewer = grow(&w, &g, 0, 0, order_of(&p) - 1, exact, &up);
                        few = few_of(&w, &g, few_for(before));
                        if (residues(&w, &few, &fewer) <= exact) {
                                p = fewer;
                                prune(&w, &few, &p, exact, exact, 1);
                        }
                }
                if (order_of(&p) < before && few.n < g.n) {
                        polish(&w, &g, &p, here, r.signal_rms);
                        if (residues(&w, &g, &p) > fmax((cabs(was.p[was.n - 1]) > 5 ? 1.1 : allowed) * rms, 10 * exact))
                                p = was; /* the few did not speak for all */
                }
                sort_poles(&p);
        }
        r.dropped = before - order_of(&p);
        w.hold_dc = o->hold_dc;
        if (again) {
                residues(&w, &g, &p);
                weigh(&w, &g, &p, &r, NULL);
        }
        r.worst_hz *= d->hz[d->n - 1];
        r.order = order_of(&p);
        r.rounds = w.rounds;
        rational_from(&w, &g, &p, RF_TWO_PI * d->hz[d->n - 1], ret);
        if (report)
                *report = r;
        return CODE_OK;
}
