/* offline_plan_check.c: what of a plan of files can be refused without the files: names, methods, what each standard is made of, guesses,
   steps (offline_plan.h). */
#include "recipe/offline_plan.h"
#include <math.h>
#include <string.h>

static enum code standard_check(const struct offline_plan *p, size_t k, struct tp_error *err)
{
        const struct offline_standard *s = &p->standards[k];
        const char *name = s->standard.name;
        for (size_t j = 0; j < k; j++)
                if (strcmp(p->standards[j].standard.name, name) == 0)
                        return tp_fail(err, CODE_BAD_INPUT, "two standards are called %s; give each its own name", name);
        if (!s->kind)
                return tp_fail(err, CODE_BAD_INPUT, "standard %s: its kind is \"unknown\"; say what it is", name);
        if (s->file[0] ? s->file_1[0] || s->file_2[0] : !s->file_1[0] && !s->file_2[0])
                return tp_fail(err, CODE_BAD_INPUT, "standard %s: give either \"file\" (.s2p), or \"file_1\" and \"file_2\" (.s1p)", name);
        if (!s->file[0] && (s->kind == STANDARD_THRU || s->kind == STANDARD_LINE || s->kind == OFFLINE_KNOWN))
                return tp_fail(err, CODE_BAD_INPUT, "standard %s: a %s is read in all four ways; give it a \"file\" (.s2p)", name,
                               offline_kind_words[s->kind]);
        bool told = s->standard.has_port_2 || s->standard.data_n;
        if (s->kind == OFFLINE_KNOWN && !s->ideal[0])
                return tp_fail(err, CODE_BAD_INPUT, "standard %s: a known two-port needs \"ideal\" (.s2p); of two ends say kind and port_2",
                               name);
        if (s->ideal[0] && told)
                return tp_fail(err, CODE_BAD_INPUT, "standard %s: give either \"ideal\", or \"port_2\" or \"data\"; they would contradict",
                               name);
        if (s->standard.data_u > 0 && !s->ideal[0] && !s->standard.data_n)
                return tp_fail(err, CODE_BAD_INPUT,
                               "standard %s: \"data_u\" is of \"ideal\" or \"data\", and it has neither; of a model say \"u_r_ohm\" and "
                               "the like",
                               name);
        if ((s->ideal[0] || s->standard.data_n) && standard_model_is_told(&s->standard.model))
                return tp_fail(err, CODE_BAD_INPUT,
                               "standard %s: \"%s\" says what it is, and \"model\" says it too; leave one of them out (a length and "
                               "r_tolerance_ohm may stay)",
                               name, s->ideal[0] ? "ideal" : "data");
        for (int port = 0; port < (s->standard.has_port_2 ? 2 : 1); port++) {
                struct tp_error why = {0};
                const struct standard_model *m = port ? &s->standard.port_2.model : &s->standard.model;
                int32_t kind = port ? s->standard.port_2.kind : s->kind;
                if (kind != OFFLINE_KNOWN && standard_model_check(kind, m, &why))
                        return tp_fail(err, CODE_BAD_INPUT, "standard %s: %smodel/%s", name, port ? "port_2/" : "", why.text);
        }
        if (s->standard.has_port_2 && !s->file[0])
                return tp_fail(err, CODE_BAD_INPUT, "standard %s: two unlike ends are read in all four ways; give it a \"file\" (.s2p)",
                               name);
        return CODE_OK;
}

static enum code name_check(const struct offline_plan *p, const char *where, const char *name, struct tp_error *err)
{
        char all[200] = "";
        if (offline_plan_standard(p, name))
                return CODE_OK;
        for (size_t k = 0, used = 0; k < p->standard_n && used + 40 < sizeof all; k++) {
                const char *n = p->standards[k].standard.name;
                if (k > 0)
                        memcpy(all + used, ", ", 3), used += 2;
                memcpy(all + used, n, strlen(n) + 1);
                used += strlen(n);
        }
        return tp_fail(err, CODE_BAD_INPUT, "%s: there is no standard \"%s\" in the plan; there are %s", where, name, all);
}

static enum code method_check(const char *where, const char *word, struct tp_error *err)
{
        struct text all;
        if (rf_method(word))
                return CODE_OK;
        text_init(&all, 400);
        for (size_t k = 0; k < rf_method_n; k++)
                text_f(&all, "%s%s", k ? ", " : "", rf_methods[k].word);
        enum code code = tp_fail(err, CODE_BAD_INPUT, "%s: method \"%s\" is not known; known are %s", where, word, text_of(&all));
        text_done(&all);
        return code;
}

