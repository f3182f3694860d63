/* frame.h: where the stage must stand for a place on the wafer, fitted to marks that were seen; what silicon does when it gets warm.
   q = A p + t: p in the wafer's frame as designed (layout.h), q as the stage reads; both micrometres, centres may lie anywhere. */
#ifndef TIPPLANE_WAFER_FRAME_H
#define TIPPLANE_WAFER_FRAME_H
#include "base/error.h"
#include <stdbool.h>
#include <stddef.h>

enum frame_kind {
        FRAME_TRANSLATION, /* one mark and more */
        FRAME_RIGID,       /* two: and turned */
        FRAME_SIMILARITY,  /* two: and one scale, as a wafer that is warm has */
        FRAME_AFFINE,      /* three, not in a line: two scales and axes that are not at right angles, as a stage has */
        FRAME_KIND_COUNT
};
struct mark {
        double x_um, y_um;             /* as designed */
        double stage_x_um, stage_y_um; /* where the stage saw it */
};
struct frame {
        double a11, a12, a21, a22, tx_um, ty_um;
        double theta_rad, scale_x, scale_y, skew_rad; /* A = Rot(theta) [[1, sin skew], [0, cos skew]] diag(scale_x, scale_y) */
        double rms_um, max_um;                        /* what is left between marks and fit: distances */
        size_t worst;                                 /* the mark that max_um belongs to */
};
#define FRAME_LIMIT_UM 5.0 /* common practice, no source; 2 um for pads of 40 um */

/* Least squares over n marks; rigid and similarity: Umeyama, IEEE PAMI 13 (1991) 376, in two dimensions.  Never a mirror.
   CODE_BAD_INPUT with *ret filled: a mark is left by more than limit_um (HUGE_VAL: none is refused); the sentence names it, and an axis
   that counts the other way where the mirrored wafer fits.  CODE_BAD_INPUT with *ret as it was: too few marks, marks at one place or in
   one line, a number that is not finite. */
enum code frame_fit(enum frame_kind kind, size_t n, const struct mark *marks, double limit_um, struct frame *ret, struct tp_error *err);
void frame_stage_um(const struct frame *, double x_um, double y_um, double *ret_x_um, double *ret_y_um);

/* Linear expansion of silicon, 1/K, at t_k of 120 to 1500 K, else NAN; u 2e-7: Okada & Tokumaru, J. Appl. Phys. 56 (1984) 314. */
double silicon_expansion_per_k(double t_k);
/* How much a length of silicon grows from one temperature to another (the integral of the expansion), NAN outside the same range. */
double silicon_growth_um(double length_um, double from_k, double to_k);

#endif
