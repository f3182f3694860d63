/* lrrm_fit.c: inductance (and capacitance, or resistance) of the match (lrrm.h).
 * Sources     Davidson, Jones & Strid, 36th ARFTG 1990: the open is lossless; Purroy & Pradell, IEEE Trans. IM 50 (2001) 1307 and Zhao et
 *             al., Appl. Sci. 7 (2017) 866: match with capacitance, open of known capacitance.
 * Idea        The residual is |G_open|^2 - 1, not Re y = 0, so that a lossy thru does no harm; with a known open it is G_open - its
 *             definition.  One Gauss-Newton over all frequencies at once.
 * Weights     Low frequencies say nothing about L, and near a thru of 90 degrees raw noise grows a hundredfold.  Each residual is divided
 * by what unit noise of the raw data makes of it (u_open) and, on long sweeps, by the scatter that neighbours really show. Determined  L is
 * believed when raw noise of -80 dB alone leaves it within 10 pH, and the residuals' own scatter as well (common practice, no source);
 * otherwise the definition's value stays, and that is said. */
#include "rf/calibrate/lrrm.h"
#include <math.h>
#include <string.h>

#define NOISE_80_DB 1e-4
#define L_UNSURE_H 10e-12
#define C_UNSURE_F 5e-15
#define HALF_WINDOW 16

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

double complex lrrm_impedance(const struct lrrm_point *q, struct lrrm_match m)
{
        double complex z = q->z + CMPLX(m.r_ohm, q->w * m.l_h);
        return z / (1 + CMPLX(0, q->w * m.c_f) * z);
}

/* Unknowns in units of 1 pH, 1 fF, 1 ohm. */
struct unknowns {
        int n;
        enum { R_OHM, L_PH, C_FF } what[2];
};
static void step_by(struct lrrm_match *m, const struct unknowns *u, const double *by)
{
        for (int k = 0; k < u->n; k++)
                switch (u->what[k]) {
                case R_OHM:
                        m->r_ohm += by[k];
                        break;
                case L_PH:
                        m->l_h += by[k] * 1e-12;
                        break;
                case C_FF:
                        m->c_f += by[k] * 1e-15;
                        break;
                }
}

/* One or two real residuals of a frequency and their derivatives, in units of u_open. */
static int residual(const struct lrrm_point *q, struct lrrm_match m, const struct unknowns *u, bool known_open, double r[2],
                    double dr[2][2])
{
        double complex zs = q->z + CMPLX(m.r_ohm, q->w * m.l_h), shunt = 1 + CMPLX(0, q->w * m.c_f) * zs, z = zs / shunt;
        double complex den = q->c + q->d * z, g = (q->a + q->b * z) / den, dg = (q->b * q->c - q->a * q->d) / (den * den), dk[2];
        for (int k = 0; k < u->n; k++)
                switch (u->what[k]) {
                case R_OHM:
                        dk[k] = dg / (shunt * shunt);
                        break;
                case L_PH:
                        dk[k] = dg / (shunt * shunt) * CMPLX(0, q->w * 1e-12);
                        break;
                case C_FF:
                        dk[k] = dg * z * z * CMPLX(0, -q->w * 1e-15);
                        break;
                }
        if (known_open) {
                double scale = 1 / q->u_open;
                r[0] = creal(g - q->open) * scale;
                r[1] = cimag(g - q->open) * scale;
                for (int k = 0; k < u->n; k++) {
                        dr[0][k] = creal(dk[k]) * scale;
                        dr[1][k] = cimag(dk[k]) * scale;
                }
                return 2;
        }
        double size = sqrt(abs2(g)), scale = 1 / (2 * size * q->u_open);
        r[0] = (size - 1) * (size + 1) * scale;
        for (int k = 0; k < u->n; k++)
                dr[0][k] = 2 * (creal(g) * creal(dk[k]) + cimag(g) * cimag(dk[k])) * scale;
        return 1;
}

