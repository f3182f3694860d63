/* admittance.h: two-ports by their nodal admittances, grown from the inside out.
   A network begins as the device's own Y; shunt branches add to the diagonal, a series impedance z_i in front of port i makes (I + Y
   diag(z))^-1 Y, a bridge between the two nodes adds to all four.  Nothing here needs the inverse of Y, so opens (Y = 0) and shorts (Y
   large) are ordinary values. S in the (real) reference z: (I + zY)^-1 (I - zY).  Phasors turn with e^{+jwt}. */
#ifndef TIPPLANE_SIMULATORS_ADMITTANCE_H
#define TIPPLANE_SIMULATORS_ADMITTANCE_H
#include <complex.h>

struct y2 {
        double complex e11, e12, e21, e22;
};

static inline struct y2 y2_solve(struct y2 a, struct y2 b) /* a^-1 b */
{
        double complex d = a.e11 * a.e22 - a.e12 * a.e21;
        struct y2 r = {(a.e22 * b.e11 - a.e12 * b.e21) / d, (a.e22 * b.e12 - a.e12 * b.e22) / d, (a.e11 * b.e21 - a.e21 * b.e11) / d,
                       (a.e11 * b.e22 - a.e21 * b.e12) / d};
        return r;
}
static inline struct y2 y2_times(struct y2 a, struct y2 b)
{
        struct y2 r = {a.e11 * b.e11 + a.e12 * b.e21, a.e11 * b.e12 + a.e12 * b.e22, a.e21 * b.e11 + a.e22 * b.e21,
                       a.e21 * b.e12 + a.e22 * b.e22};
        return r;
}
static inline struct y2 y2_shunt(struct y2 y, double complex y1, double complex y2)
{
        y.e11 += y1;
        y.e22 += y2;
        return y;
}
static inline struct y2 y2_bridge(struct y2 y, double complex b)
{
        struct y2 r = {y.e11 + b, y.e12 - b, y.e21 - b, y.e22 + b};
        return r;
}
static inline struct y2 y2_series(struct y2 y, double complex z1, double complex z2)
{
        struct y2 a = {1 + y.e11 * z1, y.e12 * z2, y.e21 * z1, 1 + y.e22 * z2};
        return y2_solve(a, y);
}
static inline struct y2 y2_to_s(struct y2 y, double z)
{
        struct y2 a = {1 + z * y.e11, z * y.e12, z * y.e21, 1 + z * y.e22}, b = {1 - z * y.e11, -z * y.e12, -z * y.e21, 1 - z * y.e22};
        return y2_solve(a, b);
}
/* A line by its total series impedance and total shunt admittance at one frequency. */
static inline struct y2 y2_line(double complex series, double complex shunt)
{
        double complex gl = csqrt(series * shunt), zc = csqrt(series / shunt);
        if (creal(gl) < 0)
                gl = -gl;
        if (creal(zc) < 0)
                zc = -zc;
        double complex own = 1 / (zc * ctanh(gl)), cross = -1 / (zc * csinh(gl));
        struct y2 r = {own, cross, cross, own};
        return r;
}

#endif
