/* found_match.c: how what "lrrm" finds of its match moves with its standards (found_match.h).
 * Problem     One frequency alone cannot tell how sure the match's inductance is: it is found from all frequencies of the band, and a touch
 *             on the short moves it by what that touch does to all of them.
 * Idea        The method's own least squares, to first order: with the match held, a standard that reads d more moves the solved open by dG
 *             at each frequency (virtual.c, part 0 is the open itself); the number found moves by -(J'WJ)^-1 J'W r of the residuals |G| - 1
 *             (or G - its definition), J from moving what is believed of the match.  A band of more points is seen through 24 of them, taken
 *             evenly; smooth causes are the same through both, noise is counted for all.
 * Weights     the method's own, kept in the calibration, one over the variance that its residuals show.  From a record that has none: one
 *             over the variance by the noise table.
 * Checked     tests/unit/evaluate_found_match.c (against solving again) and tests/judges/coverage.sh (against the truth). */
#include "evaluate/found_match.h"
#include "evaluate/chain.h"
#include "recipe/standard_moves.h"
#include <math.h>
#include <string.h>

#define NOISE_80_DB 1e-4
#define L_UNSURE_H 10e-12 /* as the method: beyond it the definition is taken */

/* dz in series with what lies behind the shunt: dY = -dz (Y - jwC)^2. */
static struct m2 in_series(double shunt_c_f, double hz, struct m2 s, double complex dz)
{
        double complex g = s.e[0], y = (1 - g) / (1 + g) / 50 - CMPLX(0, RF_TWO_PI * hz * shunt_c_f);
        bool bare = !(shunt_c_f > 0 || shunt_c_f < 0);
        return m2_diag(bare ? standard_series(g, dz) : standard_shunt(g, -dz * y * y), 0);
}
static struct m2 by_l(double shunt_c_f, double hz, struct m2 s) { return in_series(shunt_c_f, hz, s, CMPLX(0, RF_TWO_PI * hz)); }
static struct m2 by_r(double shunt_c_f, double hz, struct m2 s) { return in_series(shunt_c_f, hz, s, 1); }
static struct m2 by_c(double shunt_c_f, double hz, struct m2 s)
{
        (void)shunt_c_f;
        return m2_diag(standard_shunt(s.e[0], CMPLX(0, RF_TWO_PI * hz)), 0);
}

/* The solved open's change when standard m reads d more. */
static double complex open_moves(const struct found_point *at, size_t m, struct m2 d)
{
        double complex sum = 0;
        for (int e = 0; e < 4; e++)
                sum += creal(d.e[e]) * at->moves[m][2 * e] + cimag(d.e[e]) * at->moves[m][2 * e + 1];
        return sum;
}

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

/* Variance of the solved open's part along `along` (0: mean of both parts): for unit variance of every raw number, and by the noise table. */
struct scatter {
        double unit2, noise2;
};
static struct scatter scatter_at(const struct found_match *f, const struct found_point *at, const struct chain *ch, double complex along)
{
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->recipe->calibration.sweep);
        size_t near = axis_nearest(&ch->cal->axis, at->hz);
        struct scatter s = {0, 0};
        for (size_t m = 0; m < f->standard_n; m++)
                for (int c = 0; c < 8; c++) {
                        double u = noise_of(plan, at->hz, chain_read_size(ch, near, at->s[m], c / 2));
                        double part2 = along == 0 ? abs2(at->moves[m][c]) / 2 : pow(creal(conj(along) * at->moves[m][c]), 2);
                        s.unit2 += abs2(at->moves[m][c]) / 2;
                        s.noise2 += part2 * u * u;
                }
        return s;
}

