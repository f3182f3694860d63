/* need.c: how often one run without trouble touches each standard, all devices and all ladders.
 * Checks: one opens the first interval and takes the baselines, then one after every `every_dies` new dies, the last one closing. */
#include "recipe/recipe_own.h"
#include <string.h>

static int32_t uses(const struct use *list, size_t n, const char *name)
{
        int32_t count = 0;
        for (size_t i = 0; i < n; i++)
                count += strcmp(list[i].standard, name) == 0;
        return count;
}

enum code need_count(const struct recipe *r, size_t die_n, struct arena *arena, struct need_counts *ret, struct tp_error *err)
{
        struct need_counts need = {.standards = arena_take(arena, (r->standard_n + 1) * sizeof *need.standards)};
        if (!need.standards)
                return tp_fail_memory(err);
        size_t every = (size_t)r->check.every_dies;
        need.checks = every ? 1 + (int32_t)((die_n + every - 1) / every) : 0;
        for (size_t i = 0; i < r->standard_n; i++) {
                const struct standard *s = &r->standards[i];
                if (s->raised)
                        continue;
                need.standards[i] = uses(r->calibration.standards, r->calibration.standard_n, s->name) +
                                    need.checks * uses(r->check.standards, r->check.standard_n, s->name);
                for (size_t k = 0; k < r->calibration.verify_n; k++)
                        need.standards[i] += strcmp(r->calibration.verify[k].standard, s->name) == 0;
                need.standards_total += need.standards[i];
        }
        need.devices = (int64_t)(die_n * r->measure_n);
        need.ladders = (int64_t)r->proof.die_n;
        need.total = need.standards_total + need.devices + need.ladders;
        *ret = need;
        return CODE_OK;
}
