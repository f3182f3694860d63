/* plateau.c: fT and fmax of a sweep, and where their uncertainty comes from.
 * Idea        The number is the geometric mean over the window of f times a gain, of fT_im the value at f = 0 of that product's line in f^2
 *             (rf/extract/plateau.h): a weighted mean both times, so its relative change is that mean of the gains' relative changes.  The causes are taken at nine points across the window: what is of one origin (a touch, a standard,
 *             drift, dummies) moves all of them together and is averaged with its sign; noise is of each point's own and falls with the
 *             root of their number; what the window itself scatters by beyond noise (a second pole, a leak) is a cause
 *             beside them.  Not as a rectangle: where f times the gain grows as 1 + c f^2 the single pole's value lies outside of what the window
 *             shows, 1.12 (a wide window) to 1.80 (half a decade) of its standard deviations beside the mean, which two of them hold.
 * Not linear  the number is straight in each gain as long as its own u is small; drawn.c looks whether it is. */
#include "evaluate/chain.h"
#include "rf/extract/plateau.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { PROBES = 9 };

/* The gain behind each, and its power of f. */
static enum rf_quantity gain_of(enum rf_quantity q, double *ret_power)
{
        *ret_power = q == RF_Q_FT || q == RF_Q_FT_IM ? 1 : 0.5;
        return q == RF_Q_FT_IM ? q : q == RF_Q_FT ? RF_Q_H21 : q == RF_Q_FMAX ? RF_Q_U : RF_Q_MAG;
}

/* NaN where the analyzer's noise alone would refuse the gain: noise may fall by anything a decade. */
static double falling(const struct asked *a, size_t j, enum rf_quantity gain, double power, double share_max)
{
        const struct sweep_plan *plan = recipe_sweep(a->ch->q->recipe, a->ch->q->measure->sweep);
        struct trio t = chain_point(a->ch, j);
        struct m2 s = chain_deembed(a->ch, &t);
        struct asked at = *a;
        double complex g[4];
        double squares = 0;
        at.hz = a->ch->axis.hz[j];
        at.rf = gain;
        double value = asked_number(&at, s, g);
        for (int e = 0; e < 4; e++) {
                double u = noise_of(plan, at.hz, chain_read_size(a->ch, map_at(a->ch->map, j), t.s[PART_DEVICE], e)) * cabs(g[e]);
                squares += u * u;
        }
        if (!rf_resolvable(rf_share_of(RF_SHARE_VALUE, value, 2 * sqrt(squares)), share_max))
                return NAN;
        return pow(value, power);
}

static void causes_at(const struct asked *a, size_t j, enum rf_quantity gain, double power, struct cause_list *list)
{
        struct trio t = chain_point(a->ch, j);
        struct asked at = *a;
        at.hz = a->ch->axis.hz[j];
        at.rf = gain;
        double value = creal(asked_z(&at, &t));
        causes_of(&at, &t, j, 1, list);
        for (size_t k = 0; k < list->n; k++)
                list->dq[k] *= power / value;
}

static double noise_squares(const struct cause_list *of)
{
        double sum = 0;
        for (size_t k = 0; k < of->n; k++)
                sum += strncmp(of->name[k], "noise", 5) == 0 ? of->dq[k] * of->dq[k] : 0;
        return sum;
}

void answer_plateau(struct asked *a, double share_max, struct parameter_answer *to, struct cause_list *list, struct curve *curve,
                    struct tp_error *err)
{
        const struct axis *axis = &a->ch->axis;
        double power, y[1024] = {0}, hz[1024] = {0};
        enum rf_quantity gain = gain_of(a->rf, &power);
        size_t stride = (axis->n + 1023) / 1024, n = 0; /* a long sweep is thinned: half a decade keeps a hundred points and more */
        for (size_t j = 0; j < axis->n; j += stride, n++) {
                hz[n] = axis->hz[j];
                y[n] = falling(a, j, gain, power, share_max);
        }
        struct rf_plateau p;
        static const char *const what[] = {"|h21|", "1/|Im(1/h21)|", "sqrt U", "sqrt MAG"};
        if (rf_plateau_find(n, hz, y, 0, 0, what[a->rf - RF_Q_FT], &p, err)) {
                size_t drowned = 0; /* the sentence of rf_plateau_find() is longer than a reason may be */
                for (size_t j = 0; j < n; j++)
                        drowned += isnan(y[j]) ? 1 : 0;
                snprintf(to->reason, sizeof to->reason, "%s falls by 20 dB a decade nowhere over half a decade%s", what[a->rf - RF_Q_FT],
                         2 * drowned > n ? "; most of it is noise, or does not exist" : "");
                return;
        }
        bool at_zero = a->rf == RF_Q_FT_IM;
        if (at_zero)
                rf_plateau_at_zero(hz, y, &p);
        size_t probes = p.n < PROBES ? p.n : PROBES;
        double noise = 0, mean_noise = 0, probe_hz[PROBES];
        struct cause_list one;
        list->n = list->not_counted_n = 0;
        curve->number = curve_mean;
        curve->scale = p.value_hz;
        curve->power = power;
        for (size_t m = 0; m < probes; m++)
                probe_hz[m] = hz[p.first + (probes > 1 ? m * (p.n - 1) / (probes - 1) : 0)];
        rf_plateau_weights(probes, probe_hz, at_zero, curve->weight);
        for (size_t m = 0; m < probes; m++) {
                size_t j = stride * (p.first + (probes > 1 ? m * (p.n - 1) / (probes - 1) : 0));
                causes_at(a, j, gain, power, &one);
                noise += cause_add_coherent(list, &one, p.value_hz * curve->weight[m]);
                mean_noise += noise_squares(&one) * p.value_hz * p.value_hz / (double)probes;
                curve_add(curve, axis->hz[j], power, &one); /* relative changes times the power */
        }
        cause_add_of(list, SCOPE_READING, "noise", sqrt(noise * (double)probes / (double)p.n), INFINITY);
        /* of the scatter over the window, what noise does not explain: that is a slope or a bend, and not averaged out */
        double scatter = p.value_hz * p.spread * p.value_hz * p.spread, alone = scatter - mean_noise;
        cause_add(list, "plateau", p.shape_u / p.spread * sqrt(fmax(alone, scatter / (double)p.n)), INFINITY);
        a->hz = sqrt(p.lo_hz * p.hi_hz);
        to->value = p.value_hz;
        to->has_value = true;
        to->lo_hz = p.lo_hz;
        to->hi_hz = p.hi_hz;
        to->has_range = true;
}
