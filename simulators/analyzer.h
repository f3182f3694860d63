/* analyzer.h: the raw analyzer: what its receivers form when the tips see a two-port S.
   Waves through a flow graph: at each port directivity, tracking towards the tip and back, match; behind the port that is not driven a
   switch that reflects. The formed ratios b_i/a_j hold the switch terms inside; GF = a2/b2 with the source at port 1, GR = a1/b1 with the
   source at port 2. Noise after the receivers: a floor that grows with the IF bandwidth and trace noise that grows with the signal.  Pure
   but for the caller's memory. */
#ifndef TIPPLANE_SIMULATORS_ANALYZER_H
#define TIPPLANE_SIMULATORS_ANALYZER_H
#include "simulators/admittance.h"
#include "simulators/draws.h"
#include "simulators/drift.h"
#include <stddef.h>

enum { RAW_S11, RAW_S21, RAW_S12, RAW_S22, RAW_GF, RAW_GR, RAW_N };
extern const char *const raw_words[RAW_N];

struct port_terms {
        double complex directivity, match, out, in, load;
}; /* out: source to tip; in: tip to receiver; load: the switch, not driven */
/* Receiver to receiver (1 from 2, 2 from 1), receiver from the other tip, tip from the other source, tip to tip: of the proper paths. */
enum { LEAK_N = 8 };
struct sim_leak {
        double per_hz, delay_s;
};
struct sim_system { /* one frequency list */
        size_t n;
        double *hz;
        struct port_terms *port[2];
        double *floor, *trace; /* per ratio and component, at 1 Hz of IF bandwidth, no averages: floor sqrt(ifbw); trace sqrt(ifbw) */
        int *band;             /* 0…3: which multiplied band */
        struct sim_leak leak[LEAK_N];
};
/* Terms for a list of frequencies; smooth over frequency and the same for every list.  NULL when memory is short. */
struct sim_system *system_new(const struct scenario *, const double *hz, size_t n);
void system_free(struct sim_system *);

struct sim_now {
        struct sim_drift drift[2];
        double room_k;
};
/* ret[RAW_N] at point i, without noise. */
void system_form(const struct sim_system *, const struct sim_now *, size_t i, struct y2 s, double complex ret[RAW_N]);
/* Adds noise; ifbw_hz > 0, averages >= 1. */
void system_noise(const struct sim_system *, struct draws *, size_t i, double ifbw_hz, int averages, double complex raw[RAW_N]);
/* Band edges crossed between the lowest and the highest frequency, and the time they cost in both directions. */
double system_band_s(const struct scenario *, const double *hz, size_t n);

#endif
