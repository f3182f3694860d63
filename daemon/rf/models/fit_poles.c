/* fit_poles.c: one relocation of poles, residues for given poles, and the model against the data (fit_poles.h).
 *
 * Idea        Poles are the zeros of sigma(s) = sum ct_n phi_n + dt, where sum c phi + d + s e = H sigma in the sense of least squares for
 *             all elements; only ct, dt are common, so each element's own unknowns are rotated away first (fit_squares.c).
 *
 * Scale       s is divided by 2 pi f_max, columns are scaled to unit norm. */
#include "rf/numbers/eigen.h"
#include "rf/models/fit_poles.h"
#include <math.h>
#include <string.h>

size_t fit_order_of(const struct poles *p)
{
        size_t n = 0;
        for (size_t i = 0; i < p->n; i++)
                n += cimag(p->p[i]) > 0 ? 2 : 1;
        return n;
}
/* ---- basis ---- */
/* Columns phi (re: FIT_BLOCK values, then im) of `count` points, zero up to `room`. */
static FIT_HOT void basis(const struct poles *p, size_t count, size_t room, const double *restrict x, double *restrict phi)
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
static FIT_HOT size_t own_columns(const struct work *w, const struct grid *g, size_t q, size_t order, bool constant, size_t first,
                                  size_t count, size_t half, const double *dc, double *to)
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

/* ---- one relocation ---- */
static FIT_HOT void sigma_columns(const struct work *w, const struct grid *g, size_t q, size_t order, size_t first, size_t count,
                                  size_t half, double *to)
{
        double hr[FIT_BLOCK] = {0}, hi[FIT_BLOCK] = {0};
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
        double a[RF_FIT_ORDER_MAX * RF_FIT_ORDER_MAX], b[RF_FIT_ORDER_MAX] = {0}, re[RF_FIT_ORDER_MAX], im[RF_FIT_ORDER_MAX];
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
        size_t order = fit_order_of(p), sigma = order + 1;
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
        squares_absorb(sigma, w->sigma, 1, y, row, 8, 8);
        squares_solve(sigma, w->sigma, 1, y, ct, 1e-13);
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
                squares_solve(order, w->sigma, 1, y, ct, 1e-13);
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

bool fit_relocate(struct work *w, const struct grid *g, struct poles *p, double *ret_move)
{
        bool constant = needs_constant(w);
        size_t order = fit_order_of(p), sigma = order + 1, own = order + constant + w->proportional, sets = g->shared ? 1 : g->q;
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
                        squares_absorb(own, w->own, g->q * sigma, w->top, w->block, FIT_ROWS, rows);
                        for (size_t q = 0; q < g->q; q++)
                                squares_absorb(sigma, w->sigma, 0, NULL, tail + q * sigma * FIT_ROWS, FIT_ROWS, rows);
                        continue;
                }
                for (size_t q = 0; q < g->q; q++) {
                        own_columns(w, g, q, order, constant, first, count, half, NULL, w->block);
                        sigma_columns(w, g, q, order, first, count, half, tail);
                        squares_absorb(own, w->own + q * own * own, sigma, w->top + q * own * sigma, w->block, FIT_ROWS, rows);
                        squares_absorb(sigma, w->sigma, 0, NULL, tail, FIT_ROWS, rows);
                }
        }
        return next_poles(w, g, p, sum, ret_move);
}

/* The same by normal equations; *ret_rms: of the poles as they come in. */
bool fit_relocate_fast(struct work *w, const struct grid *g, struct poles *p, double *ret_rms, double *ret_move)
{
        static const double ones[FIT_BLOCK] __attribute__((aligned(16))) = {[0 ... FIT_BLOCK - 1] = 1};
        size_t order = fit_order_of(p);
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

/* ---- residues for given poles ---- */
/* Fills w->coefficient; returns the rms of |w (model - H)|. */
double fit_residues(struct work *w, const struct grid *g, const struct poles *p)
{
        size_t order = fit_order_of(p), n = order + (w->constant && !w->hold_dc) + w->proportional, sets = g->shared ? 1 : g->q;
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
                        squares_absorb(n, w->own + set * n * n, k, w->top + set * n, w->block, FIT_ROWS, rows);
                        for (size_t q = 0; q < k; q++)
                                for (size_t i = 0; i < rows; i++)
                                        left += w->block[(n + q) * FIT_ROWS + i] * w->block[(n + q) * FIT_ROWS + i];
                }
        }
        for (size_t set = 0; set < sets; set++) {
                double *x = w->sigma; /* n x k */
                squares_solve(n, w->own + set * n * n, k, w->top + set * n, x, 1e-14);
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
FIT_HOT double fit_weigh(struct work *w, const struct grid *g, const struct poles *p, struct fit_report *report, double *where)
{
        size_t order = fit_order_of(p);
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
