/* rescue.c: the calibration that held at a time between two others (evaluate.h).
 * Idea        The change between the two calibrations is split into each port's delay and loss and a rest (rf/trust/between.h).  How delay
 *             and loss went from one to the other is not guessed: the raised open was swept at every die, and tells them to a femtosecond.
 *             So a jump is followed as well as a ramp; between two witnesses the way is straight.
 * Anchor      a raised open is compared with the first one of the interval, because a raised open over another place is another standard;
 *             that first one is put on the straight line between the calibrations.  What the witnesses then leave of the whole change may
 *             have come before the first or after the last of them: its rectangular half width.
 * u           of the witness's own fit; of the change between its neighbours, which may have come all at once: rectangular; of the anchor.
 * Not here    whether one may (an intervention in between forbids it): run/rescue.c. */
#include "evaluate/inside.h"
#include "rf/trust/modes.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define STEP_HZ_MAX 40e9
enum { DELAY, LOSS, MODES };
struct node {
        double t_s, value[2][MODES], u[2][MODES]; /* per port, since t0; s, dB */
};
struct rescue {
        const struct recipe *recipe;
        const struct calibration *before;
        struct rf_between between;
        struct node *nodes; /* begin, witnesses, end; rising in time */
        size_t node_n;
        double left[2][MODES]; /* of the whole change, what the witnesses do not show */
        char sentence[200];
};

static const struct standard *raised_standard(const struct recipe *r)
{
        for (size_t i = 0; i < r->standard_n; i++)
                if (r->standards[i].raised)
                        return &r->standards[i];
        return NULL;
}

/* Delay and loss of both ports at a witness, since the first one. */
static enum code witness_read(const struct rescue *r, const struct rescue_witness *first, const struct rescue_witness *now,
                              struct arena *scratch, struct node *ret, struct tp_error *err)
{
        struct rf_mode_reading reading;
        struct rf_mode_priors priors = check_priors(r->recipe);
        struct rf_modes *modes = arena_take(scratch, sizeof *modes);
        void *workspace = arena_take(scratch, rf_modes_workspace(1));
        *ret = (struct node){.t_s = now->t_s};
        if (!modes || !workspace)
                return tp_fail_memory(err);
        if (now->raw->n != first->raw->n)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the raised opens of the interval were swept with different plans; they cannot be compared");
        enum code code = check_reading(r->recipe, r->before, raised_standard(r->recipe), first->raw, now->raw, scratch, &reading, err);
        if (!code)
                code = rf_modes_fit(&r->before->terms, &reading, 1, &priors, STEP_HZ_MAX, workspace, modes, err);
        for (int p = 0; p < 2 && !code; p++) {
                const struct rf_mode m[MODES] = {modes->delay_s[p], modes->loss_db[p]};
                for (int k = 0; k < MODES; k++) {
                        ret->value[p][k] = m[k].value;
                        ret->u[p][k] = m[k].u;
                }
        }
        return code ? tp_where(err, "raised open at %.6g s", now->t_s) : CODE_OK;
}

static double whole(const struct rescue *r, int port, int mode)
{
        return mode == DELAY ? r->between.delay_s[port] : r->between.loss_db[port];
}

static void anchor(struct rescue *r, double t0_s, double t1_s)
{
        struct node *first = &r->nodes[1], *last = &r->nodes[r->node_n - 2], *end = &r->nodes[r->node_n - 1];
        double s_first = (first->t_s - t0_s) / (t1_s - t0_s), s_last = (last->t_s - t0_s) / (t1_s - t0_s);
        r->nodes[0] = (struct node){.t_s = t0_s};
        *end = (struct node){.t_s = t1_s};
        for (int p = 0; p < 2; p++)
                for (int k = 0; k < MODES; k++) {
                        double all = whole(r, p, k);
                        for (struct node *n = first; n <= last; n++)
                                n->value[p][k] += s_first * all;
                        r->left[p][k] = s_last * all - last->value[p][k];
                        end->value[p][k] = all;
                }
}

