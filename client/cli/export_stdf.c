/* export_stdf.c: `tipplane export RUN --stdf FILE`: asks the daemon for what run_stdf.c writes.  Only of a run that has ended: before its
 * closing check a verdict may still change, and what a test cell has read cannot be taken back. */
#include "cli/export.h"
#include "cli/offline.h"
#include "cli/run_stdf.h"
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#ifndef TIPPLANE_VERSION
#define TIPPLANE_VERSION "unknown"
#endif

/* "2026-11-30T19:23:04Z" as seconds since 1970; 0: no such time. */
static uint32_t seconds_of(const char *at)
{
        struct tm tm = {0};
        if (sscanf(at, "%d-%d-%dT%d:%d:%d", &tm.tm_year, &tm.tm_mon, &tm.tm_mday, &tm.tm_hour, &tm.tm_min, &tm.tm_sec) != 6)
                return 0;
        tm.tm_year -= 1900;
        tm.tm_mon -= 1;
        time_t s = timegm(&tm);
        return s > 0 && s < (time_t)4294967295 ? (uint32_t)s : 0;
}

/* When entry `seq` of the journal was written; 0: there is none. */
static enum code time_of_entry(struct cli *c, const char *run, long long seq, uint32_t *ret_s, struct tp_error *err)
{
        struct answer a;
        *ret_s = 0;
        if (seq < 1)
                return CODE_OK;
        enum code code = http_get(c, &a, err, "/api/v1/runs/%s/journal?after=%lld&limit=1", run, seq - 1);
        if (!code)
                *ret_s = seconds_of(have_text(cJSON_GetArrayItem(have(a.json, "entries"), 0), "at"));
        answer_done(&a);
        return code;
}

/* Seconds with the probes down on each die, and the first and the last touch of a device. */
static void touches_read(const cJSON *touchdowns, const struct results *r, double *test_s, long long *ret_first, long long *ret_last)
{
        const cJSON *t;
        cJSON_ArrayForEach(t, have(touchdowns, "touchdowns"))
        {
                const cJSON *die = have(t, "die");
                double down_s = have_real(have(t, "evidence"), "station_ns") * 1e-9 - have_real(t, "station_s");
                if (!cJSON_IsObject(die))
                        continue; /* of a standard */
                *ret_first = *ret_first ? *ret_first : (long long)have_int(t, "id");
                *ret_last = (long long)have_int(t, "id");
                for (size_t d = 0; d < r->die_n && down_s > 0; d++)
                        if (r->die[d].x == have_int(die, "x") && r->die[d].y == have_int(die, "y"))
                                test_s[d] += down_s;
        }
}

static enum code ask_times(struct cli *c, const char *run, const cJSON *answer, const struct results *r, double *test_s,
                           struct stdf_about *about, struct tp_error *err)
{
        struct answer touchdowns;
        long long first = 0, last = 0;
        enum code code = http_get(c, &touchdowns, err, "/api/v1/runs/%s/touchdowns", run);
        if (!code)
                touches_read(touchdowns.json, r, test_s, &first, &last);
        about->test_s = test_s;
        about->began_s = seconds_of(have_text(answer, "began"));
        if (!code)
                code = time_of_entry(c, run, first, &about->first_touch_s, err);
        if (!code)
                code = time_of_entry(c, run, last, &about->last_touch_s, err);
        if (!code)
                code = time_of_entry(c, run, (long long)have_int(have(answer, "progress"), "seq"), &about->ended_s, err);
        answer_done(&touchdowns);
        return code;
}

static void say_what(struct cli *c, const char *file, const struct results *r)
{
        size_t of[RESULT_STATES] = {0};
        for (size_t d = 0; d < r->die_n; d++)
                of[r->die[d].state]++;
        text_f(&c->out, "%s: %zu parts, %zu tests each; %zu good, %zu failed, %zu neither\n", file, r->die_n, r->asked_n, of[RESULT_PASS],
               of[RESULT_FAIL], r->die_n - of[RESULT_PASS] - of[RESULT_FAIL]);
}

/* What the run found, of three questions: answer_done() each of them also after failure, results stand on them. */
static enum code ask_results(struct cli *c, const char *run, struct answer part[3], struct results *ret, struct tp_error *err)
{
        static const char *const parts[] = {"map", "devices", "parameters.json"};
        enum code code = CODE_OK;
        for (size_t i = 0; i < 3; i++) {
                answer_init(&part[i]);
                if (!code)
                        code = http_get(c, &part[i], err, "/api/v1/runs/%s/%s", run, parts[i]);
        }
        return code ? code : results_read(part[0].json, part[1].json, part[2].json, c->arena, ret, err);
}

enum code export_stdf(struct cli *c, const char *run, const char *file, struct tp_error *err)
{
        struct answer answer, station, part[3];
        struct results r = {0};
        struct stdf_about about = {.run = run, .version = TIPPLANE_VERSION};
        struct text text;
        text_init(&text, FILE_BYTES_MAX);
        answer_init(&station);
        enum code code = http_get(c, &answer, err, "/api/v1/runs/%s", run);
        if (!code && strcmp(have_text(answer.json, "state"), "sealed") != 0)
                code = tp_fail(err, CODE_STATE, "run %s is %s: its verdicts are not final; `tipplane wait %s`, then export again", run,
                               have_text(answer.json, "state"), run);
        if (code) {
                answer_done(&answer);
                return code;
        }
        code = ask_results(c, run, part, &r, err);
        double *test_s = arena_take(c->arena, (r.die_n + 1) * sizeof *test_s);
        if (!code && !test_s)
                code = tp_fail_memory(err);
        if (!code)
                code = http_get(c, &station, err, "/api/v1/station");
        if (!code) {
                for (size_t d = 0; d < r.die_n; d++)
                        test_s[d] = 0;
                stdf_about_wafer(part[0].json, &about);
                about.lot = have_text(answer.json, "lot");
                about.recipe = have_text(answer.json, "recipe");
                about.station = have_text(station.json, "name");
                code = ask_times(c, run, answer.json, &r, test_s, &about, err);
        }
        if (!code)
                code = run_stdf(&about, &r, &text, err);
        if (!code)
                code = offline_write(c, file, &text, err);
        if (!code)
                say_what(c, file, &r);
        for (size_t i = 0; i < 3; i++)
                answer_done(&part[i]);
        answer_done(&station);
        answer_done(&answer);
        text_done(&text);
        return code;
}
