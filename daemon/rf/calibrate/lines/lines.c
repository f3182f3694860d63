/* lines.c: line methods over the whole band (lines.h).
 * Sources     Engen & Hoer, IEEE Trans. MTT 27 (1979) 987; Marks, IEEE Trans. MTT 39 (1991) 1205; line impedance from capacitance: Marks &
 *             Williams, IEEE MGWL 1 (1991) 141.
 * Idea        Frequencies go outward from the one where the shortest pair is best by the guess, each starting from its neighbour's
 *             propagation constant: nothing is carried up from a noisy low end.  The reflect's sign is followed from the lowest frequency
 *             whose lines are good, and compared with the estimate everywhere.  Planes are moved in the line's own impedance, then the
 *             impedance.
 * Rejected    |lambda| < 1 to tell the eigenvalues apart: with noise and short differences it flips.  |b| < |a/c|: wrong where directivity
 *             is larger than 1/source match. */
#include "rf/calibrate/lines/lines.h"
#include <math.h>
#include <string.h>

static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

struct line_set lines_of(const struct problem *p)
{
        struct line_set l = {0};
        for (size_t k = 0; k < p->standard_n; k++)
                if (p->standards[k].kind == RF_LINE)
                        l.at[l.n++] = k;
                else
                        l.reflect[l.reflect_n++] = k;
        return l;
}

/* ---- what is read ---------------------------------------------------------------------------------------------------------------------
 */

/* As read_loops.h has it for many frequencies. */
bool line_t(const struct point *p, size_t standard, struct m2 *ret)
{
        const double complex *m = p->raw[standard].e;
        double complex t = m[1] * m[2], u21 = m[2] - m[2] * m[3] * p->gf, d = 1 - t * p->gf * p->gr;
        if (!(abs2(u21) > 1e-24 * abs2(d))) /* rf_t_exists() */
                return false;
        *ret = m2_scale(1 / u21, m2_of(t - m[0] * m[3], m[0] - t * p->gf, t * p->gr - m[3], d));
        return true;
}
/* The reflections of a reflect. */
static void reflections(const struct point *p, size_t standard, double complex w[2])
{
        const double complex *m = p->raw[standard].e;
        double complex t = m[1] * m[2], k = 1 / (1 - t * p->gf * p->gr);
        w[0] = (m[0] - t * p->gf) * k;
        w[1] = (m[3] - t * p->gr) * k;
}

struct line_reading line_reading(const struct problem *p, size_t standard, size_t from, double *zeros)
{
        const struct switch_terms *sw = p->switch_terms;
        const struct net2 *raw = p->standards[standard].raw;
        struct line_reading r = {.gf = {zeros, zeros}, .gr = {zeros, zeros}};
        for (int e = 0; e < 4; e++)
                r.m[e] = (struct cx_column){raw->re[e] + from, raw->im[e] + from};
        if (sw) {
                r.gf = (struct cx_column){sw->f_re + from, sw->f_im + from};
                r.gr = (struct cx_column){sw->r_re + from, sw->r_im + from};
        }
        return r;
}

/* ---- one pair ------------------------------------------------------------------------------------------------------------------------ */

/* (m - mu) v = 0 for mu = mean -+ root: v0/v1 of the first and v1/v0 of the second, by the row in which half +- root does not cancel. */
static void vectors(double complex half, double complex m12, double complex m21, double complex root, double complex *b, double complex *ca)
{
        double complex s = half + root, t = half - root;
        if (abs2(s) >= abs2(t)) {
                *b = -m12 / s;
                *ca = m21 / s;
        } else {
                *b = t / m21;
                *ca = -t / m12;
        }
}

/* The pair's matrix T_k T_c^{-1} less or plus one, whichever is nearer to nothing: short pairs lie near +1, those of half a wave near -1, and
   what is taken away before the products loses no digits in them. */
