/* plan.c: the recipe turned into flat lists.
 * Order of targets: standards as the recipe lists them, ladders, then the devices die by die in visit order, so that a visit's targets
 * follow each other. Order of things: the two tips, the copies, then one pad per target on the wafer. */
#include "recipe/plan_own.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* What plan_make() fills; every array is taken at its final size, so nothing grows. */
struct making {
        const struct recipe *r;
        const struct capability_set *can;
        const struct ledger_view *ledger;
        struct plan *p;
        struct need_counts need;
        size_t measured_n, proof_n;
        int32_t copy_end; /* things [2, copy_end) are copies */
};

static int32_t new_thing(struct making *m, const char *kind, const char *serial, const char *part, int32_t budget)
{
        struct plan_thing *t = &m->p->things[m->p->thing_n];
        snprintf(t->kind, sizeof t->kind, "%s", kind);
        snprintf(t->serial, sizeof t->serial, "%s", serial);
        snprintf(t->part, sizeof t->part, "%s", part);
        t->budget = budget;
        t->used = m->ledger ? m->ledger->used(m->ledger->ctx, t->kind, t->serial, t->part) : 0;
        return (int32_t)m->p->thing_n++;
}

static int32_t copy_thing(struct making *m, const struct standard *s)
{
        const char *serial = s->place == PLACE_WAFER ? m->p->wafer : m->r->setup.substrate;
        for (int32_t i = 2; i < m->copy_end; i++)
                if (strcmp(m->p->things[i].serial, serial) == 0 && strcmp(m->p->things[i].part, s->copy) == 0)
                        return i;
        m->copy_end = (int32_t)m->p->thing_n + 1;
        return new_thing(m, "copy", serial, s->copy, s->touches_max);
}

static int32_t new_target(struct making *m, const struct target *t)
{
        m->p->targets[m->p->target_n] = *t;
        return (int32_t)m->p->target_n++;
}

static void spends(struct target *t, int32_t thing)
{
        t->things[0] = 0; /* both tips come down together */
        t->things[1] = 1;
        t->things[2] = thing;
        t->thing_n = 3;
}

static void make_standards(struct making *m)
{
        double sweep_s = sweep_seconds(recipe_sweep(m->r, m->r->calibration.sweep));
        for (size_t i = 0; i < m->r->standard_n; i++) {
                const struct standard *s = &m->r->standards[i];
                struct target t = {.kind = TARGET_STANDARD,
                                   .place = s->place,
                                   .die = -1,
                                   .item = (int32_t)i,
                                   .x_um = s->x_um,
                                   .y_um = s->y_um,
                                   .spacing_um = m->can->spacing_um_max > 0 ? recipe_spacing_um(m->r, s) : 0,
                                   .raised = s->raised,
                                   .seconds = STEP_SECONDS + sweep_s};
                if (!s->raised) {
                        spends(&t, copy_thing(m, s));
                        t.seconds += CONTACT_SECONDS;
                        m->p->things[t.things[2]].reserved += m->need.standards[i];
                }
                new_target(m, &t);
        }
}

/* One place on the wafer: a device of a die, with its own pads. */
static int32_t wafer_target(struct making *m, int32_t kind, int32_t die, int device, int32_t item, double seconds)
{
        const struct device *d = &m->r->layout.devices[device];
        const struct die *at = &m->p->dies[die];
        char part[48];
        snprintf(part, sizeof part, "%d,%d/%s", at->x, at->y, d->name);
        struct target t = {.kind = kind,
                           .place = PLACE_WAFER,
                           .die = die,
                           .item = item,
                           .x_um = at->x_um + d->x_um,
                           .y_um = at->y_um + d->y_um,
                           .spacing_um = m->can->spacing_um_max > 0 ? m->r->setup.spacing_um : 0,
                           .seconds = STEP_SECONDS + CONTACT_SECONDS + seconds};
        spends(&t, new_thing(m, "pad", m->p->wafer, part, d->touches_max));
        m->p->things[t.things[2]].reserved = 1;
        return new_target(m, &t);
}

static int32_t die_index(const struct plan *p, int x, int y)
{
        for (size_t i = 0; i < p->die_n; i++)
                if (p->dies[i].x == x && p->dies[i].y == y)
                        return (int32_t)i;
        return -1;
}

