/* solve_multiline.c: "multiline_trl": lines of one cross-section and different lengths, and a reflect (calibration.h).
 * Sources     Marks, IEEE Trans. MTT 39 (1991) 1205; weights and normalised standard deviation as in DeGroot, Jargon & Marks, 60th ARFTG
 * 2002; line impedance from capacitance: Marks & Williams, IEEE MGWL 1 (1991) 141. Notation    T_k = r X diag(z_k, 1/z_k) Y, z_k = e^{-g
 * (l_k - l_0)}, planes in the middle of line 0, X = [[1, b1], [ca1, 1]] diag(a1, 1), Y = diag(a2, 1) [[1, -ca2], [-b2, 1]].  "pair": line k
 * with the common line c. Idea        1. Propagation constant: eigenvalues of each pair, logarithms unwrapped by a ladder from the shortest
 * to the longest difference, then least squares with the covariance that the common line brings (V^{-1} = I - 11^T/N).  Frequencies go
 * outward from one where the shortest pair is in its best range, each starting from its neighbour's result.
 *             2. b and ca of both ports: Gauss-Markov mean of the pairs' eigenvectors.
 *             3. a1 a2 and r from line 0; a1 from the reflect, up to a sign.
 *             4. The sign is followed along frequency (follow.c) and compared with the estimate.
 *             5. Zc where C (or Zc) is known; planes and impedance are moved into the boxes: planes first, in the line's own impedance.
 * Rejected    |lambda| < 1 to tell the eigenvalues apart: with noise and short differences it flips.  |b| < |a/c|: wrong where directivity
 * is larger than 1/source match.  Weights from the measured eigenvalues themselves: biased. */
#include "rf/convert.h"
#include "rf/small.h"
#include "rf/solve.h"
#include <math.h>
#include <string.h>

#define SURE_DEG 10.0 /* a pair below this effective phase does not refine the estimate of g */
#define NSTD_LIMIT 3.0

/* What is decided at one frequency: kept for sensitivities. */
struct choice {
        double complex g, a1; /* a1 with the sign in use */
        size_t common;        /* index into lines */
};
struct lines {
        size_t n, at[RF_STANDARD_MAX]; /* which standards are lines, in the order given */
        size_t reflect_n, reflect[RF_STANDARD_MAX];
};
/* One frequency's solution. */
struct solution {
        double complex g, b1, ca1, b2, ca2, a1, a2, r, reflect;
        double nstd, phase_eff_deg, reciprocity;
        size_t common;
};

static struct lines lines_of(const struct problem *p)
{
        struct lines l = {0};
        for (size_t k = 0; k < p->standard_n; k++)
                if (p->standards[k].kind == RF_LINE)
                        l.at[l.n++] = k;
                else
                        l.reflect[l.reflect_n++] = k;
        return l;
}

/* Eigenvalues of a pair in the order (e^{-g dl}, e^{+g dl}) nearest to x = g dl; vectors alike. */
static void pair_eigen(struct m2 q, double complex x, double complex lambda[2], double complex v[2][2])
{
        double complex em = cexp(-x), ep = cexp(x);
        small_eigen2(q, lambda, v);
        if (cabs(lambda[0] - em) + cabs(lambda[1] - ep) > cabs(lambda[1] - em) + cabs(lambda[0] - ep)) {
                double complex t = lambda[0];
                lambda[0] = lambda[1];
                lambda[1] = t;
                for (int k = 0; k < 2; k++) {
                        t = v[0][k];
                        v[0][k] = v[1][k];
                        v[1][k] = t;
                }
        }
}

static double phase_eff(double complex x) { return asin(fmin(1, cabs(cexp(-x) - cexp(x)) / 2)) * 180 / RF_PI; }

