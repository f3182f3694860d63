/* draws.c: keyed random numbers; see draws.h. */
#include "simulators/draws.h"
#include "base/hash.h"
#include <math.h>
#include <string.h>

static uint64_t splitmix(uint64_t *x)
{
        uint64_t z = (*x += UINT64_C(0x9E3779B97F4A7C15));
        z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
        z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
        return z ^ (z >> 31);
}

struct draws draws_of(uint64_t seed, enum draw_of what, int64_t a, int64_t b, int64_t c, int64_t d)
{
        const uint64_t key[] = {(uint64_t)what, (uint64_t)a, (uint64_t)b, (uint64_t)c, (uint64_t)d};
        struct draws r;
        uint64_t x = seed;
        for (size_t i = 0; i < sizeof key / sizeof key[0]; i++) {
                uint64_t mixed = splitmix(&x);
                x = mixed ^ (key[i] * UINT64_C(0xD6E8FEB86659FD93)); /* each part goes through a whole round before the next joins */
        }
        for (int i = 0; i < 4; i++)
                r.s[i] = splitmix(&x);
        return r;
}

static uint64_t rotate(uint64_t x, int k) { return (x << k) | (x >> (64 - k)); }

uint64_t draw_bits(struct draws *r)
{
        uint64_t *s = r->s, result = rotate(s[1] * 5, 7) * 9, t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = rotate(s[3], 45);
        return result;
}

double draw_uniform(struct draws *r) { return (double)(draw_bits(r) >> 11) * 0x1p-53; }
double draw_between(struct draws *r, double low, double high) { return low + (high - low) * draw_uniform(r); }
bool draw_chance(struct draws *r, double probability) { return draw_uniform(r) < probability; }

double draw_normal(struct draws *r)
{
        double u, v, q;
        do {
                u = 2 * draw_uniform(r) - 1;
                v = 2 * draw_uniform(r) - 1;
                q = u * u + v * v;
        } while (q >= 1 || q == 0);
        return u * sqrt(-2 * log(q) / q);
}

double draw_normal_within(struct draws *r, double limit)
{
        double x;
        do
                x = draw_normal(r);
        while (!(fabs(x) <= limit));
        return x;
}

int64_t draw_key(const char *name) { return (int64_t)(hash64(name, strlen(name)) >> 1); }
