/* extrinsic_causes.h: what is not known exactly of a transistor's states, carried through the extraction of its pads and leads and their
   removal, cause by cause.  A cause that several states share (one calibration, one touch) moves them together, by its id.
   To first order: everything but noise by extracting twice more with all states moved to both sides.  Noise of the states is what the
   extraction's own scatter and model make; each stands as one cause for each element.  Pure, any thread. */
#ifndef TIPPLANE_RF_EXTRINSIC_CAUSES_H
#define TIPPLANE_RF_EXTRINSIC_CAUSES_H
#include "base/arena.h"
#include "rf/extract/extrinsic.h"
#include "rf/network/causes.h"

#define RF_COLD_STATES_MAX 16
/* One file with what is known of it. */
struct rf_state {
        const struct net2 *net;           /* NULL: not given */
        const struct net2_causes *causes; /* on the net's axis; NULL: it counts as exact */
};
struct rf_states {
        struct rf_state off, cold[RF_COLD_STATES_MAX], hot; /* hot: the biased one, from which pads and leads come off */
        enum rf_off off_kind;
        double off_below_hz;
        enum rf_cold cold_kind;
        size_t cold_n;                /* 0: no cold states */
        double x[RF_COLD_STATES_MAX]; /* as of rf_extrinsic_cold() */
        double channel_ohm, from_hz, below_hz;
};
/* Off, then cold: as those two fail, the sentence begins with neither's name. */
enum code rf_states_off(const struct rf_states *, struct rf_extrinsic *ret, struct tp_error *err);
enum code rf_states_cold(const struct rf_states *, struct rf_extrinsic *ret, struct tp_error *err);

struct rf_extrinsic_known {
        struct net2_causes causes;    /* about and id alone; the scatter's are the last ones */
        double (*change)[RF_X_COUNT]; /* of each element by one standard uncertainty of cause k */
        double u[RF_X_COUNT];         /* all of it together, the scatter included */
        struct net2_causes inside;    /* of the biased one without pads and leads; n 0 where there is none */
};
/* x: what the states gave.  Names that begin with "own: " get their state's: "off: touch L, port 1"; "transistor: …" where several share it.
   CODE_UNRESOLVABLE: a moved state has no solution, or a cause's effect is no number; CODE_BAD_INPUT: more than CAUSES_MAX causes. */
enum code rf_extrinsic_causes(const struct rf_states *, const struct rf_extrinsic *x, struct arena *, struct rf_extrinsic_known *ret,
                              struct tp_error *err);

#endif
