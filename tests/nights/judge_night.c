/* judge_night.c: what a night left behind (night_own.h). */
#include "tests/nights/night_own.h"
#include "base/hash.h"
#include "evaluate/evaluate.h"
#include "recipe/recipe.h"
#include "run/entry.h"
#include "store/store.h"
#include "store/view.h"
#include <stdio.h>
#include <string.h>

/* The tips' ledger counts each lowering that was intended and not given back, no more and no less. */
static void judge_ledger(struct night *n, const struct entry *entries, size_t entry_n, struct view *view)
{
        struct tp_error err = {0};
        struct arena *arena = arena_new(0);
        struct recipe *recipe = NULL;
        int32_t used = 0, want = 0;
        if (!arena || recipe_read(n->plan->recipe, n->plan->recipe_n, arena, &recipe, &err) ||
            view_ledger_used(view, "tip", recipe->setup.probes[0].serial, "tips", &used, &err)) {
                night_fail(n, "the ledger cannot be read: %s", err.text);
                arena_free(arena);
                return;
        }
        for (size_t i = 0; i < entry_n; i++) {
                want += entries[i].phase == PHASE_INTEND && entries[i].kind == STEP_LOWER;
                if (entries[i].phase != PHASE_NOTE || entries[i].body.note.note != NOTE_COMPENSATE)
                        continue;
                for (size_t k = 0; k < i; k++)
                        want -= entries[k].phase == PHASE_INTEND && entries[k].kind == STEP_LOWER &&
                                entries[k].step == entries[i].body.note.of_step;
        }
        if (used != want)
                night_fail(n, "the ledger counts %d touches of a tip, the journal intends %d", used, want);
        arena_free(arena);
}

static void judge_file(struct night *n)
{
        struct tp_error err = {0};
        struct arena *arena = arena_new(0);
        struct view *view = n->house ? view_open(house_store(n->house), n->run, INT64_MAX, &err) : NULL;
        struct entry *entries = NULL;
        struct touchdown_row *touches = NULL;
        struct sweep_row *sweeps = NULL;
        size_t entry_n = 0, touch_n = 0, sweep_n = 0;
        struct sha256 sha;
        sha256_init(&sha);
        if (!view || view_entries(view, 0, 0, arena, &entries, &entry_n, &err) || view_touchdowns(view, arena, &touches, &touch_n, &err) ||
            view_sweeps(view, NULL, arena, &sweeps, &sweep_n, &err)) {
                night_fail(n, "the run file cannot be read: %s", err.text);
                goto done;
        }
        n->end->entries = entry_n;
        n->end->touches = touch_n;
        n->end->sweeps = sweep_n;
        uint64_t good_sweeps = 0;
        for (size_t i = 0; i < entry_n; i++) {
                struct text body;
                text_init(&body, 0);
                entry_body_write(&entries[i], &body);
                sha256_add(&sha, &entries[i].seq, sizeof entries[i].seq);
                sha256_add(&sha, &entries[i].kind, sizeof entries[i].kind);
                sha256_add(&sha, text_of(&body), body.n);
                text_done(&body);
                good_sweeps += entries[i].phase == PHASE_OUTCOME && entries[i].kind == STEP_SWEEP && !entries[i].code;
        }
        if (good_sweeps != sweep_n)
                night_fail(n, "%llu sweeps ended well by the journal, %zu are stored", (unsigned long long)good_sweeps, sweep_n);
        judge_ledger(n, entries, entry_n, view);
        if (!n->end->why[0] && !n->plan->again)
                judge_checks(view, n->run, entries, entry_n, &n->end->checks, &n->end->as_seen, n->end->why);
        if (!n->end->why[0] && !n->plan->again)
                judge_contacts(view, n->run, entries, entry_n, &n->end->contacts, n->end->why);
        if (!n->end->why[0])
                judge_offer(view, n->run, entries, entry_n, &n->end->offers, n->end->why);
        for (size_t i = 0; i < touch_n; i++)
                if (strcmp(touches[i].trust, "proven") == 0)
                        n->end->proven++;
                else if (strcmp(touches[i].trust, "suspect") == 0)
                        n->end->suspect++;
        sha256_end(&sha, n->end->digest);
done:
        view_close(view);
        arena_free(arena);
}

static void export_files(struct night *n)
{
        struct tp_error err = {0};
        char from[400], to[400];
        if (!n->plan->export_dir || store_path_of_run(house_store(n->house), n->run, from, sizeof from, &err))
                return;
        snprintf(to, sizeof to, "%s/%llu.run", n->plan->export_dir, (unsigned long long)n->plan->seed);
        if (!sim_export(n->sim, from, to))
                night_fail(n, "%s could not be exported", from);
        snprintf(to, sizeof to, "%s/%llu.truth.json", n->plan->export_dir, (unsigned long long)n->plan->seed);
        if (!sim_export(n->sim, "/demo/truth.json", to))
                night_fail(n, "the truth could not be exported");
        snprintf(to, sizeof to, "%s/%llu.truth.json.events", n->plan->export_dir, (unsigned long long)n->plan->seed);
        if (!sim_export(n->sim, "/demo/truth.json.events", to))
                night_fail(n, "the truth's events could not be exported");
}

static void judge_world(struct night *n)
{
        struct text truth;
        struct tp_error err = {0};
        text_init(&truth, 0);
        if (n->w->file->read(n->w, "/demo/truth.json.events", 16u << 20, &truth, &err) == CODE_OK && strstr(text_of(&truth), "\"crash\""))
                night_fail(n, "the stage moved sideways in contact: law 1");
        text_done(&truth);
        struct state_read state = {0};
        bool safe = false;
        if (n->station)
                station_state(n->station, &state, &safe);
        n->end->safe = safe;
        n->end->latched = state.latched;
        if (!safe && !state.latched)
                night_fail(n, "the night ended neither proven safe nor latched");
}

enum code night_calibrations(struct view *view, struct arena *arena, const struct calibration *ret[NIGHT_CALIBRATIONS],
                             struct tp_error *err)
{
        struct calibration_row *rows = NULL;
        size_t n = 0;
        enum code code = view_calibrations(view, arena, &rows, &n, err);
        for (size_t i = 0; i < n && !code; i++) {
                struct calibration *c = NULL;
                if (rows[i].number < 1 || rows[i].number >= NIGHT_CALIBRATIONS)
                        return tp_fail(err, CODE_BAD_INPUT, "calibration %lld: this judge has room for %d", (long long)rows[i].number,
                                       NIGHT_CALIBRATIONS - 1);
                code = calibration_read(rows[i].terms, rows[i].term_bytes, arena, &c, err);
                ret[rows[i].number] = c;
        }
        return code;
}

void night_judge(struct night *n)
{
        if (!n->end->why[0])
                judge_file(n);
        if (!n->end->why[0])
                judge_world(n);
        if (!n->end->why[0])
                export_files(n);
}
