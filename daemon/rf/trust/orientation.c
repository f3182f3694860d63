/* orientation.c: the way round (orientation.h).
 * Not here    repairing: data that are the wrong way round are refused or recorded again, for who turns them silently turns the right ones
 *             one day. */
#include "rf/trust/orientation.h"
#include "rf/correct/correct.h"
#include "rf/trust/plausible.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static struct m2 turned(struct m2 s, unsigned turn)
{
        if (turn & RF_TURN_CONJUGATED)
                for (int k = 0; k < 4; k++)
                        s.e[k] = conj(s.e[k]);
        if (turn & RF_TURN_PORTS)
                s = m2_of(s.e[3], s.e[2], s.e[1], s.e[0]);
        if (turn & RF_TURN_TRANSMISSIONS)
                s = m2_of(s.e[0], s.e[2], s.e[1], s.e[3]);
        return s;
}

static const char *const turn_words[RF_TURN_COUNT] = {
        "the data are the right way round",
        "the data are conjugated: a file or program of the other sign of time (e^{-jwt})",
        "ports 1 and 2 are exchanged: probes, cables or port numbers",
        "conjugated, and ports 1 and 2 exchanged",
        "S21 and S12 are exchanged: a two-port file read row by row",
        "conjugated, and S21 and S12 exchanged",
        "S11 and S22 are exchanged while S21 and S12 are not: two columns of a file",
        "conjugated, and S11 and S22 exchanged",
};

enum code rf_orientation_of(const struct net2 *net, const struct net2 *known, struct rf_orientation *ret, struct tp_error *err)
{
        double sum[RF_TURN_COUNT] = {0}, apart[RF_TURN_COUNT] = {0};
        if (!axis_equal(net->axis, known->axis) || net->axis->n == 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "orientation: the reading has %zu frequencies, the known standard %zu; both must have one list",
                               net->axis->n, known->axis->n);
        for (size_t i = 0; i < net->axis->n; i++) {
                struct m2 s = net2_get(net, i), want = net2_get(known, i);
                for (unsigned t = 0; t < RF_TURN_COUNT; t++) {
                        struct m2 h = turned(want, t); /* each turn undoes itself, so the standard may be turned instead */
                        for (int k = 0; k < 4; k++) {
                                double complex d = s.e[k] - h.e[k], o = h.e[k] - want.e[k];
                                sum[t] += creal(d * conj(d));
                                apart[t] += creal(o * conj(o));
                        }
                }
                if (!isfinite(sum[0]))
                        return tp_fail(err, CODE_BAD_INPUT, "orientation: at %.9g Hz S of the reading or of the standard is not a number",
                                       net->axis->hz[i]);
        }
        double n = 4 * (double)net->axis->n;
        unsigned best = 0, twins = 0;
        for (unsigned t = 0; t < RF_TURN_COUNT; t++)
                if (sum[t] < sum[best] * (1 - 1e-9))
                        best = t;
        ret->next = INFINITY;
        for (unsigned t = 0; t < RF_TURN_COUNT; t++) {
                double between = 0; /* do both give the same numbers for this standard? */
                for (size_t i = 0; i < net->axis->n; i++) {
                        struct m2 want = net2_get(known, i), a = turned(want, t), b = turned(want, best);
                        for (int k = 0; k < 4; k++)
                                between += creal((a.e[k] - b.e[k]) * conj(a.e[k] - b.e[k]));
                }
                if (t != best && between < sum[best] + 1e-12 * n)
                        twins |= 1u << t;
                else if (t != best && sum[t] < ret->next)
                        ret->next = sum[t];
        }
        ret->turn = best;
        ret->distance = sqrt(sum[best] / n);
        ret->next = sqrt(ret->next / n);
        ret->decided = ret->next >= 3 * ret->distance && !(best != 0 && (twins & 1u));
        int used =
                snprintf(ret->sentence, sizeof ret->sentence, "%s%s (%.2g from the standard, otherwise %.2g)",
                         ret->decided ? "" : "not to be decided by this standard; nearest: ", turn_words[best], ret->distance, ret->next);
        if (used > 0 && (size_t)used < sizeof ret->sentence && (twins & ((1u << RF_TURN_PORTS) | (1u << RF_TURN_TRANSMISSIONS))))
                snprintf(ret->sentence + used, sizeof ret->sentence - (size_t)used, "; this standard cannot tell an exchange of %s",
                         twins & (1u << RF_TURN_PORTS) ? "ports" : "S21 and S12");
        return CODE_OK;
}

