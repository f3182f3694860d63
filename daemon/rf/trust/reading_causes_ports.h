/* reading_causes_ports.h: reading_causes.h for an analyzer of three or four ports.  Pure, any thread; memory from the arena. */
#ifndef TIPPLANE_RF_READING_CAUSES_PORTS_H
#define TIPPLANE_RF_READING_CAUSES_PORTS_H
#include "rf/calibrate/multiport_moves.h"
#include "rf/network/netn_causes.h"

struct corrected_reading_ports {
        const struct multiport_terms *terms;   /* at the frequencies of raw */
        const struct multiport_causes *causes; /* columns on the terms' whole list */
        const size_t *at;                      /* where each frequency of raw stands in that list */
        const struct port_switch *sw;          /* at the frequencies of raw; NULL: none */
        const struct netn *raw, *corrected;
        double top_hz; /* highest frequency of the terms */
        const struct reading_u *u;
        const char *terms_id, *reading_id, *touch_id; /* as of struct corrected_reading */
};
/* Where a tip stands is each port's own with all of its variance: which tips a stage moves together is not known of three and more.
   CODE_UNRESOLVABLE: a cause has no effect that is a number. */
enum code rf_reading_causes_ports(const struct corrected_reading_ports *, struct arena *, struct netn_causes *ret, struct tp_error *err);

#endif