/* g from all pairs with line c, unwrapped against the estimate g0. */
static double complex propagation(size_t n, const struct m2 *t, const double *l, size_t c, double complex g0)
{
        size_t order[RF_STANDARD_MAX], m = 0;
        for (size_t k = 0; k < n; k++) { /* insertion sort by length difference */
                if (k == c)
                        continue;
                size_t j = m++;
                while (j > 0 && fabs(l[order[j - 1]] - l[c]) > fabs(l[k] - l[c])) {
                        order[j] = order[j - 1];
                        j--;
                }
                order[j] = k;
        }
        double complex g = g0, sum_ly = 0, sum_y = 0;
        double sum_ll = 0, sum_l = 0;
        struct m2 inverse = m2_inv(t[c]);
        for (size_t j = 0; j < m; j++) {
                double dl = l[order[j]] - l[c];
                double complex lambda[2], v[2][2], x = g * dl;
                small_eigen2(m2_mul(t[order[j]], inverse), lambda, v);
                double complex best = 0;
                double best_distance = INFINITY;
                for (int k = 0; k < 2; k++) { /* both orders, each unwrapped to the estimate */
                        double complex y = -clog((lambda[k] + 1 / lambda[1 - k]) / 2);
                        y += CMPLX(0, RF_TWO_PI * round((cimag(x) - cimag(y)) / RF_TWO_PI));
                        if (cabs(y - x) < best_distance) {
                                best_distance = cabs(y - x);
                                best = y;
                        }
                }
                if (phase_eff(best) > SURE_DEG)
                        g = best / dl; /* the longer difference refines the estimate for the next */
                sum_ly += dl * best;
                sum_y += best;
                sum_ll += dl * dl;
                sum_l += dl;
        }
        double nn = (double)n; /* V^{-1} = I - 11^T/N, N lines */
        return (sum_ly - sum_l * sum_y / nn) / (sum_ll - sum_l * sum_l / nn);
}

/* The line whose worst pair is best. */
static size_t common_line(size_t n, const double *l, double complex g)
{
        size_t best = 0;
        double best_deg = -1;
        for (size_t c = 0; c < n; c++) {
                double worst = INFINITY;
                for (size_t k = 0; k < n; k++)
                        if (k != c)
                                worst = fmin(worst, phase_eff(g * (l[k] - l[c])));
                if (worst > best_deg) {
                        best_deg = worst;
                        best = c;
                }
        }
        return best;
}

/* Gauss-Markov weights of the m pairs; *ret_variance = 1/(1^T V^{-1} 1). */
static bool weights(size_t m, const double complex *v, double complex *w, double *ret_variance)
{
        double complex vt[SMALL_MAX * SMALL_MAX] = {0}, one[SMALL_MAX] = {0}, sum = 0;
        for (size_t i = 0; i < m; i++) {
                one[i] = 1;
                for (size_t j = 0; j < m; j++)
                        vt[i * m + j] = v[j * m + i];
        }
        if (!small_solve(m, vt, one, w))
                return false;
        for (size_t i = 0; i < m; i++)
                sum += w[i];
        for (size_t i = 0; i < m; i++)
                w[i] /= sum;
        *ret_variance = 1 / creal(sum);
        return true;
}

