/* netlist_circuit.c: the circuits of circuit.h as SPICE text.
 *
 * Skin        sqrt(1 + s/ws) = 1 + (s/ws)/pi int_0^inf sqrt y / ((1 + y)(s/ws + 1 + y)) dy: with y = e^t the trapezoidal rule of step 1 is
 *             good to 1e-4.  Each term is a resistor parallel to an inductor, all positive; the end of the integral is an inductor.
 *
 * Loss        g = w c tan d by R-C branches, one per decade, c_k = (2/pi) ln 10 c tan d; the plain capacitance is lowered so that the sum
 *             is c at 0.6 of the band's end, where a line feels it most.  (A constant tan d at all frequencies is not causal.)
 *
 * Line        pi sections, as many as keep the error of lumping below 1e-3 or a third of the circuit's own, at most 200.
 *
 * What this does to S is computed from the same element values and written down.  Own derivations, checked by tests/judges. */
#include "formats/netlist_own.h"
#include "rf/network/convert.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define TERMS_MAX 64
#define SECTIONS_MAX 200
#define LOSS_TERMS 5

/* r sqrt(1 + s/ws) by r + sl + sum of R || L. */
struct skin {
        double r, l;
        size_t n;
        double rk[TERMS_MAX], lk[TERMS_MAX];
};
static struct skin skin_of(double r, double f_skin, double hz_hi)
{
        struct skin s = {.r = r};
        if (!(r > 0) || !isfinite(f_skin) || !(f_skin > 0))
                return s;
        double ws = RF_TWO_PI * f_skin, t = -7, end = log(100 * fmax(hz_hi / f_skin, 0.01));
        double low_r = 0, low_l = 0; /* the terms far below ws all turn at ws: one of them does, and no milliohm stands beside an ohm */
        for (; t <= end && s.n < TERMS_MAX; t += 1) {
                double y = exp(t), rk = r * y * sqrt(y) / (RF_PI * (1 + y)), lk = rk / (ws * (1 + y));
                low_r += rk;
                low_l += lk;
                if (t < -2)
                        continue;
                s.rk[s.n] = low_r;
                s.lk[s.n++] = low_l;
                low_r = low_l = 0;
        }
        s.l = r / ws * 2 / RF_PI / sqrt(exp(t - 0.5));
        return s;
}
static double complex skin_z(const struct skin *s, double w)
{
        double complex z = CMPLX(s->r, w * s->l);
        for (size_t k = 0; k < s->n; k++)
                z += CMPLX(0, w) * s->lk[k] * s->rk[k] / (s->rk[k] + CMPLX(0, w) * s->lk[k]);
        return z;
}
static void write_skin(struct writer *w, const struct skin *s, double l_more, const char *a, const char *b, double scale)
{
        char at[16], next[16];
        snprintf(at, sizeof at, "%s", a);
        bool last_l = s->l + l_more > 0;
        for (size_t k = 0; k < s->n; k++) {
                netlist_node(w, next);
                netlist_two(w, 'r', at, next, s->rk[k] * scale);
                netlist_two(w, 'l', at, next, s->lk[k] * scale);
                memcpy(at, next, sizeof at);
        }
        if (s->r > 0 && last_l) {
                netlist_node(w, next);
                netlist_two(w, 'r', at, next, s->r * scale);
                netlist_two(w, 'l', next, b, (s->l + l_more) * scale);
        } else if (s->r > 0) {
                netlist_two(w, 'r', at, b, s->r * scale);
        } else {
                netlist_two(w, 'l', at, b, fmax(s->l + l_more, 1e-18) * scale);
        }
}

