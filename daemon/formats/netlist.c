/* netlist.c: rational models as SPICE text (netlist.h).
 *
 * Branch      y = d + s e + sum r/(s - p): R = 1/d; C = e; a real pole L = 1/r, R = -p/r in series; a pair, with a1 = 2 Re r,
 *             a0 = -2 (Re r Re p + Im r Im p), b1 = -2 Re p, b0 = |p|^2: L = 1/a1 and R = (b1 - a0/a1)/a1 in series with C = a1/r0 parallel
 *             to G = a0/r0, r0 = b0 - a0 R (Antonini, IEEE Trans. EMC 45 (2003) 502, from memory; checked by tests/reference and ngspice).
 *
 * States      x' = p x + |p| u on a capacitor of 1/|p| farad with a resistor |p|/(-Re p); voltages stay near those of the ports.
 *
 * S           I = V/Z0 - 2 b/sqrt Z0 at each port: a resistor Z0 and current sources; a = (V + Z0 I)/(2 sqrt Z0) as a voltage. */
#include "formats/netlist_own.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define CANCEL_MAX 1e3 /* |a0/a1| over |p|: the branch's elements cancel by its square */

void netlist_node(struct writer *w, char name[16]) { snprintf(name, 16, "n%u", ++w->node); }

void netlist_two(struct writer *w, char letter, const char *a, const char *b, double value)
{
        unsigned *count = letter == 'r' ? &w->r : letter == 'l' ? &w->l : &w->c;
        text_f(w->to, "%c%u %s %s %.17g\n", letter, ++*count, a, b, value);
}
/* gain times V(c, d) flows from a through the source to b. */
static void transconductance(struct writer *w, const char *a, const char *b, const char *c, const char *d, double gain)
{
        if (gain != 0)
                text_f(w->to, "g%u %s %s %s %s %.17g\n", ++w->g, a, b, c, d, gain);
}

static void comment(struct writer *w, const char *text)
{
        while (text && *text) {
                text_put(w->to, "* ");
                for (; *text && *text != '\n'; text++) {
                        char c = *text >= ' ' && *text < 127 ? (char)tolower((unsigned char)*text) : '?';
                        text_bytes(w->to, &c, 1);
                }
                text_put(w->to, "\n");
                if (*text)
                        text++;
        }
}

enum code netlist_head(struct writer *w, const struct netlist_about *about, unsigned ports, const char *what, struct tp_error *err)
{
        const char *name = about->name ? about->name : "";
        size_t n = strlen(name);
        bool good = n >= 1 && n <= 40 && isalpha((unsigned char)name[0]);
        for (size_t i = 0; i < n && good; i++)
                good = isalnum((unsigned char)name[i]) || name[i] == '_';
        if (!good)
                return tp_fail(err, CODE_BAD_INPUT,
                               "\"%.40s\" cannot name a subcircuit; use a letter, then letters, digits and _, at most 40", name);
        char lower[48];
        for (size_t i = 0; i <= n; i++)
                lower[i] = (char)tolower((unsigned char)name[i]);
        text_f(w->to, "* %s: %s\n", lower, what);
        comment(w, about->comments);
        text_f(w->to, "* pins:");
        for (unsigned i = 1; i <= ports; i++)
                text_f(w->to, " p%u", i);
        text_f(w->to, " ref\n");
        return CODE_OK;
}

void netlist_error(struct writer *w, const struct model_error *e)
{
        text_f(w->to, "* model error, |s_model - s_data|: rms %.3e, largest %.3e at %.9g hz\n", e->rms, e->worst, e->worst_hz);
        for (size_t b = 0; b < e->band_n; b++)
                text_f(w->to, "*   %.9g .. %.9g hz: rms %.3e, largest %.3e\n", e->band[b].hz_lo, e->band[b].hz_hi, e->band[b].rms,
                       e->band[b].worst);
}

enum code netlist_end(struct writer *w, struct tp_error *err)
{
        text_put(w->to, ".ends\n");
        return text_ok(w->to) ? CODE_OK : tp_fail_memory(err);
}

/* One pole driven by V(c, d) with unit weight; names of its one or two state nodes. */
static void state(struct writer *w, double complex p, const char *c, const char *d, char x1[16], char x2[16])
{
        double size = cabs(p), re = creal(p), im = cimag(p);
        netlist_node(w, x1);
        netlist_two(w, 'c', x1, "0", 1 / size);
        netlist_two(w, 'r', x1, "0", size / -re);
        transconductance(w, "0", x1, c, d, im > 0 ? 2 : 1);
        if (!(im > 0))
                return;
        netlist_node(w, x2);
        netlist_two(w, 'c', x2, "0", 1 / size);
        netlist_two(w, 'r', x2, "0", size / -re);
        transconductance(w, "0", x1, x2, "0", im / size);
        transconductance(w, "0", x2, x1, "0", -im / size);
}

