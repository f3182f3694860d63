/* squares.c: least squares by Householder reflections, rows taken block by block (squares.h).
 * Why blocks  A sweep of 200 000 points needs no larger matrix than one of 64, and each block is in the first cache while it is worked on.
 * Why not normal equations: they square the condition, and poles are asked to nine digits over six decades.
 * The inner loops are written on vectors of four and compiled for any processor and for 256-bit vectors: the same sums, the same bytes. */
#include "rf/numbers/squares.h"
#include "rf/numbers/cpu.h"
#include <math.h>
#include <string.h>

typedef double v4 __attribute__((vector_size(32), aligned(16), may_alias));
#define HOT __attribute__((optimize("O3")))
#define IN static inline __attribute__((always_inline))
#define AT(p) (*(const v4 *)(const void *)(p))
#define PUT(p, x) (*(v4 *)(void *)(p) = (x))
#define SUM(x) (((x)[0] + (x)[2]) + ((x)[1] + (x)[3]))

IN double dot(size_t n, const double *a, const double *b)
{
        v4 s0 = {0}, s1 = s0;
        for (size_t i = 0; i < n; i += 8) {
                s0 += AT(a + i) * AT(b + i);
                s1 += AT(a + i + 4) * AT(b + i + 4);
        }
        s0 += s1;
        return SUM(s0);
}

/* b_j := H b_j for four columns at once, H = I - scale v v^T with v = (v0 in row k of the triangle, a in the block). */
IN void reflect4(size_t n, const double *a, double v0, double scale, double *const top[4], double *b, size_t stride)
{
        double *b0 = b, *b1 = b + stride, *b2 = b + 2 * stride, *b3 = b + 3 * stride;
        v4 s0 = {0}, s1 = s0, s2 = s0, s3 = s0;
        for (size_t i = 0; i < n; i += 4) {
                v4 x = AT(a + i);
                s0 += x * AT(b0 + i);
                s1 += x * AT(b1 + i);
                s2 += x * AT(b2 + i);
                s3 += x * AT(b3 + i);
        }
        double d0 = scale * (v0 * *top[0] + SUM(s0)), d1 = scale * (v0 * *top[1] + SUM(s1));
        double d2 = scale * (v0 * *top[2] + SUM(s2)), d3 = scale * (v0 * *top[3] + SUM(s3));
        *top[0] -= d0 * v0;
        *top[1] -= d1 * v0;
        *top[2] -= d2 * v0;
        *top[3] -= d3 * v0;
        for (size_t i = 0; i < n; i += 4) {
                v4 x = AT(a + i);
                PUT(b0 + i, AT(b0 + i) - d0 * x);
                PUT(b1 + i, AT(b1 + i) - d1 * x);
                PUT(b2 + i, AT(b2 + i) - d2 * x);
                PUT(b3 + i, AT(b3 + i) - d3 * x);
        }
}

IN void reflect1(size_t n, const double *a, double v0, double scale, double *top, double *b)
{
        double d = scale * (v0 * *top + dot(n, a, b));
        *top -= d * v0;
        for (size_t i = 0; i < n; i += 4)
                PUT(b + i, AT(b + i) - d * AT(a + i));
}

IN void absorb(size_t n, double *r, size_t k, double *top, double *block, size_t stride, size_t rows)
{
        size_t all = n + k;
        for (size_t c = 0; c < n; c++) {
                double *a = block + c * stride, head = r[c * n + c], tail2 = dot(rows, a, a);
                if (!(tail2 > 0))
                        continue;
                double norm = sqrt(head * head + tail2), v0 = head + copysign(norm, head), scale = 1 / (norm * fabs(v0));
                r[c * n + c] = -copysign(norm, head);
                size_t j = c + 1;
                for (; j + 4 <= all; j += 4) {
                        double *up[4];
                        for (size_t i = 0; i < 4; i++)
                                up[i] = j + i < n ? &r[c * n + j + i] : &top[c * k + j + i - n];
                        reflect4(rows, a, v0, scale, up, block + j * stride, stride);
                }
                for (; j < all; j++)
                        reflect1(rows, a, v0, scale, j < n ? &r[c * n + j] : &top[c * k + j - n], block + j * stride);
        }
}
static HOT void absorb_any(size_t n, double *r, size_t k, double *top, double *block, size_t stride, size_t rows)
{
        absorb(n, r, k, top, block, stride, rows);
}
#if CPU_WIDE
static HOT TARGET_256 void absorb_wide(size_t n, double *r, size_t k, double *top, double *block, size_t stride, size_t rows)
{
        absorb(n, r, k, top, block, stride, rows);
}
#endif

void squares_absorb(size_t n, double *r, size_t k, double *top, double *block, size_t stride, size_t rows)
{
#if CPU_WIDE
        if (cpu_can_wide()) {
                absorb_wide(n, r, k, top, block, stride, rows);
                return;
        }
#endif
        absorb_any(n, r, k, top, block, stride, rows);
}

size_t squares_solve(size_t n, double *r, size_t k, double *y, double *x, double tolerance)
{
        size_t place[SQUARES_MAX] = {0}, rank = 0;
        double unit[SQUARES_MAX] = {0}, first = 0;
        for (size_t j = 0; j < n; j++) {
                double sum = 0;
                for (size_t i = 0; i < n; i++)
                        sum += r[i * n + j] * r[i * n + j];
                unit[j] = sum > 0 ? sqrt(sum) : 1;
                place[j] = j;
                for (size_t i = 0; i < n; i++)
                        r[i * n + j] /= unit[j];
        }
        for (; rank < n; rank++) {
                size_t c = rank, best = c;
                double most = -1;
                for (size_t j = c; j < n; j++) {
                        double sum = 0;
                        for (size_t i = c; i < n; i++)
                                sum += r[i * n + j] * r[i * n + j];
                        if (sum > most) {
                                most = sum;
                                best = j;
                        }
                }
                double norm = sqrt(fmax(most, 0));
                if (c == 0)
                        first = norm;
                if (!(norm > tolerance * first))
                        break;
                if (best != c) {
                        size_t p = place[c];
                        place[c] = place[best];
                        place[best] = p;
                        for (size_t i = 0; i < n; i++) {
                                double t = r[i * n + c];
                                r[i * n + c] = r[i * n + best];
                                r[i * n + best] = t;
                        }
                }
                double head = r[c * n + c], v[SQUARES_MAX];
                v[c] = head + copysign(norm, head);
                for (size_t i = c + 1; i < n; i++)
                        v[i] = r[i * n + c];
                double scale = 1 / (norm * fabs(v[c]));
                r[c * n + c] = -copysign(norm, head);
                for (size_t j = c + 1; j < n + k; j++) {
                        double *m = j < n ? r + j : y + (j - n), d = 0;
                        size_t step = j < n ? n : k;
                        for (size_t i = c; i < n; i++)
                                d += v[i] * m[i * step];
                        d *= scale;
                        for (size_t i = c; i < n; i++)
                                m[i * step] -= d * v[i];
                }
        }
        for (size_t q = 0; q < k; q++) {
                double z[SQUARES_MAX] = {0};
                for (size_t c = rank; c-- > 0;) {
                        double sum = y[c * k + q];
                        for (size_t j = c + 1; j < rank; j++)
                                sum -= r[c * n + j] * z[j];
                        z[c] = sum / r[c * n + c];
                }
                for (size_t c = 0; c < n; c++)
                        x[place[c] * k + q] = c < rank ? z[c] / unit[place[c]] : 0;
        }
        return rank;
}
