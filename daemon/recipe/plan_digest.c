/* plan_digest.c: one line per fact, doubles with 17 digits, hashed as they are written. */
#include "recipe/plan_own.h"
#include "base/hash.h"
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

__attribute__((format(printf, 2, 3))) static void add(struct sha256 *h, const char *fmt, ...)
{
        char line[400];
        va_list args;
        va_start(args, fmt);
        int n = vsnprintf(line, sizeof line, fmt, args);
        va_end(args);
        if (n > 0)
                sha256_add(h, line, (size_t)n < sizeof line ? (size_t)n : sizeof line - 1);
}

static void add_list(struct sha256 *h, const char *word, const int32_t *list, size_t n)
{
        add(h, "%s %zu", word, n);
        for (size_t i = 0; i < n; i++)
                add(h, " %d", list[i]);
        add(h, "\n");
}

void plan_digest(const struct plan *p, uint8_t ret[32])
{
        struct sha256 h;
        char recipe[65];
        hex_of(p->recipe->sha256, 32, recipe);
        sha256_init(&h);
        add(&h, "plan 1\nrecipe %s\nwafer %s\nreplayed %d\nchecks %d\n", recipe, p->wafer, p->replayed, p->check_times);
        for (size_t i = 0; i < p->die_n; i++)
                add(&h, "die %d %d %.17g %.17g %d\n", p->dies[i].x, p->dies[i].y, p->dies[i].x_um, p->dies[i].y_um, p->dies[i].excluded);
        for (size_t i = 0; i < p->thing_n; i++)
                add(&h, "thing %s %s %s %d %d\n", p->things[i].kind, p->things[i].serial, p->things[i].part, p->things[i].budget,
                    p->things[i].reserved);
        for (size_t i = 0; i < p->target_n; i++) {
                const struct target *t = &p->targets[i];
                add(&h, "target %d %d %d %d %.17g %.17g %d", t->kind, t->place, t->die, t->item, t->x_um, t->y_um, t->raised);
                for (int32_t k = 0; k < t->thing_n; k++)
                        add(&h, " %d", t->things[k]);
                add(&h, "\n");
        }
        add_list(&h, "prove", p->prove, p->prove_n);
        add_list(&h, "calibrate", p->calibrate, p->calibrate_n);
        add_list(&h, "verify", p->verify, p->verify_n);
        add_list(&h, "check", p->check, p->check_n);
        add_list(&h, "visits", p->visits, p->visit_n);
        add_list(&h, "visit_die", p->visit_die, p->visit_die_n);
        add_list(&h, "visit_begin", p->visit_begin, p->visit_die_n + 1);
        sha256_end(&h, ret);
}
