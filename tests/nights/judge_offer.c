/* judge_offer.c: see night.h.  An offer is made once, whatever was killed: in the journal, in the file, and with the numbers that the whole
   file gives when somebody computes them anew. */
#include "run/entry.h"
#include "run/plan_stored.h"
#include "run/rescue_run.h"
#include "tests/nights/night.h"
#include <stdio.h>
#include <string.h>

static bool same(double a, double b) { return (a != a && b != b) || a == b; }

static const struct parameter_row *row_of(const struct parameter_row *rows, size_t n, int64_t sweep, const struct parameter_answer *a)
{
        for (size_t i = 0; i < n; i++)
                if (rows[i].sweep == sweep && strcmp(rows[i].quantity, a->plan->name) == 0 && rows[i].freq_hz == a->plan->freq_hz)
                        return &rows[i];
        return NULL;
}

/* Each computed answer has its stored row, and there are no others. */
static void judge_rows(const struct rescued *want, const struct parameter_row *rows, size_t n, char why[300])
{
        for (size_t i = 0; i < want->sweep_n; i++)
                for (size_t k = 0; k < want->sweeps[i].n && !why[0]; k++) {
                        const struct parameter_answer *a = &want->sweeps[i].rows[k];
                        const struct parameter_row *row = row_of(rows, n, want->sweeps[i].sweep, a);
                        if (!row || row->has_value != (a->has_value && a->value == a->value) ||
                            (row->has_value && (!same(row->value, a->value) || !same(row->u95, a->u95))) ||
                            strcmp(row->verdict, a->verdict) != 0 || strcmp(row->trust, "rescued") != 0)
                                snprintf(why, 300, "the offer's %s of sweep %lld is not what its file gives", a->plan->name,
                                         (long long)want->sweeps[i].sweep);
                }
        if (!why[0] && n != want->value_n)
                snprintf(why, 300, "the offer holds %zu values, its file gives %zu", n, want->value_n);
}

void judge_offer(struct view *view, const char *run, const struct entry *entries, size_t n, uint64_t *ret_offers, char why[300])
{
        struct arena *arena = arena_new(0);
        struct recipe *recipe = NULL;
        struct plan *plan = NULL;
        struct rescued want = {.sweep_n = 0};
        struct parameter_row *rows = NULL;
        struct offer_row offer;
        struct tp_error err = {0};
        size_t row_n = 0, notes = 0;
        uint64_t entry = 0;
        bool has = false;
        for (size_t i = 0; i < n; i++)
                if (entries[i].phase == PHASE_NOTE && entries[i].body.note.note == NOTE_RESCUE_OFFERED) {
                        notes++;
                        entry = entries[i].seq;
                }
        enum code code = arena ? plan_stored(view, run, arena, &recipe, &plan, &err) : tp_fail_memory(&err);
        if (!code && !recipe->mandate.rescue_suspects)
                code = rescue_run(view, recipe, plan, arena, &want, &err);
        if (!code)
                code = view_offer(view, arena, &offer, &has, &err);
        if (!code && has)
                code = view_offer_parameters(view, arena, &rows, &row_n, &err);
        size_t due = want.device_n > 0;
        *ret_offers += has;
        if (code)
                snprintf(why, 300, "the offer cannot be read: %.220s", err.text);
        else if (notes != due || has != (due > 0))
                snprintf(why, 300, "%zu offers in the journal and %d in the file, but %zu devices can be rescued", notes, has,
                         want.device_n);
        else if (has && (offer.entry != entry || offer.devices != (int64_t)want.device_n || offer.suspects != (int64_t)want.asked_n ||
                         offer.values != (int64_t)want.value_n || strcmp(offer.spec_json, want.spec_json) != 0))
                snprintf(why, 300, "the offer says %lld values of %lld devices by entry %llu; its file gives %zu of %zu",
                         (long long)offer.values, (long long)offer.devices, (unsigned long long)offer.entry, want.value_n, want.device_n);
        else if (has)
                judge_rows(&want, rows, row_n, why);
        arena_free(arena);
}
