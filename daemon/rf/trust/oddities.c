/* oddities.c: what is odd about a corrected sweep (oddities.h).
 * Limits      2 % of gain or 0.01 of |S21 - S12| at more than a fiftieth of the frequencies, both widened by six times the noise: what a
 *             fair calibration leaves is not worth a sentence (the daemon's own flags are set alike).  Common practice, no source.
 * Active      where S21 and S12 differ by half at a third of the frequencies and more, the device is meant to: a transistor, an isolator.
 *             Its gain and its two directions are its own.
 * Time        an open may be a negative capacitance and turns the other way, for its plane lies over metal: so only what transmits, or
 *             turns by more than a whole turn, tells about time and causes.
 * Noise       third differences of white noise have a correlation of -0.75 from one to the next; what turns, by less than 120 degrees a
 *             point, has none below -0.5. */
#include "rf/trust/oddities.h"
#include "rf/numbers/robust.h"
#include "rf/trust/direction.h"
#include "rf/trust/orientation.h"
#include "rf/trust/outliers.h"
#include "rf/trust/plausible.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { WINDOW = RF_SCATTER_WINDOW, POINTS_LEAST = 8 };
#define GAIN 0.02
#define RECIPROCITY_FLOOR 0.5 /* of |S21|: so the limit of 0.02 of it is 0.01 where it is small */
#define RISE_DEG 20.0         /* of S21's phase over the sweep: less may be a plane, or a thru's definition */
#define NOISE_SAY 0.01
#define STEP_SAY 0.01 /* 0.09 dB or 0.6 degree of what is 1: smaller steps are found too, but not worth a sentence */

static const char *const entries[4] = {"S11", "S12", "S21", "S22"};

static double complex at(const struct net2 *net, int e, size_t i) { return CMPLX(net->re[e][i], net->im[e][i]); }
static double abs2(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }
static double complex third(const struct net2 *net, int e, size_t i)
{
        return at(net, e, i + 3) - 3 * at(net, e, i + 2) + 3 * at(net, e, i + 1) - at(net, e, i);
}