struct line_pair line_pair_of(struct m2 t_k, struct m2 t_c)
{
        double along = 0;
        for (int k = 0; k < 4; k++)
                along += creal(t_k.e[k]) * creal(t_c.e[k]) + cimag(t_k.e[k]) * cimag(t_c.e[k]);
        struct m2 d = along < 0 ? m2_add(t_k, t_c) : m2_sub(t_k, t_c), adjugate = m2_of(t_c.e[3], -t_c.e[1], -t_c.e[2], t_c.e[0]);
        struct m2 left = m2_mul(d, adjugate), right = m2_mul(adjugate, d);
        struct line_pair q = {.det = m2_det(t_c)};
        double complex half = (left.e[0] - left.e[3]) / 2, mean = (along < 0 ? -q.det : q.det) + (left.e[0] + left.e[3]) / 2;
        q.root = m2_sqrt(half * half + left.e[1] * left.e[2]);
        if (creal(half) * creal(q.root) + cimag(half) * cimag(q.root) < 0)
                q.root = -q.root;
        vectors(half, left.e[1], left.e[2], q.root, &q.box[0], &q.box[1]);
        vectors((right.e[0] - right.e[3]) / 2, right.e[2], right.e[1], q.root, &q.box[2], &q.box[3]);
        q.box[2] = -q.box[2];
        q.box[3] = -q.box[3];
        /* (mean + root)/det = e^{-y}: y = -atanh(root/mean), or that + j pi, which turns e^{-y} round.  atanh keeps the relative precision
           of a small argument, which a logarithm would not: g dl is 1e-4 at 70 kHz. */
        double complex ratio = q.root / mean, lambda = (mean + q.root) * conj(q.det);
        double re = creal(ratio), im = cimag(ratio), twice = 2 * im, rest = 1 - (re * re + im * im);
        q.phase = -CMPLX(log1p(4 * re / ((1 - re) * (1 - re) + im * im)) / 4, atan2(twice, rest) / 2);
        /* where e^{atanh} points, half of atan2's angle */
        double size = sqrt(rest * rest + twice * twice), x = rest >= 0 ? rest + size : fabs(twice),
               y = rest >= 0 ? twice : copysign(size - rest, twice);
        if (x * creal(lambda) + y * cimag(lambda) < 0)
                q.phase += CMPLX(0, RF_PI);
        return q;
}

void line_pair_turn(struct line_pair *q)
{
        double complex b1 = q->box[0], b2 = q->box[2];
        q->root = -q->root;
        q->phase = -q->phase;
        q->box[0] = 1 / q->box[1];
        q->box[1] = 1 / b1;
        q->box[2] = 1 / q->box[3];
        q->box[3] = 1 / b2;
}

void line_pair_orient(struct line_pair *q, double complex x)
{
        double complex e = cexp(-x), want = q->det * (e - 1 / e); /* the order in which the squares of both distances sum to less */
        if (creal(q->root) * creal(want) + cimag(q->root) * cimag(want) < 0)
                line_pair_turn(q);
}

double complex line_pair_phase(const struct line_pair *q, double complex x)
{
        const double whole = 0x1.8p52; /* added and taken away it leaves the nearest integer */
        double turns = (cimag(x) - cimag(q->phase)) / RF_TWO_PI;
        return q->phase + CMPLX(0, RF_TWO_PI * ((turns + whole) - whole));
}

void line_pair_orient_like(struct line_pair *q, const double complex box[4])
{
        double complex b = q->box[0], ca = q->box[1]; /* the other way round b would be 1/ca */
        if (abs2(b - box[0]) * abs2(ca) > abs2(1 - box[0] * ca))
                line_pair_turn(q);
}

/* ---- one frequency ------------------------------------------------------------------------------------------------------------------- */

void line_finish(const struct point *p, const struct line_set *ln, const struct line_choice *held, struct m2 t_0, struct line_solution *s,
                 double *residual)
{
        struct m2 xi = m2_inv(m2_of(1, s->b1, s->ca1, 1)), yi = m2_inv(m2_of(1, -s->ca2, -s->b2, 1));
        struct m2 n0 = m2_mul(xi, m2_mul(t_0, yi));
        s->r = n0.e[3];
        double complex a1a2 = n0.e[0] / n0.e[3], near = held ? held->a1 : 0, sum = 0, u[RF_STANDARD_MAX][2];
        for (size_t k = 0; k < ln->reflect_n; k++) { /* several reflects of one kind: the mean of their a1 */
                double complex w[2];
                reflections(p, ln->reflect[k], w);
                u[k][0] = (w[0] - s->b1) / (1 - s->ca1 * w[0]);
                u[k][1] = (w[1] - s->b2) / (1 - s->ca2 * w[1]);
                double complex a1 = m2_sqrt(a1a2 * u[k][0] / u[k][1]);
                if (creal(a1) * creal(near) + cimag(a1) * cimag(near) < 0)
                        a1 = -a1;
                if (k == 0)
                        near = a1;
                sum += a1;
        }
        s->a1 = sum / (double)ln->reflect_n;
        s->a2 = a1a2 / s->a1;
        s->reflect = u[0][0] / s->a1;
        for (size_t k = 0; residual && k < ln->reflect_n && ln->reflect_n > 1; k++) /* one reflect alone is met exactly */
                residual[ln->reflect[k]] = sqrt(abs2(u[k][0] / s->a1 - u[k][1] / s->a2)) / 2;
}

