/* replay.c: driver "replay": an analyzer that plays recorded Touchstone files, under a stage that only remembers where it was sent.
 * Why         real measured data go through the whole station and daemon; nothing here invents a number.  No bias, no meter, no chuck, no
 * loop. Found       by place and position within 1 um, in contact, at frequencies that were recorded: everything else is refused in words.
 * Clock       stepped, as in a simulated station: it advances by what motions and sweeps usually take. */
#include "station/driver_table.h"
#include "formats/touchstone.h"
#include "recipe/plan.h"
#include "station/cancel.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SPACINGS_MAX = 64, FILE_BYTES_MAX = 64 << 20 };
#define FOUND_UM 1.0
#define SAME_HZ 1e-9 /* relative: files print frequencies with 10 digits or more */
#define UP_UM 300.0

struct recorded {
        int32_t place;
        double x_um, y_um;
        char file[160];
        struct touchstone data;
};
struct replay_config {
        char directory[400];
        struct recorded *sweeps;
        size_t sweep_n;
        double spacings_um[SPACINGS_MAX];
        size_t spacing_n;
};
struct switch_files {
        char forward[160], reverse[160];
};

struct replay {
        const struct world *w;
        struct arena *arena;
        struct replay_config config;
        char directory[1024];
        const double *hz;
        size_t hz_n;
        double *gamma_re[2], *gamma_im[2]; /* forward a2/b2, reverse a1/b1; NULL: none recorded */
        struct capability_set can;
        struct lock *lock;
        struct position at; /* under the lock */
        uint32_t sweeps_done;
        _Atomic int64_t tick_ns;
};

static const struct field recorded_fields[] = {
        {.key = "place", .type = FIELD_CHOICE, .offset = offsetof(struct recorded, place), .words = place_words, .required = true},
        {.key = "x_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct recorded, x_um),
         .required = true,
         .min = -1e6,
         .max = 1e6,
         .unit = "um"},
        {.key = "y_um",
         .type = FIELD_REAL,
         .offset = offsetof(struct recorded, y_um),
         .required = true,
         .min = -1e6,
         .max = 1e6,
         .unit = "um"},
        {.key = "file",
         .type = FIELD_TEXT,
         .offset = offsetof(struct recorded, file),
         .size = sizeof((struct recorded *)0)->file,
         .required = true},
};
static const struct object recorded_object = {.name = "recorded",
                                              .say = "One recorded sweep and where it was taken.",
                                              .bytes = sizeof(struct recorded),
                                              .fields = recorded_fields,
                                              .field_n = 4};
static const struct field replay_fields[] = {
        {.key = "directory",
         .type = FIELD_TEXT,
         .offset = offsetof(struct replay_config, directory),
         .size = sizeof((struct replay_config *)0)->directory,
         .required = true,
         .say = "where the files lie: absolute, or below $TIPPLANE_DATA"},
        {.key = "sweeps",
         .type = FIELD_LIST,
         .offset = offsetof(struct replay_config, sweeps),
         .count_offset = offsetof(struct replay_config, sweep_n),
         .required = true,
         .min = 1,
         .max = 10000,
         .object = &recorded_object},
        {.key = "spacings_um",
         .type = FIELD_REALS,
         .offset = offsetof(struct replay_config, spacings_um),
         .size = sizeof(double[SPACINGS_MAX]),
         .count_offset = offsetof(struct replay_config, spacing_n),
         .min = 1,
         .max = 100000,
         .unit = "um",
         .say = "probe spacings that were mounted"},
};
static const struct object replay_object = {.name = "replay",
                                            .say = "Settings of the driver replay.",
                                            .bytes = sizeof(struct replay_config),
                                            .fields = replay_fields,
                                            .field_n = 3};
static const struct field switch_fields[] = {
        {.key = "forward", .type = FIELD_TEXT, .offset = offsetof(struct switch_files, forward), .size = 160, .required = true},
        {.key = "reverse", .type = FIELD_TEXT, .offset = offsetof(struct switch_files, reverse), .size = 160, .required = true},
};
static const struct object switch_object = {
        .name = "switch_terms", .bytes = sizeof(struct switch_files), .fields = switch_fields, .field_n = 2};

/* ---- files ---- */

