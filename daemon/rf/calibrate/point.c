/* point.c: one frequency of a calibration: its inputs, one port's box from reflections, boxes to terms; sensitivities by re-solving
   (solve.h).
 * Sources     one port as a Moebius map with one linear equation per standard: any textbook; weights by the delta method.
 *             Terms and ratio k: Marks, 50th ARFTG, 1997. */
#include "rf/network/convert.h"
#include "rf/correct/correct.h"
#include "rf/numbers/small.h"
#include "rf/calibrate/solve.h"
#include <math.h>
#include <string.h>

void point_load_as_read(const struct problem *problem, size_t i, struct point *ret)
{
        ret->i = i;
        ret->n = problem->standard_n;
        ret->hz = problem->axis->hz[i];
        ret->problem = problem;
        const struct switch_terms *sw = problem->switch_terms;
        ret->gf = sw ? CMPLX(sw->f_re[i], sw->f_im[i]) : 0;
        ret->gr = sw ? CMPLX(sw->r_re[i], sw->r_im[i]) : 0;
        for (size_t k = 0; k < ret->n; k++) {
                const struct rf_standard *s = &problem->standards[k];
                ret->raw[k] = net2_get(s->raw, i);
                ret->ideal[k] = s->ideal ? net2_get(s->ideal, i) : m2_of(NAN, NAN, NAN, NAN);
                ret->length_m[k] = s->length_m;
        }
}

void point_load(const struct problem *problem, size_t i, struct point *ret)
{
        point_load_as_read(problem, i, ret);
        for (size_t k = 0; k < ret->n; k++)
                point_bare(ret, k);
}

void point_bare(struct point *p, size_t k)
{
        const struct rf_standard *s = &p->problem->standards[k];
        const double complex *m = p->raw[k].e;
        double complex t = m[1] * m[2];
        if (is_reflection(s->kind)) {
                /* a reflection at one port only, or read without transmission: what is not there must not come in */
                bool both = s->ports == 0 || s->ports == 3;
                if (!both || !isfinite(creal(t)) || !isfinite(cimag(t))) {
                        p->bare[k] = m2_diag(m[0], m[3]);
                        return;
                }
        }
        if (!p->problem->switch_terms) {
                p->bare[k] = p->raw[k];
                return;
        }
        /* Marks, 50th ARFTG, 1997 (rf_switch_remove_point(), without its call) */
        double complex f = t * p->gf, r = t * p->gr, d = 1 / (1 - f * p->gr);
        p->bare[k] = m2_of((m[0] - f) * d, (m[1] - m[0] * m[1] * p->gr) * d, (m[2] - m[3] * m[2] * p->gf) * d, (m[3] - r) * d);
}

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

/* Three reflections: rows (g, 1, -g w) (a, b, c) = w by the adjugate; the condition number is |A|_F |A^{-1}|_F. */
static bool box_from_three(const double complex g[3], const double complex w[3], struct box *ret, double *ret_condition)
{
        double complex gw[3], ca[3], cb[3], cc[3];
        for (int k = 0; k < 3; k++)
                gw[k] = g[k] * w[k];
        for (int k = 0; k < 3; k++) { /* row k of the adjugate's transpose: what equation k gives to a, b, c */
                int i = (k + 1) % 3, j = (k + 2) % 3;
                ca[k] = gw[i] - gw[j];
                cb[k] = gw[j] * g[i] - gw[i] * g[j];
                cc[k] = g[i] - g[j];
        }
        /* det = sum of w-free column expansion: columns (g), (1), (-gw) */
        double complex det = g[0] * ca[0] + g[1] * ca[1] + g[2] * ca[2];
        if (!(abs2(det) > 0))
                return false;
        double complex k = 1 / det;
        struct box x = {k * (w[0] * ca[0] + w[1] * ca[1] + w[2] * ca[2]), k * (w[0] * cb[0] + w[1] * cb[1] + w[2] * cb[2]),
                        k * (w[0] * cc[0] + w[1] * cc[1] + w[2] * cc[2])};
        if (ret_condition) {
                double size = 3, inverse = 0;
                for (int q = 0; q < 3; q++) {
                        size += abs2(g[q]) + abs2(gw[q]);
                        inverse += abs2(ca[q]) + abs2(cb[q]) + abs2(cc[q]);
                }
                *ret_condition = sqrt(size * inverse * abs2(k));
        }
        *ret = x;
        return abs2(x.a - x.b * x.c) > 1e-18 * abs2(x.a); /* one ideal for two readings: a map that knows only one value */
}