void line_terms(const struct problem *p, double hz, const struct line_solution *s, double complex t[TERM_COUNT])
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
                r *= dx * dy / (4 * z_to * zc / ((z_to + zc) * (z_to + zc))); /* 1 - q^2, which cancels where Zc is far from z' */
        }
        terms_from_boxes(x, y, r, t);
}

/* ---- the whole band ------------------------------------------------------------------------------------------------------------------ */

struct workspace {
        struct line_solution *solution;
        struct line_choice *choice;
        double complex *ratio;
        double *residual;
        struct line_judgement judgement;
        void *scratch; /* of the pairs first, of lines_judge() afterwards */
        signed char *sign;
        bool *trusted; /* the lines are good here */
};

static size_t scratch_bytes(size_t n, size_t standards)
{
        size_t pairs = line_block_bytes(n, standards), judge = lines_judge_bytes(n, standards);
        return pairs > judge ? pairs : judge;
}

size_t lines_workspace(size_t n, size_t standards)
{
        return n * (sizeof(struct line_solution) + sizeof(struct line_choice) + 5 * sizeof(double complex) +
                    2 * standards * sizeof(double) + sizeof(signed char) + sizeof(bool)) +
               scratch_bytes(n, standards) + 256;
}

static struct workspace lay_out(void *memory, size_t n, size_t standards)
{
        struct workspace w = {.scratch = memory};
        w.solution = (struct line_solution *)(void *)((char *)memory + scratch_bytes(n, standards));
        w.choice = (struct line_choice *)(void *)(w.solution + n);
        w.ratio = (double complex *)(void *)(w.choice + n);
        for (size_t k = 0; k < 4; k++)
                w.judgement.second[k] = w.ratio + (k + 1) * n;
        w.residual = (double *)(void *)(w.ratio + 5 * n);
        for (size_t k = 0; k < standards; k++)
                w.judgement.length_error_m[k] = w.residual + (standards + k) * n;
        w.sign = (signed char *)(w.residual + 2 * n * standards);
        w.trusted = (bool *)(w.sign + n);
        return w;
}

#define IN_MM_M 20e-6 /* no line on a substrate is the longest of its set and shorter */

enum code lines_check(const char *word, const struct problem *p, const struct line_set *ln, struct tp_error *err)
{
        double longest_m = 0;
        for (size_t k = 0; k < ln->n; k++)
                longest_m = fmax(longest_m, p->standards[ln->at[k]].length_m);
        for (size_t k = 0; k < ln->n; k++) {
                const struct rf_standard *a = &p->standards[ln->at[k]];
                if (!(a->length_m >= 0 && a->length_m < 1))
                        return tp_fail(err, CODE_BAD_INPUT, "%s: %s has a length of %.6g m; it must lie between 0 and 1 m", word,
                                       standard_name(a), a->length_m);
                for (size_t j = 0; j < k; j++)
                        if (!(fabs(a->length_m - p->standards[ln->at[j]].length_m) >= 1e-6))
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "%s: %s and %s are %.4g and %.4g um long; lines must differ by 1 um at least%s", word,
                                               standard_name(&p->standards[ln->at[j]]), standard_name(a),
                                               p->standards[ln->at[j]].length_m * 1e6, a->length_m * 1e6,
                                               longest_m < IN_MM_M ? " (were they told in mm? 0.2 mm are 200 um)" : "");
        }
        double eps = creal(p->eps_eff_guess);
        if (!(eps >= 1 && eps <= 50) || !(cimag(p->eps_eff_guess) <= 0))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: a guess of %.4g%+.4gj for the effective permittivity is impossible; its real part lies between 1 and "
                               "50, the imaginary one is not positive",
                               word, eps, cimag(p->eps_eff_guess));
        if (!(cabs(p->reflect_estimate) > 0.1 && cabs(p->reflect_estimate) < 10))
                return tp_fail(err, CODE_BAD_INPUT, "%s: a reflect estimate of %.4g%+.4gj is none; give -1 for a short, +1 for an open",
                               word, creal(p->reflect_estimate), cimag(p->reflect_estimate));
        if (!(fabs(p->reflect_offset_m) < 0.1 && fabs(p->plane_shift_m) < 0.1))
                return tp_fail(err, CODE_BAD_INPUT, "%s: a reflect offset of %.4g m or a plane shift of %.4g m is no on-wafer length", word,
                               p->reflect_offset_m, p->plane_shift_m);
        if (!(p->axis->hz[0] > 0))
                return tp_fail(err, CODE_BAD_INPUT, "%s: lines say nothing at %.6g Hz; begin above 0", word, p->axis->hz[0]);
        return CODE_OK;
}

