/* vector_functions.h: columns, roots, log(1 + x), angles, and e^z for loops that are compiled for several kinds of processor; included
   after vector.h for each of them.  No include guard: that is the point.  No tables and no branches, so that loops with them are
   vectorised; errors stay within 2 ulp of the result (the angle's: of its own size near 0, of the quadrant elsewhere), checked against libm
   by tests/unit/rf_vector.c. Sources     reductions and series as in any textbook (Muller, "Elementary Functions", ch. 9 to 11); the orders
   are those whose first omitted term is below 2^-55 of the result. */

IN struct cx N(at)(struct cx_column c, size_t i) { return cx(c.re[i], c.im[i]); }
IN void N(put)(struct cx_column c, size_t i, struct cx x) { c.re[i] = x.re, c.im[i] = x.im; }

IN double N(larger)(double a, double b) { return a > b ? a : b; }
IN double N(along)(struct cx a, struct cx b) { return __builtin_fma(a.re, b.re, a.im * b.im); } /* Re a b* */
IN struct cx N(select)(bool which, struct cx yes, struct cx no) { return cx(which ? yes.re : no.re, which ? yes.im : no.im); }

/* Principal root; NaN at 0. */
IN struct cx N(root_of)(struct cx z)
{
        double size = __builtin_sqrt(N(norm2)(z)), near = __builtin_sqrt((size + __builtin_fabs(z.re)) / 2), far = z.im / (2 * near);
        double up = __builtin_copysign(near, z.im);
        return cx(z.re >= 0 ? near : __builtin_fabs(far), z.re >= 0 ? far : up);
}

IN uint64_t N(bits)(double x)
{
        uint64_t b;
        __builtin_memcpy(&b, &x, sizeof b);
        return b;
}
IN double N(double_of)(uint64_t b)
{
        double x;
        __builtin_memcpy(&x, &b, sizeof x);
        return x;
}

/* v > -1, 1 + v below 2^1000.  1 + v = 2^e m, m within a root of 2 of 1; log m = 2 atanh(f/(2 + f)), f = m - 1. */
IN double N(log_1p)(double v)
{
        const uint64_t one = 0x3ff0000000000000u, root_half = 0x3fe6a09e667f3bcdu;
        uint64_t b = N(bits)(1 + v), k = (b + (one - root_half)) >> 52; /* e + 1023 */
        double e = N(double_of)(k | 0x4330000000000000u) - (0x1p52 + 1023), m = N(double_of)(b - (k << 52) + one);
        double f = e == 0 ? v : m - 1, s = f / (2 + f), z = s * s, p = 2.0 / 23;
        p = __builtin_fma(p, z, 2.0 / 21);
        p = __builtin_fma(p, z, 2.0 / 19);
        p = __builtin_fma(p, z, 2.0 / 17);
        p = __builtin_fma(p, z, 2.0 / 15);
        p = __builtin_fma(p, z, 2.0 / 13);
        p = __builtin_fma(p, z, 2.0 / 11);
        p = __builtin_fma(p, z, 2.0 / 9);
        p = __builtin_fma(p, z, 2.0 / 7);
        p = __builtin_fma(p, z, 2.0 / 5);
        p = __builtin_fma(p, z, 2.0 / 3);
        double rest = __builtin_fma(s * z, p, e * 2.3190468138462996e-17); /* ln 2 = its double and this */
        return __builtin_fma(e, 0.69314718055994531, __builtin_fma(2, s, rest));
}

