/* sweep_loop.h: the points of a sweep one after the other, for loops compiled for several kinds of processor; included after vector.h, so no
   include guard.

   Eight points a round.  What the rounds to come read and write is asked of memory ahead: a sweep is sixteen columns of a page or two each,
   and the processor's own guess starts anew with every page.  ivdep tells gcc that a point depends on no other point (in place is allowed,
   so the columns are not restrict). */
enum { N(AHEAD) = 24 }; /* points: 8 to 32 are alike; a tenth to a fifth gained from memory, a twentieth lost in cache */
IN void N(ahead)(const struct net2 *raw, const struct net2 *out, size_t i)
{
        for (int k = 0; k < 4; k++) {
                __builtin_prefetch(raw->re[k] + i);
                __builtin_prefetch(raw->im[k] + i);
                __builtin_prefetch(out->re[k] + i, 1);
                __builtin_prefetch(out->im[k] + i, 1);
        }
        __builtin_prefetch(out->z_re + i);
        __builtin_prefetch(out->z_im + i);
}

/* `point` for each i; lane is i's place in its round, 0 … 7. */
#define EACH_POINT(n, raw, out, point)                                               \
        do {                                                                         \
                size_t round_ = 0;                                                   \
                for (; round_ + 8 <= (n); round_ += 8) {                             \
                        N(ahead)(raw, out, round_ + N(AHEAD));                       \
                        _Pragma("GCC ivdep") for (size_t lane = 0; lane < 8; lane++) \
                        {                                                            \
                                const size_t i = round_ + lane;                      \
                                point;                                               \
                        }                                                            \
                }                                                                    \
                for (size_t lane = 0; round_ + lane < (n); lane++) {                 \
                        const size_t i = round_ + lane;                              \
                        point;                                                       \
                }                                                                    \
        } while (0)

/* 0 where the bytes are the same. */
IN uint64_t N(differ)(double a, double b)
{
        uint64_t x, y;
        __builtin_memcpy(&x, &a, sizeof x);
        __builtin_memcpy(&y, &b, sizeof y);
        return x ^ y;
}
IN bool N(none)(const uint64_t other[8])
{
        uint64_t any = 0;
        for (int l = 0; l < 8; l++)
                any |= other[l];
        return any == 0;
}