/* b and ca of both ports from the pairs with line c; gw: the g of the weights and of the order of the eigenvalues. */
static bool boxes(size_t n, const struct m2 *t, const double *l, size_t c, double complex gw, struct solution *s)
{
        double complex b[2][RF_STANDARD_MAX], ca[2][RF_STANDARD_MAX], e[RF_STANDARD_MAX], z[RF_STANDARD_MAX];
        double complex vb[SMALL_MAX * SMALL_MAX], vc[SMALL_MAX * SMALL_MAX], wb[SMALL_MAX], wc[SMALL_MAX];
        struct m2 inverse = m2_inv(t[c]);
        size_t m = 0;
        for (size_t k = 0; k < n; k++) {
                if (k == c)
                        continue;
                double complex x = gw * (l[k] - l[c]), lambda[2], v[2][2];
                pair_eigen(m2_mul(t[k], inverse), x, lambda, v);
                ca[0][m] = v[0][1] / v[0][0];
                b[0][m] = v[1][0] / v[1][1];
                pair_eigen(m2_transpose(m2_mul(inverse, t[k])), x, lambda, v);
                ca[1][m] = -v[0][1] / v[0][0];
                b[1][m] = -v[1][0] / v[1][1];
                e[m] = cexp(-x);
                z[m] = cexp(-gw * (l[k] - l[0]));
                m++;
        }
        double zc = cabs(cexp(-gw * (l[c] - l[0])));
        for (size_t i = 0; i < m; i++)
                for (size_t j = 0; j < m; j++) {
                        double complex nn = (e[i] - 1 / e[i]) * conj(e[j] - 1 / e[j]), ee = e[i] * conj(e[j]), zz = z[i] * conj(z[j]);
                        double e2 = creal(e[i] * conj(e[i])), zi = cabs(z[i]) * zc;
                        vb[i * m + j] = i == j ? (e2 + 1 / e2 + 2 * zi * zi) / nn : (ee + zc * zc * zz) / nn;
                        vc[i * m + j] = i == j ? (e2 + 1 / e2 + 2 / (zi * zi)) / nn : (1 / ee + 1 / (zc * zc * zz)) / nn;
                }
        double var_b, var_c;
        if (!weights(m, vb, wb, &var_b) || !weights(m, vc, wc, &var_c))
                return false;
        s->b1 = s->b2 = s->ca1 = s->ca2 = 0;
        for (size_t i = 0; i < m; i++) {
                s->b1 += wb[i] * b[0][i];
                s->b2 += wb[i] * b[1][i];
                s->ca1 += wc[i] * ca[0][i];
                s->ca2 += wc[i] * ca[1][i];
        }
        s->nstd = (sqrt(var_b) + sqrt(var_c)) / 2;
        return isfinite(s->nstd);
}

/* Everything at one frequency.  held NULL: the first pass, from the estimate g0; it chooses the common line and leaves the sign of a1 as it
   comes. Otherwise common line, weights and sign are the held ones.  residual (may be NULL): per standard. */
static bool solve_point(const struct point *p, const struct lines *ln, const struct choice *held, double complex g0, struct solution *s,
                        double *residual)
{
        struct m2 t[RF_STANDARD_MAX];
        double l[RF_STANDARD_MAX];
        for (size_t k = 0; k < ln->n; k++) {
                struct m2 raw = point_raw(p, ln->at[k]);
                if (!rf_t_exists(raw))
                        return false;
                t[k] = rf_t_from_s(raw);
                l[k] = p->length_m[ln->at[k]];
        }
        if (held) {
                s->common = held->common;
                s->g = propagation(ln->n, t, l, s->common, held->g);
        } else {
                size_t c = common_line(ln->n, l, g0);
                s->g = propagation(ln->n, t, l, c, g0);
                s->common = common_line(ln->n, l, s->g);
                s->g = propagation(ln->n, t, l, s->common, s->g);
        }
        double complex gw = held ? held->g : s->g;
        if (!boxes(ln->n, t, l, s->common, gw, s))
                return false;
        s->phase_eff_deg = 0;
        for (size_t k = 0; k < ln->n; k++)
                if (k != s->common)
                        s->phase_eff_deg = fmax(s->phase_eff_deg, phase_eff(s->g * (l[k] - l[s->common])));

        struct m2 xi = m2_inv(m2_of(1, s->b1, s->ca1, 1)), yi = m2_inv(m2_of(1, -s->ca2, -s->b2, 1));
        struct m2 n0 = m2_mul(xi, m2_mul(t[0], yi));
        s->r = n0.e[3];
        double complex a1a2 = n0.e[0] / n0.e[3], near = held ? held->a1 : 0, sum = 0, u[RF_STANDARD_MAX][2];
        for (size_t k = 0; k < ln->reflect_n; k++) { /* several reflects of one kind: the mean of their a1 */
                struct m2 w = point_raw(p, ln->reflect[k]);
                u[k][0] = (w.e[0] - s->b1) / (1 - s->ca1 * w.e[0]);
                u[k][1] = (w.e[3] - s->b2) / (1 - s->ca2 * w.e[3]);
                double complex a1 = csqrt(a1a2 * u[k][0] / u[k][1]);
                if (creal(a1 * conj(near)) < 0)
                        a1 = -a1;
                if (k == 0)
                        near = a1;
                sum += a1;
        }
        s->a1 = sum / (double)ln->reflect_n;
        s->a2 = a1a2 / s->a1;
        s->reflect = u[0][0] / s->a1;
        if (!residual)
                return true;
        s->reciprocity = 0;
        for (size_t k = 0; k < ln->n; k++) { /* each line as the calibration now sees it, against a matched line of its length */
                struct m2 tk =
                        m2_scale(1 / s->r, m2_mul(m2_diag(1 / s->a1, 1), m2_mul(xi, m2_mul(t[k], m2_mul(yi, m2_diag(1 / s->a2, 1))))));
                struct m2 sk = rf_s_from_t(tk);
                double complex e = cexp(-s->g * (l[k] - l[0]));
                residual[ln->at[k]] = m2_distance(sk, m2_of(0, e, e, 0));
                s->reciprocity = fmax(s->reciprocity, cabs(sk.e[1] - sk.e[2]));
        }
        for (size_t k = 0; k < ln->reflect_n && ln->reflect_n > 1; k++) /* one reflect alone is met exactly */
                residual[ln->reflect[k]] = cabs(u[k][0] / s->a1 - u[k][1] / s->a2) / 2;
        return true;
}

