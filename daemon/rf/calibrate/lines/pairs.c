/* pairs.c: pairs of lines as eigenproblems, in whole vectors of frequencies (lines.h).  Which line is the common one is decided point
   by point: a block is reckoned for the one that is in use, and anew from where it changes; it begins small and grows while it does not. */
#include "rf/calibrate/lines/lines.h"
#include "rf/numbers/cpu.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

enum { T = 4, COLUMNS = 11, LEAST = 8 }; /* complex columns of a line: T, then its pair */
struct pair_columns {
        struct cx_column root, det, phase, box[4];
};
struct line_block {
        const struct problem *problem;
        const struct line_set *lines;
        size_t first;                 /* frequencies go up from here to the last, then down from here to the lowest */
        size_t from, n, common, next; /* what is there: n frequencies; the size of the next block */
        size_t most;                  /* frequencies in a column */
        double *zeros, *columns;
};

#define LOOPS "rf/calibrate/lines/pairs_loops.h"
#include "rf/numbers/kinds.h"

#define HEAD ((sizeof(struct line_block) + 63) / 64 * 64)
size_t line_block_bytes(size_t n, size_t lines) { return HEAD + (1 + 2 * COLUMNS * lines) * lines_block(n) * sizeof(double); }

struct line_block *line_block_begin(void *memory_64, const struct problem *p, const struct line_set *lines, size_t first)
{
        struct line_block *b = memory_64;
        size_t most = lines_block(p->axis->n);
        double *zeros = (double *)(void *)((char *)memory_64 + HEAD);
        *b = (struct line_block){
                .problem = p, .lines = lines, .first = first, .next = most, .most = most, .zeros = zeros, .columns = zeros + most};
        memset(zeros, 0, most * sizeof *zeros);
        return b;
}

static void columns_of(const struct line_block *b, size_t line, struct cx_column t[T], struct pair_columns *pair)
{
        double *column = b->columns + line * 2 * COLUMNS * b->most;
        struct cx_column *to[COLUMNS] = {&t[0],        &t[1],         &t[2],         &t[3],         &pair->root,  &pair->det,
                                         &pair->phase, &pair->box[0], &pair->box[1], &pair->box[2], &pair->box[3]};
        for (size_t k = 0; k < COLUMNS; k++, column += 2 * b->most)
                *to[k] = (struct cx_column){column, column + b->most};
}

static void reckon(struct line_block *b, size_t from, size_t n, size_t c)
{
        struct cx_column t[RF_STANDARD_MAX][T];
        struct pair_columns pair[RF_STANDARD_MAX];
        for (size_t k = 0; k < b->lines->n; k++) {
                struct line_reading read = line_reading(b->problem, b->lines->at[k], from, b->zeros);
                columns_of(b, k, t[k], &pair[k]);
                CPU_RUN(pairs_t, n, &read, t[k]);
        }
        for (size_t k = 0; k < b->lines->n; k++)
                if (k != c)
                        CPU_RUN(pairs_pair, n, t[k], t[c], &pair[k]);
        b->from = from;
        b->n = n;
        b->common = c;
}

static double complex value(const double **column, size_t most)
{
        const double *x = *column;
        *column += 2 * most;
        return CMPLX(x[0], x[most]);
}

void line_block_pairs(struct line_block *b, size_t i, size_t c, struct line_pair *pair, struct m2 *t_0)
{
        if (i - b->from >= b->n || c != b->common) {
                bool up = i >= b->first;
                size_t left = up ? b->problem->axis->n - i : i + 1, n = c != b->common && b->n > 0 ? LEAST : b->next;
                b->next = 2 * n < b->most ? 2 * n : b->most;
                n = n < left ? n : left;
                reckon(b, up ? i : i + 1 - n, n, c);
        }
        for (size_t k = 0; k < b->lines->n; k++) {
                const double *column = b->columns + k * 2 * COLUMNS * b->most + (i - b->from);
                if (k == 0)
                        for (int e = 0; e < T; e++)
                                t_0->e[e] = CMPLX(column[2 * (size_t)e * b->most], column[(2 * (size_t)e + 1) * b->most]);
                if (k == c)
                        continue;
                column += 2 * T * b->most;
                pair[k].root = value(&column, b->most);
                pair[k].det = value(&column, b->most);
                pair[k].phase = value(&column, b->most);
                for (int e = 0; e < 4; e++)
                        pair[k].box[e] = value(&column, b->most);
        }
}
