/* fit_gram.c: one pass over all frequencies of noisy data: the normal equations of a relocation, and with them the rms of the poles as they
 * are (fit_own.h).
 *
 * Why         An order of magnitude fewer operations than reflections, because every element's rows are products of the same basis:
 *             conj(phi_i) phi_j H for all H at once.
 *
 * When        The condition is squared: right only where noise stands well above rounding (1e-6 of the signal).  A pivot that sinks into
 *             rounding is reported, and the caller goes back to reflections.
 *
 * Elements are taken four at a time (one alone has a way of its own), frequencies on vectors of four: the same sums for any processor and
 * for 256-bit vectors, whose code alone differs. */
#include "rf/models/fit_own.h"
#include "rf/numbers/cpu.h"
#include <math.h>
#include <string.h>

typedef double v4 __attribute__((vector_size(32), aligned(16), may_alias));
#define HOT __attribute__((optimize("O3")))
#define FOUR 4
#define AT(p) (*(const v4 *)(const void *)(p))

/* What is summed over frequencies with a pair of basis functions, conj(u) v = a + jb: out = { sum weight_k a }, from 4 on { sum hr_q a },
   from 8 on { sum hi_q b }. */
struct rows {
        const double *weight[FOUR], *hr[FOUR], *hi[FOUR];
};
static inline __attribute__((always_inline)) void products(size_t weights, size_t elements, size_t n, const double *u, const double *v,
                                                           const struct rows *rows, double *restrict out)
{
        const double *ur = u, *ui = u + FIT_BLOCK, *vr = v, *vi = v + FIT_BLOCK;
        v4 w[FOUR] = {0}, r[FOUR] = {0}, i[FOUR] = {0};
        for (size_t k = 0; k < n; k += 4) {
                v4 a = AT(ur + k) * AT(vr + k) + AT(ui + k) * AT(vi + k), b = AT(ur + k) * AT(vi + k) - AT(ui + k) * AT(vr + k);
                for (size_t q = 0; q < weights; q++)
                        w[q] += a * AT(rows->weight[q] + k);
                for (size_t q = 0; q < elements; q++) {
                        r[q] += a * AT(rows->hr[q] + k);
                        i[q] += b * AT(rows->hi[q] + k);
                }
        }
        for (size_t q = 0; q < weights; q++)
                out[q] += (w[q][0] + w[q][2]) + (w[q][1] + w[q][3]);
        for (size_t q = 0; q < elements; q++) {
                out[4 + q] += (r[q][0] + r[q][2]) + (r[q][1] + r[q][3]);
                out[8 + q] += (i[q][0] + i[q][2]) + (i[q][1] + i[q][3]);
        }
}

/* All pairs of `columns` basis functions; shared: two weights for all elements. */
static inline __attribute__((always_inline)) void pairs(bool shared, size_t elements, size_t columns, size_t n, const double *psi,
                                                        const struct rows *rows, double *out)
{
        for (size_t i = 0; i < columns; i++)
                for (size_t j = 0; j <= i; j++, out += 12) { /* conj(psi_j) psi_i */
                        const double *u = psi + 2 * j * FIT_BLOCK, *v = psi + 2 * i * FIT_BLOCK;
                        if (elements == 1)
                                products(2, 1, n, u, v, rows, out);
                        else if (shared)
                                products(2, FOUR, n, u, v, rows, out);
                        else
                                products(FOUR, FOUR, n, u, v, rows, out);
                }
}
#define PAIRS(kind, target)                                                                                            \
        static HOT target void pairs_##kind(bool shared, size_t elements, size_t columns, size_t n, const double *psi, \
                                            const struct rows *rows, double *out)                                      \
        {                                                                                                              \
                pairs(shared, elements, columns, n, psi, rows, out);                                                   \
        }
PAIRS(any, )
#if CPU_WIDE
PAIRS(wide, TARGET_256)
#define PAIRS_RUN(...) (cpu_can_wide() ? pairs_wide(__VA_ARGS__) : pairs_any(__VA_ARGS__))
#else
#define PAIRS_RUN(...) pairs_any(__VA_ARGS__)
#endif

/* Lower triangle L of a symmetric positive matrix (row stride n), in place; false: a pivot below 1e-11 of its diagonal. */
static bool cholesky(size_t n, double *a)
{
        for (size_t j = 0; j < n; j++) {
                double pivot = a[j * n + j], least = 1e-11 * pivot;
                for (size_t k = 0; k < j; k++)
                        pivot -= a[j * n + k] * a[j * n + k];
                if (!(pivot > least))
                        return false;
                pivot = sqrt(pivot);
                a[j * n + j] = pivot;
                for (size_t i = j + 1; i < n; i++) {
                        double sum = a[i * n + j];
                        for (size_t k = 0; k < j; k++)
                                sum -= a[i * n + k] * a[j * n + k];
                        a[i * n + j] = sum / pivot;
                }
        }
        return true;
}

void fit_gram_begin(struct fit_gram *g, size_t order, bool constant, bool proportional, size_t elements, bool shared, double *memory)
{
        *g = (struct fit_gram){.order = order,
                               .elements = elements,
                               .shared = shared,
                               .columns = order + 1 + proportional,
                               .constant = constant,
                               .proportional = proportional,
                               .sums = memory};
        g->pairs = g->columns * (g->columns + 1) / 2;
        g->groups = (elements + FOUR - 1) / FOUR;
        memset(g->sums, 0, g->pairs * g->groups * 12 * sizeof(double));
}
size_t fit_gram_doubles(size_t order, size_t elements)
{
        size_t c = order + 2;
        /* sums; then per element P, X and the assembled triangle */
        return c * (c + 1) / 2 * ((elements + FOUR - 1) / FOUR) * 12 + 2 * c * c + (order + 1) * (order + 1) + 64;
}

