/* digest.c: finds accidents of disk and memory in a trace.
 * Idea        two 64-bit lanes over the same little-endian words; each step (xor or add the word, multiply by an odd number, fold the
 *             high half down) can be undone, so a single changed word always changes both lanes; the length goes in first.
 *             docs/database.md has it in eight lines of Python.
 * Not here    protection against people: that is the SHA-256 of the sealed file.
 * Rejected    half of SHA-256: 65 kB of one sweep take as long as three commits of it. */
#include "store/digest.h"
#include <string.h>

static const uint64_t SEED_A = 0x9e3779b97f4a7c15, SEED_B = 0xc2b2ae3d27d4eb4f, TIMES_A = 0xff51afd7ed558ccd, TIMES_B = 0xc4ceb9fe1a85ec53;

static uint64_t word_at(const unsigned char *p, size_t n)
{
        uint64_t w = 0;
        for (size_t i = 0; i < n && i < 8; i++)
                w |= (uint64_t)p[i] << (8 * i);
        return w;
}

static void put(uint64_t x, uint8_t *ret)
{
        for (int i = 0; i < 8; i++)
                ret[i] = (uint8_t)(x >> (8 * i));
}

void trace_digest(const void *bytes, size_t n, uint8_t ret[16])
{
        const unsigned char *p = bytes;
        uint64_t a = SEED_A ^ n, b = SEED_B ^ n;
        for (size_t i = 0; i < n; i += 8) {
                uint64_t w = n - i >= 8 ? word_at(p + i, 8) : word_at(p + i, n - i); /* the compiler makes one load of the first */
                a = (a ^ w) * TIMES_A;
                a ^= a >> 32;
                b = (b + w) * TIMES_B;
                b ^= b >> 29;
        }
        put(a, ret);
        put(b, ret + 8);
}