/* The rows of the least squares from J and W; false: the band does not determine the numbers. */
static bool weights_fill(struct found_match *f, const struct chain *ch, const double complex *open, bool known_open)
{
        double complex j[FOUND_MAX][FOUND_POINTS];
        double w[FOUND_POINTS] = {0}, jj[3] = {0}, at_80[3] = {0};
        for (size_t i = 0; i < f->n; i++) {
                const struct found_point *at = &f->point[i];
                double complex along = open[i] / cabs(open[i]);
                struct scatter scatter = scatter_at(f, at, ch, known_open ? 0 : along);
                size_t near = axis_nearest(&ch->cal->axis, at->hz);
                w[i] = ch->cal->match_sought ? f->over * ch->cal->match_weight[near] : f->over / scatter.noise2;
                for (size_t k = 0; k < f->found_n; k++) { /* what is believed of the match goes up: as if the reading went down */
                        double complex moved = -open_moves(at, f->load, f->by[k](f->shunt_c_f, at->hz, at->s[f->load]));
                        j[k][i] = known_open ? moved : creal(conj(along) * moved) * along;
                }
                for (size_t k = 0; k < f->found_n; k++)
                        for (size_t l = k; l < f->found_n; l++) {
                                double x = creal(conj(j[k][i]) * j[l][i]);
                                jj[k + l] += w[i] * x;
                                at_80[k + l] += f->over / scatter.unit2 * x;
                        }
        }
        if (f->found_n == 1)
                jj[2] = at_80[2] = 1;
        double det = jj[0] * jj[2] - jj[1] * jj[1], det_80 = at_80[0] * at_80[2] - at_80[1] * at_80[1];
        const double inverse[3] = {jj[2] / det, -jj[1] / det, jj[0] / det};
        memcpy(f->covariance, inverse, sizeof inverse);
        for (size_t i = 0; i < f->n; i++)
                for (size_t k = 0; k < f->found_n; k++) {
                        f->point[i].weight[k] = 0;
                        for (size_t l = 0; l < f->found_n; l++)
                                f->point[i].weight[k] -= inverse[k + l] * w[i] * conj(j[l][i]);
                }
        /* the method tells where it found one number; of two it may have found the first alone */
        bool told = ch->cal->match_sought && (f->found_n == 1 || known_open);
        return det > 0 && isfinite(det) && (told || NOISE_80_DB * sqrt(at_80[2] / det_80) < L_UNSURE_H);
}

/* The band's method at one frequency with the match held; the open is a device of it, too.  false: no solution there. */
static bool point_fill(const struct recipe *r, double hz, const struct standard *open, size_t open_n, struct virtual *v,
                       struct arena *arena, struct found_match *f, double complex *ret_open)
{
        struct found_point *at = &f->point[f->n];
        struct m2 s = standard_at(open, r->setup.temperature_c, hz);
        if (!virtual_calibrate(r, hz, (struct virtual_how){.match_fixed = true}, &s, 1, arena, v))
                return false;
        *at = (struct found_point){.hz = hz};
        *ret_open = s.e[0];
        f->standard_n = v->n;
        for (size_t m = 0; m < v->n; m++) {
                at->s[m] = v->s[m];
                if (v->of[m]->kind == STANDARD_LOAD) {
                        f->load = m;
                        f->shunt_c_f = v->of[m]->data_n == 0 ? v->of[m]->model.c_f[0] : 0;
                }
                for (int part = 0; part < 2 && v->of[m]->kind == STANDARD_OPEN; part++) /* it is read, not only calibrated with */
                        at->moves[m][part] = (part ? CMPLX(0, 1) : 1) / (double)open_n;
        }
        for (size_t c = 0; c < v->column_n; c++)
                at->moves[v->columns[c].standard][2 * v->columns[c].entry + v->columns[c].imaginary] += v->columns[c].d_s[0].e[0];
        f->n++;
        return true;
}

