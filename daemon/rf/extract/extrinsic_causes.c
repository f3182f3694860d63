/* extrinsic_causes.c: causes of a transistor's states through the extraction of its pads and leads (extrinsic_causes.h).
 * Idea        The extraction is straight lines and extrapolations over files, each with choices of its own; so, as with calibrations, it is
 *             done with every state moved by a part of the cause to one side and to the other. */
#include "rf/extract/extrinsic_causes.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define STEP 1e-5         /* of S: its square is what second order leaves */
#define SCATTER_STEP 1e-3 /* of an element's u */
enum { PARTS_MAX = RF_COLD_STATES_MAX + 2 };

enum code rf_states_off(const struct rf_states *s, struct rf_extrinsic *ret, struct tp_error *err)
{
        return s->off.net ? rf_extrinsic_off(s->off_kind, s->off.net, 0, s->off_below_hz, ret, NULL, err) : CODE_OK;
}

enum code rf_states_cold(const struct rf_states *s, struct rf_extrinsic *ret, struct tp_error *err)
{
        const struct net2 *list[RF_COLD_STATES_MAX];
        for (size_t k = 0; k < s->cold_n; k++)
                list[k] = s->cold[k].net;
        return s->cold_n ? rf_extrinsic_cold(s->cold_kind, list, s->x, s->cold_n, s->channel_ohm, s->from_hz, s->below_hz, ret, err)
                         : CODE_OK;
}

struct job {
        const struct rf_states *states;
        const struct rf_extrinsic *x;
        struct arena *arena, *scratch;
        struct rf_extrinsic_known *to;
};

/* ---- parts --------------------------------------------------------------------------------------------------------------------------- */

/* The states as one list: off, cold …, hot; those that are not there have no net. */
static size_t parts_of(struct rf_states *s, struct rf_state *ret[PARTS_MAX])
{
        size_t n = 0;
        ret[n++] = &s->off;
        for (size_t k = 0; k < s->cold_n; k++)
                ret[n++] = &s->cold[k];
        ret[n++] = &s->hot;
        return n;
}

static void part_name(size_t p, size_t n, char ret[32])
{
        if (p == 0 || p + 1 == n)
                snprintf(ret, 32, p == 0 ? "off" : "biased");
        else
                snprintf(ret, 32, "cold %zu", p);
}

static enum code moved(const struct net2 *of, const struct net2_cause *c, double by, struct arena *arena, const struct net2 **ret,
                       struct tp_error *err)
{
        struct net2 *net = arena_take(arena, sizeof *net);
        void *memory = arena_take(arena, net2_bytes(of->axis->n));
        if (!net || !memory)
                return tp_fail_memory(err);
        *net = net2_at(memory, of->axis, of->plane);
        net2_set_z(net, of->z_re[0], of->z_im[0]);
        for (size_t i = 0; i < of->axis->n; i++)
                net2_put(net, i, m2_add(net2_get(of, i), m2_scale(by, net2_cause_at(c, i))));
        *ret = net;
        return CODE_OK;
}

static double largest(const struct net2_cause *c, size_t n)
{
        double most = 0;
        for (int e = 0; e < 4; e++)
                for (size_t i = 0; i < n && c->re[e]; i++)
                        most = fmax(most, hypot(c->re[e][i], c->im[e][i]));
        return most;
}

/* ---- one side ------------------------------------------------------------------------------------------------------------------------ */

struct side {
        struct rf_extrinsic x;
        const struct net2 *inside; /* NULL: no biased state */
};

static enum code inside_of(struct job *j, const struct rf_extrinsic *x, const struct net2 *hot, const struct net2 **ret,
                           struct tp_error *err)
{
        struct net2 *net = arena_take(j->scratch, sizeof *net);
        void *memory = arena_take(j->scratch, net2_bytes(hot->axis->n));
        if (!net || !memory)
                return tp_fail_memory(err);
        *net = net2_at(memory, hot->axis, PLANE_UNKNOWN);
        *ret = net;
        return rf_extrinsic_remove(x, hot, net, err);
}

/* Everything anew with each part's own column of the cause (NULL: it has none) moved by `by`. */
static enum code side_of(struct job *j, const struct net2_cause *const of[PARTS_MAX], double by, struct side *ret, struct tp_error *err)
{
        struct rf_states s = *j->states;
        struct rf_state *part[PARTS_MAX];
        size_t n = parts_of(&s, part);
        bool states = false;
        enum code code = CODE_OK;
        *ret = (struct side){.x = *j->x};
        for (size_t p = 0; p < n && !code; p++)
                if (of[p]) {
                        code = moved(part[p]->net, of[p], by, j->scratch, &part[p]->net, err);
                        states = states || p + 1 < n;
                }
        if (!code && states && !(code = rf_states_off(&s, &ret->x, err)))
                code = rf_states_cold(&s, &ret->x, err);
        return code || !s.hot.net ? code : inside_of(j, &ret->x, s.hot.net, &ret->inside, err);
}

