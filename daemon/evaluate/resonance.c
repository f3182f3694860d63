/* resonance.c: the self-resonance of a device and its uncertainty, by the susceptance about its zero (chain.h). */
#include "evaluate/chain.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define SPAN_MAX 0.4 /* of a resonance, to each side of it */
/* A susceptance wC - 1/wL bends by 3 u over u (of the frequency's share): half a unit of the second digit of u is 0.5 % at least. */
#define STRAIGHT_U 1.5e-3

/* The first zero of the branch's susceptance, from inductive to capacitive or the other way round, above the frequency of the largest |Q|.
 */
struct crossing {
        bool found;
        double hz, below_hz, above_hz; /* the points that it lies between */
};
static struct crossing crossing_find(const struct asked *a)
{
        const struct chain *ch = a->ch;
        struct asked at = *a;
        double sign = ch->device_kind == DEVICE_CAPACITOR ? -1 : 1; /* an inductor's susceptance is negative below resonance */
        size_t stride = ch->axis.n > 128 ? 4 : 1, last = 0;
        double before = NAN, q_best = 0;
        struct crossing c = {.hz = NAN};
        for (size_t j = 0; j < ch->axis.n; j += stride) {
                struct trio t = chain_point(ch, j);
                at.hz = ch->axis.hz[j];
                double complex z = asked_z(&at, &t);
                double b = -sign * cimag(1 / z), q = fabs(cimag(z) / creal(z));
                if (at.hz < 1e9) { /* below, the reactance of any real device is noise */
                        last = j;
                        continue;
                }
                if (b > 0 && q > q_best) {
                        q_best = q;
                        c.found = false;
                }
                if (!c.found && before > 0 && b <= 0) {
                        size_t lo = last;
                        for (size_t m = last + 1; m <= j;
                             m++) { /* within the stride, and there by linear interpolation of the susceptance */
                                struct trio u = chain_point(ch, m);
                                at.hz = ch->axis.hz[m];
                                double here = -sign * cimag(1 / asked_z(&at, &u));
                                if (here <= 0) {
                                        double f0 = ch->axis.hz[lo], f1 = ch->axis.hz[m];
                                        c = (struct crossing){true, f0 + (f1 - f0) * before / (before - here), f0, f1};
                                        break;
                                }
                                before = here;
                                lo = m;
                        }
                }
                before = b;
                last = j;
        }
        return c;
}

/* The susceptance, of a capacitor the reactance (each is straight where the other has a pole), as far as the resonance may move: four
   standard uncertainties to each side. */
static void srf_curve(const struct asked *a, const struct cause_list *list, struct curve *curve)
{
        const struct axis *axis = &a->ch->axis;
        double u = 0, low, high;
        for (size_t k = 0; k < list->n; k++)
                u = hypot(u, list->dq[k]);
        if (!(u > STRAIGHT_U * a->hz))
                return;
        double span = fmin(SPAN_MAX, 4 * u / a->hz);
        low = fmax(axis->hz[0], a->hz * (1 - span));
        high = fmin(axis->hz[axis->n - 1], a->hz * (1 + span));
        curve->number = curve_crossing;
        for (int k = 0; k < CURVE_NODES; k++) {
                struct asked at = *a;
                struct cause_list one = {.n = 0};
                struct trio t;
                size_t j;
                double gain;
                at.quantity = a->ch->device_kind == DEVICE_CAPACITOR ? QUANTITY_L : QUANTITY_SRF;
                at.hz = low + (high - low) * k / (CURVE_NODES - 1);
                if (chain_between(a->ch, at.hz, &t, &j, &gain, NULL))
                        continue;
                causes_of(&at, &t, j, gain, &one);
                curve_add(curve, at.hz, asked_value(&at, asked_z(&at, &t)), &one);
        }
}

void answer_srf(struct asked *a, struct parameter_answer *to, struct cause_list *list, struct curve *curve, struct tp_error *err)
{
        const struct chain *ch = a->ch;
        struct crossing c = crossing_find(a);
        if (!c.found) {
                char text[100];
                snprintf(text, sizeof text, "no resonance up to %.4g GHz", ch->axis.hz[ch->axis.n - 1] / 1e9);
                answer_refuse(to, text);
                return;
        }
        if (c.above_hz > 1.1 * c.below_hz) {
                char text[120];
                snprintf(text, sizeof text, "resonates between %.4g and %.4g GHz; the sweep has no point in between to place it by",
                         c.below_hz / 1e9, c.above_hz / 1e9);
                answer_refuse(to, text);
                return;
        }
        struct trio t;
        size_t j;
        double gain, b[3], f[3];
        for (int k = 0; k < 3; k++) { /* a secant step on the smoothed curve, and its slope */
                f[k] = fmin(c.hz * (1 + 0.01 * (k - 1)), ch->axis.hz[ch->axis.n - 1]);
                if (chain_between(ch, f[k], &t, &j, &gain, err)) {
                        answer_fail(to, err);
                        return;
                }
                a->hz = f[k];
                b[k] = asked_value(a, asked_z(a, &t));
        }
        double slope = (b[2] - b[0]) / (f[2] - f[0]);
        a->hz = f[1] - b[1] / slope;
        if (!(fabs(a->hz / c.hz - 1) < 0.02) || chain_between(ch, a->hz, &t, &j, &gain, err)) {
                answer_refuse(to, "the resonance is too flat to be placed");
                return;
        }
        causes_of(a, &t, j, gain, list);
        for (size_t k = 0; k < list->n; k++)
                list->dq[k] /= slope;
        srf_curve(a, list, curve);
        to->value = a->hz;
        to->has_value = true;
}
