/* multiport_causes.c: causes of pairs and ends through joining (multiport_causes.h). */
#include "rf/calibrate/multiport_causes.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define STEP 1e-5 /* of S: its square is what second order leaves */
enum { PARTS_MAX = 64 };

struct job {
        const struct port_pair *pairs;
        size_t pair_n;
        const struct terminations *ends;
        unsigned ports;
        const struct axis *axis;
        const struct net2_causes *part[PARTS_MAX]; /* the pairs, then the ends */
        size_t part_n;
        struct arena *arena, *scratch;
        struct netn_causes *to;
};

static double largest(const struct net2_cause *c, size_t n)
{
        double most = 0;
        for (int e = 0; e < 4; e++)
                for (size_t i = 0; i < n && c->re[e]; i++)
                        most = fmax(most, hypot(c->re[e][i], c->im[e][i]));
        return most;
}

/* The pair moved by `by` of its cause (NULL: it has none, and stays). */
static enum code pair_moved(struct job *j, size_t k, const struct net2_cause *c, double by, struct port_pair *ret, struct tp_error *err)
{
        const struct net2 *of = j->pairs[k].net;
        *ret = j->pairs[k];
        if (!c)
                return CODE_OK;
        struct net2 *net = arena_take(j->scratch, sizeof *net);
        void *memory = arena_take(j->scratch, net2_bytes(of->axis->n));
        if (!net || !memory)
                return tp_fail_memory(err);
        *net = net2_at(memory, of->axis, of->plane);
        memcpy(net->z_re, of->z_re, of->axis->n * sizeof *of->z_re);
        memcpy(net->z_im, of->z_im, of->axis->n * sizeof *of->z_im);
        for (size_t i = 0; i < of->axis->n; i++)
                net2_put(net, i, m2_add(net2_get(of, i), m2_scale(by, net2_cause_at(c, i))));
        ret->net = net;
        return CODE_OK;
}

static enum code end_moved(struct job *j, unsigned p, const struct net2_cause *c, double by, struct terminations *to, struct tp_error *err)
{
        size_t n = j->axis->n;
        double *re = arena_take(j->scratch, n * sizeof *re), *im = arena_take(j->scratch, n * sizeof *im);
        if (!re || !im)
                return tp_fail_memory(err);
        for (size_t i = 0; i < n; i++) {
                double complex d = net2_cause_at(c, i).e[0];
                re[i] = j->ends->re[p][i] + by * creal(d);
                im[i] = j->ends->im[p][i] + by * cimag(d);
        }
        to->re[p] = re;
        to->im[p] = im;
        return CODE_OK;
}

/* Joined with each part's own column of the cause moved by `by`. */
static enum code joined(struct job *j, const struct net2_cause *const of[PARTS_MAX], double by, struct netn *ret, struct tp_error *err)
{
        struct port_pair *pairs = arena_take(j->scratch, j->pair_n * sizeof *pairs);
        void *memory = arena_take(j->scratch, netn_bytes(j->axis->n, j->ports));
        struct terminations ends = *j->ends;
        enum code code = pairs && memory ? CODE_OK : tp_fail_memory(err);
        for (size_t k = 0; k < j->pair_n && !code; k++)
                code = pair_moved(j, k, of[k], by, &pairs[k], err);
        for (unsigned p = 0; p < j->ports && !code; p++)
                if (of[j->pair_n + p])
                        code = end_moved(j, p, of[j->pair_n + p], by, &ends, err);
        if (code)
                return code;
        *ret = netn_at(memory, j->axis, j->ports, PLANE_UNKNOWN);
        return rf_multiport_join(pairs, j->pair_n, &ends, ret, NULL, err);
}

