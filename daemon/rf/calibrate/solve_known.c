/* solve_known.c: "known_standards": any mix of fully known one- and two-ports, weighted least squares of the eight terms (calibration.h).
 * Sources     T1 S + T2 - M T3 S - M T4 = 0 with diagonal T: linear in the terms; Rytz, Schiek, Silvonen and others; weights by the delta
 *             method.  Own arrangement, checked by tests/reference/rf_reflects.c.
 * Two-ports   Also known ones without transmission (an open beside a short): two equations, as of two reflections.  One that transmits one
 *             way only, as an isolator, is as good as a thru.
 * Idea        T1 = diag(-DX, -k DY), T2 = diag(EDF, k EDR), T3 = diag(-ESF, -k ESR), T4 = diag(1, k): seven unknowns.  A reflection gives
 *             one equation per port it was read at, a two-port four.  First all equations weigh alike; then each by its own uncertainty,
 *             u^2 = sum |(T1 - M T3)_ij|^2 u_ideal^2, once (a second round moves nothing that matters).
 * Residual    predicted - read of every standard, as the finished terms predict it. */
#include "rf/network/convert.h"
#include "rf/correct/correct.h"
#include "rf/numbers/small.h"
#include "rf/calibrate/solve.h"
#include <math.h>

enum { UNKNOWNS = 7 }; /* T1a T1b T2a T2b T3a T3b T4b */
#define CONDITION_LIMIT 1e3
#define CONDITION_REFUSE 1e9
#define SENT_LEAST 1e-8          /* of power: through what transmits less, the coupling of the tips is all one reads */
#define TRANSMISSION_LEAST 1e-24 /* likewise: what is below was not read */

static bool read_at(const struct rf_standard *s, unsigned port) { return s->ports == 0 || (s->ports & port); }
static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

static bool is_sent(const struct rf_standard *s, size_t i, int e)
{
        double re = s->ideal->re[e][i], im = s->ideal->im[e][i];
        return re * re + im * im > SENT_LEAST;
}
/* Nothing to speak of goes through at point i. */
static bool reflects(const struct rf_standard *s, size_t i)
{
        return is_reflection(s->kind) || (s->kind == RF_KNOWN && !is_sent(s, i, 1) && !is_sent(s, i, 2));
}

/* Row (i, j) of standard k: coefficients and right side; false: this standard has no such equation. */
static bool equation(const struct point *p, size_t k, int i, int j, double complex row[UNKNOWNS], double complex *right)
{
        const struct rf_standard *standard = &p->problem->standards[k];
        bool reflection = reflects(standard, p->i);
        if (reflection && (i != j || !read_at(standard, (unsigned)i + 1)))
                return false;
        struct m2 m = point_raw(p, k), s = p->ideal[k];
        if (reflection) {
                m = m2_diag(m.e[0], m.e[3]);
                s = m2_diag(s.e[0], s.e[3]);
                if (!read_at(standard, 2))
                        m.e[3] = s.e[3] = 0;
                if (!read_at(standard, 1))
                        m.e[0] = s.e[0] = 0;
        }
        for (int u = 0; u < UNKNOWNS; u++)
                row[u] = 0;
        row[i] = s.e[i * 2 + j];
        if (i == j)
                row[2 + i] = 1;
        row[4] = -m.e[i * 2] * s.e[j];
        row[5] = -m.e[i * 2 + 1] * s.e[2 + j];
        if (j == 1)
                row[6] = -m.e[i * 2 + 1];
        *right = j == 0 ? m.e[i * 2] : 0;
        return true;
}

static bool solve_point(const struct point *p, double complex t[TERM_COUNT], double *condition)
{
        double complex a[4 * RF_STANDARD_MAX * UNKNOWNS], b[4 * RF_STANDARD_MAX], x[UNKNOWNS];
        size_t of[4 * RF_STANDARD_MAX], m = 0;
        int row_of[4 * RF_STANDARD_MAX];
        bool weigh = true;
        for (size_t k = 0; k < p->n; k++) {
                weigh = weigh && p->problem->standards[k].u_ideal > 0;
                for (int e = 0; e < 4; e++)
                        if (equation(p, k, e / 2, e % 2, a + m * UNKNOWNS, &b[m])) {
                                of[m] = k;
                                row_of[m++] = e / 2;
                        }
        }
        if (m < UNKNOWNS || !small_least_squares(m, UNKNOWNS, a, b, x, condition))
                return false;
        if (weigh && m > UNKNOWNS) {
                for (size_t q = 0; q < m; q++) {
                        size_t k = of[q];
                        int i = row_of[q];
                        struct m2 raw = point_raw(p, k);
                        if (reflects(&p->problem->standards[k], p->i))
                                raw = m2_diag(raw.e[0], raw.e[3]);
                        double size = 0; /* |(T1 - M T3)_i.|^2; a reflection read at one port only has the other entry 0 */
                        for (int l = 0; l < 2; l++)
                                if (l == i || raw.e[i * 2 + l] != 0)
                                        size += abs2((l == i ? x[l] : 0) - raw.e[i * 2 + l] * x[4 + l]);
                        double weight = 1 / (sqrt(size) * p->problem->standards[k].u_ideal);
                        for (int u = 0; u < UNKNOWNS; u++)
                                a[q * UNKNOWNS + (size_t)u] *= weight;
                        b[q] *= weight;
                }
                if (!small_least_squares(m, UNKNOWNS, a, b, x, NULL))
                        return false;
        }
        double complex k = x[6];
        struct box bx = {x[0], x[2], x[4]}, by = {x[1] / k, x[3] / k, x[5] / k};
        terms_from_boxes(bx, by, 1 / (k * (by.a - by.b * by.c)), t);
        return isfinite(cabs(t[TERM_ETF])) && isfinite(cabs(t[TERM_ETR]));
}