/* Variance of the residuals around point i, from second differences of neighbours: the floor keeps exact data from dividing by nothing. */
static double scatter(size_t n, const struct lrrm_point *point, size_t i, struct lrrm_match m, const struct unknowns *u, bool known_open)
{
        size_t first = i > HALF_WINDOW ? i - HALF_WINDOW : 0, last = i + HALF_WINDOW < n ? i + HALF_WINDOW : n - 1;
        double before[2][2] = {{0}}, sum = 0, count = 0;
        for (size_t k = first; k <= last; k++) {
                double r[2], dr[2][2];
                int rows = residual(&point[k], m, u, known_open, r, dr);
                for (int j = 0; j < rows; j++) {
                        if (k >= first + 2) {
                                double bend = r[j] - 2 * before[0][j] + before[1][j];
                                sum += bend * bend / 6;
                                count++;
                        }
                        before[1][j] = before[0][j];
                        before[0][j] = r[j];
                }
        }
        return sum / count;
}

struct fitted {
        struct lrrm_match match;
        double u80[2], u[2]; /* standard uncertainty at raw noise of -80 dB; from the residuals' scatter */
        struct lrrm_match apart[2];
        bool converged;
};

/* The covariance variance * v as two independent steps. */
static void steps_apart(const struct unknowns *u, const double v[3], double variance, struct lrrm_match ret[2])
{
        double s = sqrt(variance * v[0]), along = u->n > 1 ? variance * v[1] / s : 0;
        ret[0] = ret[1] = (struct lrrm_match){0};
        if (!(s > 0))
                return;
        step_by(&ret[0], u, (const double[2]){s, along});
        step_by(&ret[1], u, (const double[2]){0, u->n > 1 ? sqrt(fmax(0, variance * v[2] - along * along)) : 0});
}

/* variance[block]: of the residuals in blocks of HALF_WINDOW points, NULL: all 1. */
static void normal(size_t n, const struct lrrm_point *point, struct lrrm_match m, const struct unknowns *u, bool known_open,
                   const double *variance, double jj[3], double jr[2], double *ret_chi2, double *ret_rows)
{
        jj[0] = jj[1] = jj[2] = jr[0] = jr[1] = *ret_chi2 = *ret_rows = 0;
        for (size_t i = 0; i < n; i++) {
                double r[2], dr[2][2] = {{0}}, weight = variance ? 1 / variance[i / HALF_WINDOW] : 1;
                int rows = residual(&point[i], m, u, known_open, r, dr);
                for (int j = 0; j < rows; j++) {
                        jj[0] += weight * dr[j][0] * dr[j][0];
                        jj[1] += weight * dr[j][0] * dr[j][1];
                        jj[2] += weight * dr[j][1] * dr[j][1];
                        jr[0] += weight * dr[j][0] * r[j];
                        jr[1] += weight * dr[j][1] * r[j];
                        *ret_chi2 += weight * r[j] * r[j];
                        *ret_rows += 1;
                }
        }
}

/* Inverse of the symmetric [[jj0, jj1], [jj1, jj2]] (or of jj0 alone) into v. */
static bool invert(int n, const double jj[3], double v[3])
{
        if (n == 1) {
                v[0] = 1 / jj[0];
                v[1] = v[2] = 0;
                return jj[0] > 0;
        }
        double det = jj[0] * jj[2] - jj[1] * jj[1];
        v[0] = jj[2] / det;
        v[1] = -jj[1] / det;
        v[2] = jj[0] / det;
        return det > 1e-12 * jj[0] * jj[2];
}

/* One descent from f->match; lambda damps (Levenberg-Marquardt) where the unknowns are nearly one: L and C of a match near 50 ohm.  Returns
   the sum of squares; f->u, f->u80 and f->converged are those of the end. */