static enum code name_of(struct job *j, const struct net2_cause *one, size_t part, const char **ret, struct tp_error *err)
{
        char name[CAUSE_NAME_MAX + 1];
        *ret = one->about.name;
        if (strncmp(one->about.name, "own: ", 5) != 0)
                return CODE_OK;
        if (part < j->pair_n)
                snprintf(name, sizeof name, "pair %u,%u: %.80s", j->pairs[part].p + 1, j->pairs[part].q + 1, one->about.name + 5);
        else
                snprintf(name, sizeof name, "end of port %u: %.80s", (unsigned)(part - j->pair_n) + 1, one->about.name + 5);
        return (*ret = arena_text(j->arena, name)) ? CODE_OK : tp_fail_memory(err);
}

/* Cause k of part p with what the later parts have of it; one that an earlier part has was carried with that. */
static enum code carry(struct job *j, size_t p, size_t k, struct tp_error *err)
{
        const struct net2_cause *one = &j->part[p]->of[k], *of[PARTS_MAX] = {NULL};
        struct netn up, down;
        double most = 0;
        for (size_t q = 0; q < p; q++)
                if (net2_cause_find(j->part[q], one->id))
                        return CODE_OK;
        for (size_t q = p; q < j->part_n; q++)
                if ((of[q] = net2_cause_find(j->part[q], one->id)))
                        most = fmax(most, largest(of[q], j->axis->n));
        if (!(most > 0))
                return CODE_OK;
        if (j->to->n == CAUSES_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "the files have more than %d causes together, from \"%s\" on", CAUSES_MAX,
                               one->about.name);
        struct netn_cause *to = &j->to->of[j->to->n];
        *to = (struct netn_cause){.about = one->about};
        memcpy(to->id, one->id, sizeof to->id);
        enum code code = name_of(j, one, p, &to->about.name, err);
        if (!code)
                code = joined(j, of, STEP / most, &up, err);
        if (!code)
                code = joined(j, of, -STEP / most, &down, err);
        if (!code)
                code = netn_cause_from_sides(&up, &down, most / (2 * STEP), j->arena, to, err);
        j->to->n += !code;
        arena_reset(j->scratch);
        return code;
}

enum code rf_multiport_join_causes(const struct port_pair *pairs, const struct net2_causes *const *of_pair, size_t pair_n,
                                   const struct terminations *ends, const struct net2_causes *const of_end[RF_PORTS_MAX], unsigned ports,
                                   struct arena *arena, struct netn_causes *ret, struct tp_error *err)
{
        struct job j = {.pairs = pairs, .pair_n = pair_n, .ends = ends, .ports = ports, .arena = arena, .to = ret};
        bool all_ends = true;
        if (pair_n == 0 || pair_n + ports > PARTS_MAX || ports > RF_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu pairs of %u ports cannot be joined with what is known of them", pair_n, ports);
        j.axis = pairs[0].net->axis;
        j.part_n = pair_n + ports;
        for (size_t k = 0; k < pair_n; k++)
                j.part[k] = of_pair[k];
        for (unsigned p = 0; p < ports; p++) {
                j.part[pair_n + p] = of_end[p];
                all_ends = all_ends && of_end[p];
        }
        *ret = (struct netn_causes){.axis = j.axis, .ports = ports};
        if (!(ret->of = arena_take(arena, CAUSES_MAX * sizeof *ret->of)) ||
            !(ret->not_counted = arena_take(arena, CAUSES_NOT_COUNTED_MAX * sizeof *ret->not_counted)) || !(j.scratch = arena_new(0)))
                return tp_fail_memory(err);
        enum code code = CODE_OK;
        for (size_t p = 0; p < j.part_n && !code; p++) {
                for (size_t k = 0; j.part[p] && k < j.part[p]->n && !code; k++)
                        code = carry(&j, p, k, err);
                for (size_t k = 0; j.part[p] && k < j.part[p]->not_counted_n; k++)
                        causes_not_counted_add(ret->not_counted, &ret->not_counted_n, j.part[p]->not_counted[k]);
        }
        if (!all_ends)
                causes_not_counted_add(ret->not_counted, &ret->not_counted_n, "what ended the ports that were not measured");
        arena_free(j.scratch);
        return code;
}
