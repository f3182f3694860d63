/* definition_solve.c: see definition_solve.h. */
#include "recipe/definition_solve.h"
#include "base/arena.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* The first number of the kind, and those of a higher order that the definition has. */
static unsigned numbers_of(const struct standard_definition *d)
{
        unsigned bits = 0;
        if (d->kind == RF_OPEN)
                bits = STANDARD_FIT(STANDARD_C0);
        if (d->kind == RF_SHORT)
                bits = STANDARD_FIT(STANDARD_L0);
        if (d->kind == RF_LOAD)
                bits = STANDARD_FIT(STANDARD_R) | STANDARD_FIT(STANDARD_L0);
        for (unsigned k = 1; k < 4; k++) {
                if (d->c_f[k] != 0 && d->kind == RF_OPEN)
                        bits |= STANDARD_FIT(STANDARD_C0 + k);
                if (d->l_h[k] != 0 && d->kind != RF_OPEN)
                        bits |= STANDARD_FIT(STANDARD_L0 + k);
        }
        return bits;
}

static double told_number(const struct standard_definition *d, enum standard_number k)
{
        if (k <= STANDARD_C3)
                return d->c_f[k];
        if (k <= STANDARD_L3)
                return d->l_h[k - STANDARD_L0];
        return k == STANDARD_R ? d->r_ohm : d->offset_delay_s;
}

void definition_solve(const struct standard *s, unsigned ports, double t_c, const struct net2 *corrected, struct solved_definition *ret)
{
        struct arena *scratch = arena_new(0);
        void *workspace = scratch ? arena_take(scratch, rf_standard_describe_bytes(corrected->axis->n)) : NULL;
        *ret = (struct solved_definition){.has = {false, false}};
        for (int port = 0; port < 2; port++) {
                struct standard end = *s;
                struct tp_error err = {0};
                if (port == 1 && s->has_port_2) {
                        end.kind = s->port_2.kind;
                        end.model = s->port_2.model;
                }
                struct standard_definition d = standard_definition_of(&end), told = d;
                unsigned numbers = s->data_n ? 0 : numbers_of(&d);
                if (!numbers || (ports && !(ports & (1u << port))))
                        continue;
                if (net2_z_real(corrected) != 50 || corrected->plane != PLANE_TIP) {
                        snprintf(ret->why_not[port], sizeof ret->why_not[port],
                                 "definitions are in 50 ohm at the tips, the corrected data are not");
                        continue;
                }
                const double *re = corrected->re[port ? 3 : 0], *im = corrected->im[port ? 3 : 0];
                if (!workspace)
                        tp_fail_memory(&err);
                ret->has[port] =
                        workspace && !rf_standard_describe(&d, numbers, t_c, corrected->axis, re, im, workspace, &ret->fit[port], &err);
                if (!ret->has[port])
                        snprintf(ret->why_not[port], sizeof ret->why_not[port], "%.199s", err.text);
                for (size_t k = 0; k < ret->fit[port].fit.n && ret->has[port]; k++)
                        ret->told[port][k] = told_number(&told, ret->fit[port].fit.which[k]);
        }
        arena_free(scratch);
}

void solved_definition_json(const struct solved_definition *s, struct json_out *o, const char *key)
{
        json_open(o, key, '[');
        for (int port = 0; port < 2; port++) {
                const struct standard_described *described = &s->fit[port];
                const struct standard_fit *f = &described->fit;
                if (!s->has[port] && !s->why_not[port][0])
                        continue;
                json_open(o, NULL, '{');
                json_int(o, "port", port + 1);
                if (!s->has[port])
                        json_text(o, "why_not", s->why_not[port]);
                else {
                        json_open(o, "numbers", '[');
                        for (size_t k = 0; k < f->n; k++) {
                                json_open(o, NULL, '{');
                                json_text(o, "name", standard_number_words[f->which[k]]);
                                json_real(o, "value", f->value[k]);
                                json_real(o, "u", f->u[k]);
                                json_real(o, "told", s->told[port][k]);
                                json_bool(o, "freed", described->freed & STANDARD_FIT(f->which[k]));
                                json_close(o, '}');
                        }
                        json_close(o, ']');
                        json_real(o, "scatter", f->scatter);
                        json_real(o, "noise", described->noise);
                        json_bool(o, "describes", described->describes);
                        json_real(o, "widened", described->widened);
                        json_real(o, "worst", f->worst);
                        json_real(o, "worst_hz", f->worst_hz);
                }
                json_close(o, '}');
        }
        json_close(o, ']');
}

