/* ulid.c: 48 bits of milliseconds and 80 random bits in Crockford's base 32 (github.com/ulid/spec).
   Within one maker ids never run backwards: while the clock stands or steps back, the last time is kept and the random part counted up. */
#include "base/world.h"
#include <string.h>

static const char digits[] = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/* Adds one to the 80 bits; false when they overflow. */
static bool count_up(uint8_t last[10])
{
        for (int i = 9; i >= 0; i--)
                if (++last[i] != 0)
                        return true;
        return false;
}

void ulid_make(const struct world *w, struct ulid_maker *m, char ret[27])
{
        int64_t wall_us = world_wall_us(w);
        uint64_t now_ms = wall_us > 0 ? (uint64_t)wall_us / 1000 : 0;
        bool is_later = now_ms > m->last_ms;
        if (is_later)
                m->last_ms = now_ms;
        if (is_later || !count_up(m->last)) {
                m->last_ms += !is_later;
                world_random(w, m->last, sizeof m->last);
                m->last[0] &= 0x7F; /* room to count up in */
        }
        uint8_t bytes[16];
        for (size_t i = 0; i < 6; i++)
                bytes[i] = (uint8_t)(m->last_ms >> (40 - 8 * i));
        memcpy(bytes + 6, m->last, sizeof m->last);
        for (int i = 0; i < 26; i++) { /* 130 bits, the first two are 0 */
                unsigned value = 0;
                for (int bit = 5 * i - 2; bit < 5 * i + 3; bit++)
                        value = value << 1 | (bit < 0 ? 0u : (unsigned)bytes[bit / 8] >> (7 - bit % 8) & 1u);
                ret[i] = digits[value];
        }
        ret[26] = 0;
}

bool ulid_valid(const char *text) { return strlen(text) == 26 && strspn(text, digits) == 26 && text[0] <= '7'; }