static void make_ladders(struct making *m)
{
        int ladder = layout_device(&m->r->layout, m->r->proof.device);
        for (size_t i = 0; i < m->proof_n; i++) {
                int32_t die = die_index(m->p, m->r->proof.dies[i].x, m->r->proof.dies[i].y);
                m->p->prove[m->p->prove_n++] = wafer_target(m, TARGET_LADDER, die, ladder, ladder, DC_SECONDS);
        }
}

/* Under one touch: DC evidence, then one sweep per condition with its bias ramps of 50 mV/ms up and down. */
static double measure_seconds(const struct recipe *r, const struct measure *m, bool has_meter)
{
        double seconds = has_meter ? DC_SECONDS : 0;
        for (size_t k = 0; k < m->condition_n; k++)
                seconds += sweep_seconds(recipe_sweep(r, m->sweep)) + m->conditions[k].settle_s +
                           2 * (fabs(m->conditions[k].volt) + (m->conditions[k].has_gate ? fabs(m->conditions[k].gate.volt) : 0)) / 50;
        return seconds;
}

static enum code make_visits(struct making *m, struct arena *arena, struct tp_error *err)
{
        struct plan *p = m->p;
        struct die *measured = arena_take(arena, (m->measured_n + 1) * sizeof *measured);
        int32_t *index = arena_take(arena, (m->measured_n + 1) * sizeof *index);
        uint16_t *order = arena_take(arena, (m->measured_n + 1) * sizeof *order);
        if (!measured || !index || !order)
                return tp_fail_memory(err);
        for (size_t i = 0, n = 0; i < p->die_n; i++)
                if (!p->dies[i].excluded) {
                        measured[n] = p->dies[i];
                        index[n++] = (int32_t)i;
                }
        die_order((enum die_order)m->r->order, measured, m->measured_n, order);
        for (size_t i = 0; i < m->measured_n; i++) {
                p->visit_die[p->visit_die_n] = index[order[i]];
                p->visit_begin[p->visit_die_n++] = (int32_t)p->visit_n;
                for (size_t k = 0; k < m->r->measure_n; k++) {
                        const struct measure *what = &m->r->measures[k];
                        p->visits[p->visit_n++] =
                                wafer_target(m, TARGET_DEVICE, index[order[i]], layout_device(&m->r->layout, what->device), (int32_t)k,
                                             measure_seconds(m->r, what, m->can->meter));
                }
        }
        p->visit_begin[p->visit_die_n] = (int32_t)p->visit_n;
        return CODE_OK;
}

static int32_t standard_target(const struct recipe *r, const char *name)
{
        return (int32_t)(recipe_standard(r, name) - r->standards);
} /* the first targets are the standards */

static void make_lists(struct making *m)
{
        const struct recipe *r = m->r;
        struct plan *p = m->p;
        for (size_t i = 0; i < r->calibration.standard_n; i++)
                p->calibrate[p->calibrate_n++] = standard_target(r, r->calibration.standards[i].standard);
        for (size_t i = 0; i < r->calibration.verify_n; i++)
                p->verify[p->verify_n++] = standard_target(r, r->calibration.verify[i].standard);
        for (size_t i = 0; i < r->check.standard_n; i++)
                p->check[p->check_n++] = standard_target(r, r->check.standards[i].standard);
}

static double seconds_of(const struct plan *p, const int32_t *list, size_t n)
{
        double s = 0;
        for (size_t i = 0; i < n; i++)
                s += p->targets[list[i]].seconds;
        return s;
}

static void forecast(struct making *m)
{
        struct plan *p = m->p;
        bool has_witness = false;
        for (size_t i = 0; i < m->r->standard_n; i++)
                has_witness = has_witness || m->r->standards[i].raised;
        double witness_s =
                has_witness && p->check_times ? sweep_seconds(recipe_sweep(m->r, m->r->calibration.sweep)) : 0; /* on the way to each die */
        double check_s = p->check_times * (seconds_of(p, p->check, p->check_n) + witness_s);
        p->seconds_wafer =
                seconds_of(p, p->prove, p->prove_n) + seconds_of(p, p->visits, p->visit_n) + check_s + witness_s * (double)p->visit_die_n;
        p->seconds_total = p->seconds_wafer + seconds_of(p, p->calibrate, p->calibrate_n) + seconds_of(p, p->verify, p->verify_n);
        p->touches_total = m->need.standards_total + (int64_t)(p->visit_n + p->prove_n);
}