/* The first orders in the trade's units, the others in SI. */
static void number_words(const struct standard_fit *f, size_t k, double told, struct text *to)
{
        enum standard_number which = f->which[k];
        double unit = which == STANDARD_C0 ? 1e-15 : which == STANDARD_L0 ? 1e-12 : which == STANDARD_DELAY ? 1e-15 : 1;
        const char *name = which == STANDARD_C0      ? " fF"
                           : which == STANDARD_L0    ? " pH"
                           : which == STANDARD_DELAY ? " fs"
                           : which == STANDARD_R     ? " ohm"
                                                     : "";
        text_f(to, "%s%s %.5g +- %.2g%s (told %.5g)", k ? ", " : " ", standard_number_words[which], f->value[k] / unit, f->u[k] / unit,
               name, told / unit);
}

static void judgement_words(const struct standard_described *d, struct text *to)
{
        text_f(to, "; scatter %.2g", d->fit.scatter);
        if (!d->describes)
                text_f(to,
                       " against noise of %.2g: these numbers do not describe the data (%.2g off at %.4g GHz), nor does a higher order; "
                       "the +- are widened for it",
                       d->noise, d->fit.worst, d->fit.worst_hz / 1e9);
        else if (d->widened > 1)
                text_put(to, ", which goes with frequency; the +- are widened for it");
        for (size_t k = 0; k < d->fit.n; k++)
                if (d->freed & STANDARD_FIT(d->fit.which[k]))
                        text_f(to, "; %s is found though none is told: without it the data are not described",
                               standard_number_words[d->fit.which[k]]);
        text_put(to, "\n");
}

void solved_definition_words(const struct solved_definition *s, const char *name, struct text *to)
{
        for (int port = 0; port < 2; port++) {
                if (!s->has[port])
                        continue;
                text_f(to, "solved: %s at port %d:", name, port + 1);
                for (size_t k = 0; k < s->fit[port].fit.n; k++)
                        number_words(&s->fit[port].fit, k, s->told[port][k], to);
                judgement_words(&s->fit[port], to);
        }
}

static bool has_match(const struct diagnosis *d) { return isfinite(d->open_c_fit_f); }

void solved_match_json(const struct diagnosis *d, struct json_out *o, const char *key)
{
        if (!has_match(d))
                return;
        json_open(o, key, '{');
        json_bool(o, "determined", d->match_l_determined);
        json_real(o, "l_h", d->match_l_fit_h);
        if (d->match_l_determined) {
                json_real(o, "l_u_h", d->match_l_u_h);
                json_real(o, "c_f", d->match_c_fit_f);
                json_real(o, "c_u_f", d->match_c_u_f);
                json_real(o, "r_ohm", d->match_r_fit_ohm);
                json_real(o, "r_u_ohm", d->match_r_u_ohm);
        }
        if (isfinite(d->match_l_apart_h)) {
                json_real(o, "l_apart_h", d->match_l_apart_h);
                json_real(o, "c_apart_f", d->match_c_apart_f);
        }
        json_real(o, "open_c_f", d->open_c_fit_f);
        json_real(o, "open_c_u_f", d->open_c_u_f);
        json_close(o, '}');
}

void solved_match_words(const struct diagnosis *d, struct text *to)
{
        if (!has_match(d))
                return;
        text_f(to, "  match: %s %.4g pH", d->match_l_determined ? "found, L" : "by its definition, L", d->match_l_fit_h * 1e12);
        if (d->match_l_determined)
                text_f(to, " +- %.2g", d->match_l_u_h * 1e12);
        if (d->match_l_determined && d->match_c_u_f > 0)
                text_f(to, ", C %.4g fF +- %.2g", d->match_c_fit_f * 1e15, d->match_c_u_f * 1e15);
        if (d->match_l_determined && d->match_r_u_ohm > 0)
                text_f(to, ", R %.5g ohm +- %.2g", d->match_r_fit_ohm, d->match_r_u_ohm);
        if (isfinite(d->match_l_apart_h))
                text_f(to, ", if open and short are alike at both ports (else +- %.2g pH, +- %.2g fF on top)", d->match_l_apart_h * 1e12,
                       d->match_c_apart_f * 1e15);
        text_f(to, "; open C %.4g fF +- %.2g\n", d->open_c_fit_f * 1e15, d->open_c_u_f * 1e15);
}
