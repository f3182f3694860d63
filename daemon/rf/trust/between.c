/* between.c: error terms between two calibrations (between.h).
 * Port maps   A = [[er - ed es, ed], [-es, 1]] takes the true reflection to the reading.  A_two = A_one D^{-1}; A(s) = A_one D^{-s}.
 *             A cable before the port makes A_two = diag(m^2, 1) A_one, hence D^s = A_one^{-1} diag(m^{2s}, 1) A_one: powers of D follow it
 *             without knowing of it.  The modes are still taken out first: a witness can give them at the time itself, their phase may turn
 *             by more than the power's branch allows, and their u is known.
 * Power       of a 2x2 matrix M of determinant 1, c = tr M/2 = cosh(theta): M^s = cosh(s theta) + sinh(s theta)/sinh(theta) (M - c).
 * Fit         ln(er_two/er_one) = 2 (-loss/8.686 sqrt(f/f_top) - j w tau), the phase followed from the lowest frequency.
 */
#include "rf/trust/between.h"
#include "rf/trust/modes.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { SMOOTH = 8 };
#define EXPLAINED_SHARE 0.5 /* modes must take away half of |D - 1| at least … */
#define REPEATS 0.01        /* … or leave no more than calibrations differ by that follow one another at once */

static double complex term(const struct terms *t, enum term k, size_t i) { return CMPLX(t->re[k][i], t->im[k][i]); }
static void put(struct terms *t, enum term k, size_t i, double complex v)
{
        t->re[k][i] = creal(v);
        t->im[k][i] = cimag(v);
}
static double power(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

struct port_terms {
        double complex ed, es, er;
};
static const enum term ed_of[2] = {TERM_EDF, TERM_EDR}, es_of[2] = {TERM_ESF, TERM_ESR}, er_of[2] = {TERM_ERF, TERM_ERR};
static struct port_terms port_of(const struct terms *t, int port, size_t i)
{
        return (struct port_terms){term(t, ed_of[port], i), term(t, es_of[port], i), term(t, er_of[port], i)};
}
static struct m2 map_of(struct port_terms p) { return m2_of(p.er - p.ed * p.es, p.ed, -p.es, 1); }
static struct port_terms terms_of(struct m2 a)
{
        double complex ed = a.e[1] / a.e[3], es = -a.e[2] / a.e[3];
        return (struct port_terms){ed, es, a.e[0] / a.e[3] + ed * es};
}

/* m: one-way factor of a port's modes. */
static struct port_terms with_modes(struct port_terms p, double complex m, enum rf_between_kind kind)
{
        p.er *= m * m;
        if (kind == RF_BETWEEN_CABLE)
                p.ed *= m * m;
        return p;
}
static double complex factor(double delay_s, double loss_db, double hz, double top_hz)
{
        return cexp(CMPLX(-loss_db / RF_DB_PER_NEPER * sqrt(hz / top_hz), -RF_TWO_PI * hz * delay_s));
}

static struct m2 powered(struct m2 d, double s)
{
        struct m2 m = m2_scale(1 / csqrt(m2_det(d)), d);
        if (creal(m.e[0] + m.e[3]) < 0)
                m = m2_scale(-1, m); /* the root near the unit matrix */
        double complex c = (m.e[0] + m.e[3]) / 2, sinh_theta = csqrt(c * c - 1), theta = clog(c + sinh_theta);
        double complex share = cabs(sinh_theta) > 1e-6 ? csinh(s * theta) / sinh_theta : s;
        return m2_add(m2_scale(ccosh(s * theta), m2_one()), m2_scale(share, m2_sub(m, m2_scale(c, m2_one()))));
}

/* The difference of `to` from `from` as the maps see it, scaled to D22 = 1. */
static struct m2 difference(struct port_terms from, struct port_terms to)
{
        struct m2 d = m2_mul(m2_inv(map_of(to)), map_of(from));
        return m2_scale(1 / d.e[3], d);
}
static double size_of(struct m2 d) { return (power(d.e[0] - 1) + power(d.e[1]) + power(d.e[2])) / 3; }

static void fit_port(const struct terms *one, const struct terms *two, int port, double *ret_delay, double *ret_loss)
{
        const struct axis *a = one->axis;
        double top = a->hz[a->n - 1], loss = 0, loss_w = 0, delay = 0, delay_w = 0, last = 0, turn = 0;
        for (size_t i = 0; i < a->n; i++) {
                double complex l = clog(term(two, er_of[port], i) / term(one, er_of[port], i));
                if (!isfinite(creal(l)) || !isfinite(cimag(l)))
                        continue;
                double phase = cimag(l) + turn, w = RF_TWO_PI * a->hz[i], g = -2 / RF_DB_PER_NEPER * sqrt(a->hz[i] / top);
                while (phase - last > RF_PI)
                        phase -= RF_TWO_PI, turn -= RF_TWO_PI;
                while (phase - last < -RF_PI)
                        phase += RF_TWO_PI, turn += RF_TWO_PI;
                last = phase;
                loss += creal(l) * g;
                loss_w += g * g;
                delay += phase * -2 * w;
                delay_w += 4 * w * w;
        }
        *ret_loss = loss_w > 0 ? loss / loss_w : NAN;
        *ret_delay = delay_w > 0 ? delay / delay_w : NAN;
}

/* rms of |D - 1| after modes of this kind were taken off `two`. */
static double left_of(const struct rf_between *b, enum rf_between_kind kind, double *column[2], size_t *ret_n)
{
        const struct axis *a = b->one->axis;
        double sum = 0, n = 0;
        for (size_t i = 0; i < a->n; i++)
                for (int p = 0; p < 2; p++) {
                        double complex m = kind == RF_BETWEEN_GENERAL ? 1 : factor(b->delay_s[p], b->loss_db[p], a->hz[i], a->hz[a->n - 1]);
                        double size = size_of(difference(port_of(b->one, p, i), with_modes(port_of(b->two, p, i), 1 / m, kind)));
                        if (column)
                                column[p][i] = size;
                        if (!isfinite(size))
                                continue;
                        sum += size;
                        n++;
                }
        *ret_n = (size_t)n;
        return sqrt(sum / fmax(1, n));
}

/* Squares in, running rms out; `room` holds n. */
static void smooth(double *x, size_t n, double *room)
{
        for (size_t i = 0; i < n; i++) {
                double sum = 0, count = 0;
                for (size_t j = i > SMOOTH ? i - SMOOTH : 0; j < n && j <= i + SMOOTH; j++)
                        if (isfinite(x[j])) {
                                sum += x[j];
                                count++;
                        }
                room[i] = count > 0 ? sqrt(sum / count) : NAN;
        }
        memcpy(x, room, n * sizeof *x);
}

size_t rf_between_workspace(size_t n) { return 5 * n * sizeof(double); }

enum code rf_between_open(const struct terms *one, const struct terms *two, double t0_s, double t1_s, const struct rf_between_usual *usual,
                          void *workspace, struct rf_between *ret, struct tp_error *err)
{
        if ((one->model != TERMS_EIGHT && one->model != TERMS_TWELVE) || one->model != two->model)
                return tp_fail(err, CODE_BAD_INPUT,
                               "between calibrations: both must be of eight or both of twelve terms (%s and %s are not)",
                               one->method ? one->method : "the first", two->method ? two->method : "the second");
        if (!axis_equal(one->axis, two->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "between calibrations: %zu and %zu frequencies that are not one list; only calibrations of one sweep plan "
                               "are ends of "
                               "an interval",
                               one->axis->n, two->axis->n);
        if (one->plane != two->plane || one->switch_removed != two->switch_removed)
                return tp_fail(err, CODE_BAD_INPUT,
                               "between calibrations: they differ in their plane (%s, %s) or in the use of switch terms",
                               plane_words[one->plane], plane_words[two->plane]);
        for (size_t i = 0; i < one->axis->n; i++)
                if (!(one->z_re[i] == two->z_re[i] || fabs(one->z_re[i] - two->z_re[i]) <= 1e-9 * one->z_re[i] ||
                      (isnan(one->z_re[i]) && isnan(two->z_re[i]))))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "between calibrations: at %.9g Hz their reference impedances are %.6g and %.6g ohm",
                                       one->axis->hz[i], one->z_re[i], two->z_re[i]);
        if (!(t1_s > t0_s && isfinite(t0_s) && isfinite(t1_s)))
                return tp_fail(err, CODE_BAD_INPUT, "between calibrations: the second (%.9g s) must be later than the first (%.9g s)", t1_s,
                               t0_s);
        struct rf_between b = {.one = one, .two = two, .t0_s = t0_s, .t1_s = t1_s};
        size_t n = one->axis->n, found;
        double *at = workspace;
        for (int p = 0; p < 2; p++) {
                b.rest[p] = at + (size_t)p * n;
                b.gap[p] = at + (size_t)(2 + p) * n;
                fit_port(one, two, p, &b.delay_s[p], &b.loss_db[p]);
        }
        b.moved = left_of(&b, RF_BETWEEN_GENERAL, b.gap, &found);
        if (found == 0)
                return tp_fail(err, CODE_UNRESOLVABLE, "between calibrations: at no frequency do both have terms");
        double tracking = left_of(&b, RF_BETWEEN_TRACKING, NULL, &found), cable = left_of(&b, RF_BETWEEN_CABLE, NULL, &found);
        b.kind = cable < tracking ? RF_BETWEEN_CABLE : RF_BETWEEN_TRACKING;
        b.left = fmin(cable, tracking);
        if (!(b.left <= EXPLAINED_SHARE * b.moved || b.left <= REPEATS)) {
                b.kind = RF_BETWEEN_GENERAL;
                b.left = b.moved;
                memset(b.delay_s, 0, sizeof b.delay_s);
                memset(b.loss_db, 0, sizeof b.loss_db);
        }
        left_of(&b, b.kind, b.rest, &found);
        for (int p = 0; p < 2; p++) {
                smooth(b.rest[p], n, at + 4 * n);
                smooth(b.gap[p], n, at + 4 * n);
        }
        /* few values make the walk: two ports, and the usual change counts as two more; u is widened as Student's t asks */
        double widen = usual ? 2.776 / 1.960 : 4.303 / 1.960; /* 95 % of 4 and of 2 degrees of freedom */
        double prior = usual ? 2 : 0, ud = usual ? usual->delay_s : 0, ul = usual ? usual->loss_db : 0;
        b.walk_delay_s = widen * sqrt((b.delay_s[0] * b.delay_s[0] + b.delay_s[1] * b.delay_s[1] + prior * ud * ud) / (2 + prior));
        b.walk_loss_db = widen * sqrt((b.loss_db[0] * b.loss_db[0] + b.loss_db[1] * b.loss_db[1] + prior * ul * ul) / (2 + prior));
        /* what calibrations leave is alike over much of the band, so the fit averages little of it: half of its square goes into the modes
         */
        double ww = 0, gg = 0, top = one->axis->hz[n - 1];
        for (size_t i = 0; i < n; i++) {
                ww += one->axis->hz[i] * one->axis->hz[i] / (double)n;
                gg += one->axis->hz[i] / top / (double)n;
        }
        if (b.kind != RF_BETWEEN_GENERAL) {
                b.fit_delay_s = sqrt(0.5) * b.left / (2 * RF_TWO_PI * sqrt(ww));
                b.fit_loss_db = sqrt(0.5) * b.left * RF_DB_PER_NEPER / (2 * sqrt(gg));
        }
        if (b.kind == RF_BETWEEN_GENERAL)
                snprintf(b.sentence, sizeof b.sentence,
                         "from one calibration to the other the terms moved by %.2g rms, which no delay and loss explain; between them "
                         "they are "
                         "taken along the straight way, with half of it as their uncertainty",
                         b.moved);
        else
                snprintf(b.sentence, sizeof b.sentence,
                         "%s: port 1 by %.3g fs and %.2g dB, port 2 by %.3g fs and %.2g dB; they explain the terms' change of %.2g but for "
                         "%.2g",
                         b.kind == RF_BETWEEN_CABLE ? "cables drifted" : "tracking drifted", b.delay_s[0] * 1e15, b.loss_db[0],
                         b.delay_s[1] * 1e15, b.loss_db[1], b.moved, b.left);
        *ret = b;
        return CODE_OK;
}

static enum code witness_check(const struct rf_between *b, double s, const struct rf_between_witness *w, struct tp_error *err)
{
        if (b->kind == RF_BETWEEN_GENERAL)
                return tp_fail(err, CODE_BAD_INPUT,
                               "between calibrations: delay and loss do not explain the drift, so a witness of them is none");
        double wander = 2 * sqrt(s * (1 - s)); /* 1 in the middle */
        for (int p = 0; p < 2; p++) {
                double off_s = w->delay_s[p] - s * b->delay_s[p], off_db = w->loss_db[p] - s * b->loss_db[p];
                if (!(w->u_delay_s[p] >= 0 && w->u_loss_db[p] >= 0 && isfinite(off_s) && isfinite(off_db)))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "between calibrations: the witness of port %d is not a number, or its u is below 0", p + 1);
                if (fabs(off_s) > 4 * (w->u_delay_s[p] + wander * fmax(b->walk_delay_s, 5e-15)) ||
                    fabs(off_db) > 4 * (w->u_loss_db[p] + wander * fmax(b->walk_loss_db, 0.01)))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "between calibrations: the witness says %.3g fs and %.3g dB at port %d where the calibrations "
                                       "around it say %.3g "
                                       "and %.3g: something came and went in between; measure again instead",
                                       w->delay_s[p] * 1e15, w->loss_db[p], p + 1, s * b->delay_s[p] * 1e15, s * b->loss_db[p]);
        }
        return CODE_OK;
}