/* c (1 - j tan d) by a capacitor and R-C branches. */
struct loss {
        double c;
        size_t n;
        double ck[LOSS_TERMS], rk[LOSS_TERMS];
};
static struct loss loss_of(double c, double tan_d, double hz_hi)
{
        struct loss s = {.c = c};
        if (!(tan_d > 0))
                return s;
        double middle = RF_TWO_PI * hz_hi * 0.6;
        for (; s.n < LOSS_TERMS; s.n++) {
                double p = RF_TWO_PI * hz_hi * pow(10, 1 - (double)s.n);
                s.ck[s.n] = 2 / RF_PI * log(10) * c * tan_d;
                s.rk[s.n] = 1 / (p * s.ck[s.n]);
                s.c -= s.ck[s.n] / (1 + middle / p * middle / p);
        }
        return s;
}
static double complex loss_y(const struct loss *s, double w)
{
        double complex y = CMPLX(0, w * s->c);
        for (size_t k = 0; k < s->n; k++)
                y += CMPLX(0, w * s->ck[k]) / CMPLX(1, w * s->ck[k] * s->rk[k]);
        return y;
}
static void write_loss(struct writer *w, const struct loss *s, const char *a, double scale)
{
        netlist_two(w, 'c', a, "ref", s->c * scale);
        for (size_t k = 0; k < s->n; k++) {
                char x[16];
                netlist_node(w, x);
                netlist_two(w, 'c', a, x, s->ck[k] * scale);
                netlist_two(w, 'r', x, "ref", s->rk[k] / scale);
        }
}

static double of(const struct circuit *c, const char *name)
{
        const struct circuit_element *e = circuit_element_of(c, name);
        return e ? e->value : name[0] == 'f' ? INFINITY : 0; /* f_skin absent: no skin effect */
}

/* S of the netlist: the circuit with its skin (and loss, and sections) as they are written. */
static void netlist_s(const struct circuit *c, const struct skin *skin, const struct loss *loss, unsigned sections, double hz,
                      double complex *s)
{
        double w = RF_TWO_PI * hz;
        double complex rs = skin_z(skin, w);
        if (c->kind == CIRCUIT_LINE) {
                double d = c->length_m / sections;
                double complex z = (rs + CMPLX(0, w * of(c, "l"))) * d, y = loss_y(loss, w) * d / 2;
                struct m2 one = m2_of(1 + y * z, z, y * (2 + y * z), 1 + y * z), all = m2_one();
                for (unsigned i = 0; i < sections; i++)
                        all = m2_mul(all, one);
                struct m2 m = rf_s_from_abcd(all, c->z_ohm);
                memcpy(s, m.e, sizeof m.e);
                return;
        }
        /* the series branch is exchanged in Y */
        double complex y[4], l = CMPLX(0, w * of(c, c->kind == CIRCUIT_INDUCTOR ? "ls" : "l"));
        double r = of(c, c->kind == CIRCUIT_INDUCTOR ? "rs" : "r"), f_skin = of(c, "f_skin");
        double complex was = 1 / ((isfinite(f_skin) ? r * csqrt(CMPLX(1, hz / f_skin)) : r) + l), is = 1 / (rs + l), move = is - was;
        circuit_y_at(c, hz, y);
        y[0] += move;
        if (c->ports == 1) {
                s[0] = (1 - c->z_ohm * y[0]) / (1 + c->z_ohm * y[0]);
                return;
        }
        y[1] -= move;
        y[2] -= move;
        y[3] += move;
        struct m2 m = rf_s_from_y(m2_of(y[0], y[1], y[2], y[3]), c->z_ohm);
        memcpy(s, m.e, sizeof m.e);
}

static void lumping(const struct circuit *c, const struct skin *skin, const struct loss *loss, struct netlist_lumping *l)
{
        l->worst = 0;
        for (int i = 0; i <= 400; i++) {
                double low = c->hz_lo > 0 ? c->hz_lo : c->hz_hi * 1e-6, hz = low * pow(c->hz_hi / low, i / 400.0);
                double complex a[4], b[4];
                netlist_s(c, skin, loss, l->sections, hz, a);
                circuit_s_at(c, hz, b);
                for (size_t q = 0; q < c->ports * c->ports; q++)
                        if (!(cabs(a[q] - b[q]) <= l->worst)) {
                                l->worst = cabs(a[q] - b[q]);
                                l->worst_hz = hz;
                        }
        }
}

