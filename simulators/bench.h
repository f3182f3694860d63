/* bench.h: the physical world of one simulated station: where the stage stands, what touches what, what is biased, what time it is.
   It outlives the process that drives it: the supply stays on and the probes stay down when tipplane-station dies, so this state is kept in
   a small file (scenario's state_file), or in the caller's memory (struct sim_kept), at most once per operation. Threads: every public
   function takes the bench's own lock where it needs it; bench_advance sleeps without it. */
#ifndef TIPPLANE_SIMULATORS_BENCH_H
#define TIPPLANE_SIMULATORS_BENCH_H
#include "simulators/analyzer.h"
#include "simulators/simulated.h"
#include "simulators/standard.h"
#include "simulators/touch.h"
#include "simulators/wafer.h"
#include <stdatomic.h>

#define SIM_PLACES 5 /* enum place */

struct bench_state {           /* what is kept */
        int64_t seed, targets; /* of the scenario it belongs to */
        int64_t now_ns, epoch_ns, power_on_ns;
        double x_um, y_um, z_um; /* as commanded; z: height over first contact */
        double spacing_um;       /* between the signal tips */
        int64_t flex_n, flex_ns; /* how often a positioner has moved, and when last */
        int32_t place;
        bool axes, in_contact, lamp;
        int32_t aligned;                                          /* bit per place */
        double off_x_um[SIM_PLACES], off_y_um[SIM_PLACES];        /* where the place really lies against where the stage believes it */
        int32_t target, touch;                                    /* in contact with: index, -1 bare; which touch of it */
        int64_t contact_ns;                                       /* since when */
        double volt[SIM_CHANNELS_MAX], limit_a[SIM_CHANNELS_MAX]; /* where a current is held, volt is its limit */
        double ampere[SIM_CHANNELS_MAX];                          /* held */
        int32_t held;                                             /* bit per channel */
        int64_t home_n, align_n, align_wafer_n, sweep_n, trigger_n, lower_n, bias_read_n, meter_n, chuck_n, touch_n, mains_n,
                told; /* told: bit per fault already in the truth */
        bool vacuum_lost;
};

struct bench {
        const struct world *world;
        struct arena *arena;
        struct scenario scenario;
        struct layout layout;
        struct sim_wafer wafer;
        struct bench_state state;
        uint16_t *touches; /* per target: devices of the wafer, then standards */
        size_t target_n;
        struct sim_kept *kept;
        struct lock *lock;
        bool stepped, moving;
        atomic_bool stop_asked;    /* any task: the motion in progress soon ends */
        struct sim_system *system; /* of the last frequency list */
        double complex *last;      /* last sweep, for a stale one: RAW_N columns */
        size_t last_n, room_n;
};

enum code bench_open(const struct world *, const char *config_json, size_t n, const char *base_dir, struct sim_kept *, struct bench **ret,
                     struct tp_error *);
void bench_close(struct bench *); /* NULL is fine */

void bench_lock(struct bench *);
void bench_unlock(struct bench *);
int64_t bench_now_ns(const struct bench *); /* the station's clock */
double bench_s(const struct bench *);       /* station time since the world's beginning */
/* Lets `seconds` pass.  CODE_CANCELLED, CODE_TIMED_OUT: only *ret_share (0…1) of it did.  Without the lock. */
enum code bench_advance(struct bench *, double seconds, struct call *, double *ret_share);
void bench_save(struct bench *); /* with the lock held, at the end of an operation */
/* What happens by itself when time has passed (mains): with the lock held, at the beginning of an operation. */
void bench_events(struct bench *);

/* One line into the truth's event log: a fault that took effect, a crash.  With the lock held. */
void bench_tell(struct bench *, const char *what, const char *detail);
int bench_target(const struct bench *); /* what lies under the tips now, -1: nothing */
const char *bench_target_name(const struct bench *, int target, char ret[64]);
struct sim_touch bench_touch(const struct bench *); /* the touch in force */
struct sim_now bench_drift(struct bench *);         /* also notes drift steps that have come into force */
/* What the tips see at hz, for the state in force.  Prepare once per sweep, then ask per point. */
struct bench_view {
        const struct bench *bench;
        bool air, bare;
        struct sim_touch touch;
        const struct sim_device *device;
        struct sim_pads pads;
        struct sim_copy copy;
        double overtravel_um, seconds, raised_f[2];
        struct sim_bias bias;
};
struct bench_view bench_look(const struct bench *);
struct y2 bench_s_at(const struct bench_view *, double hz);
void bench_ohm(const struct bench_view *, double ret_ohm[3]);
/* An instrument fault for the n-th call (from 1) of its kind? */
bool bench_fault(struct bench *, enum fault_kind, int64_t n, double rate);

/* state.c: *ret_found is false when nothing was kept yet */
enum code state_load(struct bench *, bool *ret_found, struct tp_error *);
/* truth.c */
enum code truth_write(const struct bench *, struct tp_error *);

#endif