static enum code check_budgets(const struct plan *p, struct tp_error *err)
{
        for (size_t i = 0; i < p->thing_n; i++) {
                const struct plan_thing *t = &p->things[i];
                if ((int64_t)t->used + t->reserved > t->budget)
                        return tp_fail(err, CODE_BAD_INPUT, "%s %s of %s: %d touches used, this run needs %d, its budget is %d; %s",
                                       t->kind, t->part, t->serial, t->used, t->reserved, t->budget,
                                       strcmp(t->kind, "tip") == 0    ? "fit a fresh probe"
                                       : strcmp(t->kind, "copy") == 0 ? "use another copy"
                                                                      : "leave this device or this wafer out");
        }
        return CODE_OK;
}

static enum code check_wafer(const char *wafer, struct tp_error *err)
{
        static const char allowed[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._+-";
        size_t n = strlen(wafer);
        if (n == 0 || n >= sizeof((struct plan *)0)->wafer || strspn(wafer, allowed) != n)
                return tp_fail(err, CODE_BAD_INPUT,
                               "wafer \"%.60s\": the name of a wafer is 1 to %zu of A-Z a-z 0-9 . _ + -; it names the pads in the ledger",
                               wafer, sizeof((struct plan *)0)->wafer - 1);
        return CODE_OK;
}

/* Everything at its final size; at least one element each, so that no pointer is NULL. */
static enum code take_arrays(struct making *m, struct arena *arena, struct tp_error *err)
{
        struct plan *p = m->p;
        const struct recipe *r = m->r;
        size_t devices = m->measured_n * r->measure_n, targets = r->standard_n + m->proof_n + devices;
        p->targets = arena_take(arena, (targets + 1) * sizeof *p->targets);
        p->things = arena_take(arena, (2 + targets + 1) * sizeof *p->things);
        p->prove = arena_take(arena, (m->proof_n + 1) * sizeof *p->prove);
        p->calibrate = arena_take(arena, (r->calibration.standard_n + 1) * sizeof *p->calibrate);
        p->verify = arena_take(arena, (r->calibration.verify_n + 1) * sizeof *p->verify);
        p->check = arena_take(arena, (r->check.standard_n + 1) * sizeof *p->check);
        p->visits = arena_take(arena, (devices + 1) * sizeof *p->visits);
        p->visit_die = arena_take(arena, (m->measured_n + 1) * sizeof *p->visit_die);
        p->visit_begin = arena_take(arena, (m->measured_n + 1) * sizeof *p->visit_begin);
        bool all =
                p->targets && p->things && p->prove && p->calibrate && p->verify && p->check && p->visits && p->visit_die && p->visit_begin;
        return all ? CODE_OK : tp_fail_memory(err);
}

enum code plan_make(const struct recipe *r, const char *wafer, const struct capability_set *can, const struct ledger_view *ledger,
                    struct arena *arena, struct plan **ret, struct tp_error *err)
{
        struct making m = {.r = r, .can = can, .ledger = ledger, .p = arena_take(arena, sizeof *m.p), .copy_end = 2};
        if (!m.p)
                return tp_fail_memory(err);
        enum code code = check_wafer(wafer, err);
        if (!code)
                code = plan_roles(r, can, err);
        if (!code)
                code = plan_frequencies(r, can, arena, err);
        if (!code)
                code = plan_spacings(r, can, err);
        if (!code)
                code = layout_dies(&r->layout, arena, &m.p->dies, &m.p->die_n, err);
        if (code)
                return code;
        m.p->recipe = r;
        m.p->replayed = can->replayed;
        snprintf(m.p->wafer, sizeof m.p->wafer, "%s", wafer);
        m.proof_n = can->meter ? r->proof.die_n : 0; /* not required and no meter: measured with the place unproven */
        for (size_t i = 0; i < m.p->die_n; i++)
                m.measured_n += !m.p->dies[i].excluded;
        code = need_count(r, m.measured_n, arena, &m.need, err);
        if (!code)
                code = take_arrays(&m, arena, err);
        if (code)
                return code;
        m.p->check_times = m.need.checks;
        for (size_t i = 0; i < 2; i++)
                new_thing(&m, "tip", r->setup.probes[i].serial, "tips", r->setup.tip_touches_max);
        make_standards(&m);
        make_ladders(&m);
        code = make_visits(&m, arena, err);
        if (code)
                return code;
        make_lists(&m);
        forecast(&m);
        m.p->things[0].reserved = m.p->things[1].reserved = (int32_t)m.p->touches_total;
        code = check_budgets(m.p, err);
        if (code)
                return code;
        plan_digest(m.p, m.p->digest);
        *ret = m.p;
        return CODE_OK;
}
