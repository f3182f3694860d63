/* m2.h: 2x2 complex matrices by value, for everything that goes point by point. Order 11, 12, 21, 22.  No state, no errors: a singular
   matrix gives infinities or NaN, which the caller's range checks must catch. */
#ifndef TIPPLANE_RF_M2_H
#define TIPPLANE_RF_M2_H
#include <complex.h>
#undef I /* one letter is too good a name for a macro: write CMPLX(0, 1) */
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#define RF_PI 3.14159265358979323846
#define RF_TWO_PI 6.28318530717958647693
#define RF_C0_M_S 299792458.0
#define RF_DB_PER_NEPER 8.685889638065037

struct m2 {
        double complex e[4];
};

static inline struct m2 m2_of(double complex a, double complex b, double complex c, double complex d) { return (struct m2){{a, b, c, d}}; }
static inline struct m2 m2_diag(double complex a, double complex d) { return m2_of(a, 0, 0, d); }
static inline struct m2 m2_one(void) { return m2_of(1, 0, 0, 1); }
static inline struct m2 m2_add(struct m2 a, struct m2 b)
{
        return m2_of(a.e[0] + b.e[0], a.e[1] + b.e[1], a.e[2] + b.e[2], a.e[3] + b.e[3]);
}
static inline struct m2 m2_sub(struct m2 a, struct m2 b)
{
        return m2_of(a.e[0] - b.e[0], a.e[1] - b.e[1], a.e[2] - b.e[2], a.e[3] - b.e[3]);
}
static inline struct m2 m2_scale(double complex k, struct m2 a) { return m2_of(k * a.e[0], k * a.e[1], k * a.e[2], k * a.e[3]); }
static inline struct m2 m2_mul(struct m2 a, struct m2 b)
{
        return m2_of(a.e[0] * b.e[0] + a.e[1] * b.e[2], a.e[0] * b.e[1] + a.e[1] * b.e[3], a.e[2] * b.e[0] + a.e[3] * b.e[2],
                     a.e[2] * b.e[1] + a.e[3] * b.e[3]);
}
static inline double complex m2_det(struct m2 a) { return a.e[0] * a.e[3] - a.e[1] * a.e[2]; }
static inline struct m2 m2_transpose(struct m2 a) { return m2_of(a.e[0], a.e[2], a.e[1], a.e[3]); }
/* By the adjugate: for 2x2 as good as elimination. */
static inline struct m2 m2_inv(struct m2 a)
{
        double complex k = 1 / m2_det(a);
        return m2_of(k * a.e[3], -k * a.e[1], -k * a.e[2], k * a.e[0]);
}
/* Principal root by two real ones; libm's takes care of overflow beyond 1e150, where no S parameter lives. */
static inline double complex m2_sqrt(double complex z)
{
        double re = creal(z), im = cimag(z), big = sqrt((sqrt(re * re + im * im) + fabs(re)) / 2);
        if (!(big > 0))
                return z; /* 0 and NaN */
        double small = im / (2 * big);
        return re >= 0 ? CMPLX(big, small) : CMPLX(fabs(small), copysign(big, im));
}
/* Largest |a_ij - b_ij|. */
static inline double m2_distance(struct m2 a, struct m2 b)
{
        double worst = 0;
        for (int k = 0; k < 4; k++) {
                double re = creal(a.e[k]) - creal(b.e[k]), im = cimag(a.e[k]) - cimag(b.e[k]), d = re * re + im * im;
                if (!(d <= worst))
                        worst = d; /* NaN wins */
        }
        return sqrt(worst);
}

#endif
