/* drawn.c: Monte Carlo for numbers that are found in a sweep and not read at a frequency: SRF, fT, fmax.
 * Problem     Such a number is the crossing or the mean of a curve.  Linear propagation takes the curve's slope where it crosses now; a
 *             cause that moves the crossing by a tenth of itself meets another slope there, and its own effect is another one too.
 * Idea        The causes are taken at a few frequencies over as much of the curve as the crossing may move along.  Each trial draws every
 *             cause once, by what is known of it, moves the whole curve, and searches the crossing anew (JCGM 101:2008, 7).  What is of no
 *             frequency (noise of the number, the plateau's scatter, temperature) is drawn beside it.
 * Rule        JCGM 101:2008, 8.1: where both ends of the linear interval agree with the drawn ones within half a unit of the second digit
 *             of u, the linear one stays; else the half width counts that holds 95 of 100 trials.
 * Few draws   The straight number is drawn beside the bent one, with the same draws and with their signs turned: what chance does to both
 *             cancels in the comparison, and five thousand trials tell a per cent or two.
 * Shapes      All causes are drawn as normal, together one vector of the curve's nodes, through the root of its covariance.  What
 *             rectangles and few degrees of freedom make of the linear interval (budget.c) is kept as a factor: a t of one degree of freedom has no
 *             standard deviation that could be drawn.
 * Seed        always the same: the same sweep has the same interval on every machine. */
#include "evaluate/chain.h"
#include "rf/numbers/monte_carlo.h"
#include <math.h>
#include <string.h>

enum { PAIRS = 2500, SEED = 101, DIGITS = 2, OUTPUTS = 2 };
#define LOST_MAX 0.05 /* pairs of trials of which one has no crossing: a tail that has no end */

static bool is_additive(const char *name)
{
        return strncmp(name, "noise", 5) == 0 || strcmp(name, "plateau") == 0 || strcmp(name, "temperature") == 0;
}

void curve_add(struct curve *c, double hz, double value, const struct cause_list *one)
{
        if (c->node_n == CURVE_NODES)
                return;
        size_t node = c->node_n++;
        c->hz[node] = hz;
        c->value[node] = value;
        for (size_t k = 0; k < one->n; k++) { /* the n-th cause of a name is the n-th of that name elsewhere */
                size_t ordinal = 0, at = 0;
                if (is_additive(one->name[k]))
                        continue;
                for (size_t i = 0; i < k; i++)
                        ordinal += one->name[i] == one->name[k];
                for (; at < c->cause_n; at++)
                        if (c->name[at] == one->name[k] && ordinal-- == 0)
                                break;
                if (at == CAUSE_LIST_MAX)
                        continue;
                if (at == c->cause_n) {
                        c->name[at] = one->name[k];
                        memset(c->dq[at], 0, sizeof c->dq[at]);
                        c->cause_n++;
                }
                c->dq[at][node] = one->dq[k];
        }
}

double curve_crossing(const struct curve *c, const double *value)
{
        double sign = c->value[0] < 0 ? -1 : 1;
        for (size_t k = 0; k + 1 < c->node_n; k++) {
                if (!(sign * value[k] > 0 && sign * value[k + 1] <= 0))
                        continue;
                size_t m = k + 2 < c->node_n ? k : k > 0 ? k - 1 : k; /* the parabola through three nodes, within the two */
                double f0 = c->hz[m], f1 = c->hz[m + 1], f2 = c->hz[m + 2 < c->node_n ? m + 2 : m + 1];
                double d1 = (value[m + 1] - value[m]) / (f1 - f0),
                       d2 = f2 > f1 ? ((value[m + 2] - value[m + 1]) / (f2 - f1) - d1) / (f2 - f0) : 0;
                double low = c->hz[k], high = c->hz[k + 1];
                for (int round = 0; round < 40; round++) {
                        double f = (low + high) / 2, v = value[m] + (f - f0) * (d1 + d2 * (f - f1));
                        if (sign * v > 0)
                                low = f;
                        else
                                high = f;
                }
                return (low + high) / 2;
        }
        return NAN;
}

double curve_mean(const struct curve *c, const double *value)
{
        double sum = 0;
        for (size_t k = 0; k < c->node_n; k++)
                sum += c->weight[k] * log(value[k] / c->value[k]); /* a gain that turned its sign has none */
        return c->scale * exp(c->power * sum);
}

/* All causes move the nodes as one normal vector: the root of its covariance, column by column.  What is added to the number comes last. */
struct ready {
        const struct curve *c;
        size_t root_n;
        double root[CURVE_NODES][CURVE_NODES]; /* [column][node] */
        double slope[CURVE_NODES], base;       /* of the number, per column */
};