/* Mean advance of the phase per Hz, and how steady it is: |sum of products| against the sum of their sizes. */
static double slope_of(const struct net2 *net, int e, double *ret_size, double *ret_steady)
{
        double turn = 0, weight = 0, half = 0, size = 0;
        for (size_t i = 1; i < net->axis->n; i++) {
                double complex a = CMPLX(net->re[e][i - 1], net->im[e][i - 1]), b = CMPLX(net->re[e][i], net->im[e][i]), p = b * conj(a);
                double w = cabs(p), step = carg(p);
                turn += w * step;
                weight += w * (net->axis->hz[i] - net->axis->hz[i - 1]);
                half += fabs(step) > 2 ? w : 0;
                size += w;
        }
        *ret_size = size / (double)(net->axis->n - 1);
        *ret_steady = size > 0 ? 1 - half / size : 0;
        return weight > 0 ? turn / weight : NAN;
}

enum code rf_sign_of_time(const struct net2 *net, struct rf_orientation *ret, struct tp_error *err)
{
        if (net->axis->n < 3)
                return tp_fail(err, CODE_BAD_INPUT, "sign of time: %zu points are too few, it takes 3", net->axis->n);
        double size[4], steady[4], slope[4];
        for (int e = 0; e < 4; e++)
                slope[e] = slope_of(net, e, &size[e], &steady[e]);
        int e = size[2] >= 0.01 ? 2 : size[1] >= 0.01 ? 1 : size[0] >= size[3] ? 0 : 3;
        static const char *const entry[] = {"S11", "S12", "S21", "S22"};
        double span = net->axis->hz[net->axis->n - 1] - net->axis->hz[0];
        if (!isfinite(slope[e]))
                return tp_fail(err, CODE_BAD_INPUT, "sign of time: %s is not a number somewhere in the sweep; sweep again", entry[e]);
        ret->distance = -slope[e] / RF_TWO_PI;
        ret->next = NAN;
        ret->turn = slope[e] > 0 ? RF_TURN_CONJUGATED : 0;
        ret->decided = steady[e] > 0.9 && fabs(slope[e] * span) > 0.05;
        if (!ret->decided)
                snprintf(ret->sentence, sizeof ret->sentence,
                         steady[e] > 0.9 ? "%s hardly turns over the sweep: the sign of time cannot be seen"
                                         : "%s turns by half between points: the sign of time cannot be seen; sweep finer",
                         entry[e]);
        else if (ret->turn)
                snprintf(ret->sentence, sizeof ret->sentence, "%s comes %.3g ps before it was sent: its phase rises with frequency; %s",
                         entry[e], -ret->distance * 1e12, turn_words[RF_TURN_CONJUGATED]);
        else
                snprintf(ret->sentence, sizeof ret->sentence, "%s is %.3g ps late: %s", entry[e], ret->distance * 1e12, turn_words[0]);
        return CODE_OK;
}

/* ---- switch terms ------------------------------------------------------------------------------------------------------------------- */
static struct m2 under(enum rf_switch_use use, struct m2 m, double complex f, double complex r)
{
        switch (use) {
        case RF_SWITCH_EXCHANGED:
                return rf_switch_remove_point(m, r, f);
        case RF_SWITCH_NONE:
                return m;
        case RF_SWITCH_CONJUGATED:
                return rf_switch_remove_point(m, conj(f), conj(r));
        case RF_SWITCH_ORDER:
                return rf_switch_remove_point(m2_of(m.e[0], m.e[2], m.e[1], m.e[3]), f, r);
        case RF_SWITCH_ORDER_EXCHANGED:
                return rf_switch_remove_point(m2_of(m.e[0], m.e[2], m.e[1], m.e[3]), r, f);
        case RF_SWITCH_AS_GIVEN:
        case RF_SWITCH_USE_COUNT:
                break;
        }
        return rf_switch_remove_point(m, f, r);
}