static unsigned sections_of(const struct circuit *c)
{
        double w = RF_TWO_PI * c->hz_hi, turn = w * sqrt(of(c, "l") * of(c, "c")) * c->length_m, may = fmax(1e-3, c->error.worst / 3);
        double n = ceil(turn * sqrt(turn / (12 * may)));
        return n < 1 ? 1 : n > SECTIONS_MAX ? SECTIONS_MAX : (unsigned)n;
}

void netlist_shunt(struct writer *w, const struct circuit *c, const char *at, char side)
{
        char cox[8], rsub[8], csub[8], x[16];
        snprintf(cox, sizeof cox, "cox%c", side);
        snprintf(rsub, sizeof rsub, "rsub%c", side);
        snprintf(csub, sizeof csub, "csub%c", side);
        if (!(of(c, cox) > 0))
                return;
        if (!(of(c, rsub) > 0)) {
                netlist_two(w, 'c', at, "ref", of(c, cox));
                return;
        }
        netlist_node(w, x);
        netlist_two(w, 'c', at, x, of(c, cox));
        netlist_two(w, 'r', x, "ref", of(c, rsub));
        if (of(c, csub) > 0)
                netlist_two(w, 'c', x, "ref", of(c, csub));
}

static void elements(struct writer *w, const struct circuit *c, const struct skin *skin, const struct loss *loss, unsigned sections)
{
        const char *b = c->ports == 2 ? "p2" : "ref";
        char at[16] = "p1", next[16];
        switch (c->kind) {
        case CIRCUIT_INDUCTOR:
                write_skin(w, skin, of(c, "ls"), "p1", b, 1);
                if (of(c, "cp") > 0)
                        netlist_two(w, 'c', "p1", b, of(c, "cp"));
                if (c->differential) { /* two like shunts in series */
                        double cox = of(c, "cox1"), rsub = of(c, "rsub1"), csub = of(c, "csub1");
                        if (cox > 0 && rsub > 0) {
                                netlist_node(w, next);
                                netlist_two(w, 'c', "p1", next, cox / 2);
                                netlist_two(w, 'r', next, "ref", 2 * rsub);
                                if (csub > 0)
                                        netlist_two(w, 'c', next, "ref", csub / 2);
                        } else if (cox > 0) {
                                netlist_two(w, 'c', "p1", "ref", cox / 2);
                        }
                        break;
                }
                netlist_shunt(w, c, "p1", '1');
                if (c->ports == 2)
                        netlist_shunt(w, c, "p2", '2');
                break;
        case CIRCUIT_CAPACITOR:
                if (of(c, "rs") > 0) {
                        netlist_node(w, next);
                        netlist_two(w, 'r', at, next, of(c, "rs"));
                        memcpy(at, next, sizeof at);
                }
                if (of(c, "ls") > 0) {
                        netlist_node(w, next);
                        netlist_two(w, 'l', at, next, of(c, "ls"));
                        memcpy(at, next, sizeof at);
                }
                netlist_two(w, 'c', at, b, of(c, "c"));
                netlist_shunt(w, c, "p1", '1');
                if (c->ports == 2)
                        netlist_shunt(w, c, "p2", '2');
                break;
        case CIRCUIT_RESISTOR:
                write_skin(w, skin, of(c, "l"), "p1", b, 1);
                if (of(c, "c") > 0)
                        netlist_two(w, 'c', "p1", b, of(c, "c"));
                if (of(c, "cg1") > 0)
                        netlist_two(w, 'c', "p1", "ref", of(c, "cg1"));
                if (c->ports == 2 && of(c, "cg2") > 0)
                        netlist_two(w, 'c', "p2", "ref", of(c, "cg2"));
                break;
        case CIRCUIT_LINE:
                write_loss(w, loss, at, c->length_m / sections / 2);
                for (unsigned i = 1; i <= sections; i++) {
                        if (i == sections)
                                snprintf(next, sizeof next, "p2");
                        else
                                netlist_node(w, next);
                        write_skin(w, skin, of(c, "l"), at, next, c->length_m / sections);
                        write_loss(w, loss, next, c->length_m / sections / (i == sections ? 2 : 1));
                        memcpy(at, next, sizeof at);
                }
                break;
        case CIRCUIT_UNKNOWN:
        case CIRCUIT_COUNT:
                break;
        }
}