/* A match from an open takes what the open's capacitance says. */
static enum code match_check(const struct offline_plan *p, const char *word, const struct use *uses, size_t n, struct tp_error *err)
{
        if (strcmp(word, "lrrm") != 0 || p->calibration.match_fit != (int32_t)RF_MATCH_FROM_OPEN)
                return CODE_OK;
        for (size_t k = 0; k < n; k++) {
                const struct offline_standard *s = offline_plan_standard(p, uses[k].standard);
                const double *c = s->standard.model.c_f;
                if (s->kind == STANDARD_OPEN && !s->ideal[0] && !s->standard.data_n && c[0] == 0 && c[1] == 0 && c[2] == 0 && c[3] == 0)
                        return tp_fail_at(err, CODE_BAD_INPUT, "/calibration/match_fit",
                                          "/calibration/match_fit is \"from_open\": the match is found by what the capacitance of the "
                                          "open says, and %s has none; give it \"model\": {\"c_f\": [...]}, or say \"inductance\"",
                                          s->standard.name);
        }
        return CODE_OK;
}

/* What a line method must be told besides its standards. */
static enum code guesses_check(const struct offline_plan *p, const char *word, const struct use *uses, size_t n, struct tp_error *err)
{
        const struct calibration_plan *c = &p->calibration;
        const struct method *m = rf_method(word);
        if (method_is_of_lines(m) && !(c->eps_eff >= 1))
                return tp_fail_at(err, CODE_BAD_INPUT, "/calibration/eps_eff",
                                  "/calibration/eps_eff is %.6g: %s needs a first guess of the lines' effective permittivity; write e.g. "
                                  "\"eps_eff\": 5.2 beside \"method\" or \"bands\" (1 to 50; near (eps_r + 1)/2 for coplanar lines)",
                                  c->eps_eff, word);
        for (size_t k = 0; k < n; k++) {
                const struct offline_standard *s = offline_plan_standard(p, uses[k].standard);
                double is = s->kind == STANDARD_OPEN ? 1 : s->kind == STANDARD_SHORT ? -1 : 0;
                if (s->kind == OFFLINE_KNOWN || standard_role(m, &s->standard) != RF_REFLECT)
                        continue;
                if (!(fabs(c->reflect_estimate) >= 0.5))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/calibration/reflect_estimate",
                                          "/calibration/reflect_estimate is %.6g: %s needs to know what its reflect %s is near to; write "
                                          "\"reflect_estimate\": -1 (a short) or 1 (an open) beside \"method\" or \"bands\"",
                                          c->reflect_estimate, word, s->standard.name);
                if (is * c->reflect_estimate < 0)
                        return tp_fail_at(
                                err, CODE_BAD_INPUT, "/calibration/reflect_estimate",
                                "/calibration/reflect_estimate is %.6g, and the first reflect of %s, %s, is %s: every reflection would "
                                "come out as its opposite; write \"reflect_estimate\": %d",
                                c->reflect_estimate, word, s->standard.name, is > 0 ? "an open" : "a short", is > 0 ? 1 : -1);
                break; /* it settles the sign; others follow it */
        }
        return CODE_OK;
}

static enum code calibration_check(const struct offline_plan *p, struct tp_error *err)
{
        const struct calibration_plan *c = &p->calibration;
        enum code code = CODE_OK;
        if (c->band_n ? c->method[0] : !c->method[0])
                return tp_fail(err, CODE_BAD_INPUT, "/calibration: give either \"method\" or \"bands\"");
        if (!c->band_n)
                code = method_check("/calibration", c->method, err);
        for (size_t k = 0; k < c->standard_n && !code; k++)
                code = name_check(p, "/calibration/standards", c->standards[k].standard, err);
        for (size_t k = 0; k < c->verify_n && !code; k++)
                code = name_check(p, "/calibration/verify", c->verify[k].standard, err);
        for (size_t b = 0; b < c->band_n && !code; b++) {
                code = method_check("/calibration/bands", c->bands[b].method, err);
                for (size_t k = 0; k < c->bands[b].standard_n && !code; k++)
                        code = name_check(p, "/calibration/bands", c->bands[b].standards[k].standard, err);
                if (!code)
                        code = guesses_check(p, c->bands[b].method, c->bands[b].standards, c->bands[b].standard_n, err);
        }
        for (size_t b = 0; b < c->band_n && !code; b++)
                code = match_check(p, c->bands[b].method, c->bands[b].standards, c->bands[b].standard_n, err);
        if (!code && !c->band_n)
                code = guesses_check(p, c->method, c->standards, c->standard_n, err);
        if (!code && !c->band_n)
                code = match_check(p, c->method, c->standards, c->standard_n, err);
        if (!code && c->line_capacitance_f_m > 0 && c->line_z_ohm > 0)
                code = tp_fail_at(err, CODE_BAD_INPUT, "/calibration/line_z_ohm",
                                  "/calibration/line_z_ohm is %.6g ohm, and line_capacitance_f_m says what the lines' impedance is, too; "
                                  "give one of them",
                                  c->line_z_ohm);
        for (size_t k = 0; k < c->verify_n && !code; k++)
                if (offline_plan_uses(p, c->verify[k].standard))
                        code = tp_fail(err, CODE_BAD_INPUT, "/calibration/verify: standard %s is part of the solution; it verifies nothing",
                                       c->verify[k].standard);
        return code;
}

