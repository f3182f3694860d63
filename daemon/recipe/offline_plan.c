/* offline_plan.c: the table of a plan of files, and its checks (offline_plan.h). */
#include "recipe/offline_plan.h"
#include "recipe/recipe_own.h"
#include <string.h>

/* clang-format off: a table reads better with one row per field */
#define COUNT_OF(a) (sizeof(a) / sizeof(a)[0])
#define AT(type, member) .offset = offsetof(type, member)
#define TEXT_AT(type, member) .offset = offsetof(type, member), .size = sizeof(((type *)0)->member)
#define HAS(type, member) .has_offset = offsetof(type, member)
#define OBJECT_OF(struct_type, word, table, words_for_people)                                                                    \
        {                                                                                                                        \
                .name = word, .say = words_for_people, .bytes = sizeof(struct_type), .fields = table, .field_n = COUNT_OF(table) \
        }

const char *const offline_kind_words[] = {"unknown", "open", "short", "load", "thru", "line", "reflect", "known", NULL};
_Static_assert(sizeof offline_kind_words / sizeof offline_kind_words[0] == OFFLINE_KIND_COUNT + 1, "each kind has its word");

/* Before and behind the recipe's own fields of a standard. */
static const struct field standard_own[] = {
        {.key = "kind",
         .type = FIELD_CHOICE,
         AT(struct offline_standard, kind),
         .required = true,
         .words = offline_kind_words,
         .say = "known: a two-port that `ideal` describes; a thru is the first line of a line method"},
        {.key = "file", .type = FIELD_TEXT, TEXT_AT(struct offline_standard, file), .say = ".s2p of raw ratios, beside the plan"},
        {.key = "file_1",
         .type = FIELD_TEXT,
         TEXT_AT(struct offline_standard, file_1),
         .say = "instead: .s1p of the raw reflection at port 1"},
        {.key = "file_2",
         .type = FIELD_TEXT,
         TEXT_AT(struct offline_standard, file_2),
         .say = "and at port 2; one of them alone: the standard is at that port only"},
        {.key = "ideal",
         .type = FIELD_TEXT,
         TEXT_AT(struct offline_standard, ideal),
         .say = ".s2p of what it is, in place of model, port_2 and data"},
};
static const struct field switch_fields[] = {
        {.key = "file",
         .type = FIELD_TEXT,
         TEXT_AT(struct offline_switch, file),
         .say = ".s2p: S21 is a2/b2 with the source at port 1, S12 is a1/b1 with it at port 2"},
        {.key = "forward",
         .type = FIELD_TEXT,
         TEXT_AT(struct offline_switch, forward),
         .say = "instead: .s1p of a2/b2 with the source at port 1"},
        {.key = "reverse",
         .type = FIELD_TEXT,
         TEXT_AT(struct offline_switch, reverse),
         .say = "and .s1p of a1/b1 with the source at port 2"},
};
static const struct field step_fields[] = {
        {.key = "port_1",
         .type = FIELD_I32,
         AT(struct offline_step, port_1),
         .required = true,
         .min = 1,
         .max = 4,
         .say = "port of the analyzer that is port 1 of the step"},
        {.key = "port_2",
         .type = FIELD_I32,
         AT(struct offline_step, port_2),
         .required = true,
         .min = 1,
         .max = 4,
         .say = "and the one that is port 2"},
        {.key = "plan",
         .type = FIELD_TEXT,
         TEXT_AT(struct offline_step, plan),
         .say = "a plan of two ports, beside this one, with its raw files beside it"},
        {.key = "terms",
         .type = FIELD_TEXT,
         TEXT_AT(struct offline_step, terms),
         .say = "instead: error terms of two ports that are solved already"},
};
static const struct object step_object = OBJECT_OF(struct offline_step, "plan_step", step_fields, NULL);
static const struct object switch_object = OBJECT_OF(struct offline_switch, "plan_switch_terms", switch_fields, NULL);
static const struct field plan_fields[] = {
        {.key = "name", .type = FIELD_TEXT, TEXT_AT(struct offline_plan, name)},
        {.key = "notes", .type = FIELD_TEXT, TEXT_AT(struct offline_plan, notes), .say = "for people; decides nothing"},
        {.key = "temperature_c",
         .type = FIELD_REAL,
         AT(struct offline_plan, temperature_c),
         .min = -273.15,
         .max = 500,
         .standard = 25,
         .unit = "C",
         .say = "of the standards"},
        {.key = "contact_ohm_u",
         .type = FIELD_REAL,
         AT(struct offline_plan, contact_ohm_u),
         .min = 0,
         .max = 10,
         .unit = "ohm",
         .say = "repeatability of a touch, one standard deviation; weighs joined bands"},
        {.key = "contact_h_u",
         .type = FIELD_REAL,
         AT(struct offline_plan, contact_h_u),
         .min = 0,
         .max = 1e-9,
         .unit = "H",
         .say = "likewise"},
        {.key = "placement_um_u",
         .type = FIELD_REAL,
         AT(struct offline_plan, placement_um_u),
         .min = 0,
         .max = 100,
         .unit = "um",
         .say = "likewise"},
        {.key = "ports",
         .type = FIELD_I32,
         AT(struct offline_plan, ports),
         .min = 2,
         .max = 4,
         .standard = 2,
         .say = "of the analyzer; 3 and 4 are calibrated by steps of two"},
        {.key = "standards",
         .type = FIELD_LIST,
         .offset = offsetof(struct offline_plan, standards),
         .count_offset = offsetof(struct offline_plan, standard_n),
         .max = OFFLINE_STANDARDS_MAX},
        {.key = "steps",
         .type = FIELD_LIST,
         .offset = offsetof(struct offline_plan, steps),
         .count_offset = offsetof(struct offline_plan, step_n),
         .max = OFFLINE_STEPS_MAX,
         .object = &step_object,
         .say = "of 3 and 4 ports: pairs of ports, in place of standards, switch_terms and calibration"},
        {.key = "switch_terms",
         .type = FIELD_OBJECT,
         AT(struct offline_plan, switch_terms),
         .object = &switch_object,
         HAS(struct offline_plan, has_switch_terms),
         .say = "what the port that is not driven reflects; one file for all standards"},
        {.key = "calibration", .type = FIELD_OBJECT, AT(struct offline_plan, calibration), HAS(struct offline_plan, has_calibration)},
};
/* clang-format on */

