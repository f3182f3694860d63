/* found.c: numbers that no single frequency gives: the largest Q and where it is, a line's group delay, and the window in which a number is
   resolved best.
 * Peak        A cubic in log f through all points within a quarter to each side of the largest resolved Q: a single largest point would be
 *             the luckiest one.  What is of one origin moves the height as it moves Q there, the place by the slope that it gives Q:
 *             dx = -(dQ)'/Q''.  Noise comes from the scatter about the cubic.
 * Delay       l d beta/dw by the parabola through three points, a twentieth of the frequency apart, so that noise is divided by a long
 step.
 * Window      u95 over the value, six times a decade: around the least of it, as far as it stays below twice that; the number is read in
 *             the window's (logarithmic) middle. */
#include "evaluate/chain.h"
#include <math.h>
#include <stdio.h>

enum { CUBIC = 4, FIT_MAX = 1024, TRIED = 48, PER_DECADE = 6 };
#define FIT_LOG 0.35 /* of log f, to each side */
#define BEND_U_MAX 0.15
#define STEP 0.025     /* of f: half the base of a group delay */
#define BEST_TIMES 2.0 /* the window's edge: so many times the least share */

/* y = sum c[k] x^k by least squares; inverse of the normal matrix for what noise does to c. */
struct cubic {
        double c[CUBIC], inverse[CUBIC][CUBIC], variance;
        size_t n;
};

static bool cubic_fit(size_t n, const double *x, const double *y, struct cubic *ret)
{
        double m[CUBIC][2 * CUBIC + 1] = {{0}};
        for (size_t i = 0; i < n; i++) {
                double power[CUBIC] = {1, x[i], x[i] * x[i], x[i] * x[i] * x[i]};
                for (int a = 0; a < CUBIC; a++) {
                        for (int b = 0; b < CUBIC; b++)
                                m[a][b] += power[a] * power[b];
                        m[a][2 * CUBIC] += power[a] * y[i];
                }
        }
        for (int a = 0; a < CUBIC; a++)
                m[a][CUBIC + a] = 1;
        for (int a = 0; a < CUBIC; a++) { /* positive definite: no pivoting is needed */
                double pivot = m[a][a];
                if (!(pivot > 0))
                        return false;
                for (int b = 0; b <= 2 * CUBIC; b++)
                        m[a][b] /= pivot;
                for (int r = 0; r < CUBIC; r++) {
                        double by = m[r][a];
                        for (int b = 0; r != a && b <= 2 * CUBIC; b++)
                                m[r][b] -= by * m[a][b];
                }
        }
        double left = 0;
        for (int a = 0; a < CUBIC; a++) {
                ret->c[a] = m[a][2 * CUBIC];
                for (int b = 0; b < CUBIC; b++)
                        ret->inverse[a][b] = m[a][CUBIC + b];
        }
        for (size_t i = 0; i < n; i++) {
                double e = y[i] - (((ret->c[3] * x[i] + ret->c[2]) * x[i] + ret->c[1]) * x[i] + ret->c[0]);
                left += e * e;
        }
        ret->n = n;
        ret->variance = n > CUBIC ? left / (double)(n - CUBIC) : NAN;
        return isfinite(left);
}

/* Standard uncertainty by noise of sum v[k] c[k]. */
static double cubic_u(const struct cubic *f, const double v[CUBIC])
{
        double sum = 0;
        for (int a = 0; a < CUBIC; a++)
                for (int b = 0; b < CUBIC; b++)
                        sum += v[a] * f->inverse[a][b] * v[b];
        return sqrt(f->variance * sum);
}

/* The maximum of the cubic within half its own reach; NaN: there is none. */
static double cubic_top(const struct cubic *f)
{
        double a = 3 * f->c[3], b = 2 * f->c[2], c = f->c[1], under = b * b - 4 * a * c;
        double x = fabs(a) < 1e-9 * fabs(b) ? -c / b : (-b - sqrt(under)) / (2 * a); /* of both, the one at which it bends down */
        return 2 * f->c[2] + 6 * f->c[3] * x < 0 && fabs(x) < FIT_LOG / 2 ? x : NAN;
}

static double value_at(const struct asked *a, size_t j)
{
        struct asked at = *a;
        struct trio t = chain_point(a->ch, j);
        at.hz = a->ch->axis.hz[j];
        return asked_value(&at, asked_z(&at, &t));
}

/* Point of the largest Q among TRIED that are resolved; SIZE_MAX: none. */
static size_t largest_resolved(const struct asked *q, double share_max)
{
        const struct axis *axis = &q->ch->axis;
        double low = log(fmax(axis->hz[0], 1e-6)), high = log(axis->hz[axis->n - 1]), best = 0;
        size_t top = SIZE_MAX, last = SIZE_MAX;
        for (size_t k = 0; k < TRIED; k++) {
                size_t j = axis_nearest(axis, exp(low + (high - low) * (double)k / (TRIED - 1)));
                double value = j == last ? 0 : value_at(q, j);
                last = j;
                if (value > best && rf_resolvable(asked_share_at(q, axis->hz[j]), share_max)) {
                        best = value;
                        top = j;
                }
        }
        return top;
}