static enum code switch_check(const struct offline_plan *p, struct tp_error *err)
{
        const struct offline_switch *s = &p->switch_terms;
        bool two = s->forward[0] && s->reverse[0], any = s->forward[0] || s->reverse[0];
        if (p->has_switch_terms && (s->file[0] ? any : !two))
                return tp_fail(err, CODE_BAD_INPUT, "/switch_terms: give either \"file\" (.s2p), or \"forward\" and \"reverse\" (.s1p)");
        if (p->calibration.switch_terms && !p->has_switch_terms)
                return tp_fail(err, CODE_BAD_INPUT, "/calibration/switch_terms is true, but the plan has no files of them (/switch_terms)");
        return CODE_OK;
}

/* All standards that are not for verification, when the calibration names none. */
static enum code take_all(struct offline_plan *p, struct arena *arena, struct tp_error *err)
{
        struct calibration_plan *c = &p->calibration;
        if (c->standard_n || c->band_n)
                return CODE_OK;
        struct use *all = arena_take(arena, p->standard_n * sizeof *all);
        if (!all)
                return tp_fail_memory(err);
        for (size_t k = 0; k < p->standard_n; k++) {
                bool verifies = false;
                for (size_t v = 0; v < c->verify_n; v++)
                        verifies = verifies || strcmp(c->verify[v].standard, p->standards[k].standard.name) == 0;
                if (!verifies)
                        memcpy(all[c->standard_n++].standard, p->standards[k].standard.name, sizeof all->standard);
        }
        c->standards = all;
        return CODE_OK;
}

/* Ports, and what stands in place of what. */
static enum code steps_check(const struct offline_plan *p, struct tp_error *err)
{
        unsigned reached = 1; /* ports that a chain of steps leads to from port 1, one bit each */
        if (p->ports == 2)
                return p->step_n ? tp_fail_at(err, CODE_BAD_INPUT, "/steps",
                                              "/steps: steps are of 3 or 4 ports; say how many with \"ports\", or give standards and a "
                                              "calibration")
                                 : CODE_OK;
        if (p->standard_n || p->has_switch_terms || p->has_calibration)
                return tp_fail_at(err, CODE_BAD_INPUT, "/ports",
                                  "/ports: %d ports are calibrated by \"steps\" of two; put /%s into the plan of a step", (int)p->ports,
                                  p->standard_n        ? "standards"
                                  : p->has_calibration ? "calibration"
                                                       : "switch_terms");
        if (!p->step_n)
                return tp_fail_at(err, CODE_BAD_INPUT, "/steps", "/steps: %d ports need at least %d steps, each of two ports",
                                  (int)p->ports, (int)p->ports - 1);
        for (size_t k = 0; k < p->step_n; k++) {
                const struct offline_step *s = &p->steps[k];
                if (s->port_1 == s->port_2 || s->port_1 > p->ports || s->port_2 > p->ports)
                        return tp_fail_at(err, CODE_BAD_INPUT, "/steps",
                                          "/steps/%zu: ports %d and %d; two different ports from 1 to %d are needed", k, (int)s->port_1,
                                          (int)s->port_2, (int)p->ports);
                if (!s->plan[0] == !s->terms[0])
                        return tp_fail_at(err, CODE_BAD_INPUT, "/steps",
                                          "/steps/%zu: give either \"plan\" (a plan of two ports) or \"terms\" (their error terms)", k);
        }
        for (size_t round = 0; round < p->step_n; round++)
                for (size_t k = 0; k < p->step_n; k++) {
                        unsigned both = 1u << (p->steps[k].port_1 - 1) | 1u << (p->steps[k].port_2 - 1);
                        reached |= reached & both ? both : 0;
                }
        for (int port = 1; port <= p->ports; port++)
                if (!(reached & 1u << (port - 1)))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/steps",
                                          "/steps: no chain of steps leads from port 1 to port %d; add a step of it and any other port",
                                          port);
        return CODE_OK;
}

enum code offline_plan_check(struct offline_plan *p, struct arena *arena, struct tp_error *err)
{
        enum code code = steps_check(p, err);
        if (code || p->ports > 2)
                return code;
        if (!p->standard_n || !p->has_calibration)
                return tp_fail_at(err, CODE_BAD_INPUT, p->standard_n ? "/calibration" : "/standards",
                                  "/%s is missing; a plan of two ports needs \"standards\" and \"calibration\"",
                                  p->standard_n ? "calibration" : "standards");
        for (size_t k = 0; k < p->standard_n && !code; k++) {
                p->standards[k].standard.kind = p->standards[k].kind == OFFLINE_KNOWN ? STANDARD_UNKNOWN : p->standards[k].kind;
                code = standard_check(p, k, err);
        }
        if (!code)
                code = take_all(p, arena, err);
        if (!code)
                code = calibration_check(p, err);
        return code ? code : switch_check(p, err);
}
