/* cx.h: complex arithmetic on two doubles for the hot loops.  C's own `double complex` multiplies through a NaN check that keeps gcc from
   vectorising; these do not.  Products and quotients overflow beyond 1e150, where no S parameter lives; NaN passes through. */
#ifndef TIPPLANE_RF_CX_H
#define TIPPLANE_RF_CX_H

struct cx {
        double re, im;
};
struct cx_column {
        double *re, *im;
};
#define CX static inline __attribute__((always_inline)) struct cx
CX cx(double re, double im) { return (struct cx){re, im}; }
CX cx_add(struct cx a, struct cx b) { return cx(a.re + b.re, a.im + b.im); }
CX cx_sub(struct cx a, struct cx b) { return cx(a.re - b.re, a.im - b.im); }
CX cx_mul(struct cx a, struct cx b) { return cx(a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re); }
CX cx_one_minus(struct cx a) { return cx(1 - a.re, -a.im); }
CX cx_inv(struct cx a)
{
        double k = 1 / (a.re * a.re + a.im * a.im);
        return cx(a.re * k, -a.im * k);
}
#undef CX
/* Element i of a pair of columns name_re, name_im. */
#define AT(name, i) cx(name##_re[i], name##_im[i])
#define PUT(name, i, value)                                     \
        do {                                                    \
                struct cx put_ = (value);                       \
                name##_re[i] = put_.re, name##_im[i] = put_.im; \
        } while (0)

#endif
