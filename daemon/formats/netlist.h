/* netlist.h: models and circuits as SPICE subcircuits: text that any simulator with R, L, C and linear controlled sources reads.
   Lower-case ASCII, values with 17 digits, node 0 only inside (states of a model); the pins are p1 … pN and ref:
     .subckt NAME p1 p2 ref
   Elements may be negative: the model as a whole is stable, and passive if it was so.  Comment lines say what it is, from which data, the
   model's error in S and the band in which it holds.  Pure. */
#ifndef TIPPLANE_FORMATS_NETLIST_H
#define TIPPLANE_FORMATS_NETLIST_H
#include "base/text.h"
#include "rf/models/circuit.h"

struct netlist_about {
        const char *name;     /* of the subcircuit: a letter, then letters, digits, underscores, at most 40; made lower-case */
        const char *comments; /* '\n'-separated, each line becomes a comment: run, device, calibration; NULL: none */
};
/* S models: states driven by the incident waves, no detour through Y.  Reciprocal Y models: a pi (N ports: a star and a mesh) of R, L, C
   branches; a pair of poles whose elements would cancel each other to more than six digits becomes two states, and so does all of a
   Y model that is not reciprocal.  error: what model_report holds; NULL: not said.
   CODE_BAD_INPUT: a bad name, a model with NaN, an S model with unstable poles. */
enum code netlist_write_model(const struct model *model, const struct model_error *error, const struct passivity *passivity,
                              const struct netlist_about *about, struct text *to, struct tp_error *err);

/* What lumped elements make of the circuit: skin effect by a chain of R || L, a loss tangent by R-C branches, a line by sections.  0 where
   the circuit is itself lumped. */
struct netlist_lumping {
        unsigned sections;      /* of a line */
        double worst, worst_hz; /* |S_netlist - S_circuit| over the band, at 401 frequencies */
};
/* Two-ports and one-ports (differential: p1 and ref are its ends).  ret may be NULL. */
enum code netlist_write_circuit(const struct circuit *circuit, const struct netlist_about *about, struct text *to,
                                struct netlist_lumping *ret, struct tp_error *err);

/* A junction of the law `d` and its series and shunt elements (a CIRCUIT_CAPACITOR whose c is not looked at): .subckt NAME p1 p2 ref, of a
   one-port .subckt NAME p1 ref; p1 is the anode.  circuit->error: over all voltages.  Valid from from_v to to_v reverse. */
enum code netlist_write_varactor(const struct circuit *circuit, const struct depletion *d, double from_v, double to_v,
                                 const struct netlist_about *about, struct text *to, struct tp_error *err);

#endif
