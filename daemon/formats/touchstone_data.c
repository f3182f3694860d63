/* touchstone_data.c: the points and the noise of a Touchstone text.
 * Idea        The number of ports says how many pairs a frequency has and, in version 1, where a row must end: a short or long line is an
 *             error at that line, never a shift of everything after it.  In version 2 lines may be broken between any two pairs, but a
 *             frequency still begins a line, so a lost pair is noticed at the next one.
 * Trap        a version 1 two-port line is f S11 S21 S12 S22. */
#include "formats/touchstone_own.h"
#include <math.h>

/* A first look: no text of n bytes holds more points of so many pairs than this. */
static size_t points_bound(const struct reader *r, size_t pairs)
{
        size_t bound = (size_t)(r->end - r->at) / (2 * (1 + 2 * pairs)) + 2;
        return bound < TOUCHSTONE_POINTS_MAX ? bound : TOUCHSTONE_POINTS_MAX;
}

static size_t pairs_of(const struct reader *r)
{
        size_t n = r->file->ports;
        return r->matrix == MATRIX_FULL ? n * n : n * (n + 1) / 2;
}

enum code reader_points_begin(struct reader *r)
{
        struct touchstone *f = r->file;
        size_t n = (size_t)f->ports * f->ports;
        /* the line in hand may hold the first point, and is read already */
        r->room = points_bound(r, pairs_of(r)) + 1;
        r->in_data = true;
        r->hz = arena_take(r->arena, r->room * sizeof(double));
        f->re = arena_take(r->arena, n * sizeof *f->re);
        f->im = arena_take(r->arena, n * sizeof *f->im);
        if (!r->hz || !f->re || !f->im)
                return tp_fail_memory(r->err);
        for (size_t k = 0; k < n; k++)
                if (!(f->re[k] = arena_take(r->arena, r->room * sizeof(double))) ||
                    !(f->im[k] = arena_take(r->arena, r->room * sizeof(double))))
                        return tp_fail_memory(r->err);
        return CODE_OK;
}

/* One pair of numbers as a complex value, version 1's Z, Y, H and G with their R put back.  1e308 dB and its like do not fit. */
static enum code store(struct reader *r, size_t row, size_t column, double a, double b)
{
        struct touchstone *f = r->file;
        size_t i = f->axis.n;
        if (r->form == FORM_MA && a < 0)
                return tp_fail(
                        r->err, CODE_BAD_INPUT,
                        "line %zu: a magnitude of %.9g, and MA has none below zero: the numbers are real and imaginary parts (RI) or "
                        "decibels (DB), and the option line says otherwise; correct it",
                        r->line, a);
        double mag = r->form == FORM_DB ? pow(10, a / 20) : a, rad = b * RF_PI / 180;
        double re = r->form == FORM_RI ? a : mag * cos(rad), im = r->form == FORM_RI ? b : mag * sin(rad);
        re = touchstone_physical(f, row, column, re);
        im = touchstone_physical(f, row, column, im);
        f->re[row * f->ports + column][i] = re;
        f->im[row * f->ports + column][i] = im;
        if (r->matrix != MATRIX_FULL) {
                f->re[column * f->ports + row][i] = re;
                f->im[column * f->ports + row][i] = im;
        }
        if (!isfinite(re) || !isfinite(im))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: the pair %.9g %.9g is beyond what a number can hold; write it smaller",
                               r->line, a, b);
        return CODE_OK;
}

/* Where the k-th pair of a frequency belongs: row and column, from 0. */
static void place_of(const struct reader *r, size_t k, size_t *row, size_t *column)
{
        size_t n = r->file->ports;
        *row = 0;
        if (r->matrix == MATRIX_FULL) {
                *row = k / n;
                *column = k % n;
                if (n == 2 && r->order_21_12) {
                        *row = k % 2;
                        *column = k / 2;
                }
        } else if (r->matrix == MATRIX_LOWER) {
                for (; k > *row; k -= *row + 1, ++*row)
                        ;
                *column = k;
        } else {
                for (; k >= n - *row; k -= n - *row, ++*row)
                        ;
                *column = *row + k;
        }
}

static enum code frequency(struct reader *r, double *ret_hz)
{
        enum code code = reader_number(r, r->word[0], ret_hz);
        *ret_hz *= r->unit_hz;
        if (!code && !(*ret_hz >= 0))
                code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: frequency %.9g Hz is negative", r->line, *ret_hz);
        if (!code && !isfinite(*ret_hz))
                code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: frequency \"%.*s\" is beyond what a number of Hz can hold", r->line,
                               SHOWN(r->word[0]));
        return code;
}