static double descend(size_t n, const struct lrrm_point *point, const struct unknowns *u, bool known_open, const double *variance,
                      double enough, struct fitted *f)
{
        double jj[3], jr[2], v[3], chi2, rows, step = INFINITY, lambda = u->n > 1 ? 1e-3 : 0;
        normal(n, point, f->match, u, known_open, variance, jj, jr, &chi2, &rows);
        for (int round = 0; round < 60 && step > enough; round++) {
                const double damped[3] = {jj[0] * (1 + lambda), jj[1], jj[2] * (1 + lambda)};
                if (!invert(u->n, damped, v))
                        break;
                double by[2] = {-(v[0] * jr[0] + v[1] * jr[1]), -(v[1] * jr[0] + v[2] * jr[1])}, size = fmax(fabs(by[0]), fabs(by[1]));
                if (!isfinite(size))
                        return INFINITY;
                for (int k = 0; k < u->n && size > 20; k++) /* pH, fF, ohm */
                        by[k] *= 20 / size;
                struct lrrm_match to = f->match;
                double to_jj[3], to_jr[2], to_chi2, to_rows;
                step_by(&to, u, by);
                normal(n, point, to, u, known_open, variance, to_jj, to_jr, &to_chi2, &to_rows);
                if (lambda > 0 && !(to_chi2 <= chi2)) {    /* uphill: shorter, steeper */
                        if (size < 1e-9 || lambda > 1e6) { /* no way down is left */
                                step = 0;
                                break;
                        }
                        lambda *= 8;
                        continue;
                }
                lambda = lambda > 1e-12 ? lambda / 8 : 0;
                step = size;
                f->match = to;
                chi2 = to_chi2;
                memcpy(jj, to_jj, sizeof jj);
                memcpy(jr, to_jr, sizeof jr);
        }
        f->converged = step < 1e-3; /* in noise the last digits may keep moving */
        if (invert(u->n, jj, v)) {
                double seen = rows > u->n ? chi2 / (rows - u->n) : 0;
                for (int k = 0; k < u->n; k++)
                        f->u[k] = sqrt(seen * v[k * 2]);
                steps_apart(u, v, seen, f->apart);
        }
        return chi2;
}

/* How far the solved open is from one capacitance at all frequencies, in the unit of the residuals: tells valleys apart, fits nothing. */
static double bend_of_open(size_t n, const struct lrrm_point *point, struct lrrm_match m)
{
        double slope = 0, cost = 0;
        for (int pass = 0; pass < 2; pass++) {
                double wy = 0, ww = 0;
                for (size_t i = 0; i < n; i++) {
                        const struct lrrm_point *q = &point[i];
                        double complex g = lrrm_open(q, lrrm_impedance(q, m)), y = (1 - g) / (1 + g);
                        double in_g = 2 / (abs2(1 + y) * q->u_open), off = (cimag(y) - slope * q->w) * in_g;
                        wy += in_g * in_g * q->w * cimag(y);
                        ww += in_g * in_g * q->w * q->w;
                        cost += pass * off * off;
                }
                slope = wy / ww;
        }
        return cost;
}