static double complex line_impedance(const struct problem *p, double hz, double complex g)
{
        if (p->line_c_f_m > 0)
                return g / (CMPLX(0, RF_TWO_PI * hz * p->line_c_f_m) * CMPLX(1, -p->line_loss_tangent));
        return p->line_z_ohm > 0 ? p->line_z_ohm : CMPLX(NAN, NAN);
}

/* Boxes moved to the wanted planes (first) and impedance (then), as eight terms. */
static void finish(const struct problem *p, double hz, const struct solution *s, double complex t[TERM_COUNT])
{
        struct box x = {s->a1, s->b1, s->ca1 * s->a1}, y = {s->a2, s->b2, s->ca2 * s->a2};
        double complex r = s->r, zc = line_impedance(p, hz, s->g);
        if (p->plane_shift_m != 0) { /* T_D' = diag(e^{gd}, e^{-gd}) T_D diag(same): the inverse goes into the boxes */
                double complex k = cexp(-2 * s->g * p->plane_shift_m);
                x.a *= k;
                x.c *= k;
                y.a *= k;
                y.c *= k;
                r /= k;
        }
        if (!isnan(creal(zc))) { /* [b'; a'] = [[1, -q], [-q, 1]] [b; a], q = (z' - z)/(z' + z) */
                double z_to = p->z_ref_ohm > 0 ? p->z_ref_ohm : 50;
                double complex q = (z_to - zc) / (z_to + zc), dx = 1 + q * x.c, dy = 1 + q * y.c;
                x = (struct box){(x.a + q * x.b) / dx, (x.b + q * x.a) / dx, (x.c + q) / dx};
                y = (struct box){(y.a + q * y.b) / dy, (y.b + q * y.a) / dy, (y.c + q) / dy};
                r *= dx * dy / (1 - q * q);
        }
        terms_from_boxes(x, y, r, t);
}

static bool terms_point(const struct point *p, const void *choice, double complex t[TERM_COUNT])
{
        struct lines ln = lines_of(p->problem);
        const struct choice *held = choice;
        struct solution s;
        if (!solve_point(p, &ln, held, held->g, &s, NULL))
                return false;
        finish(p->problem, p->hz, &s, t);
        return true;
}

/* ---- the whole band
 * ---------------------------------------------------------------------------------------------------------------------- */

struct workspace {
        struct solution *solution;
        struct choice *choice;
        double complex *ratio;
        double *residual;
        signed char *sign;
        bool *trusted; /* the lines are good here */
};

size_t multiline_workspace(size_t n, size_t standards)
{
        return n * (sizeof(struct solution) + sizeof(struct choice) + sizeof(double complex) + standards * sizeof(double) +
                    sizeof(signed char) + sizeof(bool)) +
               256;
}

static struct workspace lay_out(void *memory, size_t n, size_t standards)
{
        struct workspace w = {.solution = memory};
        w.choice = (struct choice *)(void *)(w.solution + n);
        w.ratio = (double complex *)(void *)(w.choice + n);
        w.residual = (double *)(void *)(w.ratio + n);
        w.sign = (signed char *)(w.residual + n * standards);
        w.trusted = (bool *)(w.sign + n);
        return w;
}