static bool fit_around(const struct asked *q, double centre_hz, struct cubic *ret)
{
        const struct axis *axis = &q->ch->axis;
        double x[FIT_MAX] = {0}, y[FIT_MAX] = {0};
        size_t inside = 0, n = 0;
        for (size_t j = 0; j < axis->n; j++)
                inside += axis->hz[j] > 0 && fabs(log(axis->hz[j] / centre_hz)) < FIT_LOG;
        size_t stride = (inside + FIT_MAX - 1) / FIT_MAX;
        for (size_t j = 0; j < axis->n && n < FIT_MAX; j++) {
                if (!(axis->hz[j] > 0 && fabs(log(axis->hz[j] / centre_hz)) < FIT_LOG) || j % stride)
                        continue;
                x[n] = log(axis->hz[j] / centre_hz);
                y[n++] = value_at(q, j);
        }
        return n > 2 * CUBIC && x[0] < -FIT_LOG / 2 && x[n - 1] > FIT_LOG / 2 && cubic_fit(n, x, y, ret);
}

/* Causes of q at hz, weighted, on top of those in `list`. */
static void add_causes_at(const struct asked *q, double hz, double weight, struct cause_list *list)
{
        struct asked at = *q;
        struct cause_list one = {.n = 0};
        struct trio t;
        double gain;
        size_t j;
        at.hz = hz;
        if (chain_between(q->ch, hz, &t, &j, &gain, NULL))
                return;
        causes_of(&at, &t, j, gain, &one);
        cause_add_coherent(list, &one, weight);
}

/* Relative uncertainty of the bend by what is of one origin: the place is a quotient, the slope over it. */
static double bend_u(const struct asked *q, const double hz[3], double base, double bend)
{
        double weight = 1 / (base * base), u, u95;
        struct cause_list list = {.n = 0};
        for (int k = 0; k < 3; k++)
                add_causes_at(q, hz[k], k == 1 ? -2 * weight : weight, &list);
        budget_close(&list, &u, &u95, NULL);
        return u / fabs(bend);
}

/* Variance of n/(1 + d) around n = 0: that of n times 1 + 3 u(d)^2, as long as u(d) is small. */
static bool place_causes(const struct asked *q, double centre, double bend, struct cause_list *list)
{
        const struct axis *axis = &q->ch->axis; /* at points of the sweep: nothing is interpolated */
        double hz[3] = {axis->hz[axis_nearest(axis, centre * exp(-FIT_LOG / 2))], axis->hz[axis_nearest(axis, centre)],
                        axis->hz[axis_nearest(axis, centre * exp(FIT_LOG / 2))]};
        double base = log(hz[2] / hz[0]) / 2, r = bend_u(q, hz, base, bend), per_slope = -centre / bend * sqrt(1 + 3 * r * r);
        if (!(r < BEND_U_MAX))
                return false;
        add_causes_at(q, hz[2], per_slope / (2 * base), list);
        add_causes_at(q, hz[0], -per_slope / (2 * base), list);
        return true;
}

void answer_peak(struct asked *a, double share_max, struct parameter_answer *to, struct cause_list *list)
{
        bool place = a->rf == RF_Q_Q11_MAX_HZ || a->rf == RF_Q_QD_MAX_HZ;
        struct asked q = *a;
        struct cubic f;
        q.rf = a->rf == RF_Q_Q11_MAX || a->rf == RF_Q_Q11_MAX_HZ ? RF_Q_Q11 : RF_Q_QD;
        size_t top = largest_resolved(&q, share_max);
        if (top == SIZE_MAX) {
                answer_refuse(to, "no Q of an inductor is resolved anywhere in the sweep");
                return;
        }
        double centre = q.ch->axis.hz[top], x = NAN;
        for (int round = 0; round < 4; round++) { /* the largest of a few points may lie some way from the top */
                if (!fit_around(&q, centre, &f))
                        break;
                x = cubic_top(&f);
                if (!isfinite(x))
                        x = f.c[1] > 0 ? FIT_LOG / 2 : -FIT_LOG / 2;
                centre *= exp(x);
                if (fabs(x) < FIT_LOG / 20)
                        break;
        }
        if (!(fabs(x) < FIT_LOG / 20)) {
                char text[120];
                snprintf(text, sizeof text, "Q has no top with points on both sides of it; around %.4g GHz it still rises or is noise",
                         centre / 1e9);
                answer_refuse(to, text);
                return;
        }
        double at = centre / exp(x), value = ((f.c[3] * x + f.c[2]) * x + f.c[1]) * x + f.c[0], bend = 2 * f.c[2] + 6 * f.c[3] * x;
        list->n = 0;
        if (place) {
                const double slope[CUBIC] = {0, 1, 2 * x, 3 * x * x};
                if (!place_causes(&q, centre, bend, list)) {
                        answer_refuse(to, "not resolvable: the top is so flat that its bend is not known");
                        return;
                }
                cause_add_of(list, SCOPE_READING, "noise", centre / bend * cubic_u(&f, slope), (double)(f.n - CUBIC));
        } else {
                const double height[CUBIC] = {1, x, x * x, x * x * x};
                add_causes_at(&q, q.ch->axis.hz[axis_nearest(&q.ch->axis, centre)], 1, list); /* flat there: nothing is interpolated */
                cause_add_of(list, SCOPE_READING, "noise", cubic_u(&f, height), (double)(f.n - CUBIC));
        }
        a->hz = centre;
        to->value = place ? centre : value;
        to->has_value = true;
        to->lo_hz = at * exp(-FIT_LOG);
        to->hi_hz = at * exp(FIT_LOG);
        to->has_range = true;
}

