/* plausible.c: passive, reciprocal, causal, symmetric (plausible.h).  Seams are in seams.c.
 * Singular    s^2 = (t + sqrt(t^2 - 4 D))/2 with t = sum |Sij|^2, D = |det S|^2: elementary, of a 2x2 matrix.
 * Causes      what the sentences say of causes rests on where the limit is exceeded (everywhere, at one end, here and there) and, for
 *             reciprocity, on ln(S21/S12) = a + j (c - w tau): a factor, a phase, a delay.
 */
#include "rf/trust/plausible.h"
#include "rf/trust/direction.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

double rf_largest_singular(struct m2 s)
{
        double t = 0, d = cabs(m2_det(s));
        for (int k = 0; k < 4; k++)
                t += creal(s.e[k]) * creal(s.e[k]) + cimag(s.e[k]) * cimag(s.e[k]);
        double root = t * t - 4 * d * d;
        return sqrt((t + sqrt(root > 0 ? root : 0)) / 2);
}

static enum code real_z(const char *test, const struct net2 *net, struct tp_error *err)
{
        for (size_t i = 0; i < net->axis->n; i++)
                if (!(net->z_re[i] > 0 && net->z_im[i] == 0 && isfinite(net->z_re[i])))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "%s: at %.9g Hz the reference impedance is %.6g%+.6gj ohm; |S| of a passive device may exceed 1 in a "
                                "complex one: renormalise to a real impedance first",
                                test, net->axis->hz[i], net->z_re[i], net->z_im[i]);
        return CODE_OK;
}

static enum code points_check(const char *test, const struct net2 *net, size_t least, struct tp_error *err)
{
        if (net->axis->n < least)
                return tp_fail(err, CODE_BAD_INPUT, "%s: %zu points are too few, it takes %zu", test, net->axis->n, least);
        return CODE_OK;
}

static void begin(struct rf_plausible *p)
{
        *p = (struct rf_plausible){.worst = NAN, .limit = NAN, .worst_hz = NAN, .from_hz = NAN, .to_hz = NAN};
}

/* One frequency: the one with the largest excess over its limit is kept; NaN is an excess without end. */
static void add(struct rf_plausible *p, double hz, double value, double limit)
{
        bool first = p->point_n == 0, odd = isnan(value);
        p->point_n++;
        if (!(value <= limit)) {
                if (p->beyond_n++ == 0)
                        p->from_hz = hz;
                p->to_hz = hz;
        }
        if (first || (odd && !isnan(p->worst)) || value - limit > p->worst - p->limit) {
                p->worst = value;
                p->limit = limit;
                p->worst_hz = hz;
        }
}

