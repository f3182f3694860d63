/* simulators/: the physics of wafer, standards, probes and instruments, as the station driver "simulated".  May use: base/, wafer/, and the
   types of station/roles.h.  Must not use: rf/ (the physics is written independently: nodal admittances and waves, with effects that no
   correction models). Read scenario.h first, then device.h, bench.h, roles_sim.c.  The judge in judge/ compares a run with the sealed
   truth.

   draws.h: random numbers by key.  A draw depends on (seed, what, a, b, c, d) and on nothing drawn before, so a new draw in one place
   shifts no other, and a station process that starts again sees the same wafer, the same copies and the same noise. Generator: xoshiro256**
   (Blackman & Vigna, ACM TOMS 47 (2021) 36), its state filled by splitmix64 from the key.  Pure; the struct is the caller's. */
#ifndef TIPPLANE_SIMULATORS_DRAWS_H
#define TIPPLANE_SIMULATORS_DRAWS_H
#include <stdbool.h>
#include <stdint.h>

enum draw_of { /* one per subsystem; stored nowhere, but their order is part of every published seed: append only */
               DRAW_NONE,
               DRAW_DIE,
               DRAW_DEVICE,
               DRAW_PADS,
               DRAW_COPY,
               DRAW_TOUCH,
               DRAW_TOUCH_FAULT,
               DRAW_SYSTEM,
               DRAW_NOISE,
               DRAW_WALK,
               DRAW_ROOM,
               DRAW_HOME,
               DRAW_ALIGN,
               DRAW_METER,
               DRAW_BIAS,
               DRAW_DEFECT,
               DRAW_INSTRUMENT_FAULT,
               DRAW_CHUCK,
               DRAW_FLEX
};
struct draws {
        uint64_t s[4];
};

struct draws draws_of(uint64_t seed, enum draw_of what, int64_t a, int64_t b, int64_t c, int64_t d);
uint64_t draw_bits(struct draws *);
double draw_uniform(struct draws *); /* [0, 1) */
double draw_between(struct draws *, double low, double high);
double draw_normal(struct draws *);                      /* mean 0, standard deviation 1; polar method, |x| < 8.6 */
double draw_normal_within(struct draws *, double limit); /* the same, drawn again beyond +-limit */
bool draw_chance(struct draws *, double probability);
/* Key of a name, for the a…d above. */
int64_t draw_key(const char *name);

#endif
