/* vector.h: complex arithmetic for loops that are compiled for several kinds of processor.  Included once for each (kinds.h), with KIND (a
   suffix) and TARGET (an attribute) defined; functions are named N(name); vector_end.h takes everything back.  No include guard: that is
   the point.

   Every product is fused with the sum it goes into, alike for all kinds, and nothing else is contracted (-std=c11): the same bytes on every
   processor.  (Where there is no fma instruction the C library's is called: exact and slow.)  -O3 in every variant, because the loops are
   here to be vectorised. */
#include "rf/numbers/cx.h"
#define HOT static TARGET __attribute__((optimize("O3", "no-math-errno", "no-trapping-math")))
#define IN static inline TARGET __attribute__((always_inline))
#define PASTE2(a, b) a##b
#define PASTE(a, b) PASTE2(a, b)
#define N(name) PASTE(name, KIND)

IN struct cx N(mul)(struct cx a, struct cx b)
{
        return cx(__builtin_fma(a.re, b.re, -(a.im * b.im)), __builtin_fma(a.re, b.im, a.im * b.re));
}
IN struct cx N(neg)(struct cx a) { return cx(-a.re, -a.im); }
IN struct cx N(scale)(double k, struct cx a) { return cx(k * a.re, k * a.im); }
IN struct cx N(add_scale)(struct cx c, double k, struct cx a) { return cx(__builtin_fma(k, a.re, c.re), __builtin_fma(k, a.im, c.im)); }
/* c + a b, c - a b */
IN struct cx N(add_mul)(struct cx c, struct cx a, struct cx b)
{
        return cx(__builtin_fma(a.re, b.re, __builtin_fma(-a.im, b.im, c.re)), __builtin_fma(a.re, b.im, __builtin_fma(a.im, b.re, c.im)));
}
IN struct cx N(sub_mul)(struct cx c, struct cx a, struct cx b)
{
        return cx(__builtin_fma(-a.re, b.re, __builtin_fma(a.im, b.im, c.re)),
                  __builtin_fma(-a.re, b.im, __builtin_fma(-a.im, b.re, c.im)));
}
IN double N(norm2)(struct cx a) { return __builtin_fma(a.re, a.re, a.im * a.im); }
IN double N(size1)(struct cx a) { return __builtin_fabs(a.re) + __builtin_fabs(a.im); } /* |a| to a root of two */
IN struct cx N(inv)(struct cx a)
{
        double k = 1 / N(norm2)(a);
        return cx(a.re * k, -a.im * k);
}
/* k a*: with k = 1/|a|^2 its inverse */
IN struct cx N(conjugate)(struct cx a, double k) { return cx(a.re * k, -a.im * k); }
