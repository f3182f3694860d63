/* switch_smooth.c: one reading that transmits against its switch terms (orientation.h).
 * Idea        With the switch terms removed rightly, S12/S21 of a reciprocal two-port is the boxes' own ratio, which runs smoothly over
 *             frequency: cables count the same both ways.  Removed wrongly it ripples with what comes back through the cables.  Of a device
 *             that is not reciprocal the ratio runs smoothly too, but for what it says of itself.  Own; several readings need no smoothness
 *             (rf_switch_judge()).
 * Smooth      third differences of the ratio over 1, 2, 4, … points, their median: a ripple of any period shows at one of them. */
#include "rf/correct/correct.h"
#include "rf/numbers/robust.h"
#include "rf/trust/orientation.h"
#include <math.h>
#include <stdio.h>

enum { POINTS_LEAST = 24, STRIDES_MAX = 12 };
#define BETTER 4.0       /* times smoother than as given: decided */
#define ROUGH_LEAST 5e-3 /* as given; smaller ripples are worth no sentence */

static const enum rf_switch_use asked[] = {RF_SWITCH_AS_GIVEN, RF_SWITCH_EXCHANGED, RF_SWITCH_NONE, RF_SWITCH_ORDER,
                                           RF_SWITCH_ORDER_EXCHANGED};
enum { ASKED = sizeof asked / sizeof asked[0] };

static double complex ratio_of(enum rf_switch_use use, struct m2 m, double complex f, double complex r)
{
        bool turn = use == RF_SWITCH_ORDER || use == RF_SWITCH_ORDER_EXCHANGED;
        bool exchange = use == RF_SWITCH_EXCHANGED || use == RF_SWITCH_ORDER_EXCHANGED;
        if (turn)
                m = m2_of(m.e[0], m.e[2], m.e[1], m.e[3]);
        struct m2 s = use == RF_SWITCH_NONE ? m : exchange ? rf_switch_remove_point(m, r, f) : rf_switch_remove_point(m, f, r);
        return s.e[1] / s.e[2];
}

/* Median third difference over `stride` points, of the ratio's own size. */
static double roughness(size_t n, const double complex *ratio, size_t stride, double *scratch)
{
        size_t m = 0;
        for (size_t i = 0; i + 3 * stride < n; i++)
                scratch[m++] = cabs(ratio[i + 3 * stride] - 3 * ratio[i + 2 * stride] + 3 * ratio[i + stride] - ratio[i]) /
                               (3 * cabs(ratio[i + stride]) + 1e-30);
        return rf_quantile(rf_sort(m, scratch), scratch, 0.5);
}

size_t rf_switch_smooth_workspace(size_t n) { return n * (sizeof(double complex) + sizeof(double)); }

bool rf_switch_smooth(const struct net2 *raw, const struct switch_terms *sw, void *workspace, struct rf_switch_judgement *ret)
{
        static const char *const words[RF_SWITCH_USE_COUNT] = {
                [RF_SWITCH_EXCHANGED] = "forward and reverse switch terms are exchanged, or ports 1 and 2 of this reading",
                [RF_SWITCH_NONE] = "the reading has no switch terms inside: the analyzer or a program has removed them already",
                [RF_SWITCH_ORDER] = "S21 and S12 of the reading are exchanged: a two-port file read row by row",
                [RF_SWITCH_ORDER_EXCHANGED] =
                        "S21 and S12 of the reading are exchanged, and forward and reverse of the switch terms: S11 and S22 of the reading "
                        "are the wrong way round, or both files are"};
        size_t n = raw->axis->n, strides = 0;
        double complex *ratio = workspace;
        double *scratch = (double *)(void *)(ratio + n), rough[ASKED][STRIDES_MAX], gain = 0;
        size_t best = 0, at = 0;
        *ret = (struct rf_switch_judgement){.use = RF_SWITCH_AS_GIVEN};
        if (n < POINTS_LEAST || !axis_equal(raw->axis, sw->axis))
                return false;
        for (size_t use = 0; use < ASKED; use++) {
                for (size_t i = 0; i < n; i++)
                        ratio[i] = ratio_of(asked[use], net2_get(raw, i), CMPLX(sw->f_re[i], sw->f_im[i]), CMPLX(sw->r_re[i], sw->r_im[i]));
                strides = 0;
                for (size_t s = 1; s <= n / 8 && strides < STRIDES_MAX; s *= 2)
                        rough[use][strides++] = roughness(n, ratio, s, scratch);
        }
        for (size_t use = 1; use < ASKED; use++)
                for (size_t s = 0; s < strides; s++)
                        if (rough[0][s] > ROUGH_LEAST && rough[0][s] > gain * rough[use][s]) {
                                gain = rough[0][s] / rough[use][s];
                                best = use;
                                at = s;
                        }
        bool worse = false; /* somewhere else, so that both are rough in their own way */
        for (size_t s = 0; s < strides; s++)
                worse = worse || rough[best][s] > 2 * rough[0][s];
        if (!(gain >= BETTER) || worse)
                return false;
        ret->use = asked[best];
        ret->decided = true;
        for (int use = 0; use < RF_SWITCH_USE_COUNT; use++)
                ret->scatter[use] = NAN;
        for (size_t use = 0; use < ASKED; use++)
                ret->scatter[asked[use]] = rough[use][at];
        snprintf(ret->sentence, sizeof ret->sentence, "%s (S12/S21 then runs smoothly to %.2g from point to point, as given to %.2g)",
                 words[ret->use], rough[best][at], rough[0][at]);
        return true;
}