bool box_from_reflections(const struct point *p, int port, bool unterminated, struct box *ret, double *ret_condition, double *residual)
{
        double complex a[RF_STANDARD_MAX * 3], b[RF_STANDARD_MAX], x[3], g[RF_STANDARD_MAX], w[RF_STANDARD_MAX];
        size_t index[RF_STANDARD_MAX], m = 0, entry = port == 1 ? 0 : 3;
        bool weigh = true;
        for (size_t k = 0; k < p->n; k++) {
                const struct rf_standard *s = &p->problem->standards[k];
                if (!is_reflection(s->kind) || (s->ports != 0 && !(s->ports & (unsigned)port)))
                        continue;
                g[m] = p->ideal[k].e[entry];
                w[m] = unterminated ? point_raw(p, k).e[entry] : p->raw[k].e[entry];
                weigh = weigh && s->u_ideal > 0;
                index[m++] = k;
        }
        if (m == 3)
                return box_from_three(g, w, ret, ret_condition);
        double weight[RF_STANDARD_MAX];
        for (size_t k = 0; k < m; k++)
                weight[k] = 1;
        for (int round = 0; round < 2; round++) {
                for (size_t k = 0; k < m; k++) {
                        a[k * 3] = weight[k] * g[k];
                        a[k * 3 + 1] = weight[k];
                        a[k * 3 + 2] = -weight[k] * g[k] * w[k];
                        b[k] = weight[k] * w[k];
                }
                if (!small_least_squares(m, 3, a, b, x, round == 0 ? ret_condition : NULL))
                        return false;
                if (!weigh || m <= 3)
                        break;
                for (size_t k = 0; k < m && round == 0; k++) /* u of one equation: |a - c w| u_G */
                        weight[k] = 1 / (cabs(x[0] - x[2] * w[k]) * p->problem->standards[index[k]].u_ideal);
        }
        *ret = (struct box){x[0], x[1], x[2]};
        if (!(cabs(x[0] - x[1] * x[2]) > 1e-9 * cabs(x[0]))) /* one ideal for two readings: a map that knows only one value */
                return false;
        for (size_t k = 0; residual && k < m && m > 3; k++) {
                double r = cabs((x[0] * g[k] + x[1]) / (x[2] * g[k] + 1) - w[k]);
                if (!(r <= residual[index[k]]))
                        residual[index[k]] = r;
        }
        return true;
}

struct m2 box_x(struct box x) { return m2_of(x.a, x.b, x.c, 1); }
struct m2 box_y(struct box y) { return m2_of(y.a, -y.c, -y.b, 1); }

void terms_from_boxes(struct box x, struct box y, double complex r, double complex t[TERM_COUNT])
{
        t[TERM_EDF] = x.b;
        t[TERM_ESF] = -x.c;
        t[TERM_ERF] = x.a - x.b * x.c;
        t[TERM_EDR] = y.b;
        t[TERM_ESR] = -y.c;
        t[TERM_ERR] = y.a - y.b * y.c;
        t[TERM_ETF] = 1 / r; /* e10 e32 = K ERR */
        t[TERM_K] = t[TERM_ETF] / t[TERM_ERR];
        t[TERM_ELF] = t[TERM_ESR];
        t[TERM_ELR] = t[TERM_ESF];
        t[TERM_ETR] = t[TERM_ERF] * t[TERM_ERR] * r;
        t[TERM_EXF] = t[TERM_EXR] = 0;
}

void terms_put(struct terms *terms, size_t i, const double complex t[TERM_COUNT])
{
        for (int k = 0; k < TERM_COUNT; k++) {
                terms->re[k][i] = creal(t[k]);
                terms->im[k][i] = cimag(t[k]);
        }
}

/* ---- sensitivities ---------------------------------------------------------------------------------------------------------------- */

size_t covariance_bytes(size_t point_n, size_t standard_n) { return point_n * standard_n * 9 * FULL_COUNT * sizeof(double complex); }

struct covariance covariance_at(void *memory_64, size_t point_n, const size_t *points)
{
        return (struct covariance){.point_n = point_n, .points = points, .d_terms = memory_64};
}

