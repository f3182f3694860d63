/* extrinsic.c: extrinsic elements of transistors (extrinsic.h).
 * Sources     Dambrine, Cappy, Heliodore & Playez, IEEE Trans. MTT 36 (1988) 1151, cold FET; strong inversion: Lovelace, Costa & Camilleri,
 *             IEEE MTT-S Digest 1994, 865; open collector: Maas & Tait, IEEE MGWL 2 (1992) 502.  All from memory; checked by elements that
 *             come back, tests/unit/rf_transistor.c.
 * Idea        Everything is a straight line: Im Y = C w and Im Z = L w through zero, Re Z = a + b x over bias. */
#include "rf/extract/extrinsic.h"
#include "rf/extract/extrinsic_off.h"
#include "rf/network/convert.h"
#include "rf/deembed/deembed_own.h"
#include <math.h>
#include <string.h>

const char *const rf_extrinsic_words[RF_X_COUNT + 1] = {"c_in",     "c_out", "c_between", "l_in",     "l_out",
                                                        "l_common", "r_in",  "r_out",     "r_common", NULL};
const char *const rf_extrinsic_units[RF_X_COUNT + 1] = {"F", "F", "F", "H", "H", "H", "ohm", "ohm", "ohm", NULL};

const char *const rf_off_words[] = {"unknown", "pi", "cold_pinch", NULL}, *const rf_cold_words[] = {"unknown", "gate_forward", "vanishing",
                                                                                                    "open_collector", NULL};

/* y = k w through zero over m points: k and its standard error. */
struct slope_sum {
        double ww, wy, yy;
        size_t m;
};
static void slope_add(struct slope_sum *s, double w, double y)
{
        s->ww += w * w;
        s->wy += w * y;
        s->yy += y * y;
        s->m++;
}
static double slope_of(const struct slope_sum *s, double *ret_u, double *ret_residual)
{
        double k = s->wy / s->ww, left = fmax(0, s->yy - k * s->wy);
        *ret_u = sqrt(left / s->ww / (double)(s->m > 1 ? s->m - 1 : 1));
        *ret_residual = s->yy > 0 ? sqrt(left / s->yy) : 0;
        return k;
}

static bool inside(double hz, double low_hz, double high_hz) { return hz > 0 && hz >= low_hz && (!(high_hz > 0) || hz <= high_hz); }

static enum code net_check(const struct net2 *net, double low_hz, double high_hz, const char *what, struct tp_error *err)
{
        size_t used = 0;
        if (!(net2_z_real(net) > 0))
                return tp_fail(err, CODE_BAD_INPUT, "the %s transistor needs one real reference impedance; renormalise it first", what);
        for (size_t i = 0; i < net->axis->n; i++) {
                for (int k = 0; k < 4; k++)
                        if (!isfinite(net->re[k][i]) || !isfinite(net->im[k][i]))
                                return tp_fail(err, CODE_BAD_INPUT, "the %s transistor has no finite S%d%d at %.9g Hz; measure it again",
                                               what, 1 + k / 2, 1 + k % 2, net->axis->hz[i]);
                used += inside(net->axis->hz[i], low_hz, high_hz);
        }
        if (used < 3)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "the %s transistor has %zu frequencies between %.4g and %.4g GHz; three or more are needed, widen the window", what,
                        used, low_hz / 1e9, high_hz > 0 ? high_hz / 1e9 : INFINITY);
        return CODE_OK;
}