static void say(struct rf_oddities *o, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
static void say(struct rf_oddities *o, const char *fmt, ...)
{
        if (o->n == RF_ODDITIES_MAX)
                return;
        va_list args;
        va_start(args, fmt);
        vsnprintf(o->sentence[o->n], sizeof o->sentence[0], fmt, args);
        va_end(args);
        o->n++;
}

/* A fiftieth of the frequencies, two at least: one point alone is a spur. */
static bool counts(const struct rf_plausible *p)
{
        return p->finding == RF_FINDING_BAD && p->beyond_n >= 2 && p->beyond_n * 50 > p->point_n;
}

static bool is_active(const struct net2 *net, const double *u)
{
        size_t told = 0, unlike = 0;
        for (size_t i = 0; i < net->axis->n; i++) {
                double forward = cabs(at(net, 2, i)), reverse = cabs(at(net, 1, i)), more = fmax(forward, reverse);
                if (!(more > 0.05 + 10 * u[i]))
                        continue;
                told++;
                unlike += more > 1.5 * fmin(forward, reverse);
        }
        return unlike * 3 > told;
}

static bool amplifies_backwards(const struct net2 *net, const double *u)
{
        struct rf_direction d = {0};
        for (size_t i = 0; i < net->axis->n; i++)
                rf_direction_add(&d, net2_get(net, i), u[i]);
        return rf_is_backwards(&d);
}

/* Net turn of an entry over the sweep, radian, counterclockwise; NaN where a step is more than a quarter turn. */
static double turn_of(const struct net2 *net, int e)
{
        double turn = 0;
        for (size_t i = 1; i < net->axis->n; i++) {
                double step = carg(at(net, e, i) * conj(at(net, e, i - 1)));
                if (!(fabs(step) < RF_PI / 2))
                        return NAN;
                turn += step;
        }
        return turn;
}

static double mean_size(const struct net2 *net, int e)
{
        double sum = 0;
        for (size_t i = 0; i < net->axis->n; i++)
                sum += cabs(at(net, e, i));
        return sum / (double)net->axis->n;
}

/* false: the phase of what transmits rises, and the sentence is said. */
static bool time_runs(const struct net2 *net, struct rf_oddities *o)
{
        struct rf_orientation turned;
        double span = net->axis->hz[net->axis->n - 1] - net->axis->hz[0];
        if (net->axis->n < POINTS_LEAST || mean_size(net, 2) < 0.15 || isnan(turn_of(net, 2)) || rf_sign_of_time(net, &turned, NULL) ||
            !turned.decided || !turned.turn || !(-turned.distance * span * 360 > RISE_DEG))
                return true;
        say(o, "%s, or a thru longer than told", turned.sentence);
        return false;
}

/* The rotation test of those entries alone that turn more than once: no small reactance of either sign does. */
static void causes(const struct net2 *net, double *columns, struct rf_oddities *o)
{
        size_t n = net->axis->n, stride = net2_stride(n);
        struct net2 turning = *net;
        struct rf_plausible p;
        bool any = false;
        memset(columns, 0, stride * sizeof *columns);
        for (int e = 0; e < 4; e++)
                if (fabs(turn_of(net, e)) > RF_TWO_PI && mean_size(net, e) > 0.15)
                        any = true;
                else
                        turning.re[e] = turning.im[e] = columns;
        if (any && !rf_causality(&turning, 0.15, &p, NULL) && p.finding == RF_FINDING_BAD && p.worst < 0.5)
                say(o, "%s", p.sentence);
}

static void noise(const struct net2 *net, struct rf_oddities *o)
{
        size_t n = net->axis->n, beyond = 0, all = 0;
        double worst = 0, worst_hz = NAN, from_hz = NAN, to_hz = NAN;
        int worst_e = 0;
        for (size_t i = WINDOW / 2; n >= WINDOW + 3 && i + WINDOW / 2 < n; i += WINDOW / 2, all++) {
                bool here = false;
                for (int e = 0; e < 4; e++) {
                        size_t from, width = rf_scatter_window(n, i, &from);
                        double u = rf_scatter_in(net, e, from, width), power = 0, squares = 0, products = 0;
                        for (size_t k = from; k < from + width; k++) {
                                power += abs2(at(net, e, k)) / (double)width;
                                squares += abs2(third(net, e, k)) / (double)width;
                                products += k + 1 < from + width
                                                    ? creal(third(net, e, k + 1) * conj(third(net, e, k))) / (double)(width - 1)
                                                    : 0;
                        }
                        if (!(u > NOISE_SAY && u < 0.2 * sqrt(power) && products < -0.6 * squares))
                                continue;
                        here = true;
                        if (u > worst) {
                                worst = u;
                                worst_hz = net->axis->hz[i];
                                worst_e = e;
                        }
                }
                if (!here)
                        continue;
                from_hz = isnan(from_hz) ? net->axis->hz[i] : from_hz;
                to_hz = net->axis->hz[i];
                beyond++;
        }
        if (beyond >= 2 && beyond * 20 > all)
                say(o,
                    "noise of %.2g a point in %s at %.4g GHz, above %.2g between %.4g and %.4g GHz: a narrower IF bandwidth, more averages "
                    "or more power help, there and in the calibration; or a ripple finer than the points, as of switch terms left inside",
                    worst, entries[worst_e], worst_hz / 1e9, NOISE_SAY, from_hz / 1e9, to_hz / 1e9);
}

size_t rf_oddities_workspace(size_t n) { return 2 * net2_stride(n) * sizeof(double) + (rf_seams_workspace(n) + 63) / 64 * 64; }

enum code rf_oddities(const struct net2 *net, void *workspace, struct rf_oddities *ret, struct tp_error *err)
{
        size_t n = net->axis->n, stride = net2_stride(n);
        double *u = workspace, *scratch = u + stride;
        struct rf_plausible p;
        struct rf_seams seams;
        *ret = (struct rf_oddities){.of_points = -1};
        for (size_t i = 0; i < n; i++)
                for (int e = 0; e < 4; e++)
                        if (!isfinite(cabs(at(net, e, i))))
                                return tp_fail(err, CODE_BAD_INPUT, "%s is not a number at %.9g Hz; sweep again", entries[e],
                                               net->axis->hz[i]);
        char why[sizeof ret->sentence[0]];
        if (!rf_is_a_sweep(net, why, sizeof why)) {
                say(ret, "%s", why);
                return CODE_OK;
        }
        struct rf_outliers out;
        rf_outliers_of(net, &out);
        rf_noise_of(net, u);
        bool active = is_active(net, u), runs = time_runs(net, ret);
        struct netn view = netn_of_two(net);
        if (active && amplifies_backwards(net, u))
                say(ret, RF_BACKWARDS);
        if (rf_stands_still(&view, why, sizeof why))
                say(ret, "%s", why);
        if (out.n && ret->n < RF_ODDITIES_MAX) {
                ret->of_points = (int)ret->n;
                say(ret, "%s", out.sentence);
        }
        for (size_t i = 0; i < n; i++)
                scratch[i] = (GAIN + 6 * u[i]) / 3;
        if (!active && !rf_passivity(net, scratch, &p, NULL) && counts(&p))
                say(ret, "gives out more than it gets: %s", p.sentence);
        for (size_t i = 0; i < n; i++)
                scratch[i] = 2 * u[i];
        if (!active && !rf_reciprocity(net, RECIPROCITY_FLOOR, scratch, &p, NULL) && counts(&p))
                say(ret, "%s", p.sentence);
        double step = 0;
        if (!rf_seams(net, NULL, 0, 0, scratch + stride, &seams, NULL))
                for (size_t k = 0; k < seams.n; k++)
                        step = seams.seam[k].found ? fmax(step, seams.seam[k].step) : step;
        if (step > STEP_SAY)
                say(ret, "%s", seams.sentence);
        if (runs)
                causes(net, scratch, ret);
        noise(net, ret);
        return CODE_OK;
}
