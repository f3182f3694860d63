/* fit_varactor.c: `fit --model varactor`: the capacitance of one device at several voltages, and the junction's law through it (circuit.h). */
#include "cli/fit.h"
#include "cli/number.h"
#include "cli/offline.h"
#include <math.h>
#include <string.h>

struct points {
        size_t n;
        double volt[CLI_ARGS_MAX], c_f[CLI_ARGS_MAX], u_f[CLI_ARGS_MAX], rs_ohm[CLI_ARGS_MAX], ls_h[CLI_ARGS_MAX];
        struct model_data data[CLI_ARGS_MAX];
        struct circuit one; /* the first file's; then the elements that do not go with voltage, as means over the files */
};

static double kept(const struct circuit *fit, const char *name)
{
        const struct circuit_element *e = circuit_element_of(fit, name);
        return e && !e->dropped ? e->value : 0;
}

/* Mean of each element over the files so far, k before this one; u: the larger of the largest u and of half the spread. */
static void mean(struct circuit *to, const struct circuit *fit, size_t k)
{
        if (k == 0)
                *to = *fit;
        for (size_t i = 0; k > 0 && i < to->element_n && i < fit->element_n; i++) {
                struct circuit_element *e = &to->element[i];
                const struct circuit_element *next = &fit->element[i];
                double was = e->value, now = next->dropped ? 0 : next->value;
                e->value = (was * (double)k + now) / (double)(k + 1);
                e->u = fmax(fmax(isfinite(e->u) ? e->u : 0, isfinite(next->u) ? next->u : 0), fabs(now - was) / 2);
                e->dropped = e->dropped && next->dropped;
        }
        to->hz_lo = fmin(to->hz_lo, fit->hz_lo);
        to->hz_hi = fmax(to->hz_hi, fit->hz_hi);
}

/* A capacitor's c, rs and ls at one voltage; u: by its own misfit, or --u. */
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
        struct axis *axis = arena_take(c->arena, sizeof *axis);
        struct model_data *data = &p->data[k];
        if (!axis)
                return tp_fail_memory(err);
        *axis = *net.axis;
        *data = (struct model_data){.axis = axis, .ports = net.ports, .z_ohm = net.z_re[0][0]};
        if (k > 0 && (data->ports != p->data[0].ports || fabs(data->z_ohm - p->data[0].z_ohm) > 1e-9 * data->z_ohm))
                return tp_fail(err, CODE_BAD_INPUT, "%s has %zu ports in %g ohm, %s %zu in %g; the files are of one device", path,
                               data->ports, data->z_ohm, c->args[0], p->data[0].ports, p->data[0].z_ohm);
        for (unsigned e = 0; e < net.ports * net.ports; e++) {
                data->re[e] = net.re[e];
                data->im[e] = net.im[e];
        }
        if ((code = rf_fit_circuit(CIRCUIT_CAPACITOR, data, &how, fit, err)))
                return tp_where(err, "%s", path);
        p->c_f[k] = kept(fit, "c");
        p->u_f[k] = circuit_element_of(fit, "c")->u;
        p->rs_ohm[k] = kept(fit, "rs");
        p->ls_h[k] = kept(fit, "ls");
        mean(&p->one, fit, k);
        return CODE_OK;
}

/* What the netlist makes of all files: the law's C and the other elements' means; then the circuit is left without a c of its own. */
static void error_of_all(struct points *p, const struct depletion *d)
{
        struct circuit *k = &p->one;
        size_t at = 0, ports = k->ports;
        while (at + 1 < k->element_n && strcmp(k->element[at].name, "c") != 0)
                at++;
        model_error_begin(&k->error);
        for (size_t f = 0; f < p->n; f++) {
                const struct model_data *data = &p->data[f];
                k->element[at].value = d->cj0_f * pow(1 + p->volt[f] / d->phi_v, -d->m) + (d->cp_dropped ? 0 : d->cp_f);
                for (size_t i = 0; i < data->axis->n; i++) {
                        double complex is[4], read[4];
                        if (!(data->axis->hz[i] > 0))
                                continue;
                        circuit_s_at(k, data->axis->hz[i], is);
                        for (size_t e = 0; e < ports * ports; e++)
                                read[e] = CMPLX(data->re[e][i], data->im[e][i]);
                        model_error_add(&k->error, data->axis->hz[i], ports * ports, is, read);
                }
        }
        model_error_end(&k->error, ports * ports);
        memmove(&k->element[at], &k->element[at + 1], (--k->element_n - at) * sizeof k->element[0]);
}

#define PHI_MOST_V 3.0 /* a junction has 0.3 to 1.5 V; a fit of few points comes out at twice that */
#define TWICE 0.02     /* of C, at one voltage */

