/* fit_varactor.c: `fit --model varactor`: the capacitance of one device at several voltages, and the junction's law through it (circuit.h). */
#include "cli/fit.h"
#include "cli/number.h"
#include "cli/offline.h"
#include "rf/models/circuit.h"
#include <math.h>
#include <string.h>

struct points {
        size_t n;
        double volt[CLI_ARGS_MAX], c_f[CLI_ARGS_MAX], u_f[CLI_ARGS_MAX], rs_ohm[CLI_ARGS_MAX];
};

/* A capacitor's c and rs at one voltage; u: by its own misfit, or --u. */
static enum code point(struct cli *c, const char *path, double u, size_t k, struct points *p, struct tp_error *err)
{
        struct netn net;
        struct circuit *fit = arena_take(c->arena, sizeof *fit);
        struct circuit_options how = {.u = u, .substrate = cli_has(c, "substrate")};
        enum code code = fit ? offline_netn(c, path, PLANE_DEVICE, &net, err) : tp_fail_memory(err);
        if (code)
                return code;
        offline_look_read_ports(c, path, &net);
        if (net.ports > 2 || !(net.z_re[0][0] > 0))
                return tp_fail(err, CODE_BAD_INPUT, "%s: a varactor has one port or two, in a reference of known ohms", path);
        struct model_data data = {.axis = net.axis, .ports = net.ports, .z_ohm = net.z_re[0][0]};
        for (unsigned e = 0; e < net.ports * net.ports; e++) {
                data.re[e] = net.re[e];
                data.im[e] = net.im[e];
        }
        if ((code = rf_fit_circuit(CIRCUIT_CAPACITOR, &data, &how, fit, err)))
                return tp_where(err, "%s", path);
        const struct circuit_element *capacitance = circuit_element_of(fit, "c"), *resistance = circuit_element_of(fit, "rs");
        p->c_f[k] = capacitance->value;
        p->u_f[k] = capacitance->u;
        p->rs_ohm[k] = resistance && !resistance->dropped ? resistance->value : 0;
        return CODE_OK;
}

/* The diode's own law of every SPICE: CJO, VJ, M; reverse voltage from a to k is negative there. */
static void netlist(const char *name, const struct depletion *d, double rs_ohm, double from_v, double to_v, struct text *to)
{
        text_f(to,
               "* varactor: C = CJO/(1 + VR/VJ)^M + CP, fitted from %.6g to %.6g V reverse; a: anode, k: cathode\n"
               ".subckt %s a k\nD1 a k junction\n",
               from_v, to_v, name);
        if (!d->cp_dropped)
                text_f(to, "Cp a k %.17g\n", d->cp_f);
        text_f(to, ".model junction D(IS=1e-18 RS=%.9g CJO=%.17g VJ=%.17g M=%.17g)\n.ends %s\n", rs_ohm, d->cj0_f, d->phi_v, d->m, name);
}

static void number(struct json_out *o, const char *key, double value, double u)
{
        json_open(o, key, '{');
        json_real(o, "value", value);
        json_real(o, "u", u);
        json_close(o, '}');
}

static void law_json(struct cli *c, struct json_out *o, const struct points *p, const struct depletion *d)
{
        json_open(o, "points", '[');
        for (size_t k = 0; k < p->n; k++) {
                json_open(o, NULL, '{');
                json_text(o, "file", c->args[k]);
                json_real(o, "reverse_v", p->volt[k]);
                json_real(o, "c_f", p->c_f[k]);
                json_real(o, "u_f", p->u_f[k]);
                json_real(o, "rs_ohm", p->rs_ohm[k]);
                json_close(o, '}');
        }
        json_close(o, ']');
        number(o, "cj0_f", d->cj0_f, d->u_cj0_f);
        number(o, "phi_v", d->phi_v, d->u_phi_v);
        number(o, "m", d->m, d->u_m);
        number(o, "cp_f", d->cp_dropped ? NAN : d->cp_f, d->cp_dropped ? NAN : d->u_cp_f);
        json_real(o, "rms", d->rms);
        json_real(o, "tuning", d->tuning);
}

static void law_words(struct cli *c, struct text *to, const struct points *p, const struct depletion *d)
{
        text_f(to, "varactor at %zu voltages\n", p->n);
        for (size_t k = 0; k < p->n; k++) {
                text_f(to, "  %8.4g V  ", p->volt[k]);
                put_quantity(to, p->c_f[k], 2 * p->u_f[k], "F");
                text_f(to, ", rs %.3g ohm  %s\n", p->rs_ohm[k], c->args[k]);
        }
        text_put(to, "  cj0      ");
        put_quantity(to, d->cj0_f, 2 * d->u_cj0_f, "F");
        text_put(to, "\n  phi      ");
        put_quantity(to, d->phi_v, 2 * d->u_phi_v, "V");
        text_put(to, "\n  m        ");
        put_quantity(to, d->m, 2 * d->u_m, "1");
        text_put(to, "\n  cp       ");
        if (d->cp_dropped)
                text_put(to, "left out: the data say nothing about it");
        else
                put_quantity(to, d->cp_f, 2 * d->u_cp_f, "F");
        text_f(to, "\nlargest over smallest C %.4g; the law misses by %.2g of C, rms\n", d->tuning, d->rms);
}

enum code fit_varactor(struct cli *c, const char *name, double u, struct json_out *o, struct text *words, struct text *to,
                       struct tp_error *err)
{
        struct points *p = arena_take(c->arena, sizeof *p);
        struct depletion d;
        double rs = 0, from_v = INFINITY, to_v = -INFINITY;
        if (!p)
                return tp_fail_memory(err);
        enum code code = offline_numbers(c, "reverse", p->volt, CLI_ARGS_MAX, &p->n, err);
        if (!code && p->n != c->arg_n)
                code = tp_fail(err, CODE_BAD_INPUT, "--reverse has %zu voltages for %zu files; give one for each file, in their order",
                               p->n, c->arg_n);
        bool known = true;
        for (size_t k = 0; k < c->arg_n && !code; k++) {
                code = point(c, c->args[k], u, k, p, err);
                known = known && p->u_f[k] > 0 && isfinite(p->u_f[k]);
                rs += p->rs_ohm[k] / (double)c->arg_n;
                from_v = fmin(from_v, p->volt[k]);
                to_v = fmax(to_v, p->volt[k]);
        }
        /* u of each C by its own misfit says little of how they lie to each other: only a stated --u weighs them */
        if (!code)
                code = rf_fit_depletion(p->n, p->volt, p->c_f, u > 0 && known ? p->u_f : NULL, &d, err);
        if (code)
                return code;
        netlist(name, &d, rs, from_v, to_v, to);
        law_json(c, o, p, &d);
        law_words(c, words, p, &d);
        return CODE_OK;
}