enum code rf_extrinsic_off(enum rf_off kind, const struct net2 *off, double low_hz, double high_hz, struct rf_extrinsic *ret,
                           double *ret_edge_f, struct tp_error *err)
{
        if (kind != RF_OFF_PI && kind != RF_OFF_COLD_PINCH)
                return tp_fail(err, CODE_BAD_INPUT, "a transistor that is off is read as pi or as cold and pinched; %d is neither",
                               (int)kind);
        enum code code = net_check(off, low_hz, high_hz, "off", err);
        if (code)
                return code;
        struct slope_sum sum[3] = {{0}};
        struct off_seen seen = {.first_hz = 0};
        double edges = kind == RF_OFF_COLD_PINCH ? 2 : 1;
        for (size_t i = 0; i < off->axis->n; i++) {
                if (!inside(off->axis->hz[i], low_hz, high_hz))
                        continue;
                struct m2 y = rf_y_from_s(net2_get(off, i), net2_z_real(off));
                double w = RF_TWO_PI * off->axis->hz[i], b12 = cimag(y.e[1] + y.e[2]) / 2;
                slope_add(&sum[0], w, cimag(y.e[0]) + edges * b12);
                slope_add(&sum[1], w, cimag(y.e[3]) + b12);
                slope_add(&sum[2], w, -b12);
                off_see(&seen, y, off->axis->hz[i]);
        }
        if ((code = off_check(&seen, err)))
                return code;
        double c[3], u[3], residual[3], all = 0;
        for (int k = 0; k < 3; k++) {
                c[k] = slope_of(&sum[k], &u[k], &residual[k]);
                all += fabs(c[k]);
        }
        for (int k = 0; k < 3; k++) {
                /* a capacitance that vanishes among the others is no failure, however much it scatters */
                if (!isfinite(c[k]) || (residual[k] > 0.2 && fabs(c[k]) > 0.05 * all))
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "%s of the transistor that is off does not rise with frequency (%.0f %% of it is no straight line); "
                                       "narrow the window, or look whether it is off",
                                       k == 0   ? "Im Y11"
                                       : k == 1 ? "Im Y22"
                                                : "Im Y12",
                                       100 * residual[k]);
        }
        for (int k = 0; k < 3; k++)
                if (c[k] < -0.05 * all - 3 * u[k])
                        return tp_fail(
                                err, CODE_UNRESOLVABLE, "%s of the transistor that is off comes out at %.3g fF: %s",
                                k == 0   ? "the capacitance at the input"
                                : k == 1 ? "the capacitance at the output"
                                         : "the capacitance between the ports",
                                c[k] * 1e15,
                                kind == RF_OFF_COLD_PINCH && k == 0
                                        ? "its input is not symmetric to drain and source, as a pinched FET's is; is it one (else pi)?"
                                        : "no capacitance is negative; look at the planes and whether this is the file");
        for (int k = 0; k < 3; k++) {
                ret->value[RF_X_C_IN + k] = c[k];
                ret->u[RF_X_C_IN + k] = u[k];
        }
        if (kind == RF_OFF_COLD_PINCH)
                ret->value[RF_X_C_BETWEEN] = ret->u[RF_X_C_BETWEEN] = 0;
        if (ret_edge_f)
                *ret_edge_f = kind == RF_OFF_COLD_PINCH ? c[2] : 0;
        return CODE_OK;
}

static struct m2 pads_y(const struct rf_extrinsic *x, double hz)
{
        double complex w = CMPLX(0, RF_TWO_PI * hz), b = w * x->value[RF_X_C_BETWEEN];
        return m2_of(w * x->value[RF_X_C_IN] + b, -b, -b, w * x->value[RF_X_C_OUT] + b);
}
static struct m2 leads_z(const struct rf_extrinsic *x, double hz)
{
        double complex w = CMPLX(0, RF_TWO_PI * hz), z[3];
        for (int k = 0; k < 3; k++)
                z[k] = x->value[RF_X_R_IN + k] + w * x->value[RF_X_L_IN + k];
        return m2_of(z[0] + z[2], z[2], z[2], z[1] + z[2]);
}
struct m2 rf_extrinsic_remove_y(const struct rf_extrinsic *x, struct m2 y, double hz)
{
        return deembed_peel(m2_sub(y, pads_y(x, hz)), leads_z(x, hz));
}
struct m2 rf_extrinsic_add_y(const struct rf_extrinsic *x, struct m2 y, double hz)
{
        return m2_add(deembed_peel(y, m2_scale(-1, leads_z(x, hz))), pads_y(x, hz));
}

enum code rf_extrinsic_remove(const struct rf_extrinsic *x, const struct net2 *net, struct net2 *out, struct tp_error *err)
{
        double z = net2_z_real(net);
        enum code code = net_check(net, 0, 0, "biased", err);
        if (code && code != CODE_UNRESOLVABLE) /* one point is enough here */
                return code;
        if (!axis_equal(out->axis, net->axis))
                return tp_fail(err, CODE_BUG, "extrinsic elements: the result's axis is not the transistor's");
        for (size_t i = 0; i < net->axis->n; i++) {
                struct m2 y = rf_extrinsic_remove_y(x, rf_y_from_s(net2_get(net, i), z), net->axis->hz[i]), s = rf_s_from_y(y, z);
                for (int k = 0; k < 4; k++)
                        if (!isfinite(creal(s.e[k])) || !isfinite(cimag(s.e[k])))
                                return tp_fail(err, CODE_UNRESOLVABLE, "at %.9g Hz nothing is left of the transistor inside its leads",
                                               net->axis->hz[i]);
                net2_put(out, i, s);
        }
        net2_set_z(out, z, 0);
        out->plane = PLANE_DEVICE;
        return CODE_OK;
}