static enum code read_file(struct replay *r, const char *name, unsigned ports_wanted, struct touchstone *ret, struct tp_error *err)
{
        struct text path, bytes;
        unsigned ports = touchstone_ports_of_name(name);
        enum code code = CODE_OK;
        text_init(&path, 4096);
        text_init(&bytes, FILE_BYTES_MAX);
        text_f(&path, "%s/%s", r->directory, name);
        if (ports != ports_wanted)
                code = tp_fail(err, CODE_BAD_INPUT, "a file name that ends in .s%up is wanted here", ports_wanted);
        if (!code)
                code = r->w->file->read(r->w, text_of(&path), FILE_BYTES_MAX, &bytes, err);
        if (code == CODE_NOT_FOUND)
                tp_fail(err, code, "%s does not exist; correct \"directory\" (now %s) or set TIPPLANE_DATA", text_of(&path), r->directory);
        if (!code)
                code = touchstone_read(text_of(&bytes), bytes.n, ports, r->arena, ret, err);
        if (!code && ret->parameter != 'S')
                code = tp_fail(err, CODE_BAD_INPUT, "holds %c parameters; S is wanted", ret->parameter);
        text_done(&path);
        text_done(&bytes);
        return code ? tp_where(err, "file %s", name) : CODE_OK;
}

static enum code same_axis(const struct replay *r, const struct touchstone *t, const char *name, struct tp_error *err)
{
        if (t->axis.n != r->hz_n)
                return tp_fail(err, CODE_BAD_INPUT, "file %s: %zu frequencies, the first file has %zu; a replay has one list", name,
                               t->axis.n, r->hz_n);
        for (size_t i = 0; i < r->hz_n; i++)
                if (!(fabs(t->axis.hz[i] - r->hz[i]) <= SAME_HZ * r->hz[i]))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "file %s: frequency %zu is %.10g Hz, in the first file %.10g Hz; a replay has one list", name, i + 1,
                                       t->axis.hz[i], r->hz[i]);
        return CODE_OK;
}

static enum code find_directory(struct replay *r, const char *base_dir, struct tp_error *err)
{
        const char *d = r->config.directory;
        if (d[0] != '/' && (!base_dir || !base_dir[0]))
                return tp_fail_at(err, CODE_BAD_INPUT, "/config/directory",
                                  "/config/directory: \"%s\" is relative and TIPPLANE_DATA is not set; set it to the folder that holds it, "
                                  "or give an absolute path",
                                  d);
        int n = d[0] == '/' ? snprintf(r->directory, sizeof r->directory, "%s", d)
                            : snprintf(r->directory, sizeof r->directory, "%s/%s", base_dir, d);
        return n > 0 && (size_t)n < sizeof r->directory
                       ? CODE_OK
                       : tp_fail(err, CODE_BAD_INPUT, "the directory's name is longer than %zu bytes", sizeof r->directory);
}

static enum code read_sweeps(struct replay *r, struct tp_error *err)
{
        for (size_t i = 0; i < r->config.sweep_n; i++) {
                struct recorded *s = &r->config.sweeps[i];
                enum code code = read_file(r, s->file, 2, &s->data, err);
                if (!code && i == 0)
                        r->hz = s->data.axis.hz, r->hz_n = s->data.axis.n;
                if (!code)
                        code = same_axis(r, &s->data, s->file, err);
                if (code)
                        return tp_where(err, "/config/sweeps/%zu", i);
        }
        return CODE_OK;
}

/* One .s2p whose S21 is the forward and S12 the reverse term, or one .s1p each. */
static enum code read_switch(struct replay *r, const cJSON *json, struct tp_error *err)
{
        struct touchstone t[2];
        struct switch_files files;
        enum code code;
        if (!json)
                return CODE_OK;
        if (cJSON_IsString(json)) {
                code = read_file(r, json->valuestring, 2, &t[0], err);
                if (!code)
                        code = same_axis(r, &t[0], json->valuestring, err);
                if (!code) {
                        r->gamma_re[0] = t[0].re[2], r->gamma_im[0] = t[0].im[2];
                        r->gamma_re[1] = t[0].re[1], r->gamma_im[1] = t[0].im[1];
                }
                return code ? tp_where(err, "/config/switch_terms") : CODE_OK;
        }
        code = fields_read(&switch_object, json, NULL, &files, err);
        for (int i = 0; i < 2 && !code; i++) {
                const char *name = i ? files.reverse : files.forward;
                code = read_file(r, name, 1, &t[i], err);
                if (!code)
                        code = same_axis(r, &t[i], name, err);
                if (!code)
                        r->gamma_re[i] = t[i].re[0], r->gamma_im[i] = t[i].im[0];
        }
        return code ? tp_where(err, "/config/switch_terms") : CODE_OK;
}

/* ---- the stage that remembers ---- */

static void pass(struct replay *r, double seconds) { r->tick_ns += (int64_t)(seconds * 1e9); }