/* Cholesky with the largest left over first; what rounding leaves is none. */
static void root_of(struct ready *r, double cov[CURVE_NODES][CURVE_NODES])
{
        size_t n = r->c->node_n;
        double first = 0;
        for (r->root_n = 0; r->root_n < n; r->root_n++) {
                size_t p = 0;
                for (size_t k = 1; k < n; k++)
                        p = cov[k][k] > cov[p][p] ? k : p;
                double pivot = cov[p][p], *column = r->root[r->root_n];
                first = r->root_n == 0 ? pivot : first;
                if (!(pivot > 1e-12 * first))
                        return;
                for (size_t k = 0; k < n; k++)
                        column[k] = cov[k][p] / sqrt(pivot);
                for (size_t i = 0; i < n; i++)
                        for (size_t k = 0; k < n; k++)
                                cov[i][k] -= column[i] * column[k];
        }
}

static size_t inputs_make(struct ready *r, const struct cause_list *all, struct input *in)
{
        double cov[CURVE_NODES][CURVE_NODES] = {{0}}, added = 0;
        const struct curve *c = r->c;
        for (size_t k = 0; k < c->cause_n; k++)
                for (size_t i = 0; i < c->node_n; i++)
                        for (size_t j = 0; j < c->node_n; j++)
                                cov[i][j] += c->dq[k][i] * c->dq[k][j];
        root_of(r, cov);
        for (size_t n = 0; n < r->root_n; n++)
                in[n] = (struct input){.shape = SHAPE_NORMAL, .u = 1, .shared = true};
        for (size_t k = 0; k < all->n; k++)
                if (is_additive(all->name[k]))
                        added = hypot(added, all->dq[k]);
        in[r->root_n] = (struct input){.shape = SHAPE_NORMAL, .u = added, .shared = true};
        return r->root_n + 1;
}

/* Twice: as drawn, and with every sign turned.  The number, and what it would be if it were straight in everything. */
static bool trial(const double *x, size_t sweep, double *y, void *context)
{
        const struct ready *r = context;
        const struct curve *c = r->c;
        double value[CURVE_NODES], sign = sweep ? -1 : 1;
        memcpy(value, c->value, sizeof value);
        y[0] = y[1] = sign * x[r->root_n];
        for (size_t k = 0; k < r->root_n; k++) {
                for (size_t i = 0; i < c->node_n; i++)
                        value[i] += sign * x[k] * r->root[k][i];
                y[1] += sign * x[k] * r->slope[k];
        }
        y[0] += c->number(c, value) - r->base;
        return isfinite(y[0]);
}

/* Column q of both sweeps as one. */
static void merge(const struct trials *t, size_t q, double *ret)
{
        size_t kept = t->draws - t->lost;
        memcpy(ret, t->y + q * t->draws, kept * sizeof *ret);
        memcpy(ret + kept, t->y + (OUTPUTS + q) * t->draws, kept * sizeof *ret);
}

/* What holds 95 of 100, to both sides alike. */
static double half_width(double *y, size_t n)
{
        for (size_t k = 0; k < n; k++)
                y[k] = fabs(y[k]);
        sort_rising(y, n);
        return y[(size_t)(0.95 * (double)n)];
}

static void slopes_take(struct ready *r)
{
        const double h = 1e-3;
        r->base = r->c->number(r->c, r->c->value);
        for (size_t k = 0; k < r->root_n; k++) {
                double up[CURVE_NODES], down[CURVE_NODES];
                for (size_t i = 0; i < CURVE_NODES; i++) {
                        up[i] = r->c->value[i] + h * r->root[k][i];
                        down[i] = r->c->value[i] - h * r->root[k][i];
                }
                r->slope[k] = (r->c->number(r->c, up) - r->c->number(r->c, down)) / (2 * h);
        }
}

bool curve_drawn(const struct curve *c, const struct cause_list *all, double u, double u95, double *ret_u95)
{
        struct arena *arena = arena_new(0);
        struct ready *ready = arena ? arena_take(arena, sizeof *ready) : NULL;
        double one[OUTPUTS], x[CURVE_NODES + 1], *bent = ready ? arena_take(arena, 2 * PAIRS * sizeof *bent) : NULL,
                                                 *straight = bent ? arena_take(arena, 2 * PAIRS * sizeof *straight) : NULL;
        struct input in[CURVE_NODES + 1];
        struct trials t = {.draws = PAIRS, .sweeps = 2, .outputs = OUTPUTS, .one = one, .x = x};
        struct drawn drawn;
        bool other = false;
        if (straight && (t.y = arena_take(arena, 2 * OUTPUTS * PAIRS * sizeof *t.y)) != NULL) {
                struct random random = random_of(SEED, 0);
                *ready = (struct ready){.c = c};
                size_t n = inputs_make(ready, all, in);
                slopes_take(ready);
                if (monte_carlo(trial, ready, in, n, &random, &t, NULL) || (double)t.lost > LOST_MAX * PAIRS) {
                        *ret_u95 = INFINITY;
                        other = true;
                } else {
                        size_t kept = 2 * (t.draws - t.lost);
                        merge(&t, 0, bent);
                        merge(&t, 1, straight);
                        double w = half_width(straight, kept);
                        if (!drawn_of(bent, kept, 0.95, &drawn, NULL) && !linear_is_valid(0, u, w, &drawn, DIGITS, NULL, NULL)) {
                                *ret_u95 = u95 * half_width(bent, kept) / w;
                                other = true;
                        }
                }
        }
        arena_free(arena);
        return other;
}
