/* supply.c: see supply.h. */
#include "simulators/supply.h"
#include "simulators/draws.h"

int supply_port(const struct scenario *s, unsigned channel)
{
        return channel > 1 ? -1 : s->bias.first_port == 2 ? 1 - (int)channel : (int)channel;
}

double supply_held_a(const struct scenario *s, unsigned channel, double ampere)
{
        struct draws own = draws_of((uint64_t)s->seed, DRAW_BIAS, (int64_t)channel, -2, 0, 0);
        return ampere == 0 ? 0 : ampere + draw_between(&own, -1, 1) * s->bias.offset_a;
}
