/* calibration_causes_documents.c: standards whose data were themselves corrected, and have a document of what is not known exactly of them
 * (calibration_causes.h).
 * Idea        One id is one cause: what moves the data of several standards (the load of the calibration that measured them) moves what all of
 *             these are believed to be, together.  Noise of data is each frequency's own and stays circular; the methods that solve each
 *             frequency by itself keep it so. */
#include "recipe/calibration_causes.h"
#include <stdio.h>
#include <string.h>

static const struct net2_cause *cause_of(const struct causes_job *j, size_t k, const char *id)
{
        return net2_cause_find(j->readings[k].ideal_causes, id);
}

/* The column as a network; NULL: no memory. */
static const struct net2 *column(struct causes_job *j, size_t k, const struct net2_cause *c, struct arena *arena)
{
        const struct axis *axis = j->readings[k].raw->axis;
        struct net2 *net = arena_take(arena, sizeof *net);
        void *memory = arena_take(arena, net2_bytes(axis->n));
        if (!net || !memory)
                return NULL;
        *net = net2_at(memory, axis, PLANE_TIP);
        for (size_t i = 0; i < axis->n; i++)
                net2_put(net, i, net2_cause_at(c, i));
        return net;
}

/* "load: data: open: C0, port 1", or "load: data: touch R, port 1"; with a number where that is taken. */
static enum code name_of(struct causes_job *j, size_t k, const struct net2_cause *c, const char **ret, struct tp_error *err)
{
        const char *of = c->about.name;
        char name[CAUSE_NAME_MAX + 1];
        bool taken = true;
        for (int tries = 1; taken; tries++) {
                const char *own = strncmp(of, "own: ", 5) == 0 ? of + 5 : of;
                if (tries == 1)
                        snprintf(name, sizeof name, "%.31s: data: %.70s", j->readings[k].standard->name, own);
                else
                        snprintf(name, sizeof name, "%.31s: data %d: %.70s", j->readings[k].standard->name, tries, own);
                taken = false;
                for (size_t m = 0; m < j->to->n; m++)
                        taken = taken || strcmp(j->to->of[m].about.name, name) == 0;
        }
        return (*ret = arena_text(j->arena, name)) ? CODE_OK : tp_fail_memory(err);
}

/* Cause m of reading k's data with what the later ones have of it; one that an earlier one has was carried with that. */
static enum code carry(struct causes_job *j, size_t k, size_t m, struct arena *arena, struct tp_error *err)
{
        const struct net2_cause *one = &j->readings[k].ideal_causes->of[m];
        const struct net2 **moves = arena_take(arena, j->n * sizeof *moves);
        struct cause_about about = one->about;
        if (!moves)
                return tp_fail_memory(err);
        for (size_t q = 0; q < k; q++)
                if (cause_of(j, q, one->id))
                        return CODE_OK;
        for (size_t q = k; q < j->n; q++) {
                const struct net2_cause *c = cause_of(j, q, one->id);
                if (c && !(moves[q] = column(j, q, c, arena)))
                        return tp_fail_memory(err);
        }
        enum code code = name_of(j, k, one, &about.name, err);
        return code ? code : causes_of_beliefs(j, &about, moves, err);
}

enum code causes_of_documents(struct causes_job *j, struct tp_error *err)
{
        struct arena *arena = arena_new(0); /* the job's scratch is emptied with every cause */
        enum code code = arena ? CODE_OK : tp_fail_memory(err);
        for (size_t k = 0; k < j->n && !code; k++) {
                const struct net2_causes *c = j->readings[k].ideal_causes;
                for (size_t m = 0; c && m < c->n && !code; m++) {
                        code = carry(j, k, m, arena, err);
                        arena_reset(arena);
                }
                for (size_t m = 0; c && m < c->not_counted_n && !code; m++)
                        causes_not_counted(j, "%s: data: %s", j->readings[k].standard->name, c->not_counted[m]);
        }
        if (arena)
                arena_free(arena);
        return code;
}