void netlist_elements_said(struct writer *w, const struct circuit *c)
{
        struct text *to = w->to;
        for (size_t i = 0; i < c->element_n; i++) {
                const struct circuit_element *e = &c->element[i];
                char lower[16];
                for (size_t k = 0; k < sizeof lower; k++)
                        lower[k] = (char)tolower((unsigned char)(k < strlen(e->unit) ? e->unit[k] : '\0'));
                lower[15] = '\0';
                if (e->dropped)
                        text_f(to, "* %s: not determined by the data, left out\n", e->name);
                else
                        text_f(to, "* %s = %.9g %s, standard uncertainty %.2g%s\n", e->name, e->value, lower, e->u,
                               e->undetermined ? ": hardly determined by the data" : "");
        }
}

enum code netlist_write_circuit(const struct circuit *c, const struct netlist_about *about, struct text *to, struct netlist_lumping *ret,
                                struct tp_error *err)
{
        struct writer w = {.to = to};
        if (c->kind <= CIRCUIT_UNKNOWN || c->kind >= CIRCUIT_COUNT || c->ports < 1 || c->ports > 2)
                return tp_fail(err, CODE_BAD_INPUT, "this is no fitted circuit");
        for (size_t i = 0; i < c->element_n; i++)
                if (!(c->element[i].value >= 0))
                        return tp_fail(err, CODE_BAD_INPUT, "the %s of this circuit is %g %s; it must be 0 or more", c->element[i].name,
                                       c->element[i].value, c->element[i].unit);
        struct netlist_lumping l = {0};
        const char *r_name = c->kind == CIRCUIT_INDUCTOR ? "rs" : "r";
        struct skin skin = skin_of(of(c, r_name), of(c, "f_skin"), c->hz_hi);
        struct loss loss = loss_of(of(c, "c"), of(c, "g_tan"), c->hz_hi);
        if (c->kind == CIRCUIT_LINE)
                l.sections = sections_of(c);
        if (c->kind == CIRCUIT_LINE || skin.n > 0)
                lumping(c, &skin, &loss, &l);
        char what[120];
        snprintf(what, sizeof what, "%s%s, %zu port%s", circuit_words[c->kind], c->differential ? ", differential" : "", c->ports,
                 c->ports > 1 ? "s" : "");
        enum code code = netlist_head(&w, about, (unsigned)c->ports, what, err);
        if (code)
                return code;
        text_f(to, "* valid from %.9g to %.9g hz; s refers to %.9g ohm\n", c->hz_lo, c->hz_hi, c->z_ohm);
        netlist_error(&w, &c->error);
        if (l.worst > 0)
                text_f(to, "* lumped elements instead of %s add up to %.3e at %.9g hz\n",
                       c->kind == CIRCUIT_LINE ? "a line" : "the skin effect", l.worst, l.worst_hz);
        if (c->kind == CIRCUIT_LINE)
                text_f(to, "* length %.9g m in %u sections\n", c->length_m, l.sections);
        netlist_elements_said(&w, c);
        text_put(to, ".subckt ");
        for (const char *p = about->name; *p; p++)
                text_f(to, "%c", tolower((unsigned char)*p));
        text_put(to, c->ports == 2 ? " p1 p2 ref\n" : " p1 ref\n");
        elements(&w, c, &skin, &loss, l.sections);
        if (ret)
                *ret = l;
        return netlist_end(&w, err);
}