/* The admittance d + s e + sum r/(s - p) between two nodes. */
static void branch(struct writer *w, const struct rational *m, const double complex *r, double d, double e, double scale, const char *a,
                   const char *b)
{
        if (fabs(d) > 1e-14 * scale)
                netlist_two(w, 'r', a, b, 1 / d);
        if (e != 0)
                netlist_two(w, 'c', a, b, e);
        for (size_t i = 0; i < m->pole_n; i++) {
                double complex p = m->pole[i];
                if (!(cabs(r[i]) > 1e-14 * scale * fabs(creal(p))))
                        continue;
                char x[16], y[16];
                if (!(cimag(p) > 0)) {
                        netlist_node(w, x);
                        netlist_two(w, 'l', a, x, 1 / creal(r[i]));
                        netlist_two(w, 'r', x, b, -creal(p) / creal(r[i]));
                        continue;
                }
                double a1 = 2 * creal(r[i]), a0 = -2 * (creal(r[i]) * creal(p) + cimag(r[i]) * cimag(p)), b1 = -2 * creal(p),
                       b0 = creal(p * conj(p));
                if (!(fabs(a0) <= CANCEL_MAX * cabs(p) * fabs(a1)) || fabs(a0) < 1e-12 * cabs(p) * fabs(a1)) {
                        state(w, p, a, b, x, y);
                        transconductance(w, a, b, x, "0", creal(r[i]) / cabs(p));
                        transconductance(w, a, b, y, "0", cimag(r[i]) / cabs(p));
                        continue;
                }
                double ohm = (b1 - a0 / a1) / a1, r0 = b0 - a0 * ohm;
                netlist_node(w, x);
                netlist_two(w, 'l', a, x, 1 / a1);
                netlist_node(w, y);
                netlist_two(w, 'r', x, y, ohm);
                netlist_two(w, 'c', y, b, a1 / r0);
                netlist_two(w, 'r', y, b, r0 / a0);
        }
}

/* "p1" … "p4", "q1" …: at most RF_MODEL_PORTS_MAX ports, one digit. */
static void numbered(char name[16], char letter, size_t i)
{
        name[0] = letter;
        name[1] = (char)('1' + i);
        name[2] = '\0';
}

static void y_branches(struct writer *w, const struct model *m)
{
        const struct rational *f = &m->fit;
        size_t p = m->ports;
        double scale = 0;
        for (size_t q = 0; q < p * p; q++) {
                scale = fmax(scale, fabs(f->d[q]));
                for (size_t i = 0; i < f->pole_n; i++)
                        scale = fmax(scale, cabs(f->residue[q][i]) / cabs(f->pole[i]));
        }
        for (size_t i = 0; i < p; i++)
                for (size_t j = i; j < p; j++) {
                        double complex r[RF_FIT_ORDER_MAX] = {0};
                        double d = 0, e = 0;
                        char a[16], b[16] = "ref";
                        numbered(a, 'p', i);
                        for (size_t k = 0; k < p; k++) { /* to ref: the sum of the row; between two ports: minus the element */
                                if (j > i && k != j)
                                        continue;
                                double sign = j > i ? -1 : 1;
                                size_t q = i * p + k;
                                d += sign * f->d[q];
                                e += sign * f->e[q];
                                for (size_t n = 0; n < f->pole_n; n++)
                                        r[n] += sign * f->residue[q][n];
                        }
                        if (j > i)
                                numbered(b, 'p', j);
                        branch(w, f, r, d, e, scale, a, b);
                }
}

/* s e_ij V_j into each port i: a copy of V_j drives one capacitor, and its current is multiplied. */
static void derivatives(struct writer *w, const struct model *m)
{
        size_t p = m->ports;
        for (size_t j = 0; j < p; j++) {
                double most = 0;
                char at[16], copy[16], to[16];
                for (size_t i = 0; i < p; i++)
                        most = fmax(most, fabs(m->fit.e[i * p + j]));
                if (!(most > 0))
                        continue;
                numbered(at, 'p', j);
                netlist_node(w, copy);
                text_f(w->to, "e%u %s 0 %s ref 1\n", ++w->e, copy, at);
                netlist_node(w, to);
                text_f(w->to, "v%u %s %s 0\n", ++w->v, copy, to);
                netlist_two(w, 'c', to, "0", most);
                for (size_t i = 0; i < p; i++) {
                        numbered(to, 'p', i);
                        if (m->fit.e[i * p + j] != 0)
                                text_f(w->to, "f%u %s ref v%u %.17g\n", ++w->f, to, w->v, m->fit.e[i * p + j] / most);
                }
        }
}