static const char *const use_words[RF_SWITCH_USE_COUNT] = {
        "the switch terms belong to these readings as given",
        "forward and reverse switch terms are exchanged",
        "the readings have no switch terms inside: the analyzer or a program has removed them already; remove them no second time",
        "the switch terms are of the other sign of time than the readings",
        "S21 and S12 of the readings are exchanged: two-port files read row by row",
        "S21 and S12 of the readings and forward and reverse of the switch terms are exchanged: one of both comes from exchanged ports",
};

enum code rf_switch_judge(const struct net2 *const *raw, size_t raw_n, const struct switch_terms *sw, struct rf_switch_judgement *ret,
                          struct tp_error *err)
{
        if (raw_n < 2 || raw_n > 16)
                return tp_fail(err, CODE_BAD_INPUT, "switch terms: judged by 2 to 16 reciprocal two-ports that transmit, not by %zu",
                               raw_n);
        for (size_t k = 0; k < raw_n; k++)
                if (!axis_equal(raw[k]->axis, sw->axis))
                        return tp_fail(err, CODE_BAD_INPUT, "switch terms: reading %zu has %zu frequencies of its own, the terms %zu", k,
                                       raw[k]->axis->n, sw->axis->n);
        double sum[RF_SWITCH_USE_COUNT] = {0};
        size_t count = 0;
        for (size_t i = 0; i < sw->axis->n; i++) {
                double complex f = CMPLX(sw->f_re[i], sw->f_im[i]), r = CMPLX(sw->r_re[i], sw->r_im[i]);
                bool transmits = true;
                for (size_t k = 0; k < raw_n; k++) {
                        struct m2 m = net2_get(raw[k], i);
                        transmits = transmits && cabs(m.e[1]) > 1e-3 && cabs(m.e[2]) > 1e-3;
                }
                if (!transmits)
                        continue;
                count++;
                for (int use = 0; use < RF_SWITCH_USE_COUNT; use++) {
                        double complex ratio[16], mean = 0;
                        for (size_t k = 0; k < raw_n; k++) {
                                struct m2 s = under((enum rf_switch_use)use, net2_get(raw[k], i), f, r);
                                ratio[k] = s.e[1] / s.e[2];
                                mean += ratio[k] / (double)raw_n;
                        }
                        double one = 0;
                        for (size_t k = 0; k < raw_n; k++)
                                one += creal((ratio[k] - mean) * conj(ratio[k] - mean));
                        sum[use] += one / ((double)(raw_n - 1) * creal(mean * conj(mean)));
                }
        }
        if (count == 0)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "switch terms: at none of %zu frequencies do all %zu readings transmit; give thrus or lines", sw->axis->n,
                               raw_n);
        int best = 0, next = -1;
        for (int use = 0; use < RF_SWITCH_USE_COUNT; use++) {
                ret->scatter[use] = sqrt(sum[use] / (double)count);
                if (!isfinite(ret->scatter[use]))
                        return tp_fail(err, CODE_BAD_INPUT, "switch terms: a reading or a term is not a number; sweep again");
                if (ret->scatter[use] < ret->scatter[best])
                        best = use;
        }
        for (int use = 0; use < RF_SWITCH_USE_COUNT; use++)
                if (use != best && (next < 0 || ret->scatter[use] < ret->scatter[next]))
                        next = use;
        ret->use = (enum rf_switch_use)best;
        ret->decided = ret->scatter[best] <= 0.7 * ret->scatter[next];
        snprintf(ret->sentence, sizeof ret->sentence, "%s%s (S12/S21 of %zu readings agrees to %.2g, otherwise to %.2g)",
                 ret->decided ? "" : "not to be decided by these readings; nearest: ", use_words[best], raw_n, ret->scatter[best],
                 ret->scatter[next]);
        return CODE_OK;
}

