/* extrinsic_off.c: is a network plainly no transistor that is off?  (extrinsic_off.h) */
#include "rf/extract/extrinsic_off.h"
#include <math.h>

void off_see(struct off_seen *o, struct m2 y, double hz)
{
        double complex between = (y.e[1] + y.e[2]) / 2, to_ground[2] = {y.e[0] + between, y.e[3] + between};
        for (int k = 0; k < 2; k++) {
                o->g[k] += fabs(creal(to_ground[k]));
                o->b[k] += fabs(cimag(to_ground[k]));
        }
        o->g[2] += fabs(creal(between));
        o->b[2] += fabs(cimag(between));
        o->signed_b12 -= cimag(between);
        o->gm += cabs(y.e[2] - y.e[1]);
        if (o->first_hz > 0)
                return;
        o->first_hz = hz;
        o->first_y12 = between;
}

enum code off_check(const struct off_seen *o, struct tp_error *err)
{
        double all = o->b[0] + o->b[1] + o->b[2], ghz = o->first_hz / 1e9;
        if (o->signed_b12 < -0.2 * all)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "between its ports it is inductive (%.3g nH at %.4g GHz), where a transistor that is off is a small capacitance; "
                        "give the file of the transistor that is off",
                        cimag(-1 / o->first_y12) / (RF_TWO_PI * o->first_hz) * 1e9, ghz);
        if (o->gm > all)
                return tp_fail(err, CODE_UNRESOLVABLE,
                               "Y21 and Y12 differ by more than its capacitances carry: it amplifies, so it is not off; take gate or base "
                               "below threshold and the drain or collector voltage away");
        if (o->g[2] > all)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "it conducts between its ports (%.4g ohm at %.4g GHz) more than its capacitances carry: a transistor that is off "
                        "does not; look at its gate voltage, or whether this is the file",
                        creal(-1 / o->first_y12), ghz);
        for (int k = 0; k < 2; k++)
                if (o->g[k] > 2 * (o->b[k] + o->b[2]))
                        return tp_fail(
                                err, CODE_UNRESOLVABLE,
                                "port %d conducts to ground more than twice what its capacitance carries: a transistor that is off does "
                                "not; look at its voltages, or whether this is the file",
                                k + 1);
        return CODE_OK;
}
