/* deembed_causes.c: causes of device and dummies through the de-embedding (deembed_causes.h). */
#include "rf/deembed/deembed_causes.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct through {
        enum deembed_method method;
        const struct net2 *part[RF_DUMMY_COUNT];
        const struct net2_causes *const *causes;
        double *gate_re, *gate_im; /* S11 of a gated half; NULL: none */
        double z;
        struct arena *arena;
        struct net2_causes *to;
};

static void part_name(int dummy, char ret[40])
{
        snprintf(ret, 40, dummy == RF_DUMMY_DEVICE ? "device" : dummy == RF_DUMMY_HALF ? "half" : "%s dummy", rf_dummy_words[dummy]);
}

/* The parts at point i. */
static void parts_at(const struct through *t, size_t i, struct m2 s[RF_DUMMY_COUNT])
{
        for (int p = 0; p < RF_DUMMY_COUNT; p++)
                if (t->part[p])
                        s[p] = net2_get(t->part[p], i);
        if (t->gate_re)
                s[RF_DUMMY_HALF] = m2_diag(CMPLX(t->gate_re[i], t->gate_im[i]), 0);
}

/* One cause, as each part has it: its columns in the result.  Nothing is added when it moves nothing. */
static enum code carry(struct through *t, const struct net2_cause *const of[RF_DUMMY_COUNT], const struct cause_about *about,
                       const char *id, struct tp_error *err)
{
        size_t n = t->to->axis->n;
        double *columns = arena_take(t->arena, 8 * n * sizeof *columns);
        struct net2_cause *c = &t->to->of[t->to->n];
        bool moves = false;
        if (!columns)
                return tp_fail_memory(err);
        for (size_t i = 0; i < n; i++) {
                struct m2 s[RF_DUMMY_COUNT] = {{{0}}}, d[RF_DUMMY_COUNT] = {{{0}}};
                parts_at(t, i, s);
                for (int p = 0; p < RF_DUMMY_COUNT; p++)
                        if (of[p])
                                d[p] = net2_cause_at(of[p], i);
                if (t->gate_re)
                        d[RF_DUMMY_HALF].e[0] = d[RF_DUMMY_TWO_X_THRU].e[0];
                struct m2 by = rf_deembed_change(t->method, s, d, t->z);
                for (int e = 0; e < 4; e++) {
                        double re = creal(by.e[e]), im = cimag(by.e[e]);
                        if (!isfinite(re) || !isfinite(im))
                                return tp_fail(err, CODE_UNRESOLVABLE,
                                               "what \"%s\" does at %.9g Hz is no number; look at the dummies there", about->name,
                                               t->to->axis->hz[i]);
                        columns[(size_t)(2 * e) * n + i] = re;
                        columns[(size_t)(2 * e + 1) * n + i] = im;
                        moves = moves || re != 0 || im != 0;
                }
        }
        if (!moves)
                return CODE_OK;
        c->about = *about;
        memcpy(c->id, id, sizeof c->id);
        for (int e = 0; e < 4; e++) {
                c->re[e] = columns + (size_t)(2 * e) * n;
                c->im[e] = columns + (size_t)(2 * e + 1) * n;
        }
        t->to->n++;
        return CODE_OK;
}

/* Cause k of part p, together with what the later parts have of it; one that an earlier part has was carried with that. */
static enum code carry_from(struct through *t, int p, size_t k, struct tp_error *err)
{
        const struct net2_cause *one = &t->causes[p]->of[k], *of[RF_DUMMY_COUNT] = {NULL};
        struct cause_about about = one->about;
        for (int q = 0; q < p; q++)
                if (t->part[q] && net2_cause_find(t->causes[q], one->id))
                        return CODE_OK;
        for (int q = p; q < RF_DUMMY_COUNT; q++)
                of[q] = t->part[q] ? net2_cause_find(t->causes[q], one->id) : NULL;
        if (t->to->n == CAUSES_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "device and dummies have more than %d causes together, from \"%s\" on", CAUSES_MAX,
                               about.name);
        if (strncmp(about.name, "own: ", 5) == 0) {
                char part[40], name[CAUSE_NAME_MAX + 1];
                part_name(p, part);
                snprintf(name, sizeof name, "%s: %.70s", part, about.name + 5);
                if (!(about.name = arena_text(t->arena, name)))
                        return tp_fail_memory(err);
        }
        return carry(t, of, &about, one->id, err);
}

enum code rf_deembed_causes(enum deembed_method method, const struct net2 *measured, const struct dummies *dummies,
                            const struct net2_causes *const causes[RF_DUMMY_COUNT], struct arena *arena, struct net2_causes *ret,
                            struct tp_error *err)
{
        struct through t = {.method = method, .causes = causes, .z = net2_z_real(measured), .arena = arena, .to = ret};
        const struct rf_deembed_row *row = &rf_deembed_methods[method];
        enum code code = CODE_OK;
        *ret = (struct net2_causes){.axis = measured->axis};
        if (!(ret->of = arena_take(arena, CAUSES_MAX * sizeof *ret->of)) ||
            !(ret->not_counted = arena_take(arena, CAUSES_NOT_COUNTED_MAX * sizeof *ret->not_counted)))
                return tp_fail_memory(err);
        t.part[RF_DUMMY_DEVICE] = measured;
        for (int p = 1; p < RF_DUMMY_COUNT; p++)
                t.part[p] = ((row->wants | row->may) >> p) & 1u ? dummies->of[p] : NULL;
        if (method == RF_DEEMBED_TWO_X_THRU && !t.part[RF_DUMMY_HALF]) {
                t.gate_re = arena_take(arena, 2 * measured->axis->n * sizeof *t.gate_re);
                t.gate_im = t.gate_re ? t.gate_re + measured->axis->n : NULL;
                code = t.gate_re ? rf_gate_half(t.part[RF_DUMMY_TWO_X_THRU], 0, arena, t.gate_re, t.gate_im, err) : tp_fail_memory(err);
        }
        for (int p = 0; p < RF_DUMMY_COUNT && !code; p++) {
                char name[40], text[80];
                if (!t.part[p])
                        continue;
                for (size_t k = 0; causes[p] && k < causes[p]->n && !code; k++)
                        code = carry_from(&t, p, k, err);
                for (size_t k = 0; causes[p] && k < causes[p]->not_counted_n; k++)
                        causes_not_counted_add(ret->not_counted, &ret->not_counted_n, causes[p]->not_counted[k]);
                part_name(p, name);
                snprintf(text, sizeof text, "all of the %s", name);
                const char *own = causes[p] ? NULL : arena_text(arena, text);
                if (own)
                        causes_not_counted_add(ret->not_counted, &ret->not_counted_n, own);
        }
        causes_not_counted_add(ret->not_counted, &ret->not_counted_n, "how far the dummies are unlike the device's pads and leads");
        return code;
}
