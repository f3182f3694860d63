/* store_help.h: what the tests of store/ share: a directory of their own, works made of plausible facts, one answer at a time. */
#ifndef TIPPLANE_TESTS_STORE_HELP_H
#define TIPPLANE_TESTS_STORE_HELP_H
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <ftw.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include "base/hash.h"
#include "host/host.h"
#include "store/sql.h"
#include "store/view.h"

#define RUN_A "01JABCDEFGH0000000000000AA"
#define RUN_B "01JABCDEFGH0000000000000BB"
#define POINTS 681

struct bed {
        struct world *w;
        char dir[96];
        struct store *s;
        struct inbox *answers;
        struct store_report report;
        struct tp_error err;
        double hz[POINTS];
        unsigned char raw[POINTS * 16];
};

static inline int bed_remove_one(const char *path, const struct stat *st, int type, struct FTW *ftw)
{
        (void)st, (void)type, (void)ftw;
        return remove(path);
}

static inline void bed_open(struct bed *b)
{
        struct store_sizes sizes = {.reserve_bytes = 256 * 1024};
        b->s = store_open_sized(b->w, b->dir, NULL, "test-build", &sizes, &b->report, &b->err);
        if (!b->s)
                fail_msg("store_open: %s", b->err.text);
}

static inline struct bed *bed_new(void)
{
        struct bed *b = calloc(1, sizeof *b);
        struct tp_error err;
        b->w = host_world_new(&err);
        assert_non_null(b->w);
        snprintf(b->dir, sizeof b->dir, "/tmp/tipplane-store-XXXXXX");
        assert_non_null(mkdtemp(b->dir));
        b->answers = b->w->task->inbox_new(b->w, 0);
        for (int i = 0; i < POINTS; i++)
                b->hz[i] = 1e9 + 1e8 * i;
        for (size_t i = 0; i < sizeof b->raw; i++)
                b->raw[i] = (unsigned char)(i * 31 + i / 7);
        bed_open(b);
        return b;
}

static inline void bed_close(struct bed *b)
{
        store_close(b->s);
        b->s = NULL;
}

/* Opens a database file of the directory on its own, integrity_check included in every call: each test ends with it. */
static inline sqlite3 *bed_sql(struct bed *b, const char *relative)
{
        char path[300];
        sqlite3 *db = NULL;
        snprintf(path, sizeof path, "%s/%s", b->dir, relative);
        assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
        return db;
}

static inline char *sql_text(sqlite3 *db, const char *sql)
{
        sqlite3_stmt *q = NULL;
        char *ret = NULL;
        if (sqlite3_prepare_v2(db, sql, -1, &q, NULL) != SQLITE_OK)
                fail_msg("%s: %s", sql, sqlite3_errmsg(db));
        if (sqlite3_step(q) == SQLITE_ROW && sqlite3_column_text(q, 0))
                ret = strdup((const char *)sqlite3_column_text(q, 0));
        sqlite3_finalize(q);
        return ret;
}

static inline long sql_int(sqlite3 *db, const char *sql)
{
        char *t = sql_text(db, sql);
        long n = t ? atol(t) : -1;
        free(t);
        return n;
}

static inline void sql_run(sqlite3 *db, const char *sql)
{
        char *why = NULL;
        if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK)
                fail_msg("%s: %s", sql, why);
}

static inline void bed_check(struct bed *b, const char *relative)
{
        sqlite3 *db = bed_sql(b, relative);
        char *ok = sql_text(db, "PRAGMA integrity_check");
        assert_string_equal(ok, "ok");
        free(ok);
        assert_int_equal(sql_int(db, "SELECT count(*) FROM pragma_foreign_key_check"), 0);
        sqlite3_close(db);
}

static inline void bed_free(struct bed *b)
{
        store_close(b->s);
        bed_check(b, "catalogue.db");
        bed_check(b, "index.db");
        b->w->task->inbox_free(b->w, b->answers);
        host_world_free(b->w);
        nftw(b->dir, bed_remove_one, 16, FTW_DEPTH | FTW_PHYS);
        free(b);
}

/* Submits and waits; the whole answer in *ret. */
static inline enum code bed_do(struct bed *b, struct work *w, enum durability d, struct store_done *ret)
{
        w->answer = b->answers;
        assert_true(store_submit(b->s, w, d));
        struct message *m = b->w->task->take(b->w, b->answers, world_boot_ns(b->w) + 60 * NS_PER_S);
        assert_non_null(m);
        struct store_done *done = (struct store_done *)(void *)m;
        assert_int_equal(m->kind, STORE_DONE);
        enum code code = done->code;
        b->err = done->err;
        if (ret)
                *ret = *done;
        m->free(m);
        return code;
}

