/* probes.c: a history of probes (probes.h).
 * Order       runs come newest first and calibrations of a run in the order they were solved, so entries are gathered run by run and
 *             turned at the end.
 * Delay, loss of the tracking are taken here, against the first calibration of the pair that is still stored: no calibration knows its
 *             successors. */
#include "cli/probes.h"
#include "cli/show.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct probes_history probes_history_of(struct arena *arena) { return (struct probes_history){.arena = arena}; }

static double of_pair(const cJSON *in, const char *key, int port)
{
        const cJSON *v = cJSON_GetArrayItem(have(in, key), port);
        return cJSON_IsNumber(v) ? v->valuedouble : NAN;
}

static bool tracking_read(const cJSON *rows, struct arena *arena, struct probes_entry *to)
{
        size_t n = (size_t)cJSON_GetArraySize(rows), i = 0;
        double *hz = n > 0 && n <= 1000 ? arena_take(arena, n * sizeof *hz) : NULL;
        const cJSON *row;
        cJSON_ArrayForEach(row, rows)
        {
                if (!hz || cJSON_GetArraySize(row) != 5)
                        return false;
                hz[i++] = cJSON_GetArrayItem(row, 0)->valuedouble;
        }
        void *memory = hz && !axis_of(n, hz, &to->axis, NULL) ? arena_take(arena, terms_bytes(n)) : NULL;
        if (!memory)
                return false;
        to->tracking = terms_at(memory, &to->axis);
        to->tracking.model = TERMS_EIGHT;
        i = 0;
        cJSON_ArrayForEach(row, rows)
        {
                to->tracking.re[TERM_ERF][i] = cJSON_GetArrayItem(row, 1)->valuedouble;
                to->tracking.im[TERM_ERF][i] = cJSON_GetArrayItem(row, 2)->valuedouble;
                to->tracking.re[TERM_ERR][i] = cJSON_GetArrayItem(row, 3)->valuedouble;
                to->tracking.im[TERM_ERR][i] = cJSON_GetArrayItem(row, 4)->valuedouble;
                i++;
        }
        return true;
}

static bool entry_read(const cJSON *history, struct arena *arena, struct probes_entry *to)
{
        const cJSON *probes = have(history, "probes"), *band;
        for (int p = 0; p < 2; p++) {
                const cJSON *serial = cJSON_GetArrayItem(probes, p);
                if (!cJSON_IsString(serial))
                        return false;
                snprintf(to->serial[p], sizeof to->serial[p], "%s", serial->valuestring);
        }
        cJSON_ArrayForEach(band, have(history, "bands"))
        {
                if (to->d.band_n == RF_HISTORY_BANDS)
                        return false;
                struct rf_descriptor_band *b = &to->d.band[to->d.band_n++];
                b->from_hz = have_real(band, "from_hz");
                b->to_hz = have_real(band, "to_hz");
                for (int p = 0; p < 2; p++) {
                        b->directivity_db[p] = of_pair(band, "directivity_db", p);
                        b->match_db[p] = of_pair(band, "match_db", p);
                        b->load_db[p] = of_pair(band, "load_db", p);
                        b->tracking_db[p] = of_pair(band, "tracking_db", p);
                }
        }
        return to->d.band_n > 0 && tracking_read(have(history, "tracking"), arena, to);
}

enum code probes_take(struct probes_history *h, const char *run, const cJSON *calibrations, const char *serial, struct tp_error *err)
{
        if (!h->entry && !(h->entry = arena_take(h->arena, PROBES_CALIBRATIONS_MAX * sizeof *h->entry)))
                return tp_fail_memory(err);
        const cJSON *list = have(calibrations, "calibrations");
        for (int i = cJSON_GetArraySize(list); i-- > 0 && h->n < PROBES_CALIBRATIONS_MAX;) { /* newest first, like the runs */
                const cJSON *c = cJSON_GetArrayItem(list, i);
                if (strcmp(have_text(c, "state"), "accepted") != 0)
                        continue;
                struct probes_entry *e = &h->entry[h->n];
                *e = (struct probes_entry){.number = have_int(c, "number")};
                snprintf(e->run, sizeof e->run, "%s", run);
                if (!entry_read(have(have(c, "diagnosis"), "history"), h->arena, e))
                        h->without++;
                else if (!serial || !strcmp(serial, e->serial[0]) || !strcmp(serial, e->serial[1]))
                        h->n++;
        }
        return CODE_OK;
}

static bool alike(const struct probes_entry *a, const struct probes_entry *b)
{
        bool same = !strcmp(a->serial[0], b->serial[0]) && !strcmp(a->serial[1], b->serial[1]) && a->d.band_n == b->d.band_n;
        for (size_t k = 0; same && k < a->d.band_n; k++)
                same = a->d.band[k].from_hz == b->d.band[k].from_hz && a->d.band[k].to_hz == b->d.band[k].to_hz;
        return same;
}