size_t lines_first_frequency(const struct problem *p, const struct line_set *ln)
{
        double dl = INFINITY;
        for (size_t k = 0; k < ln->n; k++)
                for (size_t j = 0; j < k; j++)
                        dl = fmin(dl, fabs(p->standards[ln->at[k]].length_m - p->standards[ln->at[j]].length_m));
        double hz = RF_C0_M_S / (6 * dl * sqrt(creal(p->eps_eff_guess)));
        return axis_nearest(p->axis, hz);
}

double complex lines_guess(const struct problem *p, double hz) { return CMPLX(0, RF_TWO_PI * hz / RF_C0_M_S) * csqrt(p->eps_eff_guess); }

/* g of a neighbour at another frequency: the phase grows with f, the loss about with its root. */
static double complex scaled(double complex g, double from_hz, double to_hz)
{
        return CMPLX(creal(g) * sqrt(to_hz / from_hz), cimag(g) * to_hz / from_hz);
}

/* As a plan counts it, from the reference plane. */
static double told_um(const struct problem *p, double offset_m) { return (offset_m - p->plane_shift_m) * 1e6; }

#define OFFSET_LEFT_DEG 25.0 /* what a reflect's own L or C leaves of another offset */

enum code lines_settle_sign(const char *word, const struct problem *p, double complex *ratio, signed char *sign, bool *trusted,
                            struct diagnosis *d, struct tp_error *err)
{
        size_t n = p->axis->n, start = 0;
        double best = INFINITY;
        for (size_t i = 0; i < n; i++) { /* the lowest frequency whose lines are good: there the offset turns the estimate least */
                trusted[i] = d->nstd[i] <= LINES_NSTD_LIMIT;
                double cost = trusted[i] ? 0 : d->nstd[i];
                if (cost < best) {
                        best = cost;
                        start = i;
                }
        }
        struct followed f;
        root_follow(n, p->axis->hz, start, trusted, ratio, sign, &f);
        d->root_followed = f.all;
        d->root_start_hz = p->axis->hz[start];
        d->root_unfollowed_hz = f.unfollowed_hz;
        d->root_contradicts = f.contradicts;
        d->contradiction_hz = f.contradiction_hz;
        d->contradiction_deg = f.contradiction_deg;
        char told[LINES_TOLD] = "";
        struct line_set ln = lines_of(p);
        double left_deg = INFINITY, offset_m = 0;
        if (f.start_angle_deg > 60 || f.contradicts)
                lines_told(p, &ln, told);
        if (f.contradicts)
                offset_m = p->reflect_offset_m + lines_offset_fit_m(d, ratio, trusted, start, &left_deg);
        if (f.start_angle_deg > 60 && told[0])
                return tp_fail(err, CODE_BAD_INPUT, "%s: the reflect's sign cannot be settled, and %s: correct that first", word, told);
        if (f.contradicts && !p->reflect_contradiction_allowed && told[0])
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: the solved reflect lies %.0f degrees from its estimate at %.6g GHz, and %s: correct that first", word,
                               f.contradiction_deg, f.contradiction_hz / 1e9, told);
        if (f.contradicts && !p->reflect_contradiction_allowed && left_deg < OFFSET_LEFT_DEG)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s: followed from %.6g GHz, the solved reflect lies %.0f degrees from its estimate at %.6g GHz (%.0f at "
                        "most): by the estimate its sign would flip there; a reflect_offset_um of about %.4g fits it to %.0f degrees, and "
                        "%.4g is told (from the reference plane, %s, negative towards the probe)",
                        word, p->axis->hz[start] / 1e9, f.contradiction_deg, f.contradiction_hz / 1e9, f.worst_deg, told_um(p, offset_m),
                        left_deg, told_um(p, p->reflect_offset_m),
                        p->plane_shift_m < 0 ? "the first line's beginning" : "the middle of the first line");
        if (f.start_angle_deg > 60)
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: at %.6g GHz, where the lines are good, the solved reflect lies %.0f degrees from its estimate or from "
                               "its opposite: its sign cannot be settled; check reflect_estimate (%.3g%+.3gj) and reflect_offset_um (%.4g)",
                               word, p->axis->hz[start] / 1e9, f.start_angle_deg, creal(p->reflect_estimate), cimag(p->reflect_estimate),
                               told_um(p, p->reflect_offset_m));
        if (f.contradicts && !p->reflect_contradiction_allowed)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s: followed from %.6g GHz, the solved reflect lies %.0f degrees from its estimate at %.6g GHz (%.0f at "
                        "most, at %.6g GHz): by the estimate its sign would flip there; check reflect_offset_um (%.4g) and the kind of "
                        "reflect",
                        word, p->axis->hz[start] / 1e9, f.contradiction_deg, f.contradiction_hz / 1e9, f.worst_deg, f.worst_hz / 1e9,
                        told_um(p, p->reflect_offset_m));
        if (f.contradicts)
                diagnosis_warn(
                        d,
                        "the followed reflect lies %.0f degrees from its estimate at %.6g GHz: reflect_offset_um (%.4g) or kind are wrong; "
                        "the followed sign was kept",
                        f.contradiction_deg, f.contradiction_hz / 1e9, told_um(p, p->reflect_offset_m));
        else if (f.worst_deg > 30)
                diagnosis_warn(d, "the solved reflect lies up to %.0f degrees from its estimate, at %.6g GHz", f.worst_deg,
                               f.worst_hz / 1e9);
        if (!f.all)
                diagnosis_warn(d, "the reflect jumps by more than 60 degrees at %.6g GHz: there its sign rests on the estimate alone",
                               f.unfollowed_hz / 1e9);
        return CODE_OK;
}