/* ---- what comes of it ---------------------------------------------------------------------------------------------------------------- */

/* The next column of the inside: (up - down) scale; nothing when it moves nothing. */
static enum code inside_add(struct job *j, const struct cause_about *about, const char *id, const struct side *up, const struct side *down,
                            double scale, struct tp_error *err)
{
        struct net2_causes *to = &j->to->inside;
        size_t n = to->axis->n;
        double *columns = arena_take(j->arena, 8 * n * sizeof *columns);
        bool moves = false;
        if (!columns)
                return tp_fail_memory(err);
        for (size_t i = 0; i < n; i++) {
                struct m2 d = m2_scale(scale, m2_sub(net2_get(up->inside, i), net2_get(down->inside, i)));
                for (int e = 0; e < 4; e++) {
                        double re = creal(d.e[e]), im = cimag(d.e[e]);
                        if (!isfinite(re) || !isfinite(im))
                                return tp_fail(err, CODE_UNRESOLVABLE, "what \"%s\" does at %.9g Hz is no number; look at the states there",
                                               about->name, to->axis->hz[i]);
                        columns[(size_t)(2 * e) * n + i] = re;
                        columns[(size_t)(2 * e + 1) * n + i] = im;
                        moves = moves || re != 0 || im != 0;
                }
        }
        if (!moves)
                return CODE_OK;
        if (to->n == CAUSES_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "the states have more than %d causes together, from \"%s\" on", CAUSES_MAX,
                               about->name);
        struct net2_cause *c = &to->of[to->n++];
        *c = (struct net2_cause){.about = *about};
        memcpy(c->id, id, sizeof c->id);
        for (int e = 0; e < 4; e++) {
                c->re[e] = columns + (size_t)(2 * e) * n;
                c->im[e] = columns + (size_t)(2 * e + 1) * n;
        }
        return CODE_OK;
}

/* The next change of the elements. */
static enum code elements_add(struct job *j, const struct cause_about *about, const char *id, const double change[RF_X_COUNT],
                              struct tp_error *err)
{
        struct net2_causes *to = &j->to->causes;
        bool moves = false;
        for (int e = 0; e < RF_X_COUNT; e++)
                moves = moves || change[e] != 0;
        if (!moves)
                return CODE_OK;
        if (to->n == CAUSES_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "the states have more than %d causes together, from \"%s\" on", CAUSES_MAX,
                               about->name);
        struct net2_cause *c = &to->of[to->n];
        *c = (struct net2_cause){.about = *about};
        memcpy(c->id, id, sizeof c->id);
        memcpy(j->to->change[to->n++], change, RF_X_COUNT * sizeof *change);
        return CODE_OK;
}

static enum code about_of(struct job *j, const struct net2_cause *one, size_t p, size_t n, size_t shared, struct cause_about *ret,
                          struct tp_error *err)
{
        char part[32], name[CAUSE_NAME_MAX + 1];
        *ret = one->about;
        if (strncmp(one->about.name, "own: ", 5) != 0)
                return CODE_OK;
        part_name(p, n, part);
        snprintf(name, sizeof name, "%s: %.80s", shared > 1 ? "transistor" : part, one->about.name + 5);
        return (ret->name = arena_text(j->arena, name)) ? CODE_OK : tp_fail_memory(err);
}

/* Cause k of part p with what the later parts have of it; one that an earlier part has was carried with that. */
static enum code carry(struct job *j, struct rf_state *const part[PARTS_MAX], size_t n, size_t p, size_t k, struct tp_error *err)
{
        const struct net2_cause *one = &part[p]->causes->of[k], *of[PARTS_MAX] = {NULL};
        struct cause_about about;
        struct side up, down;
        double most = 0, change[RF_X_COUNT];
        size_t shared = 0;
        for (size_t q = 0; q < p; q++)
                if (part[q]->net && net2_cause_find(part[q]->causes, one->id))
                        return CODE_OK;
        if (cause_is_circular(&one->about) && p + 1 < n) /* the scatter's */
                return CODE_OK;
        for (size_t q = p; q < n; q++)
                if (part[q]->net && (of[q] = net2_cause_find(part[q]->causes, one->id))) {
                        most = fmax(most, largest(of[q], part[q]->net->axis->n));
                        shared++;
                }
        if (!(most > 0))
                return CODE_OK;
        double by = STEP / most;
        enum code code = about_of(j, one, p, n, shared, &about, err);
        if (!code)
                code = side_of(j, of, by, &up, err);
        if (!code)
                code = side_of(j, of, -by, &down, err);
        for (int e = 0; e < RF_X_COUNT && !code; e++)
                change[e] = (up.x.value[e] - down.x.value[e]) / (2 * by);
        if (!code)
                code = elements_add(j, &about, one->id, change, err);
        if (!code && up.inside)
                code = inside_add(j, &about, one->id, &up, &down, 1 / (2 * by), err);
        arena_reset(j->scratch);
        return code ? tp_where(err, "moved by a part of \"%s\"", one->about.name) : CODE_OK;
}