static enum code check(const struct problem *p, const struct lines *ln, struct tp_error *err)
{
        if (ln->n > SMALL_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "multiline_trl: %zu lines; it takes %d", ln->n, SMALL_MAX);
        for (size_t k = 0; k < ln->n; k++) {
                const struct rf_standard *a = &p->standards[ln->at[k]];
                if (!(a->length_m >= 0 && a->length_m < 1))
                        return tp_fail(err, CODE_BAD_INPUT, "multiline_trl: %s has a length of %.6g m; it must lie between 0 and 1 m",
                                       standard_name(a), a->length_m);
                for (size_t j = 0; j < k; j++)
                        if (!(fabs(a->length_m - p->standards[ln->at[j]].length_m) >= 1e-6))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "multiline_trl: %s and %s are both %.4g um long; lines must differ by 1 um at least",
                                               standard_name(&p->standards[ln->at[j]]), standard_name(a), a->length_m * 1e6);
        }
        double eps = creal(p->eps_eff_guess);
        if (!(eps >= 1 && eps <= 50) || !(cimag(p->eps_eff_guess) <= 0))
                return tp_fail(err, CODE_BAD_INPUT,
                               "multiline_trl: a guess of %.4g%+.4gj for the effective permittivity is impossible; its real part lies "
                               "between 1 and 50, the imaginary one is not positive",
                               eps, cimag(p->eps_eff_guess));
        if (!(cabs(p->reflect_estimate) > 0.1 && cabs(p->reflect_estimate) < 10))
                return tp_fail(err, CODE_BAD_INPUT,
                               "multiline_trl: a reflect estimate of %.4g%+.4gj is none; give -1 for a short, +1 for an open",
                               creal(p->reflect_estimate), cimag(p->reflect_estimate));
        if (!(fabs(p->reflect_offset_m) < 0.1 && fabs(p->plane_shift_m) < 0.1))
                return tp_fail(err, CODE_BAD_INPUT,
                               "multiline_trl: a reflect offset of %.4g m or a plane shift of %.4g m is no on-wafer length",
                               p->reflect_offset_m, p->plane_shift_m);
        if (!(p->axis->hz[0] > 0))
                return tp_fail(err, CODE_BAD_INPUT, "multiline_trl: lines say nothing at %.6g Hz; begin above 0", p->axis->hz[0]);
        return CODE_OK;
}

/* Where the shortest pair is nearest to 60 degrees by the guess: unambiguous even with a poor guess. */
static size_t first_frequency(const struct problem *p, const struct lines *ln)
{
        double dl = INFINITY;
        for (size_t k = 0; k < ln->n; k++)
                for (size_t j = 0; j < k; j++)
                        dl = fmin(dl, fabs(p->standards[ln->at[k]].length_m - p->standards[ln->at[j]].length_m));
        double hz = RF_C0_M_S / (6 * dl * sqrt(creal(p->eps_eff_guess)));
        return axis_nearest(p->axis, hz);
}

static double complex guess(const struct problem *p, double hz) { return CMPLX(0, RF_TWO_PI * hz / RF_C0_M_S) * csqrt(p->eps_eff_guess); }

static enum code solve_at(const struct problem *p, const struct lines *ln, size_t i, double complex g0, struct workspace *w,
                          struct tp_error *err)
{
        struct point at;
        double *residual = w->residual + i * p->standard_n;
        point_load(p, i, &at);
        if (solve_point(&at, ln, NULL, g0, &w->solution[i], residual) && isfinite(cabs(w->solution[i].a1)))
                return CODE_OK;
        return tp_fail(err, CODE_UNRESOLVABLE,
                       "multiline_trl: at %.9g Hz the lines do not differ, do not transmit, or contradict their lengths, so nothing can be "
                       "solved; check the lengths, leave this frequency out or add a line of another length",
                       p->axis->hz[i]);
}

/* g of a neighbour at another frequency: the phase grows with f, the loss about with its root. */
static double complex scaled(double complex g, double from_hz, double to_hz)
{
        return CMPLX(creal(g) * sqrt(to_hz / from_hz), cimag(g) * to_hz / from_hz);
}