static bool terms_point(const struct point *p, const void *choice, double complex t[TERM_COUNT])
{
        (void)choice; /* nothing is two-valued here */
        return solve_point(p, t, NULL);
}

static enum code check(const struct problem *p, struct tp_error *err)
{
        enum code code = rf_problem_check(rf_method("known_standards"), p, err);
        unsigned equations = 0, through = 0;
        for (size_t k = 0; !code && k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                bool reflection = is_reflection(s->kind);
                for (size_t i = 0; i < p->axis->n; i++)
                        reflection = reflection || reflects(s, i);
                equations += reflection ? (unsigned)read_at(s, 1) + read_at(s, 2) : 4u;
                through += !reflection;
        }
        if (code)
                return code;
        for (size_t k = 0; k < p->standard_n; k++)
                for (size_t i = 0; i < p->axis->n && !is_reflection(p->standards[k].kind); i++)
                        for (int e = 1; e <= 2; e++)
                                if (is_sent(&p->standards[k], i, e) && !(abs2(net2_get(p->standards[k].raw, i).e[e]) > TRANSMISSION_LEAST))
                                        return tp_fail(err, CODE_UNRESOLVABLE,
                                                       "known_standards: %s does not transmit as read at %.9g Hz (%s); measure it again",
                                                       standard_name(&p->standards[k]), p->axis->hz[i], e == 1 ? "S12" : "S21");
        if (through == 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "known_standards needs one standard that transmits at all frequencies (thru, line or known two-port, with "
                               "its definition) and has none; measure "
                               "one, or use sol for reflections alone");
        if (equations < UNKNOWNS)
                return tp_fail(err, CODE_BAD_INPUT,
                               "known_standards: the standards give %u equations for 7 terms (a two-port 4, a reflection 1 at each port); "
                               "measure more",
                               equations);
        return CODE_OK;
}

/* |predicted - read| by the terms at point i. */
static void residuals(const struct point *p, const struct terms *out, double *residual)
{
        for (size_t k = 0; k < p->n; k++) {
                const struct rf_standard *s = &p->problem->standards[k];
                struct m2 m = point_raw(p, k), ideal = p->ideal[k];
                if (!reflects(s, p->i)) {
                        residual[k] = m2_distance(rf_embed2_point(out, p->i, ideal), m);
                        continue;
                }
                double worst = 0;
                for (int e = 0; e < 4; e += 3) {
                        if (!read_at(s, e ? 2 : 1))
                                continue;
                        struct m2 one = rf_embed2_point(out, p->i, m2_diag(e ? 0 : ideal.e[0], e ? ideal.e[3] : 0));
                        worst = fmax(worst, cabs(one.e[e] - m.e[e]));
                }
                residual[k] = worst;
        }
}

size_t known_workspace(size_t n, size_t standards) { return net2_stride(n * standards) * sizeof(double); }

enum code known_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                      struct tp_error *err)
{
        enum code code = check(p, err);
        if (code)
                return code;
        double *residual = workspace;
        out->method = "known_standards";
        out->model = TERMS_EIGHT;
        out->plane = PLANE_TIP;
        out->switch_removed = p->switch_terms != NULL;
        for (size_t i = 0; i < p->axis->n; i++) {
                struct point at;
                double complex t[TERM_COUNT];
                point_load(p, i, &at);
                bool good = solve_point(&at, t, &d->condition[i]);
                if (!good || !(d->condition[i] < CONDITION_REFUSE))
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "known_standards: at %.9g Hz the standards do not fix the seven terms (condition number %.3g): at "
                                       "each port three different reflections must be seen, directly or through a known two-port, and one "
                                       "standard must transmit; add standards that differ there",
                                       p->axis->hz[i], good ? d->condition[i] : INFINITY);
                terms_put(out, i, t);
                residuals(&at, out, residual + i * p->standard_n);
                out->z_re[i] = 50;
                out->z_im[i] = 0;
        }
        residuals_finish(p, d, residual);
        for (size_t k = 0; k < p->standard_n; k++)
                if (d->standard[k].worst > 0.05)
                        diagnosis_warn(d, "%s contradicts the other standards by %.2g at %.6g GHz: check its definition and its contact",
                                       standard_name(&p->standards[k]), d->standard[k].worst, d->standard[k].worst_hz / 1e9);
        diagnosis_warn_condition(d, CONDITION_LIMIT, "the standards are hardly different",
                                 "add one of another delay, or another method in a band of its own (\"bands\")");
        if (cov)
                covariance_fill(p, cov, terms_point, NULL, 0);
        return CODE_OK;
}
