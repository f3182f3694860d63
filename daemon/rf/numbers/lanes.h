/* lanes.h: complex arithmetic on LANES frequencies side by side, one in each lane, for a file that is compiled for one kind of processor:
   it names the kind by `#pragma GCC target` and defines LANES before it includes this.  For algebra too large for the compiler to
   vectorise along a column (vector.h is for the rest).

   Products are fused with sums where a function here says so, alike for all kinds, and nothing else is contracted (-std=c11): the same
   bytes on every processor.  (Where there is no fma instruction the C library's is called: exact and slow.) Vectors are only ever passed
   inline. */
#ifndef TIPPLANE_RF_LANES_H
#define TIPPLANE_RF_LANES_H
#if LANES > 2
#include <immintrin.h>
#endif

typedef double lane __attribute__((vector_size(LANES * sizeof(double))));
struct cv {
        lane re, im;
};
#define IN static inline __attribute__((always_inline))
#define APART static __attribute__((noinline)) /* large, and called with pointers only */

IN lane lane_of(double x) { return (lane){0} + x; }
/* a b + c, c - a b */
#if LANES == 8
IN lane lane_fma(lane a, lane b, lane c) { return _mm512_fmadd_pd(a, b, c); }
IN lane lane_fnma(lane a, lane b, lane c) { return _mm512_fnmadd_pd(a, b, c); }
IN lane lane_sqrt(lane x) { return _mm512_sqrt_pd(x); }
#elif LANES == 4
IN lane lane_fma(lane a, lane b, lane c) { return _mm256_fmadd_pd(a, b, c); }
IN lane lane_fnma(lane a, lane b, lane c) { return _mm256_fnmadd_pd(a, b, c); }
IN lane lane_sqrt(lane x) { return _mm256_sqrt_pd(x); }
#else
IN lane lane_fma(lane a, lane b, lane c)
{
        for (int l = 0; l < LANES; l++)
                c[l] = __builtin_fma(a[l], b[l], c[l]);
        return c;
}
IN lane lane_fnma(lane a, lane b, lane c) { return lane_fma(-a, b, c); }
IN lane lane_sqrt(lane x)
{
        for (int l = 0; l < LANES; l++)
                x[l] = __builtin_sqrt(x[l]);
        return x;
}
#endif
/* In each lane: yes where a <= b, no where not, NaN included. */
IN lane lane_if_le(lane a, lane b, lane yes, lane no)
{
        typedef long long mask __attribute__((vector_size(LANES * sizeof(long long))));
        mask m = a <= b;
        return (lane)(((mask)yes & m) | ((mask)no & ~m));
}
IN lane lane_max(lane a, lane b) { return lane_if_le(b, a, a, b); } /* NaN in b wins */

IN struct cv v_of(double re, double im) { return (struct cv){lane_of(re), lane_of(im)}; }
IN struct cv v_add(struct cv a, struct cv b) { return (struct cv){a.re + b.re, a.im + b.im}; }
IN struct cv v_sub(struct cv a, struct cv b) { return (struct cv){a.re - b.re, a.im - b.im}; }
IN struct cv v_neg(struct cv a) { return (struct cv){-a.re, -a.im}; }
IN struct cv v_scale(lane k, struct cv a) { return (struct cv){k * a.re, k * a.im}; }
IN struct cv v_mul(struct cv a, struct cv b)
{
        return (struct cv){lane_fma(a.re, b.re, -(a.im * b.im)), lane_fma(a.re, b.im, a.im * b.re)};
}
IN struct cv v_cmul(struct cv a, struct cv b) /* conj(a) b */
{
        return (struct cv){lane_fma(a.re, b.re, a.im * b.im), lane_fnma(a.im, b.re, a.re * b.im)};
}
/* c + a b, c - a b, c + conj(a) b, c - conj(a) b, c + k a */
IN struct cv v_add_mul(struct cv c, struct cv a, struct cv b)
{
        return (struct cv){lane_fma(a.re, b.re, lane_fnma(a.im, b.im, c.re)), lane_fma(a.re, b.im, lane_fma(a.im, b.re, c.im))};
}
IN struct cv v_sub_mul(struct cv c, struct cv a, struct cv b)
{
        return (struct cv){lane_fnma(a.re, b.re, lane_fma(a.im, b.im, c.re)), lane_fnma(a.re, b.im, lane_fnma(a.im, b.re, c.im))};
}
IN struct cv v_add_cmul(struct cv c, struct cv a, struct cv b)
{
        return (struct cv){lane_fma(a.re, b.re, lane_fma(a.im, b.im, c.re)), lane_fma(a.re, b.im, lane_fnma(a.im, b.re, c.im))};
}
IN struct cv v_sub_cmul(struct cv c, struct cv a, struct cv b)
{
        return (struct cv){lane_fnma(a.re, b.re, lane_fnma(a.im, b.im, c.re)), lane_fnma(a.re, b.im, lane_fma(a.im, b.re, c.im))};
}
IN struct cv v_add_scale(struct cv c, lane k, struct cv a) { return (struct cv){lane_fma(k, a.re, c.re), lane_fma(k, a.im, c.im)}; }
IN struct cv v_sub_scale(struct cv c, lane k, struct cv a) { return (struct cv){lane_fnma(k, a.re, c.re), lane_fnma(k, a.im, c.im)}; }
IN lane v_norm2(struct cv a) { return lane_fma(a.re, a.re, a.im * a.im); }
IN lane v_add_norm2(lane sum, struct cv a) { return lane_fma(a.re, a.re, lane_fma(a.im, a.im, sum)); }
IN struct cv v_inv(struct cv a)
{
        lane k = lane_of(1) / v_norm2(a);
        return (struct cv){a.re * k, -a.im * k};
}

#endif
