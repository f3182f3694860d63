/* recipe.c: from bytes to a recipe that has passed every check that needs no station. */
#include "recipe/recipe_own.h"
#include "base/hash.h"
#include <stdio.h>
#include <string.h>

const struct sweep_plan *recipe_sweep(const struct recipe *r, const char *name)
{
        for (size_t i = 0; i < r->sweep_n; i++)
                if (strcmp(r->sweeps[i].name, name) == 0)
                        return &r->sweeps[i];
        return NULL;
}

const struct standard *recipe_standard(const struct recipe *r, const char *name)
{
        for (size_t i = 0; i < r->standard_n; i++)
                if (strcmp(r->standards[i].name, name) == 0)
                        return &r->standards[i];
        return NULL;
}

static void add_name(struct name_list *list, const char *name)
{
        size_t n = strlen(list->at);
        snprintf(list->at + n, sizeof list->at - n, "%s%s", n ? ", " : "", name);
}

struct name_list sweep_names(const struct recipe *r)
{
        struct name_list list = {""};
        for (size_t i = 0; i < r->sweep_n; i++)
                add_name(&list, r->sweeps[i].name);
        return list;
}

struct name_list standard_names(const struct recipe *r)
{
        struct name_list list = {""};
        for (size_t i = 0; i < r->standard_n; i++)
                add_name(&list, r->standards[i].name);
        return list;
}

struct name_list device_names(const struct layout *l)
{
        struct name_list list = {""};
        for (size_t i = 0; i < l->device_n; i++)
                add_name(&list, l->devices[i].name);
        return list;
}

enum code recipe_read(const char *text, size_t n, struct arena *arena, struct recipe **ret, struct tp_error *err)
{
        struct recipe *r = arena_take(arena, sizeof *r);
        if (!r)
                return tp_fail_memory(err);
        enum code code = fields_read_text(&recipe_object, text, n, arena, r, err);
        if (code)
                return code;
        for (size_t i = 0; i < r->standard_n; i++)
                if (!r->standards[i].copy[0])
                        snprintf(r->standards[i].copy, sizeof r->standards[i].copy, "%s", r->standards[i].name);
        sha256_of(text, n, r->sha256);
        struct arena *scratch = arena_new(0);
        if (!scratch)
                return tp_fail_memory(err);
        code = recipe_check(r, scratch, err);
        arena_free(scratch);
        if (!code)
                *ret = r;
        return code;
}

/* Lines, the flush one too, and a thru that is one of them. */
static bool is_line(const struct standard *s)
{
        return s && (s->kind == STANDARD_LINE || (s->kind == STANDARD_THRU && s->model.length_um > 0));
}

/* What a line calibration's standards have in length beyond its first one, which is measured at the setup's own spacing. */
double recipe_spacing_um(const struct recipe *r, const struct standard *s)
{
        if (s->spacing_um > 0)
                return s->spacing_um;
        for (size_t i = 0; is_line(s) && i < r->calibration.standard_n; i++) {
                const struct standard *first = recipe_standard(r, r->calibration.standards[i].standard);
                if (is_line(first))
                        return r->setup.spacing_um + s->model.length_um - first->model.length_um;
        }
        return r->setup.spacing_um;
}

double condition_volt(const struct condition *c)
{
        double volt = c->volt < 0 ? -c->volt : c->volt, gate = c->gate.volt < 0 ? -c->gate.volt : c->gate.volt;
        volt = c->has_gate && gate > volt ? gate : volt;
        volt = c->has_base && c->base.limit_v > volt ? c->base.limit_v : volt;
        return c->open_v > volt ? c->open_v : volt;
}
