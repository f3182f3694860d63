/* deembed.h: taking pads and leads off a device, from dummies measured with the same calibration.
   All networks: one axis, one real reference impedance, one plane.  out may be measured; its plane becomes PLANE_DEVICE. */
#ifndef TIPPLANE_RF_DEEMBED_H
#define TIPPLANE_RF_DEEMBED_H
#include "rf/network.h"

enum deembed_method {
        RF_DEEMBED_UNKNOWN,
        RF_DEEMBED_OPEN,           /* Y = Ym - Yo */
        RF_DEEMBED_SHORT,          /* Z = Zm - Zs */
        RF_DEEMBED_OPEN_SHORT,     /* Koolen, Geelen & Versleijen 1991: pads outside, leads inside */
        RF_DEEMBED_SHORT_OPEN,     /* leads outside */
        RF_DEEMBED_PAD_OPEN_SHORT, /* pad, leads, inner coupling */
        RF_DEEMBED_COUNT
};
extern const char *const rf_deembed_words[RF_DEEMBED_COUNT + 1];
struct dummies {
        const struct net2 *open, *shorted, *pad; /* NULL where the method does not need it */
};
enum code rf_deembed(enum deembed_method method, const struct net2 *measured, const struct dummies *dummies, struct net2 *out,
                     struct tp_error *err);
struct m2 rf_deembed_point(enum deembed_method method, struct m2 measured, struct m2 open, struct m2 shorted, struct m2 pad, double z_ref);
/* d(out S)/d(inputs): the linear change of the result when measured, open, short, pad move by the given dS. */
struct m2 rf_deembed_change(enum deembed_method method, const struct m2 s[4] /* measured, open, short, pad */, const struct m2 d_s[4],
                            double z_ref);

#endif
