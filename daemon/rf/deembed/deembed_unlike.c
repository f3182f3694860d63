/* deembed_unlike.c: is a thru the middle of two like halves, and is the half that is given half of the 2x-thru?  (deembed.h)
 * Thru        thru_pi and thru_tee split what lies between the outer elements in two equal parts.  S11 and S22 that differ by a tenth are of
 *             a thru whose ends are not alike, and then nothing says that its middle is.
 * Half        Of a known half the method takes S11 alone; its S12 S21 follows from that and the 2x-thru.  They agree when the half and its
 *             mirror make the 2x-thru. */
#include "rf/deembed/deembed_own.h"
#include <math.h>
#include <stdio.h>

#define UNLIKE 0.1

static bool thru_look(const struct net2 *thru, size_t room, char *say)
{
        double worst = 0, hz = 0;
        for (size_t i = 0; i < thru->axis->n; i++) {
                struct m2 s = net2_get(thru, i);
                if (!(cabs(s.e[0] - s.e[3]) > worst))
                        continue;
                worst = cabs(s.e[0] - s.e[3]);
                hz = thru->axis->hz[i];
        }
        if (!(worst > UNLIKE))
                return false;
        snprintf(say, room,
                 "the thru's S11 and S22 differ by %.2g at %.4g GHz, so its ends are not alike, and the method splits its middle in two "
                 "equal parts: is it the thru of these pads?",
                 worst, hz / 1e9);
        return true;
}

static bool half_look(const struct net2 *two, const struct net2 *half, size_t room, char *say)
{
        double worst = 0, hz = 0;
        for (size_t i = 0; i < two->axis->n; i++) {
                struct m2 t = net2_get(two, i), h = net2_get(half, i);
                double complex e22 = ((t.e[0] + t.e[3]) / 2 - h.e[0]) / ((t.e[1] + t.e[2]) / 2);
                double off = cabs((t.e[1] + t.e[2]) / 2 * (1 - e22 * e22) - h.e[1] * h.e[2]);
                if (!(off > worst))
                        continue;
                worst = off;
                hz = two->axis->hz[i];
        }
        if (!(worst > UNLIKE))
                return false;
        snprintf(
                say, room,
                "the half and its mirror do not make the 2x-thru: S12 S21 of the half is off by %.2g at %.4g GHz; is it the half, with its "
                "outer end at port 1, or the whole?",
                worst, hz / 1e9);
        return true;
}

bool rf_deembed_unlike(enum deembed_method method, const struct dummies *d, size_t room, char *say)
{
        if ((method == RF_DEEMBED_THRU_PI || method == RF_DEEMBED_THRU_TEE) && d->of[RF_DUMMY_THRU])
                return thru_look(d->of[RF_DUMMY_THRU], room, say);
        if (method == RF_DEEMBED_TWO_X_THRU && d->of[RF_DUMMY_TWO_X_THRU] && d->of[RF_DUMMY_HALF])
                return half_look(d->of[RF_DUMMY_TWO_X_THRU], d->of[RF_DUMMY_HALF], room, say);
        return false;
}