static void say(struct rf_plausible *p, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
static void say(struct rf_plausible *p, const char *fmt, ...)
{
        va_list args;
        va_start(args, fmt);
        vsnprintf(p->sentence, sizeof p->sentence, fmt, args);
        va_end(args);
}

static bool settled(struct rf_plausible *p, const char *what)
{
        p->finding = p->beyond_n ? RF_FINDING_BAD : RF_FINDING_GOOD;
        if (isnan(p->worst) && p->point_n)
                say(p, "no %s at %.4g GHz: S is not a number there; sweep again", what, p->worst_hz / 1e9);
        return isnan(p->worst) && p->point_n;
}

/* "in 12 of 750 points, 1.2 to 9.4 GHz" */
static const char *where_of(const struct rf_plausible *p, char text[80])
{
        if (p->beyond_n == p->point_n)
                snprintf(text, 80, "at all %zu frequencies", p->point_n);
        else if (p->beyond_n == 1)
                snprintf(text, 80, "at this frequency alone");
        else
                snprintf(text, 80, "at %zu of %zu frequencies between %.4g and %.4g GHz", p->beyond_n, p->point_n, p->from_hz / 1e9,
                         p->to_hz / 1e9);
        return text;
}

static double u_at(const double *u, size_t i) { return u ? u[i] : 0; }

enum code rf_passivity(const struct net2 *net, const double *u, struct rf_plausible *ret, struct tp_error *err)
{
        enum code code = points_check("passivity", net, 1, err);
        if (!code)
                code = real_z("passivity", net, err);
        if (code)
                return code;
        const struct axis *a = net->axis;
        size_t lone = 0; /* beyond the limit while neither neighbour is */
        bool before = false, here = false;
        char text[80];
        begin(ret);
        for (size_t i = 0; i < a->n; i++) {
                double limit = 1 + 1e-9 /* of arithmetic */ + 3 * u_at(u, i), s = rf_largest_singular(net2_get(net, i));
                bool beyond = !(s <= limit);
                lone += here && !before && !beyond;
                before = here;
                here = beyond;
                add(ret, a->hz[i], s, limit);
        }
        if (settled(ret, "statement on passivity"))
                return CODE_OK;
        if (ret->finding == RF_FINDING_GOOD) {
                say(ret, "passive: the largest singular value is %.5g at %.4g GHz (limit %.5g)", ret->worst, ret->worst_hz / 1e9,
                    ret->limit);
                return CODE_OK;
        }
        double share = (double)ret->beyond_n / (double)ret->point_n, middle = sqrt(fmax(a->hz[0], 1) * a->hz[a->n - 1]);
        const char *cause = lone * 2 > ret->beyond_n ? "single points: noise or a spur; more averages tell"
                            : share > 0.6 ? "all along: a tracking term is too small, as after a bad load or thru, or loss has fallen since"
                            : ret->to_hz < middle   ? "at the low end: the load's resistance or the lines' weakness there"
                            : ret->from_hz > middle ? "at the high end: a standard's L or C, or modes that the calibration does not know"
                                                    : "in part: look at the standards there and at the contact";
        say(ret, "|S| exceeds 1 by %.2g at %.4g GHz: %s; %s", ret->worst - 1, ret->worst_hz / 1e9, where_of(ret, text), cause);
        return CODE_OK;
}

/* ln(S21/S12) as a + j (c + slope f): what kind of difference is it? */
struct ratio_fit {
        double loss_db, angle_deg, delay_s, left; /* left: rms of what the three leave */
        size_t n;
};
static struct ratio_fit ratio_fit(const struct net2 *net, double floor)
{
        struct ratio_fit r = {0};
        double sf = 0, sff = 0, sa = 0, sp = 0, spf = 0, last = 0, turn = 0, sq = 0;
        for (int pass = 0; pass < 2; pass++) {
                double n = (double)r.n, det = n * sff - sf * sf;
                double slope = pass && det > 0 ? (n * spf - sf * sp) / det : 0, c = pass && n > 0 ? (sp - slope * sf) / n : 0,
                       a = pass && n > 0 ? sa / n : 0;
                last = turn = 0;
                for (size_t i = 0; i < net->axis->n; i++) {
                        struct m2 s = net2_get(net, i);
                        double f = net->axis->hz[i] / 1e9;
                        if (!(cabs(s.e[2]) > floor && cabs(s.e[1]) > floor))
                                continue;
                        double complex l = clog(s.e[2] / s.e[1]);
                        double phase = cimag(l) + turn;
                        while (phase - last > RF_PI)
                                phase -= RF_TWO_PI, turn -= RF_TWO_PI;
                        while (phase - last < -RF_PI)
                                phase += RF_TWO_PI, turn += RF_TWO_PI;
                        last = phase;
                        if (pass) {
                                double d = creal(l) - a, q = phase - c - slope * f;
                                sq += d * d + q * q;
                        } else {
                                r.n++;
                                sf += f;
                                sff += f * f;
                                sa += creal(l);
                                sp += phase;
                                spf += phase * f;
                        }
                }
                if (pass && n > 0) {
                        r.loss_db = RF_DB_PER_NEPER * a;
                        r.angle_deg = c * 180 / RF_PI;
                        r.delay_s = -slope / RF_TWO_PI * 1e-9;
                        r.left = sqrt(sq / n);
                }
        }
        return r;
}

enum code rf_reciprocity(const struct net2 *net, double floor, const double *u, struct rf_plausible *ret, struct tp_error *err)
{
        enum code code = points_check("reciprocity", net, 1, err);
        if (code)
                return code;
        if (!(floor > 0 && floor < 1))
                return tp_fail(err, CODE_BAD_INPUT, "reciprocity: a floor of %.6g is no transmission below which none is judged; give 0.01",
                               floor);
        const struct axis *a = net->axis;
        char text[80];
        begin(ret);
        for (size_t i = 0; i < a->n; i++) {
                struct m2 s = net2_get(net, i);
                double size = cabs(s.e[2]);
                size = size > floor || isnan(size) ? size : floor;
                add(ret, a->hz[i], cabs(s.e[2] - s.e[1]) / size, RF_RECIPROCITY_LIMIT + 3 * u_at(u, i) / size);
        }
        if (settled(ret, "statement on reciprocity"))
                return CODE_OK;
        if (ret->finding == RF_FINDING_GOOD) {
                say(ret, "reciprocal: S21 and S12 differ by at most %.2g of themselves, at %.4g GHz (limit %.2g)", ret->worst,
                    ret->worst_hz / 1e9, ret->limit);
                return CODE_OK;
        }
        struct ratio_fit r = ratio_fit(net, floor);
        double span = a->hz[a->n - 1] - a->hz[0], constant = hypot(r.loss_db / RF_DB_PER_NEPER, r.angle_deg * RF_PI / 180),
               slope = fabs(RF_TWO_PI * r.delay_s * span) / 2;
        int used = snprintf(ret->sentence, sizeof ret->sentence, "S21 and S12 differ by %.2g of themselves at %.4g GHz, %s; ", ret->worst,
                            ret->worst_hz / 1e9, where_of(ret, text));
        char *to = ret->sentence + used;
        size_t room = sizeof ret->sentence - (size_t)used;
        struct rf_direction way = {0};
        for (size_t i = 0; i < a->n; i++)
                rf_direction_add(&way, net2_get(net, i), u_at(u, i));
        if (rf_is_backwards(&way))
                snprintf(to, room, RF_BACKWARDS);
        else if (ret->worst > 0.5)
                snprintf(to, room, "an active device, or S21 and S12 of different sweeps");
        else if (r.n > 4 && slope > 1.5 * r.left && slope > constant)
                snprintf(to, room, "the ratio's phase runs like %.3g fs: a path moved between the two directions or since the calibration",
                         r.delay_s * 1e15);
        else if (r.n > 4 && constant > 1.5 * r.left)
                snprintf(to, room, "the ratio is %.3g dB, %.3g degree throughout: the calibration's thru or the switch terms", r.loss_db,
                         r.angle_deg);
        else
                snprintf(to, room, "of no one kind: the calibration's own error, or weak transmission");
        return CODE_OK;
}

enum code rf_symmetry(const struct net2 *net, double limit, const double *u, struct rf_plausible *ret, struct tp_error *err)
{
        enum code code = points_check("symmetry", net, 1, err);
        char text[80];
        if (code)
                return code;
        if (!(limit > 0))
                return tp_fail(err, CODE_BAD_INPUT, "symmetry: a limit of %.6g lets nothing pass; give one above 0", limit);
        begin(ret);
        for (size_t i = 0; i < net->axis->n; i++) {
                struct m2 s = net2_get(net, i);
                add(ret, net->axis->hz[i], cabs(s.e[0] - s.e[3]), limit + 3 * sqrt(2) * u_at(u, i));
        }
        if (settled(ret, "statement on symmetry"))
                return CODE_OK;
        if (ret->finding == RF_FINDING_GOOD)
                say(ret, "symmetric: S11 and S22 differ by at most %.2g, at %.4g GHz (limit %.2g)", ret->worst, ret->worst_hz / 1e9,
                    ret->limit);
        else
                say(ret,
                    "S11 and S22 differ by %.2g at %.4g GHz, %s (limit %.2g): one touch is worse than the other, or the planes are not "
                    "alike",
                    ret->worst, ret->worst_hz / 1e9, where_of(ret, text), ret->limit);
        return CODE_OK;
}

/* ---- causality ---------------------------------------------------------------------------------------------------------------------- */
/* noise: variance per component of S, from third differences (which leave little of a smooth curve): sum of the squared weights is 20. */
static double rotation_share(const struct net2 *net, int e, double *ret_step, double *ret_noise, double *ret_turning)
{
        size_t n = net->axis->n;
        double plus = 0, all = 0, step = 0, third = 0;
        double complex s[4] = {0};
        for (size_t i = 0; i < n; i++) {
                for (int k = 0; k < 3; k++)
                        s[k] = s[k + 1];
                s[3] = CMPLX(net->re[e][i], net->im[e][i]);
                if (i >= 2) {
                        double complex v0 = s[2] - s[1], v1 = s[3] - s[2];
                        double r = creal(v1) * cimag(v0) - cimag(v1) * creal(v0);
                        plus += r > 0 ? r : 0;
                        all += fabs(r);
                        step += creal(v1 * conj(v1));
                }
                if (i >= 3) {
                        double complex d = s[3] - 3 * s[2] + 3 * s[1] - s[0];
                        third += creal(d * conj(d));
                }
        }
        if (ret_step)
                *ret_step = sqrt(step / (double)(n - 2));
        if (ret_noise)
                *ret_noise = n > 3 ? sqrt(third / (double)(n - 3) / 40) : 0; /* two components, 20 each */
        if (ret_turning)
                *ret_turning = all / (double)(n - 2);
        return all > 0 ? plus / all : NAN;
}

enum code rf_causality(const struct net2 *net, double floor, struct rf_plausible *ret, struct tp_error *err)
{
        static const char *const entry[] = {"S11", "S12", "S21", "S22"};
        enum code code = points_check("causality", net, 8, err);
        if (code)
                return code;
        const struct axis *a = net->axis;
        double grid = (a->hz[a->n - 1] - a->hz[0]) / (double)(a->n - 1);
        for (size_t i = 0; i < a->n; i++)
                if (!(fabs(a->hz[i] - a->hz[0] - grid * (double)i) <= 1e-3 * grid))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "causality: the points are not evenly spaced (at %.9g Hz, %zu); the rotation test needs an even grid",
                                a->hz[i], i);
        begin(ret);
        int judged = 0, worst_e = -1;
        double quiet_hz = NAN;
        for (int e = 0; e < 4; e++) {
                double step, noise, turning, most = 0;
                for (size_t i = 0; i < a->n; i++) {
                        double m = hypot(net->re[e][i], net->im[e][i]);
                        if (!(m <= most))
                                most = m;
                        if (isnan(m) && isnan(quiet_hz))
                                quiet_hz = a->hz[i];
                }
                if (!(most > floor))
                        continue;
                double share = rotation_share(net, e, &step, &noise, &turning);
                /* noise alone makes |R| about 0.8 sqrt(6) step noise on the average: what turns must stand three times above that */
                bool told = isnan(most) || turning > 3 * 0.8 * sqrt(6) * step * noise;
                if (!told || (isnan(share) && !isnan(most)))
                        continue;
                judged++;
                if (worst_e < 0 || !(share >= ret->worst)) {
                        ret->worst = share;
                        worst_e = e;
                }
        }
        ret->limit = RF_CAUSALITY_LIMIT;
        ret->point_n = a->n;
        if (!isnan(quiet_hz)) {
                ret->finding = RF_FINDING_BAD;
                ret->worst_hz = quiet_hz;
                say(ret, "no statement on causality at %.4g GHz: S is not a number there; sweep again", quiet_hz / 1e9);
        } else if (judged == 0) {
                say(ret, "no statement on causality: from point to point S moves no further than its noise");
        } else {
                ret->finding = ret->worst >= RF_CAUSALITY_LIMIT ? RF_FINDING_GOOD : RF_FINDING_BAD;
                if (ret->finding == RF_FINDING_GOOD)
                        say(ret, "causal: S turns clockwise with frequency for %.3g %% of its turning at least (%s)", 100 * ret->worst,
                            entry[worst_e]);
                else
                        say(ret, "%s turns clockwise for %.3g %% of its turning only: %s", entry[worst_e], 100 * ret->worst,
                            ret->worst < 0.2 ? "its imaginary part has the wrong sign (a file of the other sign of time)"
                                             : "planes beyond the device, a wrong reference, or noise");
        }
        return CODE_OK;
}

enum code rf_quality370(const struct net2 *net, struct rf_quality370 *ret, struct tp_error *err)
{
        enum code code = points_check("IEEE 370 quality figures", net, 3, err);
        if (!code)
                code = real_z("IEEE 370 quality figures", net, err);
        if (code)
                return code;
        double n = (double)net->axis->n, passive = 0, reciprocal = 0, causal = INFINITY;
        for (size_t i = 0; i < net->axis->n; i++) {
                struct m2 s = net2_get(net, i);
                double p = rf_largest_singular(s), r = cabs(s.e[1] - s.e[2]);
                passive += p > 1.00001 ? (p - 1.00001) / 0.1 : p <= 1.00001 ? 0 : NAN;
                reciprocal += r > 1e-6 ? (r - 1e-6) / 0.1 : r <= 1e-6 ? 0 : NAN;
        }
        for (int e = 0; e < 4; e++) {
                double share = rotation_share(net, e, NULL, NULL, NULL);
                causal = share < causal || isnan(share) ? share : causal;
        }
        ret->passivity = 100 / n * (passive >= n ? 0 : n - passive);
        ret->reciprocity = 100 / n * (reciprocal >= n ? 0 : n - reciprocal);
        ret->causality = 100 * causal;
        return CODE_OK;
}
