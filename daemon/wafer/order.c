/* order.c: the visit order, chosen so that a drift in time does not look like a gradient on the wafer.
 * Problem   In a snake the row grows with time, so a linear drift reads as a top-to-bottom process gradient (98 % on 61 dies).
 * Idea      Four passes, each over every fourth die of the snake, some forwards, some backwards: position and time then cancel.  Which
 *           quarters, in which directions, along rows or columns: all 2 x 24 x 16 ways are tried, the shortest way whose plane explains
 * less than GOOD_ENOUGH of a drift wins, else the one whose plane explains least.  Few dies leave a remainder: swaps of two visits take it
 * away. Cost      768 x n; 5000 dies take a fraction of a second.  Allocates nothing that the caller sees; deterministic. */
#include "wafer/order.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GOOD_ENOUGH 0.002
enum { PASSES = 4, SWAP_DIES_MAX = 100, LIMIT = 65535 };

const char *const die_order_words[] = {"unknown", "snake", "interleave", NULL};

struct sums {
        double xx, xy, yy, xt, yt, tt;
};

static struct sums sums_of(const struct die *dies, const uint16_t *order, size_t n)
{
        struct sums s = {0};
        double x0 = 0, y0 = 0, t0 = (double)(n - 1) / 2;
        for (size_t i = 0; i < n; i++) {
                x0 += dies[i].x_um / (double)n;
                y0 += dies[i].y_um / (double)n;
        }
        for (size_t i = 0; i < n; i++) {
                double x = (dies[order[i]].x_um - x0) / 1000, y = (dies[order[i]].y_um - y0) / 1000, t = (double)i - t0;
                s.xx += x * x;
                s.xy += x * y;
                s.yy += y * y;
                s.xt += x * t;
                s.yt += y * t;
                s.tt += t * t;
        }
        return s;
}

/* R^2 of the least-squares plane: (b, c) solve the centred normal equations, R^2 = (b xt + c yt)/tt.  Dies on one line leave one slope. */
double die_order_aliasing(const struct die *dies, const uint16_t *order, size_t n)
{
        if (n < 2)
                return 0;
        struct sums s = sums_of(dies, order, n);
        double det = s.xx * s.yy - s.xy * s.xy;
        if (det > 1e-12 * s.xx * s.yy)
                return ((s.yy * s.xt - s.xy * s.yt) * s.xt + (s.xx * s.yt - s.xy * s.xt) * s.yt) / det / s.tt;
        if (s.xx + s.yy == 0)
                return 0;
        return s.xx >= s.yy ? s.xt * s.xt / s.xx / s.tt : s.yt * s.yt / s.yy / s.tt;
}

double die_order_travel_um(const struct die *dies, const uint16_t *order, size_t n)
{
        double um = 0;
        for (size_t i = 1; i < n; i++)
                um += hypot(dies[order[i]].x_um - dies[order[i - 1]].x_um, dies[order[i]].y_um - dies[order[i - 1]].y_um);
        return um;
}

/* Line by line (rows from the top, or columns from the left), every second line backwards.  Does not count on the order of the list. */
struct key {
        int line, along;
        uint16_t die;
};

static int key_before(const void *a, const void *b)
{
        const struct key *k = a, *m = b;
        if (k->line != m->line)
                return k->line < m->line ? -1 : 1;
        int backwards = k->line & 1 ? -1 : 1;
        return k->along == m->along ? (k->die > m->die) - (k->die < m->die) : k->along < m->along ? -backwards : backwards;
}

static void snake(bool by_columns, const struct die *dies, size_t n, struct key *keys, uint16_t *ret)
{
        int top = n ? dies[0].y : 0;
        for (size_t i = 0; i < n; i++)
                top = dies[i].y > top ? dies[i].y : top;
        for (size_t i = 0; i < n; i++)
                keys[i] = (struct key){
                        .line = by_columns ? dies[i].x : top - dies[i].y, .along = by_columns ? dies[i].y : dies[i].x, .die = (uint16_t)i};
        qsort(keys, n, sizeof *keys, key_before);
        for (size_t i = 0; i < n; i++)
                ret[i] = keys[i].die;
}

