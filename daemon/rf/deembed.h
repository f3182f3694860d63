/* deembed.h: taking pads and leads off a device, from dummies measured with the same calibration.
   All networks: one axis, one real reference impedance, one plane.  out may be measured; its plane becomes PLANE_DEVICE. */
#ifndef TIPPLANE_RF_DEEMBED_H
#define TIPPLANE_RF_DEEMBED_H
#include "rf/network.h"

enum deembed_method {
        DEEMBED_UNKNOWN,
        DEEMBED_OPEN,           /* Y = Ym - Yo */
        DEEMBED_SHORT,          /* Z = Zm - Zs */
        DEEMBED_OPEN_SHORT,     /* Koolen, Geelen & Versleijen 1991: pads outside, leads inside */
        DEEMBED_SHORT_OPEN,     /* leads outside */
        DEEMBED_PAD_OPEN_SHORT, /* pad, leads, inner coupling */
        DEEMBED_COUNT
};
extern const char *const deembed_words[DEEMBED_COUNT + 1];
struct dummies {
        const struct net2 *open, *shorted, *pad; /* NULL where the method does not need it */
};
enum code rf_deembed(enum deembed_method method, const struct net2 *measured, const struct dummies *dummies, struct net2 *out, struct tp_error *err);
struct m2 rf_deembed_point(enum deembed_method method, struct m2 measured, struct m2 open, struct m2 shorted, struct m2 pad, double z_ref);
/* d(out S)/d(inputs): the linear change of the result when measured, open, short, pad move by the given dS. */
struct m2 rf_deembed_change(enum deembed_method method, const struct m2 s[4] /* measured, open, short, pad */, const struct m2 d_s[4], double z_ref);

#endif