/* The recipe's calibration without what only a station can do; without standards it takes all. */
static const struct object *calibration_of(struct offline_plan_tables *t)
{
        size_t n = 0;
        for (size_t k = 0; k < calibration_object.field_n && n < COUNT_OF(t->calibration_fields); k++) {
                const struct field *f = &calibration_object.fields[k];
                if (strcmp(f->key, "sweep") == 0 || strcmp(f->key, "tries_max") == 0 || strcmp(f->key, "load_resistance") == 0)
                        continue;
                t->calibration_fields[n] = *f;
                if (strcmp(f->key, "standards") == 0) {
                        t->calibration_fields[n].required = false;
                        t->calibration_fields[n].min = 0;
                        t->calibration_fields[n].say = "those of the solution, by name; without it all, in their order";
                }
                n++;
        }
        t->calibration = calibration_object;
        t->calibration.fields = t->calibration_fields;
        t->calibration.field_n = n;
        return &t->calibration;
}

_Static_assert(offsetof(struct offline_standard, standard) == 0, "the recipe's fields fit");
/* The recipe's standard without place and wear, and with files. */
static const struct object *standard_of(struct offline_plan_tables *t)
{
        static const char *const away[] = {"kind", "copy", "place", "x_um", "y_um", "touches_max", "spacing_um"};
        size_t n = 0;
        for (size_t k = 0; k < standard_object.field_n && n + COUNT_OF(standard_own) < COUNT_OF(t->standard_fields); k++) {
                bool keep = true;
                for (size_t j = 0; j < COUNT_OF(away); j++)
                        keep = keep && strcmp(standard_object.fields[k].key, away[j]) != 0;
                if (keep)
                        t->standard_fields[n++] = standard_object.fields[k];
                for (size_t j = 0; n == 1 && j < COUNT_OF(standard_own); j++) /* behind the name */
                        t->standard_fields[n + j] = standard_own[j];
                if (n == 1)
                        n += COUNT_OF(standard_own);
        }
        t->standard = (struct object){
                .name = "plan_standard", .bytes = sizeof(struct offline_standard), .fields = t->standard_fields, .field_n = n};
        return &t->standard;
}

const struct object *offline_plan_object(struct offline_plan_tables *t)
{
        _Static_assert(COUNT_OF(plan_fields) <= 16, "the table has room");
        memcpy(t->plan_fields, plan_fields, sizeof plan_fields);
        for (size_t k = 0; k < COUNT_OF(plan_fields); k++)
                if (strcmp(plan_fields[k].key, "standards") == 0)
                        t->plan_fields[k].object = standard_of(t);
        t->plan_fields[COUNT_OF(plan_fields) - 1].object = calibration_of(t);
        t->plan = (struct object)OBJECT_OF(
                struct offline_plan, "plan", plan_fields,
                "A calibration from files: the recipe's own calibration and standards, with a file in the place of a "
                "device.");
        t->plan.fields = t->plan_fields;
        return &t->plan;
}

const struct offline_standard *offline_plan_standard(const struct offline_plan *p, const char *name)
{
        for (size_t k = 0; k < p->standard_n; k++)
                if (strcmp(p->standards[k].standard.name, name) == 0)
                        return &p->standards[k];
        return NULL;
}

bool offline_plan_uses(const struct offline_plan *p, const char *name)
{
        const struct calibration_plan *c = &p->calibration;
        for (size_t b = 0; b < c->band_n; b++)
                for (size_t k = 0; k < c->bands[b].standard_n; k++)
                        if (strcmp(c->bands[b].standards[k].standard, name) == 0)
                                return true;
        for (size_t k = 0; k < c->standard_n && c->band_n == 0; k++)
                if (strcmp(c->standards[k].standard, name) == 0)
                        return true;
        return false;
}

/* ---- checks ------------------------------------------------------------------------------------------------------------------------- */

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
        }
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

enum code offline_plan_read(const char *text, size_t n, struct arena *arena, struct offline_plan **ret, struct tp_error *err)
{
        struct offline_plan_tables tables;
        struct offline_plan *p = arena_take(arena, sizeof *p);
        if (!p)
                return tp_fail_memory(err);
        enum code code = fields_read_text(offline_plan_object(&tables), text, n, arena, p, err);
        if (!code)
                code = steps_check(p, err);
        if (!code && p->ports > 2) {
                *ret = p;
                return CODE_OK;
        }
        if (!code && (!p->standard_n || !p->has_calibration))
                code = tp_fail_at(err, CODE_BAD_INPUT, p->standard_n ? "/calibration" : "/standards",
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
        if (!code)
                code = switch_check(p, err);
        if (!code)
                *ret = p;
        return code;
}