/* States per pole and driving port; their sum is drawn from the ports (Y) or fed into them (S). */
static void by_states(struct writer *w, const struct model *m)
{
        const struct rational *f = &m->fit;
        size_t p = m->ports;
        double root = sqrt(m->z_ohm);
        bool s = m->kind != MODEL_Y;
        for (size_t j = 0; j < p; j++) {
                char from[16], at[16], wave[16], x1[16] = "", x2[16] = "";
                numbered(at, 'p', j);
                memcpy(from, at, sizeof from);
                if (s) {
                        char inside[16], half[16];
                        numbered(inside, 'q', j);
                        numbered(wave, 'a', j);
                        netlist_node(w, half);
                        text_f(w->to, "v%zu %s %s 0\n", j + 1, at, inside);
                        netlist_two(w, 'r', inside, "ref", m->z_ohm);
                        text_f(w->to, "e%zu %s %s %s ref %.17g\n", j + 1, wave, half, inside, 1 / (2 * root));
                        text_f(w->to, "h%zu %s 0 v%zu %.17g\n", j + 1, half, j + 1, root / 2);
                        memcpy(from, wave, sizeof from);
                }
                const char *other = s ? "0" : "ref";
                for (size_t i = 0; i < p; i++) {
                        char to[16];
                        numbered(to, s ? 'q' : 'p', i);
                        transconductance(w, s ? "ref" : to, s ? to : "ref", from, other, f->d[i * p + j] * (s ? 2 / root : 1));
                }
                for (size_t n = 0; n < f->pole_n; n++) {
                        state(w, f->pole[n], from, other, x1, x2);
                        for (size_t i = 0; i < p; i++) {
                                char to[16];
                                numbered(to, s ? 'q' : 'p', i);
                                double scale = (s ? 2 / root : 1) / cabs(f->pole[n]);
                                double complex r = f->residue[i * p + j][n];
                                transconductance(w, s ? "ref" : to, s ? to : "ref", x1, "0", creal(r) * scale);
                                if (cimag(f->pole[n]) > 0)
                                        transconductance(w, s ? "ref" : to, s ? to : "ref", x2, "0", cimag(r) * scale);
                        }
                }
        }
        if (!s)
                derivatives(w, m);
}

enum code netlist_write_model(const struct model *m, const struct model_error *error, const struct passivity *passivity,
                              const struct netlist_about *about, struct text *to, struct tp_error *err)
{
        struct writer w = {.to = to};
        const struct rational *f = &m->fit;
        if (m->ports < 1 || m->ports > RF_MODEL_PORTS_MAX || f->element_n != m->ports * m->ports || !(m->z_ohm > 0))
                return tp_fail(err, CODE_BAD_INPUT, "this is no model of 1 to %d ports", RF_MODEL_PORTS_MAX);
        for (size_t i = 0; i < f->pole_n; i++) {
                if (!(creal(f->pole[i]) < 0 && isfinite(cabs(f->pole[i]))))
                        return tp_fail(err, CODE_BAD_INPUT, "pole %zu of the model is not stable", i + 1);
                for (size_t q = 0; q < f->element_n; q++)
                        if (!isfinite(cabs(f->residue[q][i])))
                                return tp_fail(err, CODE_BAD_INPUT, "residue %zu of the model is not a number", i + 1);
        }
        for (size_t q = 0; q < f->element_n; q++)
                if (!isfinite(f->d[q]) || !isfinite(f->e[q]))
                        return tp_fail(err, CODE_BAD_INPUT, "the constant term of element %zu is not a number", q + 1);
        char what[120];
        snprintf(what, sizeof what, "rational model of %c, %zu port%s, order %zu", m->kind == MODEL_Y ? 'y' : 's', m->ports,
                 m->ports > 1 ? "s" : "", rational_order(f));
        enum code code = netlist_head(&w, about, (unsigned)m->ports, what, err);
        if (code)
                return code;
        text_f(to, "* valid from %.9g to %.9g hz; s refers to %.9g ohm\n", m->hz_lo, m->hz_hi, m->z_ohm);
        if (error)
                netlist_error(&w, error);
        if (passivity)
                text_f(to, "* %s; %s %.9g at %.9g hz\n", passivity->passive ? "passive at all frequencies" : "not passive",
                       m->kind == MODEL_Y ? "smallest eigenvalue of re y / |y|" : "largest singular value of s", passivity->worst,
                       passivity->worst_hz);
        text_f(to, ".subckt ");
        for (const char *c = about->name; *c; c++)
                text_f(to, "%c", tolower((unsigned char)*c));
        for (size_t i = 1; i <= m->ports; i++)
                text_f(to, " p%zu", i);
        text_put(to, " ref\n");
        if (m->kind == MODEL_Y && m->reciprocal)
                y_branches(&w, m);
        else
                by_states(&w, m);
        return netlist_end(&w, err);
}
