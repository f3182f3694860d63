/* probes.c: histories of probes and modules (probes.h).
 * Order       runs come newest first and calibrations of a run in the order they were solved, so entries are gathered run by run and
 *             turned in each series.
 * Delay, loss of the tracking are taken here, against the first calibration of the serial that is still stored: no calibration knows its
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
        const cJSON *probes = have(history, "probes"), *modules = have(history, "modules"), *band;
        for (int p = 0; p < 2; p++) {
                const cJSON *serial = cJSON_GetArrayItem(probes, p), *module = cJSON_GetArrayItem(modules, p);
                if (!cJSON_IsString(serial))
                        return false;
                snprintf(to->serial[PROBES_PROBE][p], sizeof to->serial[0][p], "%s", serial->valuestring);
                snprintf(to->serial[PROBES_MODULE][p], sizeof to->serial[0][p], "%s", cJSON_IsString(module) ? module->valuestring : "");
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

/* Where this serial sat; -1: nowhere. */
static int port_of(const struct probes_entry *e, enum probes_what what, const char *serial)
{
        for (int p = 0; p < 2; p++)
                if (serial[0] && strcmp(e->serial[what][p], serial) == 0)
                        return p;
        return -1;
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
                else if (!serial || port_of(e, PROBES_PROBE, serial) >= 0 || port_of(e, PROBES_MODULE, serial) >= 0)
                        h->n++;
        }
        return CODE_OK;
}

static bool same_bands(const struct probes_entry *a, const struct probes_entry *b)
{
        bool same = a->d.band_n == b->d.band_n;
        for (size_t k = 0; same && k < a->d.band_n; k++)
                same = a->d.band[k].from_hz == b->d.band[k].from_hz && a->d.band[k].to_hz == b->d.band[k].to_hz;
        return same;
}

/* The tracking of one port at another one's place. */
static struct terms tracking_at(const struct probes_entry *e, int from, int to)
{
        static const enum term er[2] = {TERM_ERF, TERM_ERR};
        struct terms t = e->tracking;
        t.axis = &e->axis;
        t.re[er[to]] = e->tracking.re[er[from]];
        t.im[er[to]] = e->tracking.im[er[from]];
        return t;
}

/* Figures of one port alone, at the place where the serial sits now. */
static enum code point_fill(struct probes_point *p, const struct probes_point *first, int now, struct tp_error *err)
{
        struct terms own = tracking_at(p->entry, p->port, now), base = tracking_at(first->entry, first->port, now);
        enum code code = rf_describe(&own, &base, NULL, 0, &p->d, err);
        if (code)
                return code;
        double delay_s = p->d.delay_s[now], loss_db = p->d.loss_db[now], left = p->d.left[now];
        p->d = p->entry->d;
        for (int k = 0; k < 2; k++) {
                p->d.delay_s[k] = k == now ? delay_s : NAN;
                p->d.loss_db[k] = k == now ? loss_db : NAN;
                p->d.left[k] = k == now ? left : NAN;
        }
        for (size_t b = 0; b < p->d.band_n; b++) {
                const struct rf_descriptor_band *from = &p->entry->d.band[b];
                struct rf_descriptor_band *to = &p->d.band[b];
                for (int k = 0; k < 2; k++) {
                        to->directivity_db[k] = k == now ? from->directivity_db[p->port] : NAN;
                        to->match_db[k] = k == now ? from->match_db[p->port] : NAN;
                        to->load_db[k] = k == now ? from->load_db[p->port] : NAN;
                        to->tracking_db[k] = k == now ? from->tracking_db[p->port] : NAN;
                }
        }
        return CODE_OK;
}

static enum code series_fill(struct probes_history *h, struct probes_series *s, struct tp_error *err)
{
        const struct probes_entry *newest = NULL;
        s->points = arena_take(h->arena, (h->n + 1) * sizeof *s->points);
        const struct rf_descriptors **list = arena_take(h->arena, (h->n + 1) * sizeof *list);
        void *room = arena_take(h->arena, rf_history_workspace(h->n));
        if (!s->points || !list || !room)
                return tp_fail_memory(err);
        for (size_t k = 0; k < h->n && !newest; k++)
                newest = port_of(&h->entry[k], s->what, s->serial) >= 0 ? &h->entry[k] : NULL;
        for (size_t k = h->n; k-- > 0;) {
                int port = port_of(&h->entry[k], s->what, s->serial);
                if (port >= 0 && same_bands(newest, &h->entry[k]))
                        s->points[s->n++] = (struct probes_point){.entry = &h->entry[k], .port = port};
        }
        s->port = port_of(newest, s->what, s->serial);
        for (size_t k = 0; k < s->n; k++) {
                enum code code = point_fill(&s->points[k], &s->points[0], s->port, err);
                if (code)
                        return code;
                list[k] = &s->points[k].d;
        }
        return rf_history_judge(list, s->n, room, &s->answer, err);
}

