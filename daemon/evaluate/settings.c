/* settings.c: how the analyzer stood, by its own word: what was asked for proves nothing.
 * Attenuator  a step changes a port's match and its switch terms: it may not move within a calibration, nor after it.
 * Power       the domain's is what was read back, where it was.
 * Bandwidth   the noise that is reckoned with is that of the plan's IF bandwidth: a sweep with another one is not what its u95 says. */
#include "evaluate/inside.h"
#include <math.h>

#define ATTENUATOR_DB 1e-6 /* it moves by whole steps */
#define IFBW_SHARE 0.01    /* of the plan's: a digital filter's bandwidth is a number, not a tolerance */

static enum code ifbw_as_planned(const struct raw_sweep *raw, const struct sweep_plan *plan, struct tp_error *err)
{
        double low = INFINITY, high = 0;
        for (size_t k = 0; plan && k < plan->segment_n; k++) {
                low = fmin(low, plan->segments[k].ifbw_hz);
                high = fmax(high, plan->segments[k].ifbw_hz);
        }
        const double *is = raw->settings.ifbw_hz, asked[2] = {low, high};
        for (int end = 0; end < 2 && raw->settings.has_ifbw && high > 0; end++)
                if (!(fabs(is[end] - asked[end]) <= IFBW_SHARE * asked[end]))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "the analyzer swept with %.6g Hz of IF bandwidth, plan %s asks for %.6g Hz: its noise is another; set "
                                "it, or ask for one that it has",
                                is[end], plan->name, asked[end]);
        return CODE_OK;
}

enum code settings_of_sweep(const struct raw_sweep *raw, const struct sweep_plan *plan, struct domain_sweep *s, struct tp_error *err)
{
        for (int k = 0; k < 2; k++) {
                if (raw->settings.has_attenuator)
                        s->attenuator_db[k] = raw->settings.attenuator_db[k];
                if (raw->settings.has_power)
                        s->power_dbm[k] = raw->settings.power_dbm[k];
        }
        return ifbw_as_planned(raw, plan, err);
}

enum code settings_of_standards(const struct recipe *r, const struct standard_sweep *of, size_t n, struct domain *d, struct tp_error *err)
{
        const struct sweep_plan *plan = recipe_sweep(r, r->calibration.sweep);
        double power[2] = {NAN, NAN};
        for (size_t k = 0; k < n; k++) {
                const struct analyzer_settings *s = &of[k].raw->settings;
                const char *name = r->standards[of[k].standard].name;
                enum code code = ifbw_as_planned(of[k].raw, plan, err);
                if (code)
                        return tp_where(err, "standard %s", name);
                for (int port = 0; port < 2 && s->has_attenuator; port++) {
                        double *is = &d->attenuator_db[port];
                        if (!isnan(*is) && !(fabs(*is - s->attenuator_db[port]) <= ATTENUATOR_DB))
                                return tp_fail(
                                        err, CODE_BAD_INPUT,
                                        "standard %s was swept with port %d's source attenuator at %.4g dB, those before it at %.4g dB: "
                                        "match and switch terms are others; set it back and sweep all again",
                                        name, port + 1, s->attenuator_db[port], *is);
                        *is = s->attenuator_db[port];
                }
                if (s->has_power) { /* fmin and fmax pass over NaN */
                        power[0] = fmin(power[0], s->power_dbm[0]);
                        power[1] = fmax(power[1], s->power_dbm[1]);
                }
        }
        for (int end = 0; end < 2 && !isnan(power[0]); end++)
                d->power_dbm[end] = power[end];
        return CODE_OK;
}
