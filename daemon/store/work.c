/* work.c: what a task gathers before it hands it over.  All of a work lives in one arena; facts are kept in an array that doubles. */
#include "base/hash.h"
#include "store/own.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct work *work_new(const char *run_or_null)
{
        struct arena *a = arena_new(0);
        struct work *w = a ? arena_take(a, sizeof *w) : NULL;
        if (!w) {
                arena_free(a);
                return NULL;
        }
        w->arena = a;
        snprintf(w->run, sizeof w->run, "%s", run_or_null ? run_or_null : "");
        return w;
}

struct fact *work_add(struct work *w, enum fact_kind kind)
{
        if (w->fact_n == w->fact_room) {
                size_t room = w->fact_room ? 2 * w->fact_room : 8;
                struct fact *more = arena_take(w->arena, room * sizeof *more);
                if (!more)
                        return NULL;
                if (w->fact_n)
                        memcpy(more, w->facts, w->fact_n * sizeof *more);
                w->facts = more;
                w->fact_room = room;
        }
        struct fact *f = &w->facts[w->fact_n++];
        memset(f, 0, sizeof *f);
        f->kind = kind;
        return f;
}

const char *work_text(struct work *w, const char *fmt, ...)
{
        va_list ap;
        va_start(ap, fmt);
        int n = vsnprintf(NULL, 0, fmt, ap);
        va_end(ap);
        char *t = n < 0 ? NULL : arena_take(w->arena, (size_t)n + 1);
        if (!t)
                return NULL;
        va_start(ap, fmt);
        vsnprintf(t, (size_t)n + 1, fmt, ap);
        va_end(ap);
        return t;
}

void work_free(struct work *w)
{
        if (w)
                arena_free(w->arena);
}

const struct fact_row fact_rows[FACT_KIND_COUNT] = {
        [FACT_DOCUMENT] = {"document", catalogue_document, run_document, NULL},
        [FACT_WAFER] = {"wafer", catalogue_wafer, NULL, NULL},
        [FACT_THING] = {"thing", catalogue_thing, NULL, NULL},
        [FACT_LEDGER] = {"ledger", catalogue_ledger, NULL, NULL},
        [FACT_RUN_NEW] = {"run", catalogue_run_new, run_run_new, index_run_new},
        [FACT_RUN_STATE] = {"state of the run", NULL, run_run_state, index_run_state},
        [FACT_RUN_SEAL] = {"seal", NULL, run_seal, NULL},
        [FACT_COMMAND] = {"command", catalogue_command, NULL, NULL},
        [FACT_COMMAND_DONE] = {"answer to a command", catalogue_command_done, NULL, NULL},
        [FACT_AUDIT] = {"audit", catalogue_audit, NULL, NULL},
        [FACT_ALARM] = {"alarm", catalogue_alarm, NULL, NULL},
        [FACT_ALARM_CLEAR] = {"end of an alarm", catalogue_alarm_clear, NULL, NULL},
        [FACT_TOKEN] = {"token", catalogue_token, NULL, NULL},
        [FACT_EPOCH] = {"epoch", catalogue_epoch, NULL, NULL},
        [FACT_BOOT] = {"boot", NULL, run_boot, NULL},
        [FACT_ENTRY] = {"journal entry", NULL, run_entry, NULL},
        [FACT_DEVICE] = {"device", NULL, run_device, NULL},
        [FACT_AXIS] = {"axis", NULL, run_axis, NULL},
        [FACT_TOUCHDOWN] = {"touchdown", NULL, run_touchdown, NULL},
        [FACT_TOUCHDOWN_DONE] = {"outcome of a touchdown", NULL, run_touchdown_done, NULL},
        [FACT_SWEEP] = {"sweep", NULL, run_sweep, NULL},
        [FACT_CALIBRATION] = {"calibration", NULL, run_calibration, NULL},
        [FACT_CALIBRATION_STATE] = {"state of a calibration", NULL, run_calibration_state, NULL},
        [FACT_CHECK] = {"check", NULL, run_check, NULL},
        [FACT_INTERVAL_OPEN] = {"interval", NULL, run_interval_open, NULL},
        [FACT_INTERVAL_CLOSE] = {"end of an interval", NULL, run_interval_close, NULL},
        [FACT_TRUST] = {"trust", NULL, run_trust, NULL},
        [FACT_EVALUATION] = {"evaluation", NULL, run_evaluation, NULL},
        [FACT_EVALUATION_TRUST] = {"trust of an evaluation", NULL, run_evaluation_trust, NULL},
        [FACT_PARAMETER] = {"parameters", NULL, run_parameter, NULL},
        [FACT_OFFER] = {"offer", NULL, run_offer, NULL},
        [FACT_MAP] = {"map", NULL, run_map, index_map},
        [FACT_EVENT] = {"event", NULL, NULL, index_event},
};

unsigned work_homes(const struct work *w)
{
        unsigned homes = 0;
        for (size_t i = 0; i < w->fact_n; i++) {
                const struct fact_row *row = &fact_rows[w->facts[i].kind];
                homes |= row->catalogue ? HOME_CATALOGUE : 0u;
                homes |= row->run && (w->run[0] || w->facts[i].kind != FACT_DOCUMENT) ? HOME_RUN : 0u;
                homes |= row->index ? HOME_INDEX : 0u;
        }
        return homes;
}
