/* calibration_noise.c: the noise of what was read of each standard, as causes of the terms (calibration_causes.h).
 * Idea        Noise is each frequency's own and circular, so a column is u times the derivative by one raw number, which the solvers give
 *             with their root choices held.  In blocks of frequencies, because the derivatives of all inputs are kept at once.
 * Joined      a reading that two bands use moves both; the bands are moved together and joined anew with the weights held. */
#include "recipe/calibration_causes.h"
#include <math.h>
#include <string.h>

#define BLOCK 1024 /* frequencies */
#define SMALL 1e-5 /* of the terms: what a band is moved by before joining */
#define ENTRIES "S11\0S12\0S21\0S22"

static enum code zero_terms(const struct solved_band *b, struct arena *arena, struct terms *ret, struct tp_error *err)
{
        void *memory = arena_take(arena, terms_bytes(b->axis.n));
        if (!memory)
                return tp_fail_memory(err);
        *ret = terms_at(memory, &b->axis);
        for (int k = 0; k < TERM_COUNT; k++)
                for (size_t i = 0; i < b->axis.n; i++)
                        ret->re[k][i] = ret->im[k][i] = 0;
        for (int k = 0; k < FULL_COUNT; k++)
                for (size_t i = 0; i < b->axis.n; i++)
                        ret->full_re[k][i] = ret->full_im[k][i] = 0;
        ret->model = b->terms.model;
        return CODE_OK;
}

/* Derivatives of the terms by all raw numbers of a band, times their noise: columns[standard of the band][entry]. */
static enum code band_derive(struct causes_job *j, const struct solved_band *b, struct band_columns (*columns)[4], struct tp_error *err)
{
        size_t standards = b->problem.standard_n, n = b->axis.n, wide = b->terms.model == TERMS_SIXTEEN ? FULL_COUNT : TERM_COUNT;
        size_t *points = arena_take(j->scratch, BLOCK * sizeof *points);
        struct covariance *cov = arena_take(j->scratch, sizeof *cov);
        void *workspace = arena_take(j->scratch, b->method->workspace_bytes(n, standards)), *terms = arena_take(j->scratch, terms_bytes(n)),
             *diagnosis = arena_take(j->scratch, diagnosis_bytes(n)),
             *memory = arena_take(j->scratch, covariance_bytes(n < BLOCK ? n : BLOCK, standards));
        enum code code = points && cov && workspace && terms && diagnosis && memory ? CODE_OK : tp_fail_memory(err);
        for (size_t first = 0; first < n && !code; first += BLOCK) {
                size_t count = n - first < BLOCK ? n - first : BLOCK;
                struct terms again = terms_at(terms, &b->axis);
                struct diagnosis d = diagnosis_at(diagnosis, &b->axis);
                for (size_t q = 0; q < count; q++)
                        points[q] = first + q;
                *cov = covariance_at(memory, count, points);
                code = b->method->solve(&b->problem, workspace, &again, cov, &d, err);
                for (size_t c = 0; c < cov->column_n && !code; c++) {
                        struct column col = cov->columns[c];
                        struct band_columns *to = &columns[col.standard][col.entry];
                        if (col.kind != COLUMN_RAW)
                                continue;
                        if (!to->reads && (code = zero_terms(b, j->scratch, &to->moved, err)))
                                break;
                        to->reads = true;
                        const struct net2 *raw = b->problem.standards[col.standard].raw;
                        for (size_t q = 0; q < count; q++) {
                                size_t i = first + q;
                                double u = reading_noise(&j->to->reading, CMPLX(raw->re[col.entry][i], raw->im[col.entry][i]));
                                const double complex *by = cov->d_terms + (q * cov->column_n + c) * wide;
                                for (size_t t = 0; t < wide; t++) {
                                        (wide == FULL_COUNT ? to->moved.full_re : to->moved.re)[t][i] = creal(by[t]) * u;
                                        (wide == FULL_COUNT ? to->moved.full_im : to->moved.im)[t][i] = cimag(by[t]) * u;
                                }
                        }
                }
        }
        return code;
}

/* to = from + by d; d NULL: a copy. */
static enum code terms_moved(const struct terms *from, const struct terms *d, double by, struct arena *arena, struct terms *to,
                             struct tp_error *err)
{
        size_t n = from->axis->n;
        void *memory = arena_take(arena, terms_bytes(n));
        if (!memory)
                return tp_fail_memory(err);
        struct terms at = terms_at(memory, from->axis);
        *to = *from;
        memcpy(to->re, at.re, sizeof at.re);
        memcpy(to->im, at.im, sizeof at.im);
        memcpy(to->full_re, at.full_re, sizeof at.full_re);
        memcpy(to->full_im, at.full_im, sizeof at.full_im);
        for (int k = 0; k < TERM_COUNT; k++)
                for (size_t i = 0; i < n; i++) {
                        to->re[k][i] = from->re[k][i] + (d ? by * d->re[k][i] : 0);
                        to->im[k][i] = from->im[k][i] + (d ? by * d->im[k][i] : 0);
                }
        for (int k = 0; k < FULL_COUNT; k++)
                for (size_t i = 0; i < n; i++) {
                        to->full_re[k][i] = from->full_re[k][i] + (d ? by * d->full_re[k][i] : 0);
                        to->full_im[k][i] = from->full_im[k][i] + (d ? by * d->full_im[k][i] : 0);
                }
        return CODE_OK;
}