/* Voltages that are of another unit, or of another file. */
static void voltages_look(struct cli *c, const struct points *p, const struct depletion *d)
{
        double most = 0;
        for (size_t k = 0; k < p->n; k++)
                most = fmax(most, fabs(p->volt[k]));
        if (d->phi_v - 2 * (isfinite(d->u_phi_v) ? d->u_phi_v : 0) > PHI_MOST_V)
                cli_note(c, "phi comes out at %.3g V, and a junction has 0.3 to 1.5: --reverse is in volt and goes to %.4g V%s", d->phi_v,
                         most, d->phi_v > 100 && d->phi_v < 3000 ? "; millivolts, it seems: divide by 1000" : "");
        for (size_t a = 0; a < p->n; a++)
                for (size_t b = a + 1; b < p->n; b++) {
                        double unlike = fabs(p->c_f[a] - p->c_f[b]), u = hypot(p->u_f[a], p->u_f[b]);
                        if (!(fabs(p->volt[a] - p->volt[b]) <= 1e-6 * most) || !(unlike > fmax(4 * u, TWICE * p->c_f[a])))
                                continue;
                        cli_note(c,
                                 "%s and %s are both told to be at %.4g V and differ by %.2g %% in C: one voltage is wrong, or the "
                                 "device moved between them",
                                 c->args[a], c->args[b], p->volt[a], 100 * unlike / p->c_f[a]);
                }
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
                json_real(o, "ls_h", p->ls_h[k]);
                json_close(o, '}');
        }
        json_close(o, ']');
        number(o, "cj0_f", d->cj0_f, d->u_cj0_f);
        number(o, "phi_v", d->phi_v, d->u_phi_v);
        number(o, "m", d->m, d->u_m);
        number(o, "cp_f", d->cp_dropped ? NAN : d->cp_f, d->cp_dropped ? NAN : d->u_cp_f);
        json_real(o, "rms", d->rms);
        json_real(o, "tuning", d->tuning);
        json_open(o, "elements", '[');
        for (size_t i = 0; i < p->one.element_n; i++) {
                const struct circuit_element *e = &p->one.element[i];
                json_open(o, NULL, '{');
                json_text(o, "name", e->name);
                json_text(o, "unit", e->unit);
                json_real(o, "value", e->dropped ? NAN : e->value);
                json_real(o, "u", e->dropped ? NAN : e->u);
                json_bool(o, "dropped", e->dropped);
                json_close(o, '}');
        }
        json_close(o, ']');
        fit_error_json(o, &p->one.error);
}

static void law_words(struct cli *c, struct text *to, const struct points *p, const struct depletion *d)
{
        text_f(to, "varactor at %zu voltages\n", p->n);
        for (size_t k = 0; k < p->n; k++) {
                text_f(to, "  %8.4g V  ", p->volt[k]);
                put_quantity(to, p->c_f[k], 2 * p->u_f[k], "F");
                text_f(to, ", rs %.3g ohm, ls %.3g pH  %s\n", p->rs_ohm[k], p->ls_h[k] * 1e12, c->args[k]);
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
        text_put(to, "\n");
        for (size_t i = 0; i < p->one.element_n; i++) {
                const struct circuit_element *e = &p->one.element[i];
                if (e->dropped)
                        continue;
                text_f(to, "  %-8s ", e->name);
                put_quantity(to, e->value, 2 * e->u, e->unit);
                text_put(to, ", of all files\n");
        }
        text_f(to, "largest over smallest C %.4g; the law misses by %.2g of C, rms\n", d->tuning, d->rms);
        fit_error_words(to, &p->one.error);
}

enum code fit_varactor(struct cli *c, const struct netlist_about *about, double u, struct json_out *o, struct text *words, struct text *to,
                       struct tp_error *err)
{
        struct points *p = arena_take(c->arena, sizeof *p);
        struct depletion d;
        double from_v = INFINITY, to_v = -INFINITY;
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
                from_v = fmin(from_v, p->volt[k]);
                to_v = fmax(to_v, p->volt[k]);
        }
        /* u of each C by its own misfit says little of how they lie to each other: only a stated --u weighs them */
        if (!code)
                code = rf_fit_depletion(p->n, p->volt, p->c_f, u > 0 && known ? p->u_f : NULL, &d, err);
        if (code)
                return code;
        error_of_all(p, &d);
        voltages_look(c, p, &d);
        if ((code = netlist_write_varactor(&p->one, &d, from_v, to_v, about, to, err)))
                return code;
        law_json(c, o, p, &d);
        law_words(c, words, p, &d);
        return CODE_OK;
}