static enum code settle_sign(const struct problem *p, struct workspace *w, struct diagnosis *d, struct tp_error *err)
{
        size_t n = p->axis->n, start = 0;
        double best = INFINITY;
        for (size_t i = 0; i < n; i++) { /* the lowest frequency whose lines are good: there the offset turns the estimate least */
                const struct solution *s = &w->solution[i];
                double complex estimate = p->reflect_estimate * cexp(-2 * s->g * p->reflect_offset_m);
                w->ratio[i] = s->reflect / estimate;
                w->trusted[i] = s->nstd <= NSTD_LIMIT;
                double cost = w->trusted[i] ? 0 : s->nstd;
                if (cost < best) {
                        best = cost;
                        start = i;
                }
        }
        struct followed f;
        root_follow(n, p->axis->hz, start, w->trusted, w->ratio, w->sign, &f);
        d->root_followed = f.all;
        d->root_start_hz = p->axis->hz[start];
        d->root_unfollowed_hz = f.unfollowed_hz;
        d->root_contradicts = f.contradicts;
        d->contradiction_hz = f.contradiction_hz;
        d->contradiction_deg = f.contradiction_deg;
        if (f.start_angle_deg > 60)
                return tp_fail(err, CODE_BAD_INPUT,
                               "multiline_trl: at %.6g GHz, where the lines are good, the solved reflect lies %.0f degrees from its "
                               "estimate or from its opposite: its sign cannot be settled; "
                               "check estimate (%.3g%+.3gj) and offset (%.4g um)",
                               p->axis->hz[start] / 1e9, f.start_angle_deg, creal(p->reflect_estimate), cimag(p->reflect_estimate),
                               p->reflect_offset_m * 1e6);
        if (f.contradicts && !p->reflect_contradiction_allowed)
                return tp_fail(err, CODE_BAD_INPUT,
                               "multiline_trl: followed from %.6g GHz, the solved reflect lies %.0f degrees from its estimate at %.6g GHz "
                               "(%.0f at most, at %.6g GHz): by the estimate "
                               "its sign would flip there; check the offset of %.4g um and the kind of reflect",
                               p->axis->hz[start] / 1e9, f.contradiction_deg, f.contradiction_hz / 1e9, f.worst_deg, f.worst_hz / 1e9,
                               p->reflect_offset_m * 1e6);
        if (f.contradicts)
                diagnosis_warn(d,
                               "the followed reflect lies %.0f degrees from its estimate at %.6g GHz: offset (%.4g um) or kind are wrong; "
                               "the followed sign was kept",
                               f.contradiction_deg, f.contradiction_hz / 1e9, p->reflect_offset_m * 1e6);
        else if (f.worst_deg > 30)
                diagnosis_warn(d, "the solved reflect lies up to %.0f degrees from its estimate, at %.6g GHz", f.worst_deg,
                               f.worst_hz / 1e9);
        if (!f.all)
                diagnosis_warn(d, "the reflect jumps by more than 60 degrees at %.6g GHz: there its sign rests on the estimate alone",
                               f.unfollowed_hz / 1e9);
        return CODE_OK;
}