enum code rescue_open(const struct recipe *recipe, const struct calibration *before, const struct calibration *after, double t0_s,
                      double t1_s, const struct rescue_witness *witnesses, size_t n, struct arena *arena, struct rescue **ret,
                      struct tp_error *err)
{
        struct rescue *r = arena_take(arena, sizeof *r);
        void *workspace = arena_take(arena, rf_between_workspace(before->axis.n));
        struct node *nodes = arena_take(arena, (n + 2) * sizeof *nodes);
        if (!r || !workspace || !nodes)
                return tp_fail_memory(err);
        *r = (struct rescue){.recipe = recipe, .before = before, .nodes = nodes, .node_n = n + 2};
        if (!raised_standard(recipe) || n == 0)
                return tp_fail(err, CODE_BAD_INPUT,
                               "no raised open was swept in the interval: nobody saw when the ports moved, so nothing between the two "
                               "calibrations can be told");
        for (size_t i = 0; i < n; i++)
                if (!(witnesses[i].t_s >= (i ? witnesses[i - 1].t_s : t0_s) && witnesses[i].t_s <= t1_s))
                        return tp_fail(err, CODE_BAD_INPUT, "the raised open at %.6g s does not lie between the calibrations in order",
                                       witnesses[i].t_s);
        enum code code = rf_between_open(&before->terms, &after->terms, t0_s, t1_s, NULL, workspace, &r->between, err);
        if (code)
                return code;
        if (r->between.kind == RF_BETWEEN_GENERAL)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "the two calibrations differ by %.2g, and no delay and no loss of a port explains half of it: that is damage "
                        "or another touch, and no drift that could be followed",
                        r->between.moved);
        for (size_t i = 0; i < n && !code; i++)
                code = witness_read(r, &witnesses[0], &witnesses[i], arena, &nodes[1 + i], err);
        if (code)
                return code;
        anchor(r, t0_s, t1_s);
        snprintf(r->sentence, sizeof r->sentence,
                 "port 1 moved by %.3g fs and %.2g dB, port 2 by %.3g fs and %.2g dB; %zu raised opens saw how",
                 r->between.delay_s[0] * 1e15, r->between.loss_db[0], r->between.delay_s[1] * 1e15, r->between.loss_db[1], n);
        *ret = r;
        return CODE_OK;
}

const char *rescue_sentence(const struct rescue *r) { return r->sentence; }

static struct rf_between_witness way_at(const struct rescue *r, double t_s)
{
        size_t i = 0;
        while (i + 2 < r->node_n && r->nodes[i + 1].t_s <= t_s)
                i++;
        const struct node *a = &r->nodes[i], *b = &r->nodes[i + 1];
        double share = b->t_s > a->t_s ? (t_s - a->t_s) / (b->t_s - a->t_s) : 0, value[2][MODES], u[2][MODES];
        for (int p = 0; p < 2; p++)
                for (int k = 0; k < MODES; k++) {
                        double change = b->value[p][k] - a->value[p][k];
                        value[p][k] = a->value[p][k] + share * change;
                        u[p][k] = sqrt(pow(fmax(a->u[p][k], b->u[p][k]), 2) + (change * change + pow(r->left[p][k], 2)) / 3);
                }
        return (struct rf_between_witness){.delay_s = {value[0][DELAY], value[1][DELAY]},
                                           .loss_db = {value[0][LOSS], value[1][LOSS]},
                                           .u_delay_s = {u[0][DELAY], u[1][DELAY]},
                                           .u_loss_db = {u[0][LOSS], u[1][LOSS]}};
}

enum code rescue_at(const struct rescue *r, double t_s, struct arena *arena, struct calibration **ret, struct tp_error *err)
{
        const struct calibration *before = r->before;
        struct calibration *c;
        struct rf_between_witness way = way_at(r, t_s);
        enum code code = calibration_new(before->axis.n, before->axis.hz, arena, &c, err);
        if (code)
                return code;
        struct terms terms = c->terms;
        struct axis axis = c->axis;
        *c = *before; /* switch terms, lines and domain are shared with it */
        c->axis = axis;
        c->terms = terms;
        c->terms.axis = &c->axis;
        code = rf_between_at(&r->between, t_s, &way, &c->terms, &c->at, err);
        if (code)
                return code;
        c->between = &r->between;
        *ret = c;
        return CODE_OK;
}