/* ---- the value at no x of what was read at several x: orthogonal polynomials over them, least squares ------------------------------- */
#define BIASES_MAX 64
enum { DEGREE_MAX = 2 };
struct over_biases {
        size_t n;
        int degree;
        double p[DEGREE_MAX + 1][BIASES_MAX], zero[DEGREE_MAX + 1], norm[DEGREE_MAX + 1]; /* each at the biases, at 0, and its square sum */
};
static struct over_biases over_biases(size_t n, const double *x, int degree)
{
        struct over_biases o = {.n = n, .degree = degree};
        for (int j = 0; j <= degree; j++) {
                for (size_t k = 0; k < n; k++)
                        o.p[j][k] = j ? x[k] * o.p[j - 1][k] : 1;
                o.zero[j] = j ? 0 : 1;
                for (int i = 0; i < j; i++) {
                        double share = 0;
                        for (size_t k = 0; k < n; k++)
                                share += o.p[j][k] * o.p[i][k] / o.norm[i];
                        for (size_t k = 0; k < n; k++)
                                o.p[j][k] -= share * o.p[i][k];
                        o.zero[j] -= share * o.zero[i];
                }
                double before = 0;
                for (size_t k = 0; k < n; k++) {
                        o.norm[j] += o.p[j][k] * o.p[j][k];
                        before += j ? pow(x[k] * o.p[j - 1][k], 2) : 0;
                }
                if (j && !(o.norm[j] > 1e-12 * before)) { /* fewer different ones than biases */
                        o.degree = j - 1;
                        break;
                }
        }
        return o;
}
static double weight_of(const struct over_biases *o, size_t k)
{
        double w = 0;
        for (int j = 0; j <= o->degree; j++)
                w += o->zero[j] * o->p[j][k] / o->norm[j];
        return w;
}

/* The value at 0, and its u: the larger of what the residuals and what the points' own u make of it. */
static double intercept(const struct over_biases *o, const double *y, const double *u_y, double *ret_u)
{
        double a = 0, own = 0, squares = 0, left = 0, c[DEGREE_MAX + 1] = {0};
        for (size_t k = 0; k < o->n; k++) {
                double w = weight_of(o, k);
                a += w * y[k];
                own += w * w * u_y[k] * u_y[k];
                squares += w * w;
                for (int j = 0; j <= o->degree; j++)
                        c[j] += y[k] * o->p[j][k] / o->norm[j];
        }
        for (size_t k = 0; k < o->n; k++) {
                double r = y[k];
                for (int j = 0; j <= o->degree; j++)
                        r -= c[j] * o->p[j][k];
                left += r * r;
        }
        double free_n = (double)o->n - o->degree - 1;
        *ret_u = sqrt(fmax(own, free_n > 0 ? left / free_n * squares : 0));
        return a;
}

/* Resistances over x; inductances over x^2 where a channel's resistance across its gate looks like a negative inductance R^2 C, over x where
   junctions hold the charge of their own current.  Depletion adds a share of x^2 to those: a parabola, from four biases on. */
static void over_both(enum rf_cold kind, size_t n, const double *x, struct over_biases *ret_r, struct over_biases *ret_l)
{
        double squared[BIASES_MAX];
        for (size_t k = 0; k < n; k++)
                squared[k] = x[k] * x[k];
        *ret_r = over_biases(n, x, kind == RF_COLD_OPEN_COLLECTOR && n > 3 ? 2 : 1);
        *ret_l = kind == RF_COLD_OPEN_COLLECTOR ? *ret_r : over_biases(n, squared, kind == RF_COLD_VANISHING);
}

bool rf_extrinsic_weights(enum rf_cold kind, size_t n, const double *x, double *ret_r, double *ret_l)
{
        if (n < 2 || n > BIASES_MAX)
                return false;
        struct over_biases r, l;
        over_both(kind, n, x, &r, &l);
        for (size_t k = 0; k < n; k++) {
                ret_r[k] = weight_of(&r, k);
                ret_l[k] = weight_of(&l, k);
        }
        return true;
}

/* L of x = L w - 1/(C w) over m points, C unknown: w x = L w^2 - 1/C is a straight line.  A gate in front of its channel, which goes on when
   the channel's resistance is extrapolated away, is such a C; without one 1/C comes out as nothing. */
