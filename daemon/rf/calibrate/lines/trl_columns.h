/* trl_columns.h: the columns' way through "trl" with one thru, one line and one reflect, whole vectors of frequencies at once; not for
   other rooms.  The points' way (solve_trl.c, lines.c) stays the one that knows all cases and says what is wrong: where trl_columns_begin()
   returns false, it is taken.  As in exact.h the bytes are the same on every processor. */
#ifndef TIPPLANE_RF_TRL_COLUMNS_H
#define TIPPLANE_RF_TRL_COLUMNS_H
#include "rf/calibrate/lines/lines.h"

struct trl_columns {
        struct line_reading line[2], reflect;
        const double *hz;
        double dl_m, z_to_ohm;
        double complex guess;             /* of the reflect */
        double complex zc_of_g, zc_fixed; /* Zc = zc_of_g g/f + zc_fixed */
        /* scratch: x = g dl up to its order and whole turns, root det*, the boxes (lines.h), 1/r, the reflect with a1's sign as it comes,
           its estimate, e^{-2 g d} of the reflect's offset and of the plane's shift */
        struct cx_column y, root, b1, ca1, b2, ca2, a1, a2, etf, solved, estimate, offset, shift;
        double *turn, *sinh2;
        double complex *ratio;
        signed char *sign;
        bool *trusted;
        /* diagnosis and terms */
        struct cx_column g, eps, zc, reflected, term[TERM_COUNT];
        double *nstd, *residual_rms, *residual_worst, *reciprocity, *phase_eff_deg, *condition, *loss_db_mm, *reflect_distance,
                *reflect_angle_deg;
};

size_t trl_columns_bytes(size_t n);
/* Up to the reflect's sign: ratio (reflect over estimate) and nstd are there.  false: nothing is said, take the points' way. */
bool trl_columns_begin(const struct problem *p, const struct line_set *ln, void *workspace, struct terms *out, struct diagnosis *d,
                       struct trl_columns *ret);
/* With sign[] followed: terms and all figures. */
void trl_columns_end(const struct problem *p, const struct line_set *ln, const struct trl_columns *c, struct terms *out,
                     struct diagnosis *d);
/* What terms_point() holds of frequency i. */
struct line_choice trl_columns_choice(const struct trl_columns *c, size_t i);

#endif
