/* fit_poles.h: poles of vector_fit.c: moved, weighed, settled, grown, dropped.  Frequencies and poles in units of the top of the band. */
#ifndef TIPPLANE_RF_FIT_POLES_H
#define TIPPLANE_RF_FIT_POLES_H
#include "rf/models/fit_own.h"

#define FIT_HOT __attribute__((optimize("O3", "no-math-errno", "no-trapping-math")))
#define FEW_MAX 768

struct poles { /* in units of 2 pi f_max */
        size_t n;
        double complex p[RF_FIT_ORDER_MAX];
};
/* Frequencies of a fit: all of them, or the few that settle the poles. */
struct grid {
        size_t n, q;
        const double *x;                                                                          /* f / f_max */
        const double *re[RF_FIT_ELEMENTS_MAX], *im[RF_FIT_ELEMENTS_MAX], *w[RF_FIT_ELEMENTS_MAX]; /* w NULL: one */
        bool shared;                                                                              /* one weight for all elements */
        double signal2;                                                                           /* sum |w H|^2 */
};
struct work {
        double *x, *weight, *where, *own, *top, *sigma, *block, *phi, *gram, *few;
        bool constant, proportional, hold_dc;
        double dc[RF_FIT_ELEMENTS_MAX];
        double coefficient[FIT_OWN_MAX * RF_FIT_ELEMENTS_MAX]; /* of the last residues(): own x q */
        double carried[RF_FIT_ORDER_MAX];                      /* mean square of each listed pole's part, of the last weigh() */
        unsigned rounds, rounds_max;
};

/* A pair counts 2. */
size_t fit_order_of(const struct poles *p);
/* New poles for old, by reflections; false: no finite solution, poles as they were. */
bool fit_relocate(struct work *w, const struct grid *g, struct poles *p, double *ret_move);
/* The same by normal equations; *ret_rms: of the poles as they come in. */
bool fit_relocate_fast(struct work *w, const struct grid *g, struct poles *p, double *ret_rms, double *ret_move);
/* Fills w->coefficient; the rms of |w (model - H)|. */
double fit_residues(struct work *w, const struct grid *g, const struct poles *p);
/* The model of w->coefficient against the data: rms, worst, where (n values), w->carried. */
double fit_weigh(struct work *w, const struct grid *g, const struct poles *p, struct fit_report *report, double *where);
/* Start poles over the band. */
struct poles fit_start(const struct grid *g, size_t order);
/* Relocates until poles stand still or the rms has not fallen `patience` times; *p is the best seen, its rms is returned. */
double fit_settle(struct work *w, const struct grid *g, struct poles *p, unsigned rounds, unsigned patience, double floor);
/* At most m points of the sweep, in w->few; the sweep itself when it is not much longer. */
struct grid fit_few(const struct work *w, const struct grid *g, size_t m);
/* How many points settle so many poles. */
size_t fit_few_for(size_t order);
/* Poles that were settled on few points, on all. */
void fit_polish(struct work *w, const struct grid *g, struct poles *p, double few_rms, double signal_rms);
/* By rising |p|. */
void fit_sort(struct poles *p);
/* Is there a pole whose part lies within reach of the rms?  (w->carried) */
bool fit_something_idle(const struct work *w, const struct poles *p, double rms, double exact);
/* Takes out poles whose leaving costs nothing; the rms that is left. */
double fit_prune(struct work *w, const struct grid *g, struct poles *p, double rms, double exact, double allowed);
/* Order by growth; report: stop and order_tried. */
struct poles fit_grow(struct work *w, const struct grid *all, double seen, double noise, size_t most, double floor, struct fit_report *ret);

#endif
