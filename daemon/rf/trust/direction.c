/* direction.c: does a device amplify from port 2 to port 1 (direction.h)?
 * Active      a largest singular value of S above 1.1: a bad calibration of a passive device does not come there, and an isolator that is
 *             turned round, which is passive, is not meant.  A transistor sends more from its input to its output than back as long as
 *             it has gain. */
#include "rf/trust/direction.h"
#include "rf/trust/plausible.h"
#include <math.h>

#define ACTIVE 1.1
#define UNLIKE 1.5
enum { ACTIVE_LEAST = 5 };

void rf_direction_add(struct rf_direction *d, struct m2 s, double u)
{
        d->n++;
        if (!(rf_largest_singular(s) > ACTIVE + 6 * u))
                return;
        d->active_n++;
        d->reverse_n += cabs(s.e[1]) > UNLIKE * cabs(s.e[2]) + 6 * u;
}

bool rf_is_backwards(const struct rf_direction *d)
{
        return d->active_n >= ACTIVE_LEAST && d->active_n * 10 >= d->n && d->reverse_n * 10 >= d->active_n * 9;
}
