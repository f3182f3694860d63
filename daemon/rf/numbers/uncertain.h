/* uncertain.h: uncertainty of complex numbers and of what is made of them, to first order (JCGM 100:2008, JCGM 102:2011).
   A complex x is the real pair (Re, Im) and its covariance a real 2x2 block; of many, the covariance of the stacked pairs.  An analytic
   function has a complex derivative D, whose real block is [[Re D, -Im D], [Im D, Re D]]: a circular uncertainty (equal in both parts, not
   correlated) stays circular.  Conversion to magnitude, phase and dB comes last.

   Real matrices are row-major, memory the caller's.  NaN in gives NaN out.  Pure, any thread. */
#ifndef TIPPLANE_RF_UNCERTAIN_H
#define TIPPLANE_RF_UNCERTAIN_H
#include "base/error.h"
#include <complex.h>
#undef I
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- linear propagation ------------------------------------------------------------------------------------------------------------- */
/* C_y = J C_x J^T.  j [m][n], c_x [n][n] symmetric, scratch [m][n], ret_c_y [m][m] (none may overlap). */
void covariance_through(size_t m, size_t n, const double *j, const double *c_x, double *scratch, double *ret_c_y);
/* The real block of a complex derivative, put at rows 2r, 2r+1 and columns 2c, 2c+1 of a Jacobian with `columns` real columns. */
void derivative_block(double complex d, double *jacobian, size_t columns, size_t r, size_t c);
/* The same for analytic y[m] of x[n]: d [m][n] complex, c_x [2n][2n], scratch [2m][2n] and [2m][2n] again (2 * 2m * 2n doubles), ret
   [2m][2m]. */
void covariance_through_analytic(size_t m, size_t n, const double complex *d, const double *c_x, double *scratch, double *ret_c_y);
/* Independent circular inputs with standard uncertainties u[n] per component: the one of y per component. */
double circular_through(size_t n, const double complex *d, const double *u);

/* Mean of n readings of m quantities (readings [n][m], n >= 2) and the covariance of the means, which keeps what readings taken together
   have in common (JCGM 100:2008, 5.2.3 and H.2). */
enum code covariance_of_means(size_t n, size_t m, const double *readings, double *ret_mean, double *ret_c, struct tp_error *err);
double correlation_of(const double *c, size_t n, size_t a, size_t b); /* of two quantities of an [n][n] covariance */

/* y[m] of x[n]; context as given.  false: no value there. */
typedef bool real_function(const double *x, double *y, void *context);
/* Central differences of step 1e-6 scale[k] (scale > 0: what a big change of x[k] would be).  x is moved and put back.  scratch: 2 m
   doubles, ret_j [m][n].  CODE_UNRESOLVABLE names the input at which the function has no value. */
enum code jacobian_of(real_function *f, void *context, size_t n, double *x, const double *scale, size_t m, double *scratch, double *ret_j,
                      struct tp_error *err);

/* ---- one complex number ------------------------------------------------------------------------------------------------------------- */
struct complex_cov {
        double re, re_im, im; /* variances and covariance */
};
static inline struct complex_cov complex_cov_circular(double u) { return (struct complex_cov){u * u, 0, u * u}; }
/* Of D x, D complex. */
struct complex_cov complex_cov_turned(struct complex_cov c, double complex d);

/* Semi-axes of the region that holds the number with probability p (0.95: 2.4477 standard deviations), and the direction of the longer one,
   radian, -pi/2 … pi/2. */
struct ellipse {
        double major, minor, angle_rad;
};
struct ellipse complex_ellipse(struct complex_cov c, double p);

/* Magnitude, dB and phase with their standard uncertainties.  Where |z| is less than three standard uncertainties (of the longer axis) a
   magnitude says more about the noise than about z: |noise| has a mean of 1.25 u, not 0.  Then `below` is true, all six numbers are NaN and
   below_magnitude is what |z| stays below with at least 95 %; Re and Im stay good. */
struct polar {
        bool below;
        double below_magnitude;
        double magnitude, u_magnitude, db, u_db, phase_rad, u_phase_rad;
};
struct polar complex_polar(double complex z, struct complex_cov c);

/* ---- results as vectors of causes ------------------------------------------------------------------------------------------------------
   A result is a value and, for each cause, the signed change by one standard uncertainty of that cause.  Results that share a cause (the
   same load, the same drift) carry it under the same id; sums and differences add the changes, so that what is shared adds up or cancels
   as far as it really does, and what is private to each (id 0: noise, contact of one touch) adds in squares. */
struct cause {
        uint64_t id; /* 0: private */
        double c;    /* (dy/dx) u, in the unit of the result */
        double nu;   /* degrees of freedom; INFINITY: known by type B */
};
struct result {
        double y;
        size_t n;    /* <= room */
        size_t room; /* of `causes`, the caller's */
        struct cause *causes;
};
/* sum w[k] x[k]; *ret has its own causes array, none of the x's.  The room needed is at most the sum of all n.  CODE_MEMORY: too little. */
enum code result_sum(size_t n, const double *w, const struct result *const *x, struct result *ret, struct tp_error *err);
enum code result_difference(const struct result *a, const struct result *b, struct result *ret, struct tp_error *err);
/* Standard uncertainty; of the shared and of the private causes alone. */
double result_u(const struct result *r);
double result_u_shared(const struct result *r);
double result_u_private(const struct result *r);
/* Covariance of two results: the causes they share. */
double result_covariance(const struct result *a, const struct result *b);
/* Effective degrees of freedom (Welch-Satterthwaite, JCGM 100:2008 G.4); INFINITY when all are. */
double result_freedom(const struct result *r);
/* Half width that holds the true value with probability p: t of the effective degrees of freedom times u. */
double result_half_width(const struct result *r, double p);

/* u^4 / sum(u_k^4 / nu_k) of independent parts. */
double welch_satterthwaite(size_t n, const double *u, const double *nu);

#endif
