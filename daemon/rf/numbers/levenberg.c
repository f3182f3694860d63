/* levenberg.c: see levenberg.h. */
#include "rf/numbers/levenberg.h"
#include "rf/numbers/squares.h"
#include <math.h>
#include <string.h>

#define STEP 1e-5 /* of a logarithm: the central difference is good to 1e-10 of the derivative */

_Static_assert(LEVENBERG_BLOCK == SQUARES_ROWS, "a block of residuals is a block of rows");

static double sum_of_squares(const struct levenberg *p, const double *x)
{
        double sum = 0, r[LEVENBERG_BLOCK];
        size_t room = LEVENBERG_BLOCK / p->rows;
        for (size_t first = 0; first < p->items; first += room) {
                size_t count = p->items - first < room ? p->items - first : room;
                p->residual(p->context, first, count, 1, x, r);
                for (size_t k = 0; k < count * p->rows; k++)
                        sum += r[k] * r[k];
        }
        return isfinite(sum) ? sum : INFINITY;
}

/* Triangle of the Jacobian and the rotated residual. */
static void jacobian(const struct levenberg *p, const double *x, double *triangle, double *right)
{
        double block[(LEVENBERG_MAX + 1) * SQUARES_ROWS] __attribute__((aligned(16)));
        double at[(1 + 2 * LEVENBERG_MAX) * LEVENBERG_MAX], r[(1 + 2 * LEVENBERG_MAX) * LEVENBERG_BLOCK];
        size_t n = p->n, room = LEVENBERG_BLOCK / p->rows;
        memset(triangle, 0, n * n * sizeof *triangle);
        memset(right, 0, n * sizeof *right);
        for (size_t k = 0; k < 1 + 2 * n; k++) /* x, then each element up and down */
                memcpy(at + k * n, x, n * sizeof *at);
        for (size_t j = 0; j < n; j++) {
                at[(1 + 2 * j) * n + j] += STEP;
                at[(2 + 2 * j) * n + j] -= STEP;
        }
        for (size_t first = 0; first < p->items; first += room) {
                size_t count = p->items - first < room ? p->items - first : room, rows = count * p->rows;
                p->residual(p->context, first, count, 1 + 2 * n, at, r);
                for (size_t j = 0; j < n; j++) {
                        const double *up = r + (1 + 2 * j) * rows, *down = up + rows;
                        double *to = block + j * SQUARES_ROWS;
                        for (size_t k = 0; k < SQUARES_ROWS; k++)
                                to[k] = k < rows ? (up[k] - down[k]) / (2 * STEP) : 0;
                }
                for (size_t k = 0; k < SQUARES_ROWS; k++)
                        block[n * SQUARES_ROWS + k] = k < rows ? -r[k] : 0;
                squares_absorb(n, triangle, 1, right, block, SQUARES_ROWS, SQUARES_ROWS);
        }
}

#define RIDGE 1e-10 /* of the largest column: one that moves nothing gets a huge variance and leaves the others theirs */
static void statistics(size_t n, double *triangle, struct levenberg_result *ret)
{
        double rows[LEVENBERG_MAX * 16] __attribute__((aligned(16))) = {0}, column = 0;
        for (size_t j = 0; j < n; j++) {
                double sum = 0;
                for (size_t i = 0; i <= j; i++)
                        sum += triangle[i * n + j] * triangle[i * n + j];
                column = fmax(column, sqrt(sum));
        }
        for (size_t j = 0; j < n; j++)
                rows[j * 16 + j] = RIDGE * column;
        squares_absorb(n, triangle, 0, NULL, rows, 16, 16);
        double inverse[LEVENBERG_MAX * LEVENBERG_MAX] = {0}, size = 0, size_inverse = 0, most = 0;
        bool singular = false;
        for (size_t i = 0; i < n; i++)
                most = fmax(most, fabs(triangle[i * n + i]));
        for (size_t c = 0; c < n; c++)
                for (size_t i = c + 1; i-- > 0;) {
                        double sum = i == c;
                        for (size_t j = i + 1; j <= c; j++)
                                sum -= triangle[i * n + j] * inverse[j * n + c];
                        singular = singular || !(fabs(triangle[i * n + i]) > 1e-15 * most);
                        inverse[i * n + c] = sum / triangle[i * n + i];
                        size += triangle[i * n + c] * triangle[i * n + c];
                        size_inverse += inverse[i * n + c] * inverse[i * n + c];
                }
        ret->condition = singular ? INFINITY : sqrt(size) * sqrt(size_inverse);
        for (size_t i = 0; i < n; i++)
                for (size_t j = 0; j < n; j++) {
                        double sum = 0;
                        for (size_t k = i > j ? i : j; k < n; k++)
                                sum += inverse[i * n + k] * inverse[j * n + k];
                        ret->covariance[i * n + j] = singular && !isfinite(sum) ? INFINITY : sum;
                }
}

bool levenberg_fit(const struct levenberg *p, double *x, struct levenberg_result *ret)
{
        size_t n = p->n;
        double triangle[LEVENBERG_MAX * LEVENBERG_MAX], right[LEVENBERG_MAX], least = sum_of_squares(p, x), damping = 1e-3;
        double tolerance = p->tolerance > 0 ? p->tolerance : 1e-15;
        memset(ret, 0, sizeof *ret);
        if (!isfinite(least))
                return false;
        for (unsigned limit = p->rounds_max ? p->rounds_max : 60; ret->rounds < limit; ret->rounds++) {
                jacobian(p, x, triangle, right);
                bool better = false, done = false;
                for (int attempt = 0; attempt < 12 && !better && !done; attempt++) {
                        double r[LEVENBERG_MAX * LEVENBERG_MAX], y[LEVENBERG_MAX], step[LEVENBERG_MAX], trial[LEVENBERG_MAX];
                        double rows[(LEVENBERG_MAX + 1) * 16] __attribute__((aligned(16))) = {0}; /* the damping as n more equations */
                        memcpy(r, triangle, n * n * sizeof *r);
                        memcpy(y, right, n * sizeof *y);
                        for (size_t j = 0; j < n; j++) {
                                double column = 0;
                                for (size_t i = 0; i <= j; i++)
                                        column += triangle[i * n + j] * triangle[i * n + j];
                                rows[j * 16 + j] = sqrt(damping * column);
                        }
                        squares_absorb(n, r, 1, y, rows, 16, 16);
                        squares_solve(n, r, 1, y, step, 1e-14);
                        double longest = 0;
                        for (size_t j = 0; j < n; j++)
                                longest = fmax(longest, fabs(step[j]));
                        double shorten = longest > 2 ? 2 / longest : 1; /* an element changes by at most e^2 at once */
                        for (size_t j = 0; j < n; j++)
                                trial[j] = x[j] + shorten * step[j];
                        double sum = sum_of_squares(p, trial);
                        if (sum < least) {
                                done = longest < 1e-12 || least - sum < tolerance * least;
                                better = true;
                                least = sum;
                                memcpy(x, trial, n * sizeof *x);
                                damping = fmax(damping / 10, 1e-12);
                        } else {
                                done = longest < 1e-11;
                                damping = fmin(damping * 10, 1e8);
                        }
                }
                if (!better || done)
                        break;
        }
        jacobian(p, x, triangle, right);
        statistics(n, triangle, ret);
        ret->rms = sqrt(least / ((double)p->items * (double)p->rows));
        return true;
}
