/* lrrm.h: what the files of "lrrm" share: the points' way (lrrm_points.c), the columns' way (reflects.c), the match from the losslessness or
   the capacitance of the open (lrrm_fit.c), the method (solve_lrrm.c); not for other rooms. */
#ifndef TIPPLANE_RF_LRRM_H
#define TIPPLANE_RF_LRRM_H
#include "rf/calibrate/solve.h"
#include "rf/numbers/cpu.h"

enum { LRRM_SCRATCH = 6 };

/* Which standard is what. */
struct lrrm_roles {
        size_t thru, match, open_n, short_n, open[RF_STANDARD_MAX], shorted[RF_STANDARD_MAX];
};
/* One frequency: the open as a function of the match's impedance, G = (a + b Z)/(c + d Z), measured exactly, nothing assumed inside. */
struct lrrm_point {
        double complex p[2];       /* readings of the two reflections that the thru maps onto themselves, in the order of g */
        double complex a, b, c, d; /* see above */
        double complex z;          /* the match's impedance by its definition, ohm; of the columns: less its shunt_c_f */
        double u_open;             /* noise of G per unit noise of every raw number */
        double w;                  /* rad/s */
};
/* The same of all frequencies, n each; padding to net2_stride(n) must be there. */
struct lrrm_columns {
        double *p_re[2], *p_im[2], *a_re, *a_im, *b_re, *b_im, *c_re, *c_im, *d_re, *d_im, *z_re, *z_im, *u_open, *w;
        const double *open_re, *open_im;  /* NULL: none */
        double shunt_c_f;                 /* the match's by its definition: z and what is added in series to it lie behind it */
        double short_l_h;                 /* the short's, about: its own readings beside the open's */
        const struct net2 *thru, *offset; /* their definitions; offset NULL: the match's element is at the plane */
        double *scratch[LRRM_SCRATCH];
};
struct lrrm_point lrrm_get(const struct lrrm_columns *columns, size_t i);
void lrrm_put(const struct lrrm_columns *columns, size_t i, const struct lrrm_point *q);
/* What is added to the definition, and all of C: Z = 1/(1/(z + r + jwL) + jwC). */
struct lrrm_match {
        double r_ohm, l_h, c_f;
};
double complex lrrm_impedance(const struct lrrm_point *q, struct lrrm_match m);
static inline double complex lrrm_behind_shunt(double complex z, double w, double c_f)
{
        return c_f > 0 || c_f < 0 ? z / (1 - CMPLX(0, w * c_f) * z) : z;
}
static inline double complex lrrm_open(const struct lrrm_point *q, double complex z) { return (q->a + q->b * z) / (q->c + q->d * z); }

/* Condition numbers above which "lrm" and "lrrm" refuse a problem. */
#define LRM_CONDITION_REFUSE 1e6
#define LRRM_CONDITION_REFUSE 1e7
/* The points' way, first half: the open as a function of the match at all frequencies, condition, and how the open was followed.
   CODE_UNRESOLVABLE: the thru does not transmit, or open and short coincide. */
enum code lrrm_points_first(const struct problem *p, const struct lrrm_roles *roles, const struct lrrm_columns *ret, struct diagnosis *d,
                            struct followed *ret_followed, struct tp_error *err);
/* The short's inductance beside the open as the match's definition gives it, at 12 frequencies up to 60 GHz: within some 10 %. */
double lrrm_short_l_h(const struct problem *p, const struct lrrm_roles *roles, const struct lrrm_columns *point);
/* Second half, with the match known: terms, residuals (scratch: [n][standard_n]), the solved open. */
void lrrm_points_second(const struct problem *p, const struct lrrm_roles *roles, const struct lrrm_columns *point, struct lrrm_match match,
                        double *scratch, struct terms *out, struct diagnosis *d);
/* What holds of a frequency when inputs move: the order of the fixed points, and the match. */
struct lrrm_choice {
        double complex p; /* reading of g+ */
        struct lrrm_match match;
};
bool lrrm_terms_point(const struct point *p, const void *choice, double complex t[TERM_COUNT]); /* a point_solver */
struct lrrm_roles lrrm_roles_of(const struct problem *p);

/* Fits what `fit` says by Gauss-Newton; fills match_l_fit_h … of the diagnosis and warns where something cannot be determined: then it
   keeps the definition.  ret_apart: what is found moves by these two, independent of each other, with one standard uncertainty each.  All
   three give the same bytes with every kind of processor and write the scratch columns. */
struct lrrm_match lrrm_fit(enum cpu_kind kind, size_t n, const struct lrrm_columns *point, enum rf_match_fit fit,
                           struct lrrm_match ret_apart[2], struct diagnosis *d);
/* open_c_fit_f, open_c_u_f: one capacitance for all frequencies, and what its scatter and the match's uncertainty make of it. */
void lrrm_open_c(enum cpu_kind kind, size_t n, const struct lrrm_columns *point, struct lrrm_match m, const struct lrrm_match apart[2],
                 struct diagnosis *d);
/* A second look at L and C of the match found together (or L alone where both were asked): do other pairs fit what was read, where open and
   short may differ a little between the ports?  Fills match_l_apart_h, match_c_apart_f; where another pair contradicts what was found it is
   said, and apart and the weights of the diagnosis hold it.  After lrrm_open_c; writes a scratch column, allocates nothing. */
void lrrm_look_again(size_t n, const struct lrrm_columns *q, struct lrrm_match found, struct lrrm_match apart[2], struct diagnosis *d);
/* Columns match_r_ohm, match_l_h of the diagnosis: each frequency alone. */
void lrrm_each(enum cpu_kind kind, size_t n, const struct lrrm_columns *point, enum rf_match_fit fit, struct lrrm_match m,
               struct diagnosis *d);

#endif
