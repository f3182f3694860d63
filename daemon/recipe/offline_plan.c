/* offline_plan.c: the table of a plan of files (offline_plan.h). */
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
         .say = "repeatability of a touch, one standard deviation: a cause of uncertainty, and weighs joined bands"},
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
        {.key = "drift_delay_s_u",
         .type = FIELD_REAL,
         AT(struct offline_plan, drift_delay_s_u),
         .min = 0,
         .max = 1e-9,
         .unit = "s",
         .say = "how far each port's way may have moved between the calibration and what is corrected, one way, one standard deviation"},
        {.key = "drift_loss_db_u",
         .type = FIELD_REAL,
         AT(struct offline_plan, drift_loss_db_u),
         .min = 0,
         .max = 10,
         .unit = "dB",
         .say = "likewise its loss, at the highest frequency; it goes with the root of the frequency"},
        {.key = "noise_floor_u",
         .type = FIELD_REAL,
         AT(struct offline_plan, noise_floor_u),
         .min = 0,
         .max = 0.1,
         .say = "noise of each raw ratio m, one standard deviation of real and imaginary part: sqrt(floor^2 + (trace |m|)^2)"},
        {.key = "noise_trace_u", .type = FIELD_REAL, AT(struct offline_plan, noise_trace_u), .min = 0, .max = 0.1, .say = "likewise"},
        {.key = "noise_freedom",
         .type = FIELD_REAL,
         AT(struct offline_plan, noise_freedom),
         .min = 0,
         .max = 1e6,
         .say = "degrees of freedom of both: readings less 1; 0: known well"},
        {.key = "line_dc_ohm_m",
         .type = FIELD_REAL,
         AT(struct offline_plan, line_dc_ohm_m),
         .min = 0,
         .max = 1e8,
         .unit = "ohm/m",
         .say = "of the lines, from four-wire readings of two lengths, both conductors: says what line_capacitance_f_m is; 0: not read"},
        {.key = "line_dc_ohm_m_u",
         .type = FIELD_REAL,
         AT(struct offline_plan, line_dc_ohm_m_u),
         .min = 0,
         .max = 1e7,
         .unit = "ohm/m",
         .say = "its standard uncertainty"},
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
        _Static_assert(COUNT_OF(plan_fields) <= 20, "the table has room");
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

enum code offline_plan_read(const char *text, size_t n, struct arena *arena, struct offline_plan **ret, struct tp_error *err)
{
        struct offline_plan_tables tables;
        struct offline_plan *p = arena_take(arena, sizeof *p);
        if (!p)
                return tp_fail_memory(err);
        enum code code = fields_read_text(offline_plan_object(&tables), text, n, arena, p, err);
        if (!code)
                code = offline_plan_check(p, arena, err);
        if (!code)
                *ret = p;
        return code;
}
