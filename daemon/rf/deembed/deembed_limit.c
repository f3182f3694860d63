/* deembed_limit.c: up to where a method is good on the dummies at hand (deembed.h).
 * Idea        Each method neglects something; the dummies themselves tell how much of it there is.
 *               open alone      neglects what lies in series: a pad of |Y| z = tan(theta) is at least a stub of that length, so is its lead
 *               short alone     the same with |Z|/z
 *               lumped ladders  neglect that pad and lead are one distributed piece: its electrical length is about sqrt|Y Z|, and lumping
 *                               it errs by theta^2/2 of the removed part: 4.5 % at the bound of 0.3
 *               L-2L            a pad of |Y| z beyond 0.3 is a line, not a shunt
 *               2x-thru         |S21| above -15 dB and |S11| below |S21|: else the halves are differences of noise
 *             The bounds are common practice, no source. */
#include "rf/network/convert.h"
#include "rf/deembed/deembed_own.h"
#include <math.h>
#include <stdio.h>

static double larger(struct m2 m) { return fmax(cabs(m.e[0]), cabs(m.e[3])); }

static double length_of(double complex y1, double complex z1, double complex y2, double complex z2)
{
        return fmax(sqrt(cabs(y1 * z1)), sqrt(cabs(y2 * z2)));
}

double rf_deembed_share(enum deembed_method method, const struct m2 s[RF_DUMMY_COUNT], double z_ref)
{
        double figure = NAN;
        switch (method) {
        case RF_DEEMBED_OPEN:
                figure = larger(rf_y_from_s(s[RF_DUMMY_OPEN], z_ref)) * z_ref;
                break;
        case RF_DEEMBED_SHORT:
                figure = larger(rf_z50(s[RF_DUMMY_SHORT], z_ref)) / z_ref;
                break;
        case RF_DEEMBED_OPEN_SHORT:
        case RF_DEEMBED_SHORT_OPEN: {
                struct m2 y = rf_y_from_s(s[RF_DUMMY_OPEN], z_ref), z = m2_inv(m2_sub(rf_y_from_s(s[RF_DUMMY_SHORT], z_ref), y));
                figure = length_of(y.e[0], z.e[0], y.e[3], z.e[3]);
                break;
        }
        case RF_DEEMBED_PAD_OPEN_SHORT: {
                struct m2 y = rf_y_from_s(s[RF_DUMMY_PAD], z_ref), z = m2_inv(m2_sub(rf_y_from_s(s[RF_DUMMY_SHORT], z_ref), y));
                figure = length_of(y.e[0], z.e[0], y.e[3], z.e[3]);
                break;
        }
        case RF_DEEMBED_THREE_STEP: {
                double complex g1, g2, g3;
                struct m2 z;
                deembed_three_step_parts(s, z_ref, &g1, &g2, &g3, &z);
                figure = length_of(g1, z.e[0], g2, z.e[3]);
                break;
        }
        case RF_DEEMBED_THRU_PI:
        case RF_DEEMBED_THRU_TEE: {
                struct half_parts p;
                deembed_parts(method, s, z_ref, &p);
                figure = length_of(p.y[0], p.z[0], p.y[1], p.z[1]);
                break;
        }
        case RF_DEEMBED_L_2L: {
                struct half_parts p;
                deembed_parts(method, s, z_ref, &p);
                figure = cabs(p.y[0]) * z_ref;
                break;
        }
        case RF_DEEMBED_TWO_X_THRU: {
                struct m2 t = s[RF_DUMMY_TWO_X_THRU];
                figure = fmax(pow(10, -15.0 / 20) / cabs(t.e[2]), cabs(t.e[0]) / cabs(t.e[2]));
                break;
        }
        case RF_DEEMBED_UNKNOWN:
        case RF_DEEMBED_COUNT:
                return NAN;
        }
        return figure / rf_deembed_methods[method].limit_bound;
}

enum code rf_deembed_limit_of(enum deembed_method method, const struct dummies *dummies, struct rf_deembed_limit *ret, struct tp_error *err)
{
        if (method <= RF_DEEMBED_UNKNOWN || method >= RF_DEEMBED_COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "de-embedding method %d is not known", (int)method);
        const struct rf_deembed_row *row = &rf_deembed_methods[method];
        const struct net2 *first = NULL;
        for (int k = 1; k < RF_DUMMY_COUNT; k++) {
                const struct net2 *net = dummies->of[k];
                if (!((row->wants >> k) & 1u))
                        continue;
                if (!net)
                        return tp_fail(err, CODE_BAD_INPUT, "the limit of %s de-embedding needs its %s dummy and there is none", row->word,
                                       rf_dummy_words[k]);
                if (first && !axis_equal(first->axis, net->axis))
                        return tp_fail(err, CODE_BAD_INPUT, "the dummies lie on different frequencies; measure all with one sweep plan");
                if (!first)
                        first = net;
                if (!(net2_z_real(net) > 0) || net2_z_real(net) != net2_z_real(first))
                        return tp_fail(err, CODE_BAD_INPUT, "the dummies need one real reference impedance; renormalise them first");
        }
        *ret = (struct rf_deembed_limit){.practice_hz = row->good_hz, .computed_hz = NAN, .whole = true};
        double beyond_hz = NAN, share = NAN;
        for (size_t i = 0; i < first->axis->n && ret->whole; i++) {
                struct m2 s[RF_DUMMY_COUNT] = {{{0}}};
                for (int k = 1; k < RF_DUMMY_COUNT; k++)
                        if (dummies->of[k] && ((row->wants >> k) & 1u))
                                s[k] = net2_get(dummies->of[k], i);
                share = rf_deembed_share(method, s, net2_z_real(first));
                if (share <= 1)
                        ret->computed_hz = first->axis->hz[i];
                else {
                        ret->whole = false;
                        beyond_hz = first->axis->hz[i];
                }
        }
        char practice[80] = "no limit by common practice";
        if (isfinite(row->good_hz))
                snprintf(practice, sizeof practice, "good to %.3g GHz by common practice", row->good_hz / 1e9);
        if (ret->whole)
                snprintf(ret->say, sizeof ret->say, "%s: %s; on these dummies to the end of the sweep at %.4g GHz (%s stays below %.3g)",
                         row->word, practice, ret->computed_hz / 1e9, row->limit_figure, row->limit_bound);
        else if (isnan(share))
                snprintf(ret->say, sizeof ret->say,
                         "%s: %s; on these dummies nothing can be said from %.4g GHz on (there %s has no value: is one of them named "
                         "twice?)",
                         row->word, practice, beyond_hz / 1e9, row->limit_figure);
        else if (isnan(ret->computed_hz))
                snprintf(ret->say, sizeof ret->say, "%s: %s; on these dummies nowhere (already at %.4g GHz %s is %.3g of its bound %.3g)",
                         row->word, practice, beyond_hz / 1e9, row->limit_figure, share, row->limit_bound);
        else
                snprintf(ret->say, sizeof ret->say, "%s: %s; on these dummies below %.4g GHz (there %s is %.3g of its bound %.3g)",
                         row->word, practice, beyond_hz / 1e9, row->limit_figure, share, row->limit_bound);
        return CODE_OK;
}
