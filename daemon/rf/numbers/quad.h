/* quad.h: two-ports in the loops compiled for several kinds of processor (vector.h): one point, and columns. */
#ifndef TIPPLANE_RF_QUAD_H
#define TIPPLANE_RF_QUAD_H
#include "rf/numbers/cx.h"

/* Columns are taken out of their struct (re[4], im[4]) first, gcc then sees plain pointers. */
struct quad {
        struct cx s11, s12, s21, s22;
};
#define COLUMNS(name, net)                                                                                                         \
        double *name##11_re = (net)->re[0], *name##11_im = (net)->im[0], *name##12_re = (net)->re[1], *name##12_im = (net)->im[1]; \
        double *name##21_re = (net)->re[2], *name##21_im = (net)->im[2], *name##22_re = (net)->re[3], *name##22_im = (net)->im[3]
#define READ(name, i) ((struct quad){AT(name##11, i), AT(name##12, i), AT(name##21, i), AT(name##22, i)})

#endif
