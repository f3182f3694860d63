/* domain.c: see domain.h.  Frequencies compare to 1e-9, as wide as two programs may round the same list. */
#include "rf/trust/domain.h"
#include <math.h>
#include <string.h>

struct domain domain_unknown(void)
{
        return (struct domain){.from_hz = NAN,
                               .to_hz = NAN,
                               .spacing_um = NAN,
                               .temperature_c = NAN,
                               .temperature_k = DOMAIN_TEMPERATURE_K,
                               .power_dbm = {NAN, NAN},
                               .power_db = DOMAIN_POWER_DB,
                               .attenuator_db = {NAN, NAN}};
}

struct domain_sweep domain_sweep_unknown(void)
{
        return (struct domain_sweep){.from_hz = NAN,
                                     .to_hz = NAN,
                                     .spacing_um = NAN,
                                     .temperature_c = NAN,
                                     .power_dbm = {NAN, NAN},
                                     .attenuator_db = {NAN, NAN},
                                     .setup = ""};
}

/* Both told and apart by more than `by`. */
static bool differ(double a, double b, double by) { return !isnan(a) && !isnan(b) && !(fabs(a - b) <= by); }

enum code domain_contains(const struct domain *d, const struct domain_sweep *s, struct tp_error *err)
{
        const double slack = 1e-9;
        if (!(s->from_hz >= d->from_hz * (1 - slack)) || !(s->to_hz <= d->to_hz * (1 + slack))) {
                bool low = !(s->from_hz >= d->from_hz * (1 - slack));
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "the sweep %s %.9g GHz, outside the calibration's %.9g to %.9g GHz; calibrate over a wider sweep, or let this "
                        "one %s",
                        low ? "begins at" : "ends at", (low ? s->from_hz : s->to_hz) / 1e9, d->from_hz / 1e9, d->to_hz / 1e9,
                        low ? "begin higher" : "end lower");
        }
        if (d->setup[0] && s->setup[0] && strcmp(d->setup, s->setup) != 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the calibration belongs to setup %s, the sweep was taken with %s; calibrate this setup", d->setup,
                               s->setup);
        if (differ(d->spacing_um, s->spacing_um, 0.5))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the calibration was made with the signal tips %.6g um apart, the sweep with %.6g um; changing it ends a "
                               "calibration",
                               d->spacing_um, s->spacing_um);
        if (differ(d->temperature_c, s->temperature_c, d->temperature_k))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the calibration was made at %.4g degrees Celsius and holds within %.3g K, the sweep was taken at %.4g; "
                               "calibrate at this temperature",
                               d->temperature_c, d->temperature_k, s->temperature_c);
        for (int end = 0; end < 2; end++) {
                bool low = s->power_dbm[end]<d->power_dbm[0] - d->power_db, high = s->power_dbm[end]> d->power_dbm[1] + d->power_db;
                if (low || high)
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "the sweep drives the tips with %.4g dBm, the calibration with %.4g to %.4g dBm; more than %.3g dB "
                                       "apart the receivers are another instrument: calibrate at this power",
                                       s->power_dbm[end], d->power_dbm[0], d->power_dbm[1], d->power_db);
        }
        for (int port = 0; port < 2; port++)
                if (differ(d->attenuator_db[port], s->attenuator_db[port], 1e-6))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "port %d's source attenuator stands at %.4g dB, in the calibration at %.4g dB: match and switch terms "
                                "are others; set it back or calibrate again",
                                port + 1, s->attenuator_db[port], d->attenuator_db[port]);
        return CODE_OK;
}
