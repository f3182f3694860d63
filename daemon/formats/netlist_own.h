/* netlist_own.h: shared by netlist.c, netlist_circuit.c and netlist_varactor.c. */
#ifndef TIPPLANE_FORMATS_NETLIST_OWN_H
#define TIPPLANE_FORMATS_NETLIST_OWN_H
#include "formats/netlist.h"

struct writer {
        struct text *to;
        unsigned r, l, c, g, e, f, v, node; /* how many of each there are */
};
enum code netlist_head(struct writer *w, const struct netlist_about *about, unsigned ports, const char *what, struct tp_error *err);
void netlist_error(struct writer *w, const struct model_error *e);
void netlist_two(struct writer *w, char letter, const char *a, const char *b, double value); /* r, l, c between two nodes */
void netlist_node(struct writer *w, char name[16]);                                          /* a new inner node */
void netlist_elements_said(struct writer *w, const struct circuit *c);                       /* a comment each */
void netlist_shunt(struct writer *w, const struct circuit *c, const char *at, char side);    /* cox, rsub, csub of a port */
enum code netlist_end(struct writer *w, struct tp_error *err);

#endif