void lines_label(const char *word, const struct problem *p, struct terms *out)
{
        out->method = rf_method(word)->word;
        out->model = TERMS_EIGHT;
        out->plane = p->plane_shift_m != 0 ? p->plane_shifted : PLANE_LINE_MIDDLE;
        out->switch_removed = p->switch_terms != NULL;
}

/* The next frequency of a point that is loaded; of its lines nothing, where they come in blocks. */
static void load_reflects(const struct problem *p, const struct line_set *ln, size_t i, struct point *at)
{
        const struct switch_terms *sw = p->switch_terms;
        at->i = i;
        at->hz = p->axis->hz[i];
        at->gf = sw ? CMPLX(sw->f_re[i], sw->f_im[i]) : 0;
        at->gr = sw ? CMPLX(sw->r_re[i], sw->r_im[i]) : 0;
        for (size_t k = 0; k < ln->reflect_n; k++)
                at->raw[ln->reflect[k]] = net2_get(p->standards[ln->reflect[k]].raw, i);
}

#define RESIDUAL_TOLD 0.2 /* of a line: no touch does it */

/* Lines that fit nothing: what of lengths and eps_eff their phases contradict. */
static void say_told(const struct problem *p, const struct line_set *ln, struct diagnosis *d)
{
        char told[LINES_TOLD];
        bool far = false;
        for (size_t k = 0; k < ln->n; k++)
                far = far || d->standard[ln->at[k]].worst > RESIDUAL_TOLD;
        if (far)
                lines_told(p, ln, told);
        if (far && told[0])
                diagnosis_warn(d, "%s: correct that first", told);
        lines_turn_told(p, d, told);
        if (told[0])
                diagnosis_warn(d, "%s: planes and impedances are wrong; tell a nearer one, or begin lower", told);
}

