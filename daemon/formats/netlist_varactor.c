/* netlist_varactor.c: a varactor as SPICE text: rs and ls in series with a junction, shunts as of a capacitor.
 * Junction    The diode's own law of every SPICE: cjo, vj, m; the voltage from anode to cathode is -vr.  fc is where SPICE leaves the law
 *             in forward direction: as far as it goes.  is is so small that nothing flows.  Simulators hold m to 0.9, so a steeper law (a
 *             hyperabrupt junction) is written as a capacitor with a formula, which not every simulator reads; the text says so. */
#include "formats/netlist_own.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define M_OF_A_DIODE 0.9

static double of(const struct circuit *c, const char *name)
{
        const struct circuit_element *e = circuit_element_of(c, name);
        return e && !e->dropped ? e->value : 0;
}

static void series(struct writer *w, char letter, double value, char at[16])
{
        char next[16];
        if (!(value > 0))
                return;
        netlist_node(w, next);
        netlist_two(w, letter, at, next, value);
        memcpy(at, next, sizeof next);
}

enum code netlist_write_varactor(const struct circuit *c, const struct depletion *d, double from_v, double to_v,
                                 const struct netlist_about *about, struct text *to, struct tp_error *err)
{
        struct writer w = {.to = to};
        if (c->kind != CIRCUIT_CAPACITOR || c->ports < 1 || c->ports > 2 || !(d->cj0_f > 0 && d->phi_v > 0 && d->m > 0))
                return tp_fail(err, CODE_BAD_INPUT, "this is no fitted varactor");
        enum code code = netlist_head(&w, about, (unsigned)c->ports, "varactor, c = cjo/(1 + vr/vj)^m + cp", err);
        if (code)
                return code;
        const char *k = c->ports == 2 ? "p2" : "ref";
        bool steep = d->m > M_OF_A_DIODE;
        char at[16] = "p1";
        text_f(to, "* p1: anode, %s: cathode\n", k);
        text_f(to, "* valid from %.9g to %.9g hz, from %.6g to %.6g v reverse; s refers to %.9g ohm\n", c->hz_lo, c->hz_hi, from_v, to_v,
               c->z_ohm);
        netlist_error(&w, &c->error);
        netlist_elements_said(&w, c);
        if (steep)
                text_put(to, "* m is above what a diode model takes: the capacitor with a formula needs a simulator that reads it\n");
        text_put(to, ".subckt ");
        for (const char *p = about->name; *p; p++)
                text_f(to, "%c", tolower((unsigned char)*p));
        text_put(to, c->ports == 2 ? " p1 p2 ref\n" : " p1 ref\n");
        series(&w, 'r', of(c, "rs"), at);
        series(&w, 'l', of(c, "ls"), at);
        if (steep)
                text_f(to, "cj %s %s c='%.17g*pow(1+v(%s,%s)/%.17g,%.17g)'\n", at, k, d->cj0_f, k, at, d->phi_v, -d->m);
        else
                text_f(to, "d1 %s %s junction\n", at, k);
        if (!d->cp_dropped)
                netlist_two(&w, 'c', at, k, d->cp_f);
        netlist_shunt(&w, c, "p1", '1');
        if (c->ports == 2)
                netlist_shunt(&w, c, "p2", '2');
        if (!steep)
                text_f(to, ".model junction d(is=1e-24 rs=0 cjo=%.17g vj=%.17g m=%.17g fc=0.95)\n", d->cj0_f, d->phi_v, d->m);
        return netlist_end(&w, err);
}