enum code rf_between_at(const struct rf_between *b, double t_s, const struct rf_between_witness *witness, struct terms *out,
                        struct rf_between_time *ret, struct tp_error *err)
{
        const struct terms *one = b->one, *two = b->two;
        if (!(t_s >= b->t0_s && t_s <= b->t1_s))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "between calibrations: %.9g s lies outside %.9g to %.9g s; terms beyond the last calibration would be a guess", t_s,
                        b->t0_s, b->t1_s);
        if (!axis_equal(out->axis, one->axis))
                return tp_fail(err, CODE_BUG, "between calibrations: the result's axis is not the calibrations'");
        struct rf_between_time at = {.t_s = t_s, .s = (t_s - b->t0_s) / (b->t1_s - b->t0_s)};
        double s = at.s, bridge = s * (1 - s), top = one->axis->hz[one->axis->n - 1];
        enum code code = witness ? witness_check(b, s, witness, err) : CODE_OK;
        if (code)
                return code;
        for (int p = 0; p < 2; p++) {
                at.delay_s[p] = witness ? witness->delay_s[p] : s * b->delay_s[p];
                at.loss_db[p] = witness ? witness->loss_db[p] : s * b->loss_db[p];
                /* half the difference, rectangular, and the walk; both vanish at the ends */
                double u_s = witness ? witness->u_delay_s[p]
                                     : sqrt(bridge * (b->delay_s[p] * b->delay_s[p] / 3 + b->walk_delay_s * b->walk_delay_s)),
                       u_db = witness ? witness->u_loss_db[p]
                                      : sqrt(bridge * (b->loss_db[p] * b->loss_db[p] / 3 + b->walk_loss_db * b->walk_loss_db));
                at.u_delay_s[p] = hypot(u_s, s * b->fit_delay_s);
                at.u_loss_db[p] = hypot(u_db, s * b->fit_loss_db);
        }
        out->method = one->method;
        out->model = one->model;
        out->plane = one->plane;
        out->switch_removed = one->switch_removed;
        for (size_t i = 0; i < one->axis->n; i++) {
                double hz = one->axis->hz[i];
                double complex now[2], all[2];
                struct port_terms p[2];
                for (int k = 0; k < 2; k++) {
                        all[k] = factor(b->delay_s[k], b->loss_db[k], hz, top);
                        now[k] = factor(at.delay_s[k], at.loss_db[k], hz, top);
                        struct m2 d = difference(port_of(one, k, i), with_modes(port_of(two, k, i), 1 / all[k], b->kind));
                        p[k] = with_modes(terms_of(m2_mul(map_of(port_of(one, k, i)), m2_inv(powered(d, s)))), now[k], b->kind);
                        put(out, ed_of[k], i, p[k].ed);
                        put(out, es_of[k], i, p[k].es);
                        put(out, er_of[k], i, p[k].er);
                }
                /* one-way things: their own modes, and the rest along its logarithm */
                double complex k1 = term(one, TERM_K, i), k_rest = term(two, TERM_K, i) / k1 * all[1] / all[0];
                double complex k = k1 * cexp(s * clog(k_rest)) * now[0] / now[1];
                put(out, TERM_K, i, k);
                if (one->model == TERMS_EIGHT) {
                        put(out, TERM_ELF, i, p[1].es);
                        put(out, TERM_ETF, i, k * p[1].er);
                        put(out, TERM_ELR, i, p[0].es);
                        put(out, TERM_ETR, i, p[0].er / k);
                        put(out, TERM_EXF, i, 0);
                        put(out, TERM_EXR, i, 0);
                } else {
                        static const enum term through[2] = {TERM_ETF, TERM_ETR}, linear[4] = {TERM_ELF, TERM_ELR, TERM_EXF, TERM_EXR};
                        for (int m = 0; m < 2; m++) {
                                double complex from = term(one, through[m], i), rest = term(two, through[m], i) / from / (all[0] * all[1]);
                                put(out, through[m], i, from * cexp(s * clog(rest)) * now[0] * now[1]);
                        }
                        for (int m = 0; m < 4; m++)
                                put(out, linear[m], i, (1 - s) * term(one, linear[m], i) + s * term(two, linear[m], i));
                }
                out->z_re[i] = one->z_re[i];
                out->z_im[i] = one->z_im[i];
        }
        *ret = at;
        return CODE_OK;
}