enum code lines_solve(const char *word, line_solver *solve, point_solver *terms_point, bool many, const struct problem *p, void *workspace,
                      struct terms *out, struct covariance *cov, struct diagnosis *d, struct tp_error *err)
{
        struct line_set ln = lines_of(p);
        enum code code = lines_check(word, p, &ln, err);
        if (code)
                return code;
        size_t n = p->axis->n, first = lines_first_frequency(p, &ln);
        const double *hz = p->axis->hz;
        struct workspace w = lay_out(workspace, n, p->standard_n);
        for (size_t i = 0; i < n * p->standard_n; i++)
                w.residual[i] = NAN;
        struct line_block *block = many ? line_block_begin(w.scratch, p, &ln, first) : NULL;
        struct point at;
        point_load_as_read(p, first, &at);
        for (size_t k = 0; k < n; k++) { /* first … n-1, then first-1 … 0 */
                size_t i = first + k < n ? first + k : n - 1 - k;
                size_t from = i > first ? i - 1 : i + 1;
                double complex g0 = i == first ? lines_guess(p, hz[i]) : scaled(w.solution[from].g, hz[from], hz[i]);
                double g0_relative = i == first ? 0.2 : 0.002 + 0.1 * fabs(log(hz[i] / hz[from])); /* dispersion from one to the next */
                if (many)
                        load_reflects(p, &ln, i, &at);
                else
                        point_load_as_read(p, i, &at);
                if (!solve(&at, &ln, NULL, g0, g0_relative, i == first ? SIZE_MAX : w.solution[from].common, block, &w.solution[i],
                           w.residual + i * p->standard_n) ||
                    !isfinite(abs2(w.solution[i].a1)))
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "%s: at %.9g Hz the lines do not differ, do not transmit, or contradict their lengths, so nothing "
                                       "can be solved; check the lengths, leave this frequency out or add a line of another length",
                                       word, hz[i]);
        }
        for (size_t i = 0; i < n; i++) {
                d->gamma_re[i] = creal(w.solution[i].g);
                d->gamma_im[i] = cimag(w.solution[i].g);
                d->nstd[i] = w.solution[i].nstd;
        }
        lines_in_noise(first, d);
        for (size_t i = 0; i < n; i++) {
                struct line_solution *s = &w.solution[i];
                s->g = CMPLX(d->gamma_re[i], d->gamma_im[i]);
                s->nstd = d->nstd[i];
                s->estimate = p->reflect_estimate;
                if (p->reflect_offset_m != 0)
                        s->estimate *= cexp(-2 * s->g * p->reflect_offset_m);
                w.ratio[i] = s->reflect / s->estimate;
        }
        if ((code = lines_settle_sign(word, p, w.ratio, w.sign, w.trusted, d, err)))
                return code;
        bool known = p->line_c_f_m > 0 || p->line_z_ohm > 0;
        double z_to = p->z_ref_ohm > 0 ? p->z_ref_ohm : 50;
        for (size_t i = 0; i < n; i++) {
                struct line_solution *s = &w.solution[i];
                double complex t[TERM_COUNT];
                if (w.sign[i] < 0) {
                        s->a1 = -s->a1;
                        s->a2 = -s->a2;
                        s->reflect = -s->reflect;
                }
                w.choice[i] = (struct line_choice){s->g, s->a1, s->common};
                line_terms(p, hz[i], s, t);
                terms_put(out, i, t);
                out->z_re[i] = known ? z_to : NAN;
                out->z_im[i] = known ? 0 : NAN;
        }
        lines_label(word, p, out);
        lines_judge(p, &ln, w.solution, many, w.scratch, w.residual, &w.judgement, d);
        residuals_finish(p, d, w.residual);
        say_told(p, &ln, d);
        lines_diagnose(p, &ln, w.solution, &w.judgement, d);
        if (cov) {
                covariance_fill(p, cov, terms_point, w.choice, sizeof *w.choice);
                lines_widen(p, &ln, solve, w.choice, cov);
        }
        return CODE_OK;
}
