/* coverage.h: what the parts of the coverage judge share (coverage.c). */
#ifndef TIPPLANE_TESTS_COVERAGE_H
#define TIPPLANE_TESTS_COVERAGE_H
#include "evaluate/evaluate.h"
#include "simulators/analyzer.h"
#include "simulators/standard.h"
#include "simulators/touch.h"
#include "simulators/true_values.h"
#include "simulators/wafer.h"

enum { PARAMETERS_MAX = 64 };

struct station {
        struct scenario scenario;
        const struct recipe *recipe;
        struct sim_wafer wafer;
        struct sim_system *system;
        double *hz, *ifbw;
        size_t n;
        double now_s;
        struct sim_drift moved[2]; /* of each port since the calibration, beyond the scenario's own drift */
        int64_t sweeps;
        double bent[2]; /* the receiver of each port reads |m|^(1 + bent) */
};

struct seen { /* what lies under the tips */
        const struct sim_device *device;
        struct sim_pads pads;
        struct sim_copy copy;
        bool air, standard;
        double raised_f[2];
        struct sim_bias bias;
        struct sim_touch touch;
        double longer_f[2]; /* of a device's pads: what more or less lies behind the tips, with its share of their loss */
};

/* coverage_sight.c: the simulated physics as the daemon's chain reads it. */
struct seen standard_seen(const struct station *st, const char *name, int touch);
struct seen device_seen(const struct station *st, int at, const struct sim_bias *bias);
struct true_at at_condition(const struct scenario *s, const struct measure *me, size_t condition);
struct raw_sweep sweep(struct station *st, const struct seen *v, struct arena *arena);

/* coverage_tally.c: each answer against the truth, and what all of them come to. */
struct tally {
        const char *device, *name;
        size_t n, within, far, refused;
        double squares, sum, worst, u95_share;
        char budget[BUDGET_ROOM], reason[120];
};
struct tallies {
        struct tally of[PARAMETERS_MAX];
        size_t n;
        double seconds;
        size_t sweeps;
};
void count(struct tallies *all, const struct station *st, const struct measure *me, const struct sim_device *device,
           const struct parameter_answer *a, const struct parameter_plan *p);
/* One line per parameter, then the verdict; words: the command's arguments behind its name.  How many failed. */
size_t report(const struct tallies *all, char **words, int word_n, size_t touches, int first);

#endif