struct line_sum {
        double w2, w4, y, w2y, yy;
        size_t m;
};
static void line_add(struct line_sum *s, double w, double x)
{
        double y = w * x, w2 = w * w;
        s->w2 += w2;
        s->w4 += w2 * w2;
        s->y += y;
        s->w2y += w2 * y;
        s->yy += y * y;
        s->m++;
}
static double line_l(const struct line_sum *s, double *ret_u)
{
        double m = (double)s->m, d = m * s->w4 - s->w2 * s->w2, l = (m * s->w2y - s->w2 * s->y) / d, a = (s->y - l * s->w2) / m;
        double left = fmax(0, s->yy - a * s->y - l * s->w2y);
        *ret_u = sqrt(left / (m > 2 ? m - 2 : 1) * m / d);
        return l;
}

struct tee {
        double complex in, out, common;
};
static struct tee tee_of(const struct net2 *net, size_t i, const struct rf_extrinsic *pads)
{
        struct m2 z = m2_inv(m2_sub(rf_y_from_s(net2_get(net, i), net2_z_real(net)), pads_y(pads, net->axis->hz[i])));
        double complex mutual = (z.e[1] + z.e[2]) / 2;
        return (struct tee){z.e[0] - mutual, z.e[3] - mutual, mutual};
}

/* How far the elements scatter about their fit once the junctions are extrapolated away frequency by frequency: before that, what they do
   themselves over frequency would count as scatter.  The same noise makes what the biases scatter by about their curve, which beside it has
   what the curve lacks: of the two the larger counts, never both. */
static void junction_scatter(const struct net2 *const *nets, const struct over_biases *o, const struct rf_extrinsic *pads, double low_hz,
                             double high_hz, double ret_r_u[3], double ret_l_u[3])
{
        double sum[3] = {0}, squares[3] = {0}, m = 0, residual;
        struct slope_sum l[3] = {{0}};
        const struct axis *axis = nets[0]->axis;
        for (size_t i = 0; i < axis->n; i++) {
                struct tee at = {0};
                if (!inside(axis->hz[i], low_hz, high_hz))
                        continue;
                for (size_t k = 0; k < o->n; k++) {
                        struct tee one = tee_of(nets[k], i, pads);
                        double weight = weight_of(o, k);
                        at.in += weight * one.in;
                        at.out += weight * one.out;
                        at.common += weight * one.common;
                }
                const double complex z[3] = {at.in, at.out, at.common};
                for (int p = 0; p < 3; p++) {
                        sum[p] += creal(z[p]);
                        squares[p] += creal(z[p]) * creal(z[p]);
                        slope_add(&l[p], RF_TWO_PI * axis->hz[i], cimag(z[p]));
                }
                m++;
        }
        for (int p = 0; p < 3; p++) {
                double mean = sum[p] / m;
                ret_r_u[p] = sqrt(fmax(0, squares[p] / m - mean * mean) / (m - 1));
                slope_of(&l[p], &ret_l_u[p], &residual);
        }
}