/* INFINITY where a term has a value and no derivative. */
static double largest(const struct terms *is, const struct terms *d)
{
        double most = 0;
        for (int k = 0; k < TERM_COUNT; k++)
                for (size_t i = 0; i < d->axis->n && terms_is_made_of(d->model, k); i++) {
                        double size = hypot(d->re[k][i], d->im[k][i]);
                        if (isfinite(is->re[k][i]))
                                most = isfinite(size) ? fmax(most, size) : INFINITY;
                }
        for (int k = 0; k < FULL_COUNT; k++)
                for (size_t i = 0; i < d->axis->n && d->model == TERMS_SIXTEEN; i++) {
                        double size = hypot(d->full_re[k][i], d->full_im[k][i]);
                        most = isfinite(size) ? fmax(most, size) : INFINITY;
                }
        return most;
}

struct joined {
        struct terms terms;
        struct switch_terms sw;
        bool has_switch;
};
/* All bands moved by `by` together, joined. */
static enum code joined(struct causes_job *j, struct arena *scratch, struct band_columns *const *of_band, double by, struct joined *ret,
                        struct tp_error *err)
{
        const struct solved_calibration *s = j->solved;
        struct rf_band bands[RF_BANDS_MAX];
        struct terms moved[RF_BANDS_MAX];
        struct joint joints[RF_BANDS_MAX];
        void *terms = arena_take(scratch, terms_bytes(s->axis.n)), *sw = arena_take(scratch, switch_terms_bytes(s->axis.n));
        enum code code = terms && sw ? CODE_OK : tp_fail_memory(err);
        for (size_t b = 0; b < s->band_n && !code; b++) {
                const struct terms *d = of_band[b] && of_band[b]->reads ? &of_band[b]->moved : NULL;
                code = terms_moved(&s->bands[b].terms, d, by, scratch, &moved[b], err);
                bands[b] = calibration_band(&s->bands[b]);
                bands[b].terms = &moved[b];
        }
        if (code)
                return code;
        ret->terms = terms_at(terms, &s->axis);
        ret->sw = switch_terms_at(sw, &s->axis);
        return rf_join(s->band_n, bands, &s->axis, &ret->terms, &ret->sw, &ret->has_switch, NULL, joints, err);
}

/* The cause of entry e of reading k from what it does to each band. */
static enum code cause_of_entry(struct causes_job *j, size_t k, int e, struct band_columns *const *of_band, struct tp_error *err)
{
        const char *entry = ENTRIES + (size_t)e * sizeof "S11";
        struct joined up, down;
        double most = 0;
        for (size_t b = 0; b < j->solved->band_n; b++)
                if (of_band[b] && of_band[b]->reads)
                        most = fmax(most, largest(&j->solved->bands[b].terms, &of_band[b]->moved));
        if (most == 0)
                return CODE_OK;
        if (!isfinite(most)) {
                causes_not_counted(j, "noise of %s, %s", j->readings[k].standard->name, entry);
                return CODE_OK;
        }
        struct arena *own = arena_new(0);
        double by = SMALL / most;
        enum code code = own ? joined(j, own, of_band, by, &up, err) : tp_fail_memory(err);
        if (!code)
                code = joined(j, own, of_band, -by, &down, err);
        if (!code)
                code = causes_add(j, CAUSE_OF_NOISE, j->to->reading.noise_freedom,
                                  (struct causes_side){&up.terms, up.has_switch ? &up.sw : NULL},
                                  (struct causes_side){&down.terms, down.has_switch ? &down.sw : NULL}, 1 / (2 * by), err, "%s: noise, %s",
                                  j->readings[k].standard->name, entry);
        arena_free(own);
        return code;
}

enum code causes_of_noise(struct causes_job *j, struct tp_error *err)
{
        const struct solved_calibration *s = j->solved;
        struct band_columns(*columns[RF_BANDS_MAX])[4];
        enum code code = CODE_OK;
        for (size_t b = 0; b < s->band_n && !code; b++) {
                columns[b] = arena_take(j->scratch, s->bands[b].problem.standard_n * sizeof *columns[b]);
                code = columns[b] ? band_derive(j, &s->bands[b], columns[b], err) : tp_fail_memory(err);
        }
        for (size_t k = 0; k < j->n && !code; k++)
                for (int e = 0; e < 4 && !code; e++) {
                        struct band_columns *of_band[RF_BANDS_MAX] = {NULL};
                        for (size_t b = 0; b < s->band_n; b++)
                                for (size_t m = 0; m < s->bands[b].problem.standard_n; m++)
                                        if (strcmp(s->bands[b].problem.standards[m].name, j->readings[k].standard->name) == 0)
                                                of_band[b] = &columns[b][m][e];
                        code = cause_of_entry(j, k, e, of_band, err);
                }
        for (size_t b = 0; b < s->band_n && !code; b++)
                code = causes_of_match_noise(j, b, columns[b], err);
        arena_reset(j->scratch);
        return code;
}