enum { BLOCKS = 4096 / HALF_WINDOW }; /* longer sweeps go without the local scatter */
static struct fitted fit(size_t n, const struct lrrm_point *point, struct unknowns u, bool known_open, const struct lrrm_match *starts,
                         size_t start_n)
{
        struct fitted best = {.u80 = {INFINITY, INFINITY}, .u = {INFINITY, INFINITY}};
        bool local = n >= 4 * HALF_WINDOW && n <= BLOCKS * HALF_WINDOW;
        double least = INFINITY, variance[BLOCKS], jj[3], jr[2], v[3], chi2, rows;
        for (size_t k = 0; k < start_n; k++) {
                struct fitted f = best;
                f.match = starts[k];
                chi2 = descend(n, point, &u, known_open, NULL, local ? 1e-3 : 1e-13, &f);
                if (start_n > 1) /* L and C have other valleys, where the open is as lossless but bends */
                        chi2 += bend_of_open(n, point, f.match);
                if (f.converged && chi2 < least) {
                        least = chi2;
                        best = f;
                }
        }
        if (local && best.converged) { /* once more, with the scatter that neighbours really show */
                double quietest = INFINITY;
                for (size_t b = 0; b * HALF_WINDOW < n; b++) {
                        size_t at = b * HALF_WINDOW + HALF_WINDOW / 2;
                        variance[b] = scatter(n, point, at < n ? at : n - 1, best.match, &u, known_open);
                        quietest = variance[b] > 0 ? fmin(quietest, variance[b]) : quietest;
                }
                for (size_t b = 0; b * HALF_WINDOW < n; b++) /* exact data: rounding is no measure of anything */
                        variance[b] = isfinite(quietest) ? variance[b] + quietest + 1e-24 : 1;
                descend(n, point, &u, known_open, variance, 1e-13, &best);
        }
        normal(n, point, best.match, &u, known_open, NULL, jj, jr, &chi2, &rows);
        for (int k = 0; k < u.n && invert(u.n, jj, v); k++)
                best.u80[k] = NOISE_80_DB * sqrt(v[k * 2]);
        return best;
}

/* The definition's own inductance, where it shows best: at the highest frequency, R + jwL exactly. */
static double defined_l(size_t n, const struct lrrm_point *point) { return cimag(point[n - 1].z) / point[n - 1].w; }

static bool sure(const struct fitted *f, int k, double unsure) /* in the unknown's unit */
{
        return f->converged && f->u80[k] < unsure && f->u[k] < unsure;
}

struct lrrm_match lrrm_fit(size_t n, const struct lrrm_point *point, enum rf_match_fit what, struct lrrm_match ret_apart[2],
                           struct diagnosis *d)
{
        struct fitted f = {.u = {NAN, NAN}};
        bool known_open = what == RF_MATCH_FROM_OPEN, l_sure = false;
        const struct lrrm_match none = {0};
        double c = 0, c_u = 0;
        ret_apart[0] = ret_apart[1] = none;
        d->match_l_fit_h = defined_l(n, point);
        d->match_l_determined = false;
        if (what == RF_MATCH_FIXED)
                return (struct lrrm_match){0};
        if (what == RF_MATCH_FIT_L_C) {
                /* R + jwL and C enter as w (L - R^2 C) first: begin on that valley, on both sides of C = 0 */
                f = fit(n, point, (struct unknowns){1, {L_PH}}, false, &none, 1);
                struct lrrm_match valley[3] = {{.c_f = 4e-15}, {.c_f = -4e-15}, {.c_f = 12e-15}};
                double r = creal(point[0].z);
                for (int k = 0; k < 3; k++)
                        valley[k].l_h = f.match.l_h + r * r * valley[k].c_f;
                f = fit(n, point, (struct unknowns){2, {L_PH, C_FF}}, false, valley, 3);
                l_sure = sure(&f, 0, L_UNSURE_H * 1e12) && sure(&f, 1, C_UNSURE_F * 1e15);
                if (l_sure) {
                        c = f.match.c_f;
                        c_u = f.u[1] * 1e-15;
                } else
                        diagnosis_warn(d,
                                       "inductance and capacitance of the match cannot both be determined from this open and sweep; only "
                                       "the inductance was fitted");
        }
        if (known_open) {
                f = fit(n, point, (struct unknowns){2, {L_PH, R_OHM}}, true, &none, 1);
                l_sure = sure(&f, 0, L_UNSURE_H * 1e12) && f.u[1] < 1 && f.u80[1] < 1;
        } else if (!l_sure) {
                f = fit(n, point, (struct unknowns){1, {L_PH}}, false, &none, 1);
                l_sure = sure(&f, 0, L_UNSURE_H * 1e12);
        }
        if (!l_sure) {
                diagnosis_warn(d,
                               "L not determined: the open (too small a capacitance, or too low a sweep) leaves the match's inductance "
                               "uncertain by %.3g pH; its definition (%.4g pH) was taken",
                               fmax(f.u80[0], f.u[0]), d->match_l_fit_h * 1e12);
                return (struct lrrm_match){0};
        }
        d->match_l_determined = true;
        memcpy(ret_apart, f.apart, sizeof f.apart);
        d->match_l_fit_h += f.match.l_h;
        d->match_l_u_h = f.u[0] * 1e-12;
        d->match_c_fit_f = c;
        d->match_c_u_f = c_u;
        d->match_r_fit_ohm = creal(point[0].z) + f.match.r_ohm;
        d->match_r_u_ohm = known_open ? f.u[1] : 0;
        if (fabs(d->match_l_fit_h) > 30e-12)
                diagnosis_warn(d, "the match comes out with %.3g pH; more than 30 pH is no match on a substrate: check thru delay and R",
                               d->match_l_fit_h * 1e12);
        if (known_open && fabs(f.match.r_ohm) > 0.02 * creal(point[0].z))
                diagnosis_warn(d, "by the known open the match has %.4g ohm, its definition says %.4g ohm: check both", d->match_r_fit_ohm,
                               creal(point[0].z));
        return f.match;
}