enum code rf_extrinsic_cold(enum rf_cold kind, const struct net2 *const *nets, const double *x, size_t n, double r_channel, double low_hz,
                            double high_hz, struct rf_extrinsic *ret, struct tp_error *err)
{
        if (kind < RF_COLD_GATE_FORWARD || kind > RF_COLD_OPEN_COLLECTOR)
                return tp_fail(err, CODE_BAD_INPUT,
                               "cold resistances are read at forward gate, where the channel vanishes, or with the collector open; %d is "
                               "none of these",
                               (int)kind);
        if (n < 2 || n > BIASES_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "extrapolating over bias takes 2 to %d biases, not %zu", BIASES_MAX, n);
        if (kind == RF_COLD_GATE_FORWARD && !(r_channel >= 0))
                return tp_fail(err, CODE_BAD_INPUT,
                               "a forward gate gives three equations for four resistances; give the channel's, from DC for example");
        double lowest = INFINITY, highest = 0, r[3][BIASES_MAX], u[3][BIASES_MAX];
        double own_l[3][BIASES_MAX], own_u[3][BIASES_MAX]; /* bias by bias */
        struct slope_sum l[3] = {{0}};
        for (size_t k = 0; k < n; k++) {
                struct line_sum gate = {0};
                struct slope_sum one[3] = {{0}};
                enum code code = net_check(nets[k], low_hz, high_hz, "cold", err);
                if (code)
                        return tp_where(err, "bias %zu", k + 1);
                if (kind == RF_COLD_OPEN_COLLECTOR && !axis_equal(nets[k]->axis, nets[0]->axis))
                        return tp_fail(err, CODE_BAD_INPUT, "bias %zu was swept at other frequencies than the first; give all at the same",
                                       k + 1);
                if (!(x[k] > 0 && isfinite(x[k])))
                        return tp_fail(err, CODE_BAD_INPUT, "bias %zu: 1/bias of %.6g; give it positive and finite", k + 1, x[k]);
                lowest = fmin(lowest, x[k]);
                highest = fmax(highest, x[k]);
                double sum[3] = {0}, squares[3] = {0}, m = 0;
                for (size_t i = 0; i < nets[k]->axis->n; i++) {
                        double hz = nets[k]->axis->hz[i];
                        if (!inside(hz, low_hz, high_hz))
                                continue;
                        struct tee tee = tee_of(nets[k], i, ret);
                        double complex part[3] = {tee.in, tee.out, tee.common};
                        line_add(&gate, RF_TWO_PI * hz, cimag(part[0]));
                        for (int p = 0; p < 3; p++) { /* the tee: in, out, common */
                                slope_add(&l[p], RF_TWO_PI * hz, cimag(part[p]));
                                slope_add(&one[p], RF_TWO_PI * hz, cimag(part[p]));
                                sum[p] += creal(part[p]);
                                squares[p] += creal(part[p]) * creal(part[p]);
                        }
                        m++;
                }
                double residual;
                for (int p = 0; p < 3; p++)
                        own_l[p][k] = kind == RF_COLD_VANISHING && p == 0 ? line_l(&gate, &own_u[p][k])
                                                                          : slope_of(&one[p], &own_u[p][k], &residual);
                for (int p = 0; p < 3; p++) {
                        r[p][k] = sum[p] / m;
                        u[p][k] = sqrt(fmax(0, squares[p] / m - r[p][k] * r[p][k]) / (m - 1));
                        if (!isfinite(r[p][k]))
                                return tp_fail(err, CODE_UNRESOLVABLE, "bias %zu: the transistor does not conduct to its common lead",
                                               k + 1);
                }
        }
        if (!(highest > lowest * (1 + 1e-6)))
                return tp_fail(err, CODE_BAD_INPUT, "all biases are the same; two different ones or more are needed to extrapolate");
        /* shares of R_ch in the tee's branches: Z11 - Z12, Z22 - Z12, Z12 */
        static const double channel[3] = {1.0 / 3 - 1.0 / 2, 1 - 1.0 / 2, 1.0 / 2};
        static const char *const name[3] = {"in", "out", "common"};
        bool junctions = kind == RF_COLD_OPEN_COLLECTOR;
        double r_u[3] = {0}, l_u[3] = {0};
        struct over_biases over_r, over_l;
        over_both(kind, n, x, &over_r, &over_l);
        if (junctions) {
                memset(u, 0, sizeof u); /* only what lies about the curve over x, and the rest frequency by frequency */
                memset(own_u, 0, sizeof own_u);
                junction_scatter(nets, &over_r, ret, low_hz, high_hz, r_u, l_u);
        }
        for (int p = 0; p < 3; p++) {
                double unused, u_r, value = intercept(&over_r, r[p], u[p], &u_r);
                u_r = fmax(u_r, r_u[p]);
                if (kind == RF_COLD_GATE_FORWARD)
                        value -= channel[p] * r_channel;
                if (!(value >= -3 * u_r - 1e-9))
                        return tp_fail(err, CODE_UNRESOLVABLE,
                                       "r_%s comes out as %.4g ohm, u %.2g ohm: these biases do not extrapolate to a resistance; take them "
                                       "further, or look at the channel's",
                                       name[p], value, u_r);
                ret->value[RF_X_R_IN + p] = value;
                ret->u[RF_X_R_IN + p] = u_r;
                ret->value[RF_X_L_IN + p] = slope_of(&l[p], &ret->u[RF_X_L_IN + p], &unused);
        }
        for (int p = 0; p < 3 && kind != RF_COLD_GATE_FORWARD; p++) {
                ret->value[RF_X_L_IN + p] = intercept(&over_l, own_l[p], own_u[p], &ret->u[RF_X_L_IN + p]);
                ret->u[RF_X_L_IN + p] = fmax(ret->u[RF_X_L_IN + p], l_u[p]);
        }
        return CODE_OK;
}