/* One block: psi holds the basis, then 1, then s, FIT_BLOCK values of re and of im each, zero beyond `half`; h, weight: per element, padded
   with zeros up to `half`. */
void fit_gram_add(struct fit_gram *g, size_t half, const double *psi, const double *const *weight, const double *const *re,
                  const double *const *im)
{
        static const double zeros[FIT_BLOCK] __attribute__((aligned(16))) = {0};
        double hr[FOUR][FIT_BLOCK] __attribute__((aligned(16))), hi[FOUR][FIT_BLOCK] __attribute__((aligned(16)));
        double energy[FIT_BLOCK] __attribute__((aligned(16))) = {0};
        for (size_t q = 0; q < g->elements; q++) {
                double sum = 0;
                for (size_t k = 0; k < half; k++) {
                        double e = weight[q][k] * (re[q][k] * re[q][k] + im[q][k] * im[q][k]);
                        energy[k] += e;
                        sum += e;
                }
                g->signal2 += sum;
        }
        for (size_t group = 0; group < g->groups; group++) {
                struct rows rows;
                for (size_t k = 0; k < FOUR; k++) {
                        size_t q = group * FOUR + k;
                        rows.hr[k] = rows.hi[k] = rows.weight[k] = zeros;
                        if (q >= g->elements)
                                continue;
                        for (size_t n = 0; n < half; n++) {
                                hr[k][n] = weight[q][n] * re[q][n];
                                hi[k][n] = weight[q][n] * im[q][n];
                        }
                        rows.hr[k] = hr[k];
                        rows.hi[k] = hi[k];
                        rows.weight[k] = weight[q];
                }
                if (g->shared) { /* the common weight, and once the energy of all elements with it */
                        rows.weight[0] = weight[0];
                        rows.weight[1] = group ? zeros : energy;
                }
                PAIRS_RUN(g->shared, g->elements, g->columns, half, psi, &rows, g->sums + group * g->pairs * 12);
        }
        if (!g->shared) /* energy of all elements: one more pass, into the place of the first pair's spare */
                for (size_t i = 0, p = 0; i < g->columns; i++)
                        for (size_t j = 0; j <= i; j++, p++) {
                                const double *u = psi + 2 * j * FIT_BLOCK, *v = psi + 2 * i * FIT_BLOCK;
                                double sum = 0;
                                for (size_t k = 0; k < half; k++)
                                        sum += energy[k] * (u[k] * v[k] + u[FIT_BLOCK + k] * v[FIT_BLOCK + k]);
                                g->energy[p] += sum;
                        }
}

bool fit_gram_end(struct fit_gram *g, double *sigma, double *ret_left2)
{
        size_t n = g->order, s = n + 1, skip = g->constant ? g->columns : n; /* without a constant, column n is not an own one */
        size_t own[FIT_OWN_MAX], o = 0;
        for (size_t c = 0; c < g->columns; c++)
                if (c != skip)
                        own[o++] = c;
        double *p = g->sums + g->pairs * g->groups * 12, *x = p + g->columns * g->columns, left = g->signal2;
        memset(sigma, 0, s * s * sizeof *sigma);
#define PAIR(i, j) ((i) >= (j) ? (i) * ((i) + 1) / 2 + (j) : (j) * ((j) + 1) / 2 + (i))
        for (size_t i = 0; i < s; i++)
                for (size_t j = 0; j <= i; j++)
                        sigma[i * s + j] = g->shared ? g->sums[PAIR(i, j) * 12 + 1] : g->energy[PAIR(i, j)];
        for (size_t q = 0; q < g->elements; q++) {
                const double *sums = g->sums + q / FOUR * g->pairs * 12;
                size_t k = q % FOUR;
                if (q == 0 || !g->shared) {
                        for (size_t i = 0; i < o; i++)
                                for (size_t j = 0; j <= i; j++)
                                        p[i * o + j] = g->shared ? g->sums[PAIR(own[i], own[j]) * 12] : sums[PAIR(own[i], own[j]) * 12 + k];
                        if (!cholesky(o, p))
                                return false;
                }
                for (size_t c = 0; c < s; c++) { /* L^{-1} of the column of -H psi_c */
                        for (size_t i = 0; i < o; i++) {
                                const double *f = sums + PAIR(own[i], c) * 12;
                                /* Re(conj(psi_i) H psi_c) = Re H a - Im H b, with b of (smaller, larger) */
                                double sum = -(f[4 + k] - (own[i] <= c ? f[8 + k] : -f[8 + k]));
                                for (size_t l = 0; l < i; l++)
                                        sum -= p[i * o + l] * x[l * s + c];
                                x[i * s + c] = sum / p[i * o + i];
                        }
                }
                for (size_t i = 0; i < s; i++)
                        for (size_t j = 0; j <= i; j++) {
                                double sum = 0;
                                for (size_t l = 0; l < o; l++)
                                        sum += x[l * s + i] * x[l * s + j];
                                sigma[i * s + j] -= sum;
                        }
                for (size_t l = 0; l < o; l++)
                        left -= x[l * s + n] * x[l * s + n];
        }
#undef PAIR
        *ret_left2 = fmax(left, 0);
        if (!cholesky(s, sigma))
                return false;
        for (size_t i = 0; i < s; i++) /* as an upper triangle */
                for (size_t j = 0; j < i; j++) {
                        sigma[j * s + i] = sigma[i * s + j];
                        sigma[i * s + j] = 0;
                }
        return true;
}