/* ---- floor -------------------------------------------------------------------------------------------------------------------------- */
enum code rf_floor_of(const struct net2 *open, const double *edges, size_t edge_n, struct rf_floor *ret, struct tp_error *err)
{
        static const double standard[] = {0, 1e8, 1e9, 10e9, 30e9, 54e9, 80e9, 110e9, 145e9, 330e9};
        const struct axis *a = open->axis;
        if (!edges) {
                edges = standard;
                edge_n = sizeof standard / sizeof standard[0];
        }
        if (edge_n < 2 || edge_n > RF_FLOOR_BANDS + 1)
                return tp_fail(err, CODE_BAD_INPUT, "floor: %zu limits make no 1 to %d bands", edge_n, RF_FLOOR_BANDS);
        for (size_t k = 1; k < edge_n; k++)
                if (!(edges[k] > edges[k - 1]))
                        return tp_fail(err, CODE_BAD_INPUT, "floor: the bands' limits must rise; limit %zu is %.9g Hz", k, edges[k]);
        for (size_t i = 0; i < a->n; i++) {
                struct m2 s = net2_get(open, i);
                double least = fmin(cabs(s.e[0]), cabs(s.e[3]));
                if (isnan(cabs(s.e[0]) + cabs(s.e[1]) + cabs(s.e[2]) + cabs(s.e[3])))
                        return tp_fail(err, CODE_BAD_INPUT, "floor: at %.9g Hz S is not a number; sweep again", a->hz[i]);
                if (a->hz[i] <= 40e9 && !(least >= 0.7))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "floor: at %.9g Hz |S11| is %.3g and |S22| %.3g: no open; raise both probes and sweep again",
                                       a->hz[i], cabs(s.e[0]), cabs(s.e[3]));
        }
        *ret = (struct rf_floor){0};
        for (size_t k = 0; k + 1 < edge_n; k++) {
                struct rf_floor_band b = {.from_hz = edges[k], .to_hz = edges[k + 1]};
                double level = 0, scatter = 0, twos = 0;
                for (size_t i = 0; i < a->n; i++) {
                        if (!(a->hz[i] >= edges[k] && a->hz[i] < edges[k + 1]))
                                continue;
                        b.n++;
                        for (int e = 1; e <= 2; e++) {
                                double complex s = CMPLX(open->re[e][i], open->im[e][i]);
                                level += creal(s * conj(s)) / 2;
                                if (i >= 1 && i + 1 < a->n && a->hz[i - 1] >= edges[k] && a->hz[i + 1] < edges[k + 1]) {
                                        double complex l = CMPLX(open->re[e][i - 1], open->im[e][i - 1]),
                                                       h = CMPLX(open->re[e][i + 1], open->im[e][i + 1]);
                                        /* by linear interpolation, so that an uneven grid adds nothing */
                                        double t = (a->hz[i] - a->hz[i - 1]) / (a->hz[i + 1] - a->hz[i - 1]);
                                        double complex d = s - (1 - t) * l - t * h;
                                        scatter += creal(d * conj(d)) / (2 * (1 + t * t + (1 - t) * (1 - t)));
                                        twos++;
                                }
                        }
                }
                if (b.n == 0)
                        continue;
                b.level = sqrt(level / (double)b.n);
                b.noise = twos > 0 ? sqrt(scatter / twos) : NAN;
                b.level_db = 20 * log10(b.level);
                b.noise_db = 20 * log10(b.noise);
                if (b.level > ret->band[ret->worst].level || ret->n == 0)
                        ret->worst = ret->n;
                ret->band[ret->n++] = b;
        }
        if (ret->n == 0)
                return tp_fail(err, CODE_BAD_INPUT, "floor: no point of the sweep lies in any band");
        const struct rf_floor_band *w = &ret->band[ret->worst];
        snprintf(ret->sentence, sizeof ret->sentence,
                 "raised tips read S21 of %.3g dB between %.3g and %.3g GHz, the highest of %zu bands; %s", w->level_db, w->from_hz / 1e9,
                 w->to_hz / 1e9, ret->n,
                 w->noise * sqrt(2) < 0.5 * w->level ? "it is smooth: the tips couple, and averaging will not help"
                                                     : "it is noise: averages or a smaller IF bandwidth help");
        return CODE_OK;
}
