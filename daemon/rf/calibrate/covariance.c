/* covariance.c: sensitivities by solving again with inputs moved (covariance.h, solve.h). */
#include "rf/correct/correct.h"
#include "rf/correct/correct_full.h"
#include "rf/calibrate/solve.h"
#include <math.h>

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

/* The sixteen-term side of rf_sensitivity(). */
static void sensitivity_full(const struct covariance *cov, size_t q, const struct terms *terms, struct m2 m, double complex (*ret_d_s)[4])
{
        /* G S = H with G = T1 - M T3, H = M T4 - T2:  dS = G^{-1} (M dT4 - dT2 - (dT1 - M dT3) S) */
        struct full t = full_get(terms, cov->points[q]);
        struct m2 g = m2_inv(m2_sub(t.t1, m2_mul(m, t.t3))), s = m2_mul(g, m2_sub(m2_mul(m, t.t4), t.t2));
        for (size_t k = 0; k < cov->column_n; k++) {
                const double complex *d = cov->d_terms + (q * cov->column_n + k) * FULL_COUNT;
                struct m2 d1 = {{d[0], d[1], d[2], d[3]}}, d2 = {{d[4], d[5], d[6], d[7]}}, d3 = {{d[8], d[9], d[10], d[11]}},
                          d4 = {{d[12], d[13], d[14], d[15]}};
                struct m2 ds = m2_mul(g, m2_sub(m2_sub(m2_mul(m, d4), d2), m2_mul(m2_sub(d1, m2_mul(m, d3)), s)));
                for (int e = 0; e < 4; e++)
                        ret_d_s[k][e] = ds.e[e];
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
