/* modes_name.c: which of the modes it was, in a sentence (modes.h).
 * Idea        The mode whose value stands highest above its u; what all others above three sigma weigh beside it is the doubt about it, and
 *             so is what no mode explains. */
#include "rf/trust/modes.h"
#include <math.h>
#include <stdio.h>

struct candidate {
        enum rf_mode_cause cause;
        int port;
        size_t reading;
        struct rf_mode mode;
        double weight; /* (value/u)^2: what leaving it out would cost */
};

static void consider(struct candidate best[2], enum rf_mode_cause cause, int port, size_t reading, struct rf_mode m, double *all)
{
        double weight = m.u > 0 ? m.value / m.u * (m.value / m.u) : 0;
        struct candidate c = {cause, port, reading, m, weight};
        *all += weight > 9 ? weight : 0; /* three sigma: smaller ones are scatter */
        if (weight > best[0].weight) {
                best[1] = best[0];
                best[0] = c;
        } else if (weight > best[1].weight) {
                best[1] = c;
        }
}

static int words(const struct candidate *c, const struct rf_mode_reading *readings, char *to, size_t room)
{
        switch (c->cause) {
        case RF_CAUSE_DELAY:
                return snprintf(to, room, "delay of port %d %+.3g fs (u %.2g)", c->port + 1, c->mode.value * 1e15, c->mode.u * 1e15);
        case RF_CAUSE_LOSS:
                return snprintf(to, room, "loss of port %d %+.3g dB at the highest frequency (u %.2g)", c->port + 1, c->mode.value,
                                c->mode.u);
        case RF_CAUSE_TRANSMISSION:
                return snprintf(to, room, "delay of the transmission alone %+.3g fs (u %.2g)", c->mode.value * 1e15, c->mode.u * 1e15);
        case RF_CAUSE_CONTACT_R:
                return snprintf(to, room, "contact resistance of port %d on %s %+.3g ohm (u %.2g)", c->port + 1, readings[c->reading].name,
                                c->mode.value, c->mode.u);
        case RF_CAUSE_CONTACT_L:
                return snprintf(to, room, "contact inductance of port %d on %s %+.3g pH (u %.2g)", c->port + 1, readings[c->reading].name,
                                c->mode.value * 1e12, c->mode.u * 1e12);
        case RF_CAUSE_UNKNOWN:
        case RF_CAUSE_NOTHING:
        case RF_CAUSE_NO_MODE:
        case RF_CAUSE_COUNT:
                break;
        }
        return 0;
}

void rf_modes_name(const struct rf_modes *m, const struct rf_mode_reading *readings, size_t reading_n, struct rf_mode_name *ret)
{
        struct candidate best[2] = {{.port = -1}, {.port = -1}};
        double all = 0;
        for (int port = 0; port < 2; port++) {
                consider(best, RF_CAUSE_DELAY, port, 0, m->delay_s[port], &all);
                consider(best, RF_CAUSE_LOSS, port, 0, m->loss_db[port], &all);
                for (size_t k = 0; k < reading_n; k++) {
                        if (!readings[k].touched)
                                continue;
                        consider(best, RF_CAUSE_CONTACT_R, port, k, m->contact_ohm[k][port], &all);
                        consider(best, RF_CAUSE_CONTACT_L, port, k, m->contact_h[k][port], &all);
                }
        }
        consider(best, RF_CAUSE_TRANSMISSION, -1, 0, m->transmission_s, &all);
        *ret = (struct rf_mode_name){.port = -1};
        if (m->ratio > 3 && m->left_share > 0.3) {
                size_t worst = 0;
                for (size_t k = 1; k < reading_n; k++)
                        if (m->residual[k] > m->residual[worst])
                                worst = k;
                ret->cause = RF_CAUSE_NO_MODE;
                ret->confidence = m->left_share;
                ret->reading = worst;
                ret->value = m->residual[worst];
                snprintf(ret->sentence, sizeof ret->sentence,
                         "none of the modes: %.0f %% of what moved is left, %.3g x noise, most on %s (%.2g rms): a bad touch, a damaged "
                         "copy or "
                         "tip, or a step between bands",
                         100 * m->left_share, m->ratio, readings[worst].name, m->residual[worst]);
                return;
        }
        if (!(best[0].weight > 9)) {
                ret->cause = RF_CAUSE_NOTHING;
                ret->confidence = 1;
                snprintf(ret->sentence, sizeof ret->sentence, "nothing has moved beyond what repeats; residual %.2g x noise", m->ratio);
                return;
        }
        ret->cause = best[0].cause;
        ret->port = best[0].port;
        ret->reading = best[0].reading;
        ret->value = best[0].mode.value;
        ret->u = best[0].mode.u;
        ret->confidence = best[0].weight / all * (1 - fmin(1, fmax(0, m->ratio > 1 ? m->left_share * (1 - 1 / (m->ratio * m->ratio)) : 0)));
        char text[110] = "", second[110] = "";
        words(&best[0], readings, text, sizeof text);
        if (best[1].weight > 25)
                words(&best[1], readings, second, sizeof second);
        snprintf(ret->sentence, sizeof ret->sentence, "%.100s%s%.80s; residual %.2g x noise", text, second[0] ? ", and " : "", second,
                 m->ratio);
}