/* *ret_determined: by the band's frequencies and standards. */
static enum code band_fill(const struct chain *ch, const struct band_plan *band, struct arena *arena, struct found_match *f,
                           bool *ret_determined, struct tp_error *err)
{
        const struct recipe *r = ch->q->recipe;
        const struct axis *axis = &ch->cal->axis;
        const struct standard *open = NULL;
        struct virtual *v = arena_take(arena, sizeof *v);
        double complex opens[FOUND_POINTS];
        size_t first = 0, last = axis->n, open_n = 0;
        if (!v)
                return tp_fail_memory(err);
        while (first < axis->n && axis->hz[first] < f->from_hz * (1 - 1e-9))
                first++;
        while (last > first && axis->hz[last - 1] > f->to_hz * (1 + 1e-9))
                last--;
        for (size_t k = 0; k < band->standard_n; k++) {
                const struct standard *s = recipe_standard(r, band->standards[k].standard);
                if (s && s->kind == STANDARD_OPEN) {
                        open = open ? open : s;
                        open_n++;
                }
        }
        size_t all = last - first, n = all < FOUND_POINTS ? all : FOUND_POINTS;
        for (size_t k = 0; k < n && open; k++)
                point_fill(r, axis->hz[first + (2 * k + 1) * all / (2 * n)], open, open_n, v, arena, f, &opens[f->n]);
        if (f->n == 0)
                return CODE_OK;
        int32_t fit = r->calibration.match_fit;
        bool known_open = fit == RF_MATCH_FROM_OPEN;
        f->over = (double)all / (double)f->n;
        f->found_n = fit == RF_MATCH_FIT_L ? 1 : 2;
        f->by[0] = by_l;
        f->by[1] = known_open ? by_r : by_c;
        *ret_determined = weights_fill(f, ch, opens, known_open);
        if (!*ret_determined && fit == RF_MATCH_FIT_L_C) { /* then the method fits the inductance alone */
                f->found_n = 1;
                *ret_determined = weights_fill(f, ch, opens, known_open);
        }
        return CODE_OK;
}

enum code found_match_of(const struct chain *ch, struct arena *arena, const struct found_match **ret, struct tp_error *err)
{
        struct band_plan one;
        const struct band_plan *bands;
        const struct recipe *r = ch->q->recipe;
        size_t n = calibration_bands(&r->calibration, &one, &bands);
        *ret = NULL;
        for (size_t b = 0; b < n && r->calibration.match_fit != RF_MATCH_FIXED; b++) {
                if (strcmp(bands[b].method, "lrrm") != 0)
                        continue;
                struct found_match *f = arena_take(arena, sizeof *f);
                bool determined = false;
                if (!f)
                        return tp_fail_memory(err);
                *f = (struct found_match){.next = *ret, .from_hz = bands[b].from_hz, .to_hz = bands[b].to_hz};
                enum code code = band_fill(ch, &bands[b], arena, f, &determined, err);
                if (code)
                        return code;
                *ret = determined ? f : *ret;
        }
        return CODE_OK;
}

const struct found_match *found_match_at(const struct found_match *f, double hz)
{
        while (f && !(hz >= f->from_hz * (1 - 1e-9) && hz <= f->to_hz * (1 + 1e-9)))
                f = f->next;
        return f;
}

void found_match_moves(const struct found_match *f, standard_mover *move, const void *cause, size_t m, double ret[FOUND_MAX])
{
        for (size_t k = 0; k < FOUND_MAX; k++)
                ret[k] = 0;
        for (size_t i = 0; i < f->n; i++) {
                const struct found_point *at = &f->point[i];
                double complex d = open_moves(at, m, move(cause, at->hz, at->s[m]));
                for (size_t k = 0; k < f->found_n; k++)
                        ret[k] += creal(at->weight[k] * d);
        }
}

double found_match_noise(const struct found_match *f, const double by[FOUND_MAX])
{
        const double *v = f->covariance;
        return sqrt(by[0] * by[0] * v[0] + (f->found_n > 1 ? 2 * by[0] * by[1] * v[1] + by[1] * by[1] * v[2] : 0));
}
