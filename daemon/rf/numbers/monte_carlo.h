/* monte_carlo.h: distributions carried through a model by drawing (JCGM 101:2008), and whether the linear result may be used instead.
   The generator is the caller's and seeded by him: the same seed gives the same numbers on every machine.  Memory is the caller's: one
   column of doubles per output.  Pure, any thread. */
#ifndef TIPPLANE_RF_MONTE_CARLO_H
#define TIPPLANE_RF_MONTE_CARLO_H
#include "base/error.h"
#include <complex.h>
#undef I
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct random {
        uint64_t s[4];
        double kept; /* the second normal of a pair */
        bool has_kept;
};
/* Streams of one seed do not overlap in practice: the state is a hash of both. */
struct random random_of(uint64_t seed, uint64_t stream);
uint64_t random_bits(struct random *);
double random_uniform(struct random *); /* [0, 1) */
double random_normal(struct random *);  /* mean 0, standard deviation 1 */

/* What is known of an input (JCGM 101:2008, 6.4).  All are drawn with standard deviation 1, mean 0. */
enum shape {
        SHAPE_UNKNOWN,
        SHAPE_NORMAL,      /* a value with a standard uncertainty */
        SHAPE_RECTANGULAR, /* limits alone: half width sqrt(3) */
        SHAPE_TRIANGULAR,  /* sum of two alike: half width sqrt(6) */
        SHAPE_ARCSINE,     /* something that cycles: half width sqrt(2) */
        SHAPE_STUDENT,     /* few readings: nu degrees of freedom; scaled by u = s/sqrt(n), so its standard deviation is wider */
        SHAPE_COUNT
};
double random_shape(struct random *, enum shape, double nu);

struct input {
        enum shape shape;
        double mean, u, nu;
        bool shared; /* drawn once per trial for all sweeps: of the calibration.  false: drawn anew for each sweep */
};
/* One sweep's outputs y[m] from x[n].  false: no value; the trial counts as lost. */
typedef bool trial_model(const double *x, size_t sweep, double *y, void *context);
struct trials {
        size_t draws;   /* >= 100 */
        size_t sweeps;  /* >= 1: sweeps under one calibration in each trial */
        size_t outputs; /* of one sweep */
        double *x;      /* [n] scratch */
        double *y;      /* ret [sweeps * outputs][draws]: columns */
        double *one;    /* [outputs] scratch */
        size_t lost;    /* ret: trials without a value; their places are left out, so columns hold draws - lost numbers */
};
/* CODE_BAD_INPUT: an input without shape or with a bad u, too few draws.  CODE_UNRESOLVABLE: more than half of the trials were lost. */
enum code monte_carlo(trial_model *model, void *context, const struct input *in, size_t n, struct random *r, struct trials *t,
                      struct tp_error *err);

/* A column of M >= 100 numbers as an estimate.  The column is sorted in place. */
struct drawn {
        double mean, u;
        double low, high;             /* probabilistically symmetric interval of probability p */
        double short_low, short_high; /* the shortest one */
};
enum code drawn_of(double *column, size_t draws, double p, struct drawn *ret, struct tp_error *err);

/* Half a unit of the last of `digits` (1 or 2) significant digits of u (JCGM 101:2008, 7.9.2). */
double numerical_tolerance(double u, int digits);
/* Whether y +- half_width may stand for the drawn distribution: both ends agree within the numerical tolerance (JCGM 101:2008, 8.1).
   ret_low, ret_high: the distances (may be NULL). */
bool linear_is_valid(double y, double u, double half_width, const struct drawn *, int digits, double *ret_low, double *ret_high);

/* Rising order, in place, no memory of its own. */
void sort_rising(double *x, size_t n);

#endif
