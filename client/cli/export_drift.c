/* export_drift.c: what the daemon knew of each port's drift when a sweep was taken, for raw files that are corrected elsewhere (export.h).
 * Idea        The checks at both ends of an interval say how far each port had moved since the calibration.  Somewhere in between, when the
 *             sweep was taken, it was in between: mean square (a^2 + ab + b^2)/3, and what the checks do not know of it with it.  That is what
 *             the daemon counts (evaluate/causes.c), so the same numbers stand in the raw file, and `tipplane correct` takes them from there.
 *             An interval without two passed checks has none: then what a check lets pass counts, which the plan holds. */
#include "cli/export.h"
#include "cli/offline.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct port_seen {
        double fs, db, u_fs, u_db;
};
struct check_seen {
        int64_t id;
        bool passed;
        struct port_seen port[2];
};
struct drift_interval {
        int64_t opened, closed;
        double delay_s[2], loss_db[2];
};
struct export_drift {
        struct drift_interval *of;
        size_t n;
};

static struct port_seen port_of(const cJSON *modes, const char *key)
{
        const cJSON *p = have(modes, key);
        return (struct port_seen){have_real(p, "delay_fs"), have_real(p, "loss_db"), have_real(p, "delay_u_fs"), have_real(p, "loss_u_db")};
}

static double between(double a, double b, double u_a, double u_b) { return sqrt((a * a + a * b + b * b + u_a * u_a + u_b * u_b) / 3); }

static const struct check_seen *check_of(const struct check_seen *checks, size_t n, int64_t id)
{
        for (size_t k = 0; k < n; k++)
                if (checks[k].id == id)
                        return &checks[k];
        return NULL;
}

/* calibration: the last one, which the plan's terms are. */
static void intervals_read(const cJSON *list, const struct check_seen *checks, size_t n, const char *calibration, struct export_drift *to)
{
        const cJSON *one;
        cJSON_ArrayForEach(one, list)
        {
                const struct check_seen *a = check_of(checks, n, have_int(one, "opening")),
                                        *b = check_of(checks, n, have_int(one, "closing"));
                if (!a || !b || !a->passed || !b->passed || strcmp(have_text(one, "calibration"), calibration) != 0)
                        continue;
                struct drift_interval *i = &to->of[to->n++];
                *i = (struct drift_interval){.opened = have_int(one, "opened"), .closed = have_int(one, "closed")};
                for (int p = 0; p < 2; p++) {
                        const struct port_seen *x = &a->port[p], *y = &b->port[p];
                        i->delay_s[p] = 1e-15 * between(x->fs, y->fs, x->u_fs, y->u_fs);
                        i->loss_db[p] = between(x->db, y->db, x->u_db, y->u_db);
                }
        }
}

enum code export_drift_read(struct cli *c, const char *run, struct export_drift **ret, struct tp_error *err)
{
        struct answer checks, intervals;
        const cJSON *one, *list;
        const char *calibration = "";
        size_t n = 0;
        answer_init(&intervals);
        enum code code = http_get(c, &checks, err, "/api/v1/runs/%s/checks", run);
        if (!code)
                code = http_get(c, &intervals, err, "/api/v1/runs/%s/intervals", run);
        list = have(checks.json, "checks");
        size_t all = (size_t)cJSON_GetArraySize(list), spans = (size_t)cJSON_GetArraySize(have(intervals.json, "intervals"));
        struct check_seen *seen = arena_take(c->arena, (all + 1) * sizeof *seen);
        struct export_drift *to = arena_take(c->arena, sizeof *to);
        if (!code && (!seen || !to || !(to->of = arena_take(c->arena, (spans + 1) * sizeof *to->of))))
                code = tp_fail_memory(err);
        cJSON_ArrayForEach(one, list) if (!code)
        {
                const cJSON *modes = have(one, "modes");
                seen[n++] = (struct check_seen){
                        have_int(one, "id"), cJSON_IsTrue(have(one, "passed")), {port_of(modes, "port1"), port_of(modes, "port2")}};
        }
        list = have(intervals.json, "intervals");
        cJSON_ArrayForEach(one, list) calibration = have_text(one, "calibration");
        if (!code) {
                intervals_read(list, seen, n, calibration, to);
                *ret = to;
        }
        answer_done(&checks);
        answer_done(&intervals);
        return code;
}

void export_drift_comment(const struct export_drift *d, long long touchdown, char *ret, size_t room)
{
        ret[0] = 0;
        for (size_t k = 0; k < d->n; k++) {
                const struct drift_interval *i = &d->of[k];
                if (touchdown > i->opened && touchdown < i->closed)
                        snprintf(ret, room, "\n" RAW_DRIFT_COMMENT RAW_DRIFT_FORMAT, i->delay_s[0], i->loss_db[0], i->delay_s[1],
                                 i->loss_db[1]);
        }
}