static double open_c(size_t n, const struct lrrm_point *point, struct lrrm_match m, double *ret_u_f)
{
        double c = 0, wy = 0, ww = 0, chi2 = 0;
        for (int pass = 0; pass < 2; pass++)
                for (size_t i = 0; i < n; i++) {
                        const struct lrrm_point *q = &point[i];
                        double complex open = lrrm_open(q, lrrm_impedance(q, m));
                        double y = cimag((1 - open) / (1 + open)) / 50, weight = 1 / (q->u_open * q->u_open);
                        wy += pass ? 0 : weight * q->w * y;
                        ww += pass ? 0 : weight * q->w * q->w;
                        chi2 += pass * weight * (y - q->w * c) * (y - q->w * c);
                        c = wy / ww;
                }
        *ret_u_f = n > 1 ? sqrt(chi2 / ((double)(n - 1) * ww)) : NAN;
        return c;
}

void lrrm_open_c(size_t n, const struct lrrm_point *point, struct lrrm_match m, const struct lrrm_match apart[2], struct diagnosis *d)
{
        d->open_c_fit_f = open_c(n, point, m, &d->open_c_u_f);
        for (int k = 0; k < 2; k++) {
                struct lrrm_match to = {m.r_ohm + apart[k].r_ohm, m.l_h + apart[k].l_h, m.c_f + apart[k].c_f};
                double unused;
                d->open_c_u_f = hypot(d->open_c_u_f, open_c(n, point, to, &unused) - d->open_c_fit_f);
        }
}

void lrrm_columns(size_t n, const struct lrrm_point *point, enum rf_match_fit fit_of, struct lrrm_match m, struct diagnosis *d)
{
        const struct unknowns u = {1, {L_PH}};
        for (size_t i = 0; i < n; i++) {
                const struct lrrm_point *q = &point[i];
                if (fit_of == RF_MATCH_FROM_OPEN) { /* Z = (a - c G)/(d G - b) */
                        double complex z = (q->a - q->c * q->open) / (q->d * q->open - q->b);
                        d->match_r_ohm[i] = creal(z);
                        d->match_l_h[i] = cimag(z) / q->w;
                        continue;
                }
                struct lrrm_match here = m;
                for (int round = 0; round < 4; round++) { /* Newton: the residual is nearly linear in L */
                        double r[2], dr[2][2];
                        residual(q, here, &u, false, r, dr);
                        here.l_h -= r[0] / dr[0][0] * 1e-12;
                }
                bool good = fabs(here.l_h) < 1e-9;
                d->match_r_ohm[i] = creal(q->z) + m.r_ohm;
                d->match_l_h[i] = good ? cimag(q->z) / q->w + here.l_h : NAN;
        }
}