/* The inputs that can move: what the solver reads of each standard. */
static size_t list_columns(const struct problem *p, struct column columns[RF_COLUMN_MAX])
{
        size_t n = 0;
        for (unsigned k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                bool diagonal = is_reflection(s->kind) || s->kind == RF_REFLECT;
                for (int kind = COLUMN_RAW; kind <= COLUMN_IDEAL; kind++)
                        for (unsigned e = 0; e < 4; e++) {
                                if (diagonal && (e == 1 || e == 2))
                                        continue;
                                if (is_reflection(s->kind) && ((s->ports == 1 && e == 3) || (s->ports == 2 && e == 0)))
                                        continue;
                                if (kind == COLUMN_IDEAL && !s->ideal)
                                        continue;
                                if (n < RF_COLUMN_MAX)
                                        columns[n++] = (struct column){(enum column_kind)kind, k, e};
                        }
                if (s->kind == RF_LINE && n < RF_COLUMN_MAX)
                        columns[n++] = (struct column){COLUMN_LENGTH, k, 0};
        }
        return n;
}

static void point_move(struct point *p, struct column c, double by)
{
        switch (c.kind) {
        case COLUMN_RAW:
                p->raw[c.standard].e[c.entry] += by;
                point_bare(p, c.standard);
                break;
        case COLUMN_IDEAL:
                p->ideal[c.standard].e[c.entry] += by;
                break;
        case COLUMN_LENGTH:
                p->length_m[c.standard] += by;
                break;
        case COLUMN_UNKNOWN:
                break;
        }
}

void covariance_fill(const struct problem *problem, struct covariance *cov, point_solver *solve, const void *choices, size_t choice_bytes)
{
        cov->column_n = list_columns(problem, cov->columns);
        for (size_t q = 0; q < cov->point_n; q++) {
                size_t i = cov->points[q];
                struct point at;
                point_load(problem, i, &at);
                const void *choice = (const char *)choices + i * choice_bytes;
                for (size_t k = 0; k < cov->column_n; k++) {
                        double complex *d = cov->d_terms + (q * cov->column_n + k) * TERM_COUNT, up[TERM_COUNT], down[TERM_COUNT];
                        double h = cov->columns[k].kind == COLUMN_LENGTH ? 1e-9 : 1e-6; /* m; S */
                        struct point moved = at;
                        point_move(&moved, cov->columns[k], h);
                        bool good = solve(&moved, choice, up);
                        point_move(&moved, cov->columns[k], -2 * h);
                        good = solve(&moved, choice, down) && good;
                        for (int t = 0; t < TERM_COUNT; t++)
                                d[t] = good ? (up[t] - down[t]) / (2 * h) : CMPLX(NAN, NAN);
                }
        }
}

void rf_sensitivity(const struct covariance *cov, size_t q, const struct terms *terms, struct m2 raw, double complex (*ret_d_s)[4])
{
        if (terms->model == TERMS_SIXTEEN) {
                sensitivity_full(cov, q, terms, raw, ret_d_s);
                return;
        }
        /* A one-point copy of the terms, moved to both sides along each column. */
        double memory[2 * TERM_COUNT];
        struct terms one = {.model = terms->model};
        double complex at[TERM_COUNT];
        for (int t = 0; t < TERM_COUNT; t++) {
                one.re[t] = &memory[2 * t];
                one.im[t] = &memory[2 * t + 1];
                at[t] = CMPLX(terms->re[t][cov->points[q]], terms->im[t][cov->points[q]]);
        }
        for (size_t k = 0; k < cov->column_n; k++) {
                const double complex *d = cov->d_terms + (q * cov->column_n + k) * TERM_COUNT;
                double size = 0;
                for (int t = 0; t < TERM_COUNT; t++)
                        size = fmax(size, cabs(d[t]));
                if (size == 0 || isnan(size)) {
                        for (int e = 0; e < 4; e++)
                                ret_d_s[k][e] = size;
                        continue;
                }
                double h = 1e-6 / fmax(size, 1);
                struct m2 side[2];
                for (int up = 0; up < 2; up++) {
                        double complex moved[TERM_COUNT];
                        for (int t = 0; t < TERM_COUNT; t++)
                                moved[t] = at[t] + (up ? h : -h) * d[t];
                        terms_put(&one, 0, moved);
                        side[up] = rf_correct2_point(&one, 0, raw);
                }
                for (int e = 0; e < 4; e++)
                        ret_d_s[k][e] = (side[1].e[e] - side[0].e[e]) / (2 * h);
        }
}