static enum code identify(void *me, struct identity *ret, struct call *call)
{
        const struct replay *r = me;
        (void)call;
        *ret = (struct identity){.idn = "replay of recorded files"};
        snprintf(ret->serial, sizeof ret->serial, "%zu files", r->config.sweep_n);
        return CODE_OK;
}
static enum code settings(void *me, struct text *ret, struct call *call)
{
        const struct replay *r = me;
        (void)call;
        text_f(ret, "{\"driver\":\"replay\",\"files\":%zu,\"points\":%zu}", r->config.sweep_n, r->hz_n);
        return CODE_OK;
}
static enum code resync(void *me, uint8_t nonce, struct call *call)
{
        (void)me, (void)nonce, (void)call;
        return CODE_OK;
}
static void close_role(void *me) { (void)me; }

static void lock(struct replay *r) { r->w->task->lock(r->w, r->lock); }
static void unlock(struct replay *r) { r->w->task->unlock(r->w, r->lock); }

static enum code where(void *me, struct position *ret, struct call *call)
{
        struct replay *r = me;
        (void)call;
        lock(r);
        *ret = r->at;
        unlock(r);
        return CODE_OK;
}
static enum code home(void *me, struct call *call)
{
        struct replay *r = me;
        (void)call;
        pass(r, 5);
        lock(r);
        r->at.axes = KNOW_KNOWN;
        unlock(r);
        return CODE_OK;
}
static enum code align(void *me, int32_t place, struct call *call)
{
        struct replay *r = me;
        (void)place, (void)call;
        pass(r, 5);
        return CODE_OK;
}
static enum code move_xy(void *me, int32_t place, double x_um, double y_um, struct call *call)
{
        struct replay *r = me;
        (void)call;
        pass(r, 1);
        lock(r);
        r->at.place = place;
        r->at.x_um = x_um;
        r->at.y_um = y_um;
        unlock(r);
        return CODE_OK;
}
static enum code lower(void *me, double overtravel_um, double speed_um_s, struct call *call)
{
        struct replay *r = me;
        (void)speed_um_s, (void)call;
        pass(r, 0.5);
        lock(r);
        r->at.z_um = -overtravel_um;
        r->at.separated = KNOW_UNKNOWN;
        r->at.in_contact = true;
        unlock(r);
        return CODE_OK;
}
static enum code separate(void *me, struct position *ret, struct call *call)
{
        struct replay *r = me;
        (void)call;
        pass(r, 0.3);
        lock(r);
        r->at.z_um = UP_UM;
        r->at.separated = KNOW_KNOWN;
        r->at.in_contact = false;
        *ret = r->at;
        unlock(r);
        return CODE_OK;
}
static enum code stop(void *me, struct call *call)
{
        (void)me, (void)call;
        return CODE_OK;
}

/* ---- the analyzer that plays ---- */

static const struct recorded *find(const struct replay *r, const struct position *at)
{
        for (size_t i = 0; i < r->config.sweep_n; i++) {
                const struct recorded *s = &r->config.sweeps[i];
                if (s->place == at->place && fabs(s->x_um - at->x_um) <= FOUND_UM && fabs(s->y_um - at->y_um) <= FOUND_UM)
                        return s;
        }
        return NULL;
}

/* Picks the asked frequencies out of one recorded column. */
static enum code play(const struct replay *r, const struct sweep_ask *ask, const char *name, const double *re, const double *im,
                      const struct sink *sink, struct call *call)
{
        struct block block = {.dtype = C128_LE, .points = (uint32_t)ask->n};
        double pair[2];
        snprintf(block.trace, sizeof block.trace, "%s", name);
        enum code code = sink->begin(sink->ctx, &block, call->err);
        size_t k = 0;
        for (size_t i = 0; i < ask->n && !code; i++) {
                while (k < r->hz_n && r->hz[k] < ask->hz[i] * (1 - SAME_HZ))
                        k++;
                if (k == r->hz_n || !(fabs(r->hz[k] - ask->hz[i]) <= SAME_HZ * r->hz[k]))
                        return tp_fail(call->err, CODE_NOT_FOUND,
                                       "%.10g Hz was never recorded; ask for the %zu frequencies from %.10g to %.10g Hz that were",
                                       ask->hz[i], r->hz_n, r->hz[0], r->hz[r->hz_n - 1]);
                pair[0] = re[k]; /* little endian, as this build's machines are: asserted below */
                pair[1] = im[k];
                code = sink->chunk(sink->ctx, pair, sizeof pair, call->err);
        }
        return code ? code : sink->end(sink->ctx, call->err);
}
_Static_assert(__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__, "doubles leave as c128le");