enum code probes_judge(struct probes_history *h, struct rf_history_answer *ret, struct tp_error *err)
{
        if (h->n == 0)
                return tp_fail(err, CODE_NOT_FOUND, "no accepted calibration with a history of its probes is stored%s",
                               h->without ? " (older ones have none)" : "; a run makes one");
        size_t n = 0;
        for (size_t k = 0; k < h->n; k++)
                if (alike(&h->entry[0], &h->entry[k]))
                        h->entry[n++] = h->entry[k];
        h->n = n;
        for (size_t k = 0; k < n / 2; k++) {
                struct probes_entry swap = h->entry[k];
                h->entry[k] = h->entry[n - 1 - k];
                h->entry[n - 1 - k] = swap;
        }
        const struct rf_descriptors **list = arena_take(h->arena, n * sizeof *list);
        void *room = arena_take(h->arena, rf_history_workspace(n));
        if (!list || !room)
                return tp_fail_memory(err);
        for (size_t k = 0; k < n; k++) { /* the axes moved with the entries */
                struct probes_entry *e = &h->entry[k];
                e->tracking.axis = &e->axis;
        }
        for (size_t k = 0; k < n; k++) {
                struct probes_entry *e = &h->entry[k];
                struct rf_descriptors d;
                if (rf_describe(&e->tracking, &h->entry[0].tracking, NULL, 0, &d, err))
                        return err->code;
                memcpy(e->d.delay_s, d.delay_s, sizeof d.delay_s);
                memcpy(e->d.loss_db, d.loss_db, sizeof d.loss_db);
                memcpy(e->d.left, d.left, sizeof d.left);
                list[k] = &e->d;
        }
        return rf_history_judge(list, n, room, ret, err);
}

void probes_show(const struct probes_history *h, const struct rf_history_answer *a, struct text *to)
{
        const struct probes_entry *newest = &h->entry[h->n - 1];
        size_t top = newest->d.band_n - 1;
        struct table t = table_of(h->arena, "lrrrrrrrrr");
        const char *const heads[] = {"RUN",        "CAL",        "DIR 1 dB",   "DIR 2 dB",  "MATCH 1 dB",
                                     "MATCH 2 dB", "DELAY 1 fs", "DELAY 2 fs", "LOSS 1 dB", "LOSS 2 dB"};
        for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
                table_cell(&t, "%s", heads[i]);
        for (size_t k = 0; k < h->n; k++) {
                const struct probes_entry *e = &h->entry[k];
                const struct rf_descriptor_band *b = &e->d.band[top];
                table_cell(&t, "%s", e->run);
                table_cell(&t, "%lld", (long long)e->number);
                for (int p = 0; p < 2; p++)
                        table_cell(&t, "%.1f", b->directivity_db[p]);
                for (int p = 0; p < 2; p++)
                        table_cell(&t, "%.1f", b->match_db[p]);
                for (int p = 0; p < 2; p++)
                        table_cell(&t, "%.0f", round(e->d.delay_s[p] * 1e15) + 0.0); /* no -0 */
                for (int p = 0; p < 2; p++)
                        table_cell(&t, "%.3f", round(e->d.loss_db[p] * 1e3) / 1e3 + 0.0);
        }
        text_f(to, "probes %s (port 1) and %s (port 2); directivity and source match above %.4g GHz, delay and loss since the first line\n",
               newest->serial[0], newest->serial[1], newest->d.band[top].from_hz / 1e9);
        table_put(&t, to);
        text_f(to, "%s\n", a->sentence);
        for (size_t k = 1; k < a->finding_n; k++)
                text_f(to, "  %s\n", a->finding[k].sentence);
}

static void pair(struct json_out *o, const char *key, const double of[2])
{
        json_open(o, key, '[');
        json_real(o, NULL, of[0]);
        json_real(o, NULL, of[1]);
        json_close(o, ']');
}

void probes_show_json(const struct probes_history *h, const struct rf_history_answer *a, struct text *to)
{
        struct json_out o = json_to(to);
        json_open(&o, NULL, '{');
        json_open(&o, "probes", '[');
        for (int p = 0; p < 2; p++)
                json_text(&o, NULL, h->entry[h->n - 1].serial[p]);
        json_close(&o, ']');
        json_open(&o, "calibrations", '[');
        for (size_t k = 0; k < h->n; k++) {
                const struct probes_entry *e = &h->entry[k];
                json_open(&o, NULL, '{');
                json_text(&o, "run", e->run);
                json_int(&o, "number", e->number);
                pair(&o, "delay_s", e->d.delay_s);
                pair(&o, "loss_db", e->d.loss_db);
                json_open(&o, "bands", '[');
                for (size_t b = 0; b < e->d.band_n; b++) {
                        json_open(&o, NULL, '{');
                        json_real(&o, "from_hz", e->d.band[b].from_hz);
                        json_real(&o, "to_hz", e->d.band[b].to_hz);
                        pair(&o, "directivity_db", e->d.band[b].directivity_db);
                        pair(&o, "match_db", e->d.band[b].match_db);
                        pair(&o, "load_db", e->d.band[b].load_db);
                        pair(&o, "tracking_db", e->d.band[b].tracking_db);
                        json_close(&o, '}');
                }
                json_close(&o, ']');
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_open(&o, "findings", '[');
        for (size_t k = 0; k < a->finding_n; k++)
                json_text(&o, NULL, a->finding[k].sentence);
        json_close(&o, ']');
        json_text(&o, "sentence", a->sentence);
        json_close(&o, '}');
        text_put(to, "\n");
}