/* Pass p visits the snake's places quarter[p], quarter[p] + 4, …; backwards where bit p of `back` is set. */
static void passes(const uint16_t *line, size_t n, const unsigned quarter[PASSES], unsigned back, uint16_t *ret)
{
        size_t o = 0;
        for (unsigned p = 0; p < PASSES; p++) {
                size_t count = n > quarter[p] ? (n - quarter[p] + PASSES - 1) / PASSES : 0;
                for (size_t i = 0; i < count; i++)
                        ret[o++] = line[quarter[p] + PASSES * (back >> p & 1 ? count - 1 - i : i)];
        }
}

/* The k-th of the 24 permutations of four. */
static void quarter_order(unsigned k, unsigned ret[PASSES])
{
        unsigned left[PASSES] = {0, 1, 2, 3}, n = PASSES;
        for (unsigned p = 0, part = 6; p < PASSES; p++) {
                unsigned pick = k / part % n;
                ret[p] = left[pick];
                memmove(left + pick, left + pick + 1, (n - pick - 1) * sizeof *left);
                n--;
                part /= n ? n : 1;
        }
}

/* Takes the best swap of two visits until the plane explains next to nothing or no swap helps. */
static void even_out(const struct die *dies, size_t n, uint16_t *order)
{
        double now = die_order_aliasing(dies, order, n);
        while (now >= GOOD_ENOUGH) {
                size_t best_i = 0, best_k = 0;
                double best = now;
                for (size_t i = 0; i + 1 < n; i++)
                        for (size_t k = i + 1; k < n; k++) {
                                uint16_t keep = order[i];
                                order[i] = order[k];
                                order[k] = keep;
                                double a = die_order_aliasing(dies, order, n);
                                order[k] = order[i];
                                order[i] = keep;
                                if (a < best - 1e-9) {
                                        best = a;
                                        best_i = i;
                                        best_k = k;
                                }
                        }
                if (best_i == best_k)
                        return;
                uint16_t keep = order[best_i];
                order[best_i] = order[best_k];
                order[best_k] = keep;
                now = best;
        }
}

static void interleave(const struct die *dies, size_t n, struct key *keys, uint16_t *line, uint16_t *attempt, uint16_t *ret)
{
        double best_aliasing = HUGE_VAL, best_um = HUGE_VAL;
        for (unsigned k = 0; k < 2 * 24 * 16; k++) {
                unsigned quarter[PASSES];
                if (k % (24 * 16) == 0)
                        snake(k > 0, dies, n, keys, line);
                quarter_order(k / 16 % 24, quarter);
                passes(line, n, quarter, k % 16, attempt);
                double aliasing = die_order_aliasing(dies, attempt, n), um = die_order_travel_um(dies, attempt, n);
                bool good = aliasing < GOOD_ENOUGH, had_good = best_aliasing < GOOD_ENOUGH;
                if (good && had_good ? um < best_um : aliasing < best_aliasing) {
                        best_aliasing = aliasing;
                        best_um = um;
                        memcpy(ret, attempt, n * sizeof *ret);
                }
        }
        if (n <= SWAP_DIES_MAX)
                even_out(dies, n, ret);
}

void die_order(enum die_order kind, const struct die *dies, size_t n, uint16_t *ret)
{
        struct key *keys = n && n <= LIMIT ? malloc(n * sizeof *keys) : NULL;
        uint16_t *line = keys ? malloc(2 * n * sizeof *line) : NULL;
        for (size_t i = 0; i < n; i++)
                ret[i] = (uint16_t)i; /* what stands without memory, and for ORDER_UNKNOWN: the list's own order, still a permutation */
        if (line) {
                if (kind == ORDER_SNAKE)
                        snake(false, dies, n, keys, ret);
                else if (kind == ORDER_INTERLEAVE)
                        interleave(dies, n, keys, line, line + n, ret);
        }
        free(line);
        free(keys);
}