/* Angle of x + jy; NaN at 0.  The nearest of 0, 22.5 and 45 degrees is taken off the smaller angle to an axis. */
IN double N(angle)(double y, double x)
{
        double ax = __builtin_fabs(x), ay = __builtin_fabs(y);
        double big = ax >= ay ? ax : ay, small = ax >= ay ? ay : ax;
        double c = small > 0.66817863791929892 * big ? 1 : small > 0.19891236737965801 * big ? 0.41421356237309503 : 0;
        double base = small > 0.66817863791929892 * big ? 0.78539816339744831 : small > 0.19891236737965801 * big ? 0.39269908169872414 : 0;
        double u = __builtin_fma(-c, big, small) / __builtin_fma(c, small, big), z = u * u, p = 1.0 / 25;
        p = __builtin_fma(p, z, -1.0 / 23);
        p = __builtin_fma(p, z, 1.0 / 21);
        p = __builtin_fma(p, z, -1.0 / 19);
        p = __builtin_fma(p, z, 1.0 / 17);
        p = __builtin_fma(p, z, -1.0 / 15);
        p = __builtin_fma(p, z, 1.0 / 13);
        p = __builtin_fma(p, z, -1.0 / 11);
        p = __builtin_fma(p, z, 1.0 / 9);
        p = __builtin_fma(p, z, -1.0 / 7);
        p = __builtin_fma(p, z, 1.0 / 5);
        p = __builtin_fma(p, z, -1.0 / 3);
        double a = base + __builtin_fma(u * z, p, u);
        a = ax >= ay ? a : 1.5707963267948966 - a;
        a = x >= 0 ? a : 3.1415926535897932 - a;
        return __builtin_copysign(a, y);
}

/* |z.re| <= 700 (beyond: as there), |z.im| < 1e5. */
IN struct cx N(e_to)(struct cx z)
{
        const double whole = 0x1.8p52; /* added, it leaves the nearest integer in the low bits */
        double a = z.re > 700 ? 700 : z.re < -700 ? -700 : z.re;
        double shifted = __builtin_fma(a, 1.4426950408889634, whole), k = shifted - whole;
        double r = __builtin_fma(-k, 2.3190468138462996e-17, __builtin_fma(-k, 0.69314718055994531, a)), p = 1.0 / 6227020800;
        p = __builtin_fma(p, r, 1.0 / 479001600);
        p = __builtin_fma(p, r, 1.0 / 39916800);
        p = __builtin_fma(p, r, 1.0 / 3628800);
        p = __builtin_fma(p, r, 1.0 / 362880);
        p = __builtin_fma(p, r, 1.0 / 40320);
        p = __builtin_fma(p, r, 1.0 / 5040);
        p = __builtin_fma(p, r, 1.0 / 720);
        p = __builtin_fma(p, r, 1.0 / 120);
        p = __builtin_fma(p, r, 1.0 / 24);
        p = __builtin_fma(p, r, 1.0 / 6);
        p = __builtin_fma(p, r, 1.0 / 2);
        double size = __builtin_fma(__builtin_fma(p, r, 1), r, 1) * N(double_of)((N(bits)(shifted) + 1023) << 52);
        double quarter = __builtin_fma(z.im, 0.63661977236758134, whole) - whole;
        double x = __builtin_fma(-quarter, 6.123233995736766e-17, __builtin_fma(-quarter, 1.5707963267948966, z.im)), x2 = x * x;
        double s = 1.0 / 355687428096000, c = 1.0 / 20922789888000;
        s = __builtin_fma(s, x2, -1.0 / 1307674368000);
        c = __builtin_fma(c, x2, -1.0 / 87178291200);
        s = __builtin_fma(s, x2, 1.0 / 6227020800);
        c = __builtin_fma(c, x2, 1.0 / 479001600);
        s = __builtin_fma(s, x2, -1.0 / 39916800);
        c = __builtin_fma(c, x2, -1.0 / 3628800);
        s = __builtin_fma(s, x2, 1.0 / 362880);
        c = __builtin_fma(c, x2, 1.0 / 40320);
        s = __builtin_fma(s, x2, -1.0 / 5040);
        c = __builtin_fma(c, x2, -1.0 / 720);
        s = __builtin_fma(s, x2, 1.0 / 120);
        c = __builtin_fma(c, x2, 1.0 / 24);
        s = __builtin_fma(s, x2, -1.0 / 6);
        c = __builtin_fma(c, x2, -1.0 / 2);
        s = __builtin_fma(x * x2, s, x);
        c = __builtin_fma(x2, c, 1);
        double turn = quarter - 4 * __builtin_floor(quarter / 4); /* 0 1 2 3 */
        double re = turn < 0.5 ? c : turn < 1.5 ? -s : turn < 2.5 ? -c : s, im = turn < 0.5 ? s : turn < 1.5 ? c : turn < 2.5 ? -s : -c;
        return cx(size * re, size * im);
}