static void diagnose(const struct problem *p, const struct workspace *w, struct diagnosis *d)
{
        double reciprocity = 0, reciprocity_hz = 0, lowest = NAN, highest = NAN;
        bool worn = false;
        for (size_t i = 0; i < p->axis->n; i++) {
                const struct solution *s = &w->solution[i];
                double hz = p->axis->hz[i], k = RF_C0_M_S / (RF_TWO_PI * hz);
                double complex eps = -(s->g * k) * (s->g * k), zc = line_impedance(p, hz, s->g);
                double complex estimate = p->reflect_estimate * cexp(-2 * s->g * p->reflect_offset_m);
                d->condition[i] = 1 / sin(s->phase_eff_deg * RF_PI / 180);
                d->reciprocity[i] = s->reciprocity;
                d->gamma_re[i] = creal(s->g);
                d->gamma_im[i] = cimag(s->g);
                d->eps_re[i] = creal(eps);
                d->eps_im[i] = cimag(eps);
                d->loss_db_mm[i] = creal(s->g) * RF_DB_PER_NEPER / 1000;
                d->phase_eff_deg[i] = s->phase_eff_deg;
                d->nstd[i] = s->nstd;
                d->zc_re[i] = creal(zc);
                d->zc_im[i] = cimag(zc);
                d->reflect_re[i] = creal(s->reflect);
                d->reflect_im[i] = cimag(s->reflect);
                d->reflect_distance[i] = cabs(s->reflect - estimate);
                d->reflect_angle_deg[i] = carg(s->reflect / estimate) * 180 / RF_PI;
                d->common_line[i] = (double)s->common;
                if (s->reciprocity > reciprocity) {
                        reciprocity = s->reciprocity;
                        reciprocity_hz = hz;
                }
                if (s->nstd > NSTD_LIMIT) {
                        worn = true;
                        lowest = fmin(lowest, hz);
                        highest = fmax(highest, hz);
                }
        }
        if (reciprocity > 0.01)
                diagnosis_warn(d, "corrected lines are not reciprocal: |S21 - S12| up to %.2g at %.6g GHz", reciprocity,
                               reciprocity_hz / 1e9);
        if (worn)
                diagnosis_warn(d,
                               "between %.4g and %.4g GHz the lines are short or half a wave apart somewhere: the normalised standard "
                               "deviation exceeds %.0f",
                               lowest / 1e9, highest / 1e9, NSTD_LIMIT);
        if (!(p->line_c_f_m > 0) && !(p->line_z_ohm > 0))
                diagnosis_warn(d, "results stay in the impedance of the line, which is not known: give its capacitance per metre (or its "
                                  "impedance) to have them in ohm");
}

enum code multiline_solve(const struct problem *p, void *workspace, struct terms *out, struct covariance *cov, struct diagnosis *d,
                          struct tp_error *err)
{
        const struct method *method = rf_method("multiline_trl");
        enum code code = rf_problem_check(method, p, err);
        if (code)
                return code;
        struct lines ln = lines_of(p);
        if ((code = check(p, &ln, err)))
                return code;
        size_t n = p->axis->n, first = first_frequency(p, &ln);
        const double *hz = p->axis->hz;
        struct workspace w = lay_out(workspace, n, p->standard_n);
        for (size_t i = 0; i < n * p->standard_n; i++)
                w.residual[i] = NAN;
        if ((code = solve_at(p, &ln, first, guess(p, hz[first]), &w, err)))
                return code;
        for (size_t i = first + 1; i < n; i++)
                if ((code = solve_at(p, &ln, i, scaled(w.solution[i - 1].g, hz[i - 1], hz[i]), &w, err)))
                        return code;
        for (size_t i = first; i-- > 0;)
                if ((code = solve_at(p, &ln, i, scaled(w.solution[i + 1].g, hz[i + 1], hz[i]), &w, err)))
                        return code;
        if ((code = settle_sign(p, &w, d, err)))
                return code;
        bool known = p->line_c_f_m > 0 || p->line_z_ohm > 0;
        double z_to = p->z_ref_ohm > 0 ? p->z_ref_ohm : 50;
        for (size_t i = 0; i < n; i++) {
                struct solution *s = &w.solution[i];
                double complex t[TERM_COUNT];
                if (w.sign[i] < 0) {
                        s->a1 = -s->a1;
                        s->a2 = -s->a2;
                        s->reflect = -s->reflect;
                }
                w.choice[i] = (struct choice){s->g, s->a1, s->common};
                finish(p, hz[i], s, t);
                terms_put(out, i, t);
                out->z_re[i] = known ? z_to : NAN;
                out->z_im[i] = known ? 0 : NAN;
        }
        out->method = method->word;
        out->model = TERMS_EIGHT;
        out->plane = p->plane_shift_m != 0 ? p->plane_shifted : PLANE_LINE_MIDDLE;
        out->switch_removed = p->switch_terms != NULL;
        residuals_finish(p, d, w.residual);
        diagnose(p, &w, d);
        if (cov)
                covariance_fill(p, cov, terms_point, w.choice, sizeof *w.choice);
        return CODE_OK;
}