void rf_between_u(const struct rf_between *b, const struct rf_between_time *at, const struct terms *terms, size_t i, struct m2 s,
                  double ret_u[4])
{
        double hz = terms->axis->hz[i], top = terms->axis->hz[terms->axis->n - 1], v[4] = {0}, bridge = at->s * (1 - at->s);
        /* two calibrations that repeat to r each differ by sqrt 2 r; between them they are averaged */
        double own = sqrt(((1 - at->s) * (1 - at->s) + at->s * at->s) / 2), r[2];
        /* both ports' three complex numbers tell the size: some twelve values, 2.179 is their t */
        double rest = sqrt((b->rest[0][i] * b->rest[0][i] + b->rest[1][i] * b->rest[1][i]) / 2) * 2.179 / 1.960;
        for (int p = 0; p < 2; p++) {
                struct m2 d = rf_move_tracking(terms, i, s, p, 1e-3);
                double turn = hypot(RF_TWO_PI * hz * at->u_delay_s[p], at->u_loss_db[p] / RF_DB_PER_NEPER * sqrt(hz / top)) / 1e-3;
                for (int e = 0; e < 4; e++)
                        v[e] += power(d.e[e]) * turn * turn;
                r[p] = rest * own;
                if (b->kind == RF_BETWEEN_GENERAL) /* it may be drift: half of it, rectangular, and the walk */
                        r[p] = hypot(r[p], b->gap[p][i] * sqrt(bridge * (1.0 / 3 + 1)));
        }
        double s11 = power(s.e[0]), s22 = power(s.e[3]), through = power(s.e[1] * s.e[2]), r1 = r[0] * r[0], r2 = r[1] * r[1];
        v[0] += r1 * (1 + s11 + s11 * s11) + r2 * through;
        v[3] += r2 * (1 + s22 + s22 * s22) + r1 * through;
        for (int e = 1; e <= 2; e++)
                v[e] += power(s.e[e]) * (r1 * (0.25 + s11) + r2 * (0.25 + s22));
        for (int e = 0; e < 4; e++)
                ret_u[e] = sqrt(v[e] / 2); /* per component */
}