static enum code sweep(void *me, const struct sweep_ask *ask, const struct sink *sink, struct sweep_facts *ret, struct call *call)
{
        struct replay *r = me;
        static const char *const names[] = {"S11", "S12", "S21", "S22"}, *const gammas[] = {"GF", "GR"};
        struct position at;
        where(me, &at, call);
        const struct recorded *s = find(r, &at);
        if (!s)
                return tp_fail(call->err, CODE_NOT_FOUND,
                               "nothing was recorded at %s %.1f, %.1f um; add it to the station file's \"sweeps\", or correct the recipe",
                               place_words[at.place >= 0 && at.place < PLACE_COUNT ? at.place : 0], at.x_um, at.y_um);
        if (!at.in_contact)
                return tp_fail(call->err, CODE_NOT_FOUND, "%s was recorded in contact, the probes are up; no raised sweep was recorded",
                               s->file);
        enum code code = CODE_OK;
        for (int i = 0; i < 4 && !code; i++) {
                if (cancel_raised(call->cancel))
                        return tp_fail(call->err, CODE_CANCELLED, "the sweep was cancelled");
                code = play(r, ask, names[i], s->data.re[i], s->data.im[i], sink, call);
        }
        for (int i = 0; i < 2 && !code && r->gamma_re[0]; i++)
                code = play(r, ask, gammas[i], r->gamma_re[i], r->gamma_im[i], sink, call);
        if (code)
                return code;
        double seconds = sweep_seconds(ask->plan);
        pass(r, seconds);
        *ret = (struct sweep_facts){.trigger_count = ++r->sweeps_done, .seconds = seconds};
        return CODE_OK;
}

/* ---- opening ---- */

static int64_t tick(void *me) { return ((struct replay *)me)->tick_ns; }
static void wait_ns(void *me, int64_t ns) { ((struct replay *)me)->tick_ns += ns; }

static void replay_free(struct replay *r)
{
        if (!r)
                return;
        if (r->lock)
                r->w->task->lock_free(r->w, r->lock);
        arena_free(r->arena);
        free(r);
}
static void replay_close(struct roles *roles)
{
        replay_free(roles->tick_me);
        *roles = (struct roles){0};
}

static const struct analyzer_ops replay_analyzer = {.base = {identify, settings, resync, close_role}, .sweep = sweep};
static const struct stage_ops replay_stage = {.base = {identify, settings, resync, close_role},
                                              .where = where,
                                              .home = home,
                                              .align = align,
                                              .move_xy_um = move_xy,
                                              .lower_um = lower,
                                              .separate = separate,
                                              .stop = stop};

static enum code replay_read(struct replay *r, const char *json_text_, size_t n, const char *base_dir, struct tp_error *err)
{
        cJSON *json = NULL;
        enum code code = json_read(json_text_, n, JSON_DEPTH_MAX, &json, err);
        cJSON *terms = code ? NULL : cJSON_DetachItemFromObjectCaseSensitive(json, "switch_terms");
        if (!code)
                code = fields_read(&replay_object, json, r->arena, &r->config, err);
        if (!code)
                code = find_directory(r, base_dir, err);
        if (!code)
                code = read_sweeps(r, err);
        if (!code)
                code = read_switch(r, terms, err);
        cJSON_Delete(terms);
        cJSON_Delete(json);
        return code;
}

enum code replay_open(const struct world *w, const char *config_json, size_t n, const char *base_dir, struct roles *ret,
                      struct tp_error *err)
{
        struct replay *r = calloc(1, sizeof *r);
        if (!r)
                return tp_fail_memory(err);
        r->w = w;
        r->arena = arena_new((size_t)1 << 30);
        r->lock = w->task->lock_new(w);
        r->at = (struct position){.z_um = UP_UM, .separated = KNOW_KNOWN};
        enum code code = r->arena && r->lock ? replay_read(r, config_json, n, base_dir, err) : tp_fail_memory(err);
        if (code) {
                replay_free(r);
                return code;
        }
        double *hz = arena_take(r->arena, r->hz_n * sizeof *hz);
        if (!hz) {
                replay_free(r);
                return tp_fail_memory(err);
        }
        memcpy(hz, r->hz, r->hz_n * sizeof *hz);
        r->can = (struct capability_set){.analyzer = true,
                                         .stage = true,
                                         .switch_terms = r->gamma_re[0] != NULL,
                                         .freq_hz_min = hz[0],
                                         .freq_hz_max = hz[r->hz_n - 1],
                                         .points_max = (int32_t)r->hz_n,
                                         .spacings_um = r->config.spacings_um,
                                         .spacing_n = r->config.spacing_n,
                                         .replayed = true,
                                         .axis_hz = hz,
                                         .axis_n = r->hz_n};
        *ret = (struct roles){.analyzer = &replay_analyzer,
                              .analyzer_me = r,
                              .stage = &replay_stage,
                              .stage_me = r,
                              .tick = tick,
                              .wait = wait_ns,
                              .tick_me = r,
                              .can = &r->can,
                              .close = replay_close};
        return CODE_OK;
}