/* The three points: the nearest to hz, and the nearest to STEP below and above it, but no nearer than the next. */
static bool base_points(const struct axis *axis, double hz, size_t ret[3])
{
        size_t j = axis_nearest(axis, hz);
        if (axis->n < 3)
                return false;
        j = j == 0 ? 1 : j + 1 == axis->n ? axis->n - 2 : j;
        size_t low = axis_nearest(axis, axis->hz[j] * (1 - STEP)), high = axis_nearest(axis, axis->hz[j] * (1 + STEP));
        ret[0] = low < j ? low : j - 1;
        ret[1] = j;
        ret[2] = high > j ? high : j + 1;
        return axis->hz[ret[2]] < 1.5 * axis->hz[ret[0]];
}

void answer_group_delay(struct asked *a, struct parameter_answer *to, struct cause_list *list, struct tp_error *err)
{
        size_t of[3];
        double noise = 0, x[3], sum = 0;
        struct asked beta = *a;
        beta.rf = RF_Q_BETA;
        if (!base_points(&a->ch->axis, a->hz, of)) {
                answer_refuse(to, "the sweep's points lie too far apart for a slope of the phase; sweep more densely");
                return;
        }
        for (int k = 0; k < 3; k++)
                x[k] = RF_TWO_PI * (a->ch->axis.hz[of[k]] - a->hz);
        list->n = 0;
        for (int k = 0; k < 3; k++) {
                double p = x[(k + 1) % 3], r = x[(k + 2) % 3], weight = -a->ch->line_m * (p + r) / ((x[k] - p) * (x[k] - r));
                struct trio t = chain_point(a->ch, of[k]);
                struct cause_list one = {.n = 0};
                beta.hz = a->ch->axis.hz[of[k]];
                if (asked_branch(&beta, err)) {
                        answer_refuse(to, err->text);
                        return;
                }
                sum += weight * asked_value(&beta, asked_z(&beta, &t));
                causes_of(&beta, &t, of[k], 1, &one);
                noise += cause_add_coherent(list, &one, weight);
        }
        cause_add_of(list, SCOPE_READING, "noise", sqrt(noise), INFINITY);
        to->value = sum;
        to->has_value = isfinite(sum);
        to->lo_hz = a->ch->axis.hz[of[0]];
        to->hi_hz = a->ch->axis.hz[of[2]];
        to->has_range = to->has_value;
}

bool best_window(const struct asked *a, double share_max, double *ret_lo_hz, double *ret_hi_hz)
{
        const struct axis *axis = &a->ch->axis;
        double low = fmax(axis->hz[0], axis->hz[axis->n - 1] * 1e-9), high = axis->hz[axis->n - 1], hz[200], share[200], least = INFINITY;
        size_t n = (size_t)(PER_DECADE * log10(high / low)) + 2, best = 0, from, to;
        for (size_t k = 0; k < n && k < 200; k++) {
                hz[k] = low * pow(high / low, (double)k / (double)(n - 1));
                share[k] = asked_share_at(a, fmin(hz[k], high));
                if (share[k] < least) {
                        least = share[k];
                        best = k;
                }
        }
        if (!rf_resolvable(least, share_max))
                return false;
        for (from = best; from > 0 && share[from - 1] <= BEST_TIMES * least; from--)
                ;
        for (to = best; to + 1 < n && share[to + 1] <= BEST_TIMES * least; to++)
                ;
        *ret_lo_hz = hz[from];
        *ret_hi_hz = fmin(hz[to], high);
        return true;
}

void answer_range(const struct asked *a, double most, struct parameter_answer *to)
{
        bool element = a->quantity == QUANTITY_L || a->quantity == QUANTITY_C || a->quantity == QUANTITY_R || a->quantity == QUANTITY_Q;
        if (!element && (!a->rf || a->near != 0)) /* along a line the branch would have to be followed */
                return;
        static const double half_decade = 3.16227766016837933;
        to->lo_hz = to->hi_hz = a->hz;
        while (to->lo_hz / half_decade >= a->ch->axis.hz[0] && rf_resolvable(asked_share_at(a, to->lo_hz / half_decade), most))
                to->lo_hz /= half_decade;
        while (to->hi_hz * half_decade <= a->ch->axis.hz[a->ch->axis.n - 1] &&
               rf_resolvable(asked_share_at(a, to->hi_hz * half_decade), most))
                to->hi_hz *= half_decade;
        to->has_range = true;
}