#define bed_must(b, work) must((b), bed_do((b), (work), DURABLE, NULL), __LINE__)
static inline void must(struct bed *b, enum code code, int line)
{
        if (code)
                fail_msg("line %d: %s: %s", line, code_rows[code].word, b->err.text);
}

static const char recipe_body[] = "{\"name\":\"demo\"}";
static const uint8_t boot_bytes[16] = "a boot of a test";

static inline void add_run(struct work *w, int64_t number)
{
        struct fact *f = work_add(w, FACT_RUN_NEW);
        f->of.run_new.kind = "wafer";
        f->of.run_new.wafer = "W7";
        f->of.run_new.lot = "LOT1";
        f->of.run_new.station = "bench";
        f->of.run_new.build = "test-build";
        f->of.run_new.plan_json = "{\"visits\":[1,2,3]}";
        f->of.run_new.number = number;
        sha256_of(recipe_body, sizeof recipe_body - 1, f->of.run_new.recipe);
        f = work_add(w, FACT_DOCUMENT);
        sha256_of(recipe_body, sizeof recipe_body - 1, f->of.document.sha256);
        f->of.document.kind = "recipe";
        f->of.document.name = "demo";
        f->of.document.body = recipe_body;
        f->of.document.by = "anna";
        f = work_add(w, FACT_BOOT);
        f->of.boot.id = 1;
        memcpy(f->of.boot.boot, boot_bytes, 16);
        f->of.boot.build = "test-build";
}

static inline void add_axis(struct bed *b, struct work *w)
{
        struct fact *f = work_add(w, FACT_AXIS);
        f->of.axis.id = 1;
        f->of.axis.hz = b->hz;
        f->of.axis.n = POINTS;
        f->of.axis.segments = "[]";
        f = work_add(w, FACT_DEVICE);
        f->of.device.id = 1;
        f->of.device.name = "L1";
        f->of.device.kind = "spiral";
        f->of.device.pads = "GSG";
        f->of.device.die_x = 2;
        f->of.device.die_y = -3;
}

static inline struct entry *add_entry(struct work *w, int64_t number, uint64_t seq, uint64_t step_seq, enum entry_phase phase,
                                      enum step_kind kind)
{
        struct fact *f = work_add(w, FACT_ENTRY);
        struct entry *e = &f->of.entry;
        e->seq = seq;
        e->step = phase == PHASE_NOTE ? 0 : (uint64_t)number << 32 | step_seq;
        e->phase = phase;
        e->kind = kind;
        e->boot = 1;
        e->boot_ns = (int64_t)seq * 1000;
        e->wall_us = 1700000000000000 + (int64_t)seq;
        return e;
}

static inline void add_ledger(struct work *w, uint64_t seq, int touches)
{
        struct fact *f = work_add(w, FACT_LEDGER);
        f->of.ledger.kind = "pad";
        f->of.ledger.serial = "W7";
        f->of.ledger.part = "2_-3/L1";
        f->of.ledger.seq = seq;
        f->of.ledger.touches = touches;
        f->of.ledger.why = touches > 0 ? "touch" : "compensate";
}

static inline void add_touch(struct work *w, int64_t id)
{
        struct fact *f = work_add(w, FACT_TOUCHDOWN);
        f->of.touchdown.id = id;
        f->of.touchdown.device = 1;
        f->of.touchdown.place = "wafer";
        f->of.touchdown.attempt = 1;
        f->of.touchdown.overtravel_um = 60;
}

static const char *const trace_names[] = {"S11", "S12", "S21", "S22", "GF", "GR"};
static inline void add_sweep(struct bed *b, struct work *w, int64_t id, int64_t touchdown, size_t points)
{
        struct trace_fact *t = arena_take(w->arena, 6 * sizeof *t);
        for (size_t i = 0; i < 6; i++) {
                snprintf(t[i].name, sizeof t[i].name, "%s", trace_names[i]);
                t[i].dtype = "c128le";
                unsigned char *bytes = arena_take(w->arena, points * 16);
                memcpy(bytes, b->raw, points * 16);
                bytes[0] = (unsigned char)i;
                memcpy(bytes + 1, &id, sizeof id);
                t[i].bytes = bytes;
                t[i].byte_n = points * 16;
        }
        struct fact *f = work_add(w, FACT_SWEEP);
        f->of.sweep.id = id;
        f->of.sweep.touchdown = touchdown;
        f->of.sweep.use = touchdown ? "device" : "witness";
        f->of.sweep.axis = 1;
        f->of.sweep.bias_json = "{}";
        f->of.sweep.temps_json = "{}";
        f->of.sweep.traces = t;
        f->of.sweep.trace_n = 6;
}