enum code reader_noise(struct reader *r)
{
        double v[5];
        struct touchstone *f = r->file;
        if (r->word_n != 5)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: %zu numbers; %s come noise data with 5 (or the frequency does not rise)",
                               r->line, r->word_n, f->version < 20 ? "after the data of a 2-port" : "after [Noise Data]");
        enum code code = frequency(r, &v[0]);
        for (int k = 1; k < 5 && !code; k++)
                code = reader_number(r, r->word[k], &v[k]);
        if (code)
                return code;
        if (f->noise_n > 0 && !(v[0] > f->noise[f->noise_n - 1].hz))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: noise frequency %.9g Hz after %.9g Hz; frequencies must rise", r->line,
                               v[0], f->noise[f->noise_n - 1].hz);
        if (f->noise_n == TOUCHSTONE_NOISE_MAX)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: more than %d noise frequencies", r->line, TOUCHSTONE_NOISE_MAX);
        if (!f->noise && !(f->noise = arena_take(r->arena, TOUCHSTONE_NOISE_MAX * sizeof *f->noise)))
                return tp_fail_memory(r->err);
        double rn = f->version < 20 ? v[4] * f->r_ohm[0] : v[4];
        if (!isfinite(rn))
                return tp_fail(r->err, CODE_BAD_INPUT,
                               "line %zu: a noise resistance of %.9g times %.9g ohm is beyond what a number can hold", r->line, v[4],
                               f->r_ohm[0]);
        f->noise[f->noise_n++] = (struct touchstone_noise){v[0], v[1], v[2], v[3], rn};
        return CODE_OK;
}

/* The numbers of one line from word `skip` on, pairs `*k` … of the frequency. */
static enum code pairs_of_line(struct reader *r, size_t skip, size_t *k)
{
        for (size_t w = skip; w + 1 < r->word_n; w += 2, ++*k) {
                size_t row, column;
                double a = 0, b = 0;
                enum code code = reader_number(r, r->word[w], &a);
                if (!code)
                        code = reader_number(r, r->word[w + 1], &b);
                place_of(r, *k, &row, &column);
                if (code || (code = store(r, row, column, a, b)))
                        return code;
        }
        return CODE_OK;
}

enum code reader_point(struct reader *r, bool *ret_noise)
{
        struct touchstone *f = r->file;
        size_t all = pairs_of(r), k = 0, skip = 1, first_line = r->line;
        bool rows = f->version < 20 && f->ports > 2; /* rows begin on new lines */
        double here, last = f->axis.n > 0 ? r->hz[f->axis.n - 1] : -1;
        enum code code = frequency(r, &here);
        if (code)
                return code;
        if (f->axis.n > 0 && !(here > last)) {
                if (f->version < 20 && f->ports == 2 && r->word_n == 5) {
                        *ret_noise = true;
                        return reader_noise(r);
                }
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: frequency %.9g Hz after %.9g Hz; frequencies must rise", r->line, here,
                               last);
        }
        if (f->axis.n == r->room)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: more than %d frequencies", r->line, TOUCHSTONE_POINTS_MAX);
        for (;; skip = 0) {
                size_t left = rows ? f->ports - k % f->ports : all - k; /* pairs up to where a line must end */
                if (r->keyword.at || r->word[0].at[0] == '#')
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: a keyword or option line within the frequency begun in line %zu",
                                       r->line, first_line);
                if (f->version < 20 && f->ports <= 2 && r->word_n != 1 + 2 * all)
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: %zu numbers; a %u-port file needs %zu here", r->line, r->word_n,
                                       f->ports, 1 + 2 * all);
                if ((r->word_n - skip) % 2 || (r->word_n - skip) / 2 > left || r->word_n == skip)
                        return tp_fail(
                                r->err, CODE_BAD_INPUT,
                                "line %zu: %zu numbers; %sup to %zu pairs of row %zu of %u ports belong here (frequency begun in line "
                                "%zu)",
                                r->line, r->word_n, skip ? "the frequency and " : "", left, rows ? k / f->ports + 1 : (size_t)1, f->ports,
                                first_line);
                if ((code = pairs_of_line(r, skip, &k)))
                        return code;
                if (k == all)
                        break;
                if (!reader_line(r, &code))
                        return code ? code
                                    : tp_fail(r->err, CODE_BAD_INPUT,
                                              "line %zu: the text ends after %s%zu of the %zu %s of the frequency in line %zu", r->line,
                                              rows ? "row " : "", rows ? k / f->ports : k, rows ? (size_t)f->ports : all,
                                              rows ? "rows" : "pairs", first_line);
        }
        r->hz[f->axis.n++] = here;
        return CODE_OK;
}