enum code probes_judge(struct probes_history *h, const char *serial, struct tp_error *err)
{
        if (h->n == 0)
                return tp_fail(err, CODE_NOT_FOUND, "no accepted calibration with a history of its probes is stored%s",
                               h->without ? " (older ones have none)" : "; a run makes one");
        for (int what = 0; what < PROBES_WHATS; what++)
                for (int p = 0; p < 2; p++) {
                        const char *own = h->entry[0].serial[what][p];
                        if (!own[0] || (serial && strcmp(serial, own) != 0))
                                continue;
                        struct probes_series *s = &h->series[h->series_n++];
                        s->what = (enum probes_what)what;
                        snprintf(s->serial, sizeof s->serial, "%s", own);
                        enum code code = series_fill(h, s, err);
                        if (code)
                                return code;
                }
        return CODE_OK;
}

static const char *const what_words[PROBES_WHATS] = {"probe", "module"};

static void series_show(const struct probes_history *h, const struct probes_series *s, struct text *to)
{
        size_t top = s->points[0].d.band_n - 1;
        struct table t = table_of(h->arena, "lrrrrrr");
        static const char *const heads[] = {"RUN", "CAL", "PORT", "DIR dB", "MATCH dB", "DELAY fs", "LOSS dB"};
        for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++)
                table_cell(&t, "%s", heads[i]);
        for (size_t k = 0; k < s->n; k++) {
                const struct probes_point *p = &s->points[k];
                table_cell(&t, "%s", p->entry->run);
                table_cell(&t, "%lld", (long long)p->entry->number);
                table_cell(&t, "%d", p->port + 1);
                table_cell(&t, "%.1f", p->d.band[top].directivity_db[s->port]);
                table_cell(&t, "%.1f", p->d.band[top].match_db[s->port]);
                table_cell(&t, "%.0f", round(p->d.delay_s[s->port] * 1e15) + 0.0); /* no -0 */
                table_cell(&t, "%.3f", round(p->d.loss_db[s->port] * 1e3) / 1e3 + 0.0);
        }
        text_f(to, "%s %s, now at port %d; directivity and source match above %.4g GHz, delay and loss since its first line\n",
               what_words[s->what], s->serial, s->port + 1, s->points[0].d.band[top].from_hz / 1e9);
        table_put(&t, to);
        text_f(to, "%s\n", s->answer.sentence);
        for (size_t k = 1; k < s->answer.finding_n; k++)
                text_f(to, "  %s\n", s->answer.finding[k].sentence);
}

void probes_show(const struct probes_history *h, struct text *to)
{
        for (size_t i = 0; i < h->series_n; i++) {
                if (i)
                        text_put(to, "\n");
                series_show(h, &h->series[i], to);
        }
}

static void series_json(const struct probes_series *s, struct json_out *o)
{
        json_open(o, NULL, '{');
        json_text(o, "what", what_words[s->what]);
        json_text(o, "serial", s->serial);
        json_int(o, "port", s->port + 1);
        json_open(o, "calibrations", '[');
        for (size_t k = 0; k < s->n; k++) {
                const struct probes_point *p = &s->points[k];
                json_open(o, NULL, '{');
                json_text(o, "run", p->entry->run);
                json_int(o, "number", p->entry->number);
                json_int(o, "port", p->port + 1);
                json_real(o, "delay_s", p->d.delay_s[s->port]);
                json_real(o, "loss_db", p->d.loss_db[s->port]);
                json_open(o, "bands", '[');
                for (size_t b = 0; b < p->d.band_n; b++) {
                        const struct rf_descriptor_band *band = &p->d.band[b];
                        json_open(o, NULL, '{');
                        json_real(o, "from_hz", band->from_hz);
                        json_real(o, "to_hz", band->to_hz);
                        json_real(o, "directivity_db", band->directivity_db[s->port]);
                        json_real(o, "match_db", band->match_db[s->port]);
                        json_real(o, "load_db", band->load_db[s->port]);
                        json_real(o, "tracking_db", band->tracking_db[s->port]);
                        json_close(o, '}');
                }
                json_close(o, ']');
                json_close(o, '}');
        }
        json_close(o, ']');
        json_open(o, "findings", '[');
        for (size_t k = 0; k < s->answer.finding_n; k++)
                json_text(o, NULL, s->answer.finding[k].sentence);
        json_close(o, ']');
        json_text(o, "sentence", s->answer.sentence);
        json_close(o, '}');
}

void probes_show_json(const struct probes_history *h, struct text *to)
{
        struct json_out o = json_to(to);
        json_open(&o, NULL, '{');
        json_open(&o, "series", '[');
        for (size_t i = 0; i < h->series_n; i++)
                series_json(&h->series[i], &o);
        json_close(&o, ']');
        json_close(&o, '}');
        text_put(to, "\n");
}
