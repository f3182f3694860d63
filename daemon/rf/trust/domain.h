/* domain.h: what a calibration may be used for: the frequencies, the setup, the temperature and the analyzer's state it was made in.
   No verdict without a calibration whose domain contains the sweep; this is the question, answered with a sentence.  Pure, any thread. */
#ifndef TIPPLANE_RF_DOMAIN_H
#define TIPPLANE_RF_DOMAIN_H
#include "base/error.h"

struct domain {
        double from_hz, to_hz;   /* lowest and highest frequency that has terms */
        char setup[32];          /* name of the setup (probes, cables, substrate); "": not told */
        double spacing_um;       /* between the signal tips; NaN: not told */
        double temperature_c;    /* of the chuck while the standards were read; NaN: not told */
        double temperature_k;    /* by which a sweep's may differ from it, either way */
        double power_dbm[2];     /* lowest and highest at the tips; NaN: not told */
        double power_db;         /* by which a sweep's may lie outside: receivers are linear only so far */
        double attenuator_db[2]; /* of the ports' sources: a step changes match and switch terms; NaN: not told */
};
#define DOMAIN_TEMPERATURE_K 2.0 /* loads change by parts in 10^4 a kelvin, chucks hold some tenths: common practice, no source */
#define DOMAIN_POWER_DB 10.0     /* 0.01 dB of compression in 10 dB: common practice, no source */
struct domain domain_unknown(void);

/* How a sweep was, or will be, taken.  NaN and "": not told, not compared. */
struct domain_sweep {
        double from_hz, to_hz, spacing_um, temperature_c, power_dbm[2], attenuator_db[2];
        const char *setup;
};
struct domain_sweep domain_sweep_unknown(void);
/* CODE_BAD_INPUT: "the sweep reaches 231 GHz, the calibration 0.07 to 220 GHz; …".  The first that does not fit is named; a NaN frequency
   fits nowhere. */
enum code domain_contains(const struct domain *domain, const struct domain_sweep *sweep, struct tp_error *err);

#endif
