/* drift.c: slow changes of the ports; see drift.h. */
#include "simulators/drift.h"
#include "simulators/draws.h"
#include <math.h>

#define GRID_S 60.0

double room_k(const struct scenario *s, double t_s)
{
        double share = (t_s - s->drift.setback_at_s) / s->drift.setback_s, smooth = share <= 0   ? 0
                                                                                    : share >= 1 ? 1
                                                                                                 : share * share * (3 - 2 * share);
        return -s->drift.setback_k * smooth + s->drift.cycle_k * sin(6.283185307179586 * t_s / s->drift.cycle_s);
}

/* One normal for each minute and port, summed: a walk whose standard deviation after an hour is 1. */
static double walk(const struct scenario *s, int port, int what, double t_s)
{
        double sum = 0, step = sqrt(GRID_S / 3600), whole = floor(t_s / GRID_S), rest = t_s / GRID_S - whole;
        for (int64_t i = 0; i <= (int64_t)whole; i++) {
                struct draws r = draws_of((uint64_t)s->seed, DRAW_WALK, port, what, i, 0);
                sum += step * draw_normal(&r) * (i < (int64_t)whole ? 1 : rest);
        }
        return sum;
}

struct sim_drift drift_of(const struct scenario *s, int port, double t_s, double on_s)
{
        struct draws own = draws_of((uint64_t)s->seed, DRAW_ROOM, port, 0, 0, 0);
        double fs_per_k = draw_between(&own, s->drift.fs_per_k_min, s->drift.fs_per_k_max), k = room_k(s, t_s),
               cold = exp(-on_s / s->drift.warmup_s);
        struct sim_drift d = {s->drift.walk_fs * walk(s, port, 0, t_s) + fs_per_k * k + s->drift.warmup_fs * cold,
                              s->drift.walk_db * walk(s, port, 1, t_s) + s->drift.db_per_k * k + s->drift.warmup_db * cold};
        return d;
}
