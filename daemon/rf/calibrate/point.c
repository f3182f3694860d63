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