/* Run `id` with axis and device, number 1 unless told. */
static inline void bed_run(struct bed *b, const char *id, int64_t number)
{
        struct work *w = work_new(id);
        add_run(w, number);
        add_axis(b, w);
        bed_must(b, w);
}

/* One touch with its sweep: seq .. seq+3 (lower, outcome, sweep, outcome). */
static inline void bed_touch(struct bed *b, const char *run, int64_t number, uint64_t seq, size_t points)
{
        struct work *w = work_new(run);
        add_ledger(w, seq, 1);
        add_entry(w, number, seq, seq, PHASE_INTEND, STEP_LOWER);
        add_touch(w, (int64_t)seq);
        bed_must(b, w);
        w = work_new(run);
        struct entry *e = add_entry(w, number, seq + 1, seq, PHASE_OUTCOME, STEP_LOWER);
        e->body.outcome.station_ns = 77 * (int64_t)seq;
        e->body.outcome.contact = CONTACT_GOOD;
        add_entry(w, number, seq + 2, seq + 2, PHASE_INTEND, STEP_SWEEP);
        bed_must(b, w);
        w = work_new(run);
        add_entry(w, number, seq + 3, seq + 2, PHASE_OUTCOME, STEP_SWEEP);
        add_sweep(b, w, (int64_t)seq + 2, (int64_t)seq, points);
        struct fact *f = work_add(w, FACT_TOUCHDOWN_DONE);
        f->of.touchdown_done.id = (int64_t)seq;
        f->of.touchdown_done.outcome = "good";
        f->of.touchdown_done.evidence_json = "{\"dc\":1}";
        bed_must(b, w);
}

static inline void bed_seal(struct bed *b, const char *run)
{
        struct work *w = work_new(run);
        struct fact *f = work_add(w, FACT_RUN_STATE);
        f->of.run_state.state = "finished";
        f->of.run_state.waiting_for = "";
        work_add(w, FACT_RUN_SEAL);
        bed_must(b, w);
}

/* Of a test: a fresh directory before, nothing left behind. */
static inline int bed_setup(void **state)
{
        *state = bed_new();
        return 0;
}

static inline int bed_teardown(void **state)
{
        bed_free(*state);
        return 0;
}

static inline char *run_path(struct bed *b, const char *run, char ret[400])
{
        must(b, store_path_of_run(b->s, run, ret, 400, &b->err), __LINE__);
        return ret;
}

/* What somebody else's hand does to a file that no store has open. */
static inline void file_sql(const char *path, const char *sql)
{
        sqlite3 *db = NULL;
        assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
        sql_run(db, sql);
        sqlite3_close(db);
}

/* L of sweep 12, in the work's arena. */
static inline struct parameter_fact *value_of(struct work *w, double value, double u95, const char *verdict)
{
        struct parameter_fact *p = arena_take(w->arena, sizeof *p);
        *p = (struct parameter_fact){.sweep = 12,
                                     .quantity = "L",
                                     .unit = "H",
                                     .plane = "tip",
                                     .freq_hz = 1e10,
                                     .value = value,
                                     .u95 = u95,
                                     .has_value = true,
                                     .verdict = verdict};
        return p;
}

/* Evaluation 2: touch 10 rescued, and its L another. */
static inline struct work *rescue_of_touch_10(void)
{
        struct work *w = work_new(RUN_A);
        struct fact *f = work_add(w, FACT_EVALUATION);
        f->of.evaluation.n = 2;
        f->of.evaluation.id = "01JABCDEFGH0000000000000EF";
        f->of.evaluation.spec_json = "{\"by\":\"rescue\"}";
        f = work_add(w, FACT_EVALUATION_TRUST);
        f->of.evaluation_trust.evaluation = 2;
        f->of.evaluation_trust.touchdown = 10;
        f->of.evaluation_trust.trust = "rescued";
        f->of.evaluation_trust.reason = "between two calibrations";
        f = work_add(w, FACT_PARAMETER);
        f->of.parameter.evaluation = 2;
        f->of.parameter.rows = value_of(w, 1.5e-9, 2e-11, "marginal");
        f->of.parameter.n = 1;
        return w;
}

static inline void digest_of_file(const char *path, char ret[65])
{
        char line[600], command[1300];
        snprintf(command, sizeof command, "sha256sum '%s'", path); /* a judge of its own */
        FILE *p = popen(command, "r");
        assert_non_null(p);
        assert_non_null(fgets(line, sizeof line, p));
        pclose(p);
        snprintf(ret, 65, "%.64s", line);
}

static inline struct run_row row_of(struct bed *b, const char *run, struct arena *a)
{
        struct run_row row;
        struct view *v = view_open(b->s, NULL, INT64_MAX, &b->err);
        assert_non_null(v);
        must(b, view_run(v, run, a, &row, &b->err), __LINE__);
        view_close(v);
        return row;
}

#endif