/* One element by itself: how its extraction scatters over frequencies and biases, or what its model lacks.  word: "scatter", "model". */
static enum code element_alone(struct job *j, int e, const char *word, double u, const char *of, struct tp_error *err)
{
        static const struct net2_cause *const none[PARTS_MAX] = {NULL};
        char name[CAUSE_NAME_MAX], id[CAUSE_ID_CHARS + 1];
        struct cause_about about = {.kind = CAUSE_OF_STANDARD, .freedom = INFINITY};
        double change[RF_X_COUNT] = {0};
        struct side up, down;
        struct rf_extrinsic x = *j->x;
        struct job moved_job = *j;
        if (!(u > 0))
                return CODE_OK;
        snprintf(name, sizeof name, "%s of %s", word, rf_extrinsic_words[e]);
        net2_cause_id(of, name, id);
        if (!(about.name = arena_text(j->arena, name)))
                return tp_fail_memory(err);
        change[e] = u;
        enum code code = elements_add(j, &about, id, change, err);
        if (code || !j->states->hot.net)
                return code;
        moved_job.x = &x;
        x.value[e] = j->x->value[e] + SCATTER_STEP * u;
        code = side_of(&moved_job, none, 0, &up, err);
        x.value[e] = j->x->value[e] - SCATTER_STEP * u;
        if (!code)
                code = side_of(&moved_job, none, 0, &down, err);
        if (!code)
                code = inside_add(j, &about, id, &up, &down, 1 / (2 * SCATTER_STEP), err);
        arena_reset(j->scratch);
        return code;
}

/* What these ids are made of: what was found, to the last digit; other states scatter otherwise. */
static void digest_of(const struct rf_extrinsic *x, char ret[CAUSE_ID_CHARS + 1])
{
        char words[RF_X_COUNT * 64] = "";
        size_t used = 0;
        for (int e = 0; e < RF_X_COUNT; e++)
                used += (size_t)snprintf(words + used, sizeof words - used, "%.17g %.17g ", x->value[e], x->u[e]);
        net2_cause_id(words, "states", ret);
}

enum code rf_extrinsic_causes(const struct rf_states *states, const struct rf_extrinsic *x, struct arena *arena,
                              struct rf_extrinsic_known *ret, struct tp_error *err)
{
        struct rf_states own = *states;
        struct rf_state *part[PARTS_MAX];
        size_t n = parts_of(&own, part);
        char digest[CAUSE_ID_CHARS + 1];
        struct job j = {.states = states, .x = x, .arena = arena, .to = ret};
        *ret = (struct rf_extrinsic_known){.inside.axis = states->hot.net ? states->hot.net->axis : NULL};
        if (!(ret->causes.of = arena_take(arena, CAUSES_MAX * sizeof *ret->causes.of)) ||
            !(ret->change = arena_take(arena, CAUSES_MAX * sizeof *ret->change)) ||
            !(ret->inside.of = arena_take(arena, CAUSES_MAX * sizeof *ret->inside.of)) ||
            !(ret->causes.not_counted = arena_take(arena, CAUSES_NOT_COUNTED_MAX * sizeof *ret->causes.not_counted)) ||
            !(j.scratch = arena_new(0)))
                return tp_fail_memory(err);
        enum code code = CODE_OK;
        for (size_t p = 0; p < n && !code; p++) {
                if (!part[p]->net)
                        continue;
                for (size_t k = 0; part[p]->causes && k < part[p]->causes->n && !code; k++)
                        code = carry(&j, part, n, p, k, err);
                for (size_t k = 0; part[p]->causes && k < part[p]->causes->not_counted_n; k++)
                        causes_not_counted_add(ret->causes.not_counted, &ret->causes.not_counted_n, part[p]->causes->not_counted[k]);
        }
        digest_of(x, digest);
        for (int e = 0; e < RF_X_COUNT && !code; e++)
                if (!(code = element_alone(&j, e, "scatter", x->u[e], digest, err)))
                        code = element_alone(&j, e, "model", x->u_model[e], digest, err);
        causes_not_counted_add(ret->causes.not_counted, &ret->causes.not_counted_n,
                               "how far the transistor's states are unlike what they are taken for");
        ret->inside.not_counted = ret->causes.not_counted;
        ret->inside.not_counted_n = ret->causes.not_counted_n;
        for (int e = 0; e < RF_X_COUNT; e++)
                for (size_t k = 0; k < ret->causes.n; k++)
                        ret->u[e] = hypot(ret->u[e], ret->change[k][e]);
        arena_free(j.scratch);
        return code;
}
