/* flags.c: what a corrected sweep says of itself: not reciprocal, not passive, a step where bands meet.
 * Rule        flags are said in the reasons; none looks at a parameter, and none decides over trust: a device may be what it is.
 * Passivity   only in a reference of known, real ohms: pseudo-waves in the line's own impedance may exceed 1 (rf/trust/plausible.h).
 * Cost        a wafer has thousands of sweeps.  Every eighth point is enough for reciprocity and passivity; of a recording the worst is
 *             said, so each counts.  Seams look at 28 points around each edge first, and at the whole sweep only where these show a step.
 */
#include "evaluate/chain.h"
#include "rf/trust/direction.h"
#include "rf/trust/plausible.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { FLAG_SEAM = 8, FLAG_NOT_RECIPROCAL = 16, FLAG_NOT_PASSIVE = 32, NEAR = 14 };
#define REPLAYED_SAY 0.01 /* |S21 - S12| of a recorded passive device that is worth saying */

static struct m2 point(const struct chain *ch, size_t j) { return tip_point(ch->cal, ch->raw[PART_DEVICE], j, map_at(ch->map, j)); }

/* Points from `from` on as a network of its own; false: no memory. */
static bool stretch(const struct chain *ch, size_t from, size_t n, struct arena *arena, struct axis *axis, struct net2 *ret)
{
        void *memory = arena_take(arena, net2_bytes(n));
        if (!memory)
                return false;
        *axis = (struct axis){.n = n, .hz = ch->axis.hz + from};
        *ret = net2_at(memory, axis, PLANE_TIP);
        for (size_t j = 0; j < n; j++)
                net2_put(ret, j, point(ch, from + j));
        return true;
}

static void look_for_seams(const struct chain *ch, struct arena *arena, struct sweep_said *ret)
{
        void *room = arena_take(arena, rf_seams_workspace(ch->axis.n));
        for (size_t k = 0; room && k < rf_band_edge_n; k++) {
                double edge = rf_band_edges_hz[k];
                if (ch->axis.n < 2 * NEAR || !(edge > ch->axis.hz[0] && edge < ch->axis.hz[ch->axis.n - 1]))
                        continue;
                size_t at = axis_nearest(&ch->axis, edge), from = at > NEAR ? at - NEAR : 0;
                size_t n = from + 2 * NEAR < ch->axis.n ? 2 * NEAR : ch->axis.n - from;
                struct axis axis;
                struct net2 net;
                struct rf_seams s;
                if (!stretch(ch, from, n, arena, &axis, &net) || rf_seams(&net, &edge, 1, 0, room, &s, NULL) || s.n == 0)
                        continue;
                /* without a neighbourhood the fit's own scatter counts double there; six times the single one is suspicion enough */
                if (!(s.seam[0].step > 3 * s.seam[0].scatter &&
                      (s.seam[0].step_db > 0.02 || s.seam[0].step_deg > 0.2 || isnan(s.seam[0].step_db))))
                        continue;
                if (!stretch(ch, 0, ch->axis.n, arena, &axis, &net) || rf_seams(&net, NULL, 0, 0, room, &s, NULL))
                        return;
                for (size_t m = 0; m < s.n; m++)
                        if (s.seam[m].found && !(s.seam[m].step <= ret->seam)) {
                                ret->flags |= FLAG_SEAM;
                                ret->seam = s.seam[m].step;
                                ret->seam_hz = s.seam[m].hz;
                        }
                return;
        }
}

void sweep_say(const struct chain *ch, struct arena *arena, struct sweep_said *ret)
{
        const struct sweep_plan *plan = recipe_sweep(ch->q->recipe, ch->q->measure->sweep);
        size_t odd = 0, active = 0, n = 0;
        struct rf_direction way = {0};
        *ret = (struct sweep_said){0};
        for (size_t j = 0, every = ch->axis.n > 64 && !ch->q->replayed ? 8 : 1; j < ch->axis.n; j += every) {
                struct m2 s = point(ch, j);
                double r = cabs(s.e[1] - s.e[2]), p = rf_largest_singular(s), noise = noise_of(plan, ch->axis.hz[j], 1);
                odd += r > 0.02 + 6 * noise;
                active += p > 1.02 + 6 * noise;
                rf_direction_add(&way, s, noise);
                ret->reciprocity = fmax(ret->reciprocity, r);
                ret->gain = fmax(ret->gain, p);
                n++;
        }
        ret->flags |= odd * 50 > n ? FLAG_NOT_RECIPROCAL : 0u;
        ret->flags |= active * 50 > n && !ch->line_reference ? FLAG_NOT_PASSIVE : 0u;
        ret->backwards = !ch->line_reference && rf_is_backwards(&way);
        look_for_seams(ch, arena, ret);
}

/* Adds the sentence's parts as far as the reason has room for a whole one. */
static void add(char *reason, size_t room, const char *part)
{
        size_t used = strlen(reason);
        if (used + strlen(part) + 3 <= room)
                snprintf(reason + used, room - used, "%s%s", used ? "; " : "", part);
}

void sweep_said_in(const struct chain *ch, const struct sweep_said *said, char *reason, size_t room)
{
        char part[60];
        if (said->backwards)
                add(reason, room, RF_BACKWARDS);
        if ((said->flags & FLAG_NOT_RECIPROCAL) || (ch->q->replayed && said->reciprocity > REPLAYED_SAY)) {
                snprintf(part, sizeof part, "S21 and S12 differ by up to %.2g",
                         said->reciprocity); /* of a recording nobody knows the noise */
                add(reason, room, part);
        }
        if (said->flags & FLAG_NOT_PASSIVE) {
                snprintf(part, sizeof part, "not passive: gain up to %.4g", said->gain);
                add(reason, room, part);
        }
        if (said->flags & FLAG_SEAM) {
                snprintf(part, sizeof part, "a step of %.2g where bands meet at %.4g GHz", said->seam, said->seam_hz / 1e9);
                add(reason, room, part);
        }
}
