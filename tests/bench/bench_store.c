/* bench_store.c: durable sweep commits per second, against bare SQLite doing the same inserts on the same disk in the same run.
 * Same        681 points, 6 traces of 16-byte complex numbers, one journal row, one sweep row, write-ahead log, synchronous=FULL, one sync
 * per commit; the bare one writes from prepared statements in a plain loop, computes no digests and empties its log by the same rule.
 * Rounds      alternate, so that a slow minute of the disk hits both; the ratio is of the medians. */
#include <fcntl.h>
#include <ftw.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include "base/hash.h"
#include "host/host.h"
#include "store/view.h"

enum { POINTS = 681, TRACES = 6, PER_ROUND = 300, ROUNDS = 7, TRACE_BYTES = POINTS * 16 };
static const char *const trace_names[TRACES] = {"S11", "S12", "S21", "S22", "GF", "GR"};
#define RUN "01JABCDEFGH0000000000000AA"

static int remove_one(const char *path, const struct stat *st, int type, struct FTW *ftw)
{
        (void)st, (void)type, (void)ftw;
        return remove(path);
}

static void die(const char *what)
{
        fprintf(stderr, "bench_store: %s\n", what);
        exit(1);
}

static void fill(unsigned char *bytes, unsigned seed)
{
        uint64_t x = seed * UINT64_C(0x9e3779b97f4a7c15) + 1;
        for (size_t i = 0; i < TRACE_BYTES; i += 8) { /* as incompressible as noise is */
                x ^= x << 13, x ^= x >> 7, x ^= x << 17;
                memcpy(bytes + i, &x, 8);
        }
}

/* ---- bare --------------------------------------------------------------------------------------------------------------------------- */

struct bare {
        sqlite3 *db;
        sqlite3_stmt *begin, *commit, *journal, *sweep, *trace;
        char body[700];
};

static sqlite3_stmt *prepare(sqlite3 *db, const char *sql)
{
        sqlite3_stmt *s = NULL;
        if (sqlite3_prepare_v3(db, sql, -1, SQLITE_PREPARE_PERSISTENT, &s, NULL) != SQLITE_OK)
                die(sqlite3_errmsg(db));
        return s;
}

static void step(sqlite3 *db, sqlite3_stmt *s)
{
        int rc = sqlite3_step(s);
        if (rc != SQLITE_DONE && rc != SQLITE_ROW)
                die(sqlite3_errmsg(db));
        sqlite3_reset(s);
}

static void bare_open(struct bare *b, const char *path, const char *body)
{
        if (sqlite3_open_v2(path, &b->db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, NULL) != SQLITE_OK)
                die("cannot open the copy");
        if (sqlite3_exec(b->db, "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; PRAGMA wal_autocheckpoint=1000",
                         NULL, NULL, NULL) != SQLITE_OK)
                die(sqlite3_errmsg(b->db));
        snprintf(b->body, sizeof b->body, "%s", body);
        b->begin = prepare(b->db, "BEGIN IMMEDIATE");
        b->commit = prepare(b->db, "COMMIT");
        b->journal = prepare(b->db, "INSERT INTO journal VALUES(?,?,'intend','sweep',0,NULL,1,0,0,?,NULL)");
        b->sweep = prepare(b->db, "INSERT INTO sweep VALUES(?,NULL,'witness',0,1,?,'{}',0,'{}')");
        b->trace = prepare(b->db, "INSERT INTO trace(sweep,name,dtype,digest,raw) VALUES(?,?,'c128le',zeroblob(16),?)");
}

static void bare_commit(struct bare *b, int64_t seq, const unsigned char *bytes)
{
        step(b->db, b->begin);
        sqlite3_bind_int64(b->journal, 1, seq);
        sqlite3_bind_int64(b->journal, 2, (INT64_C(1) << 32) | seq);
        sqlite3_bind_text(b->journal, 3, b->body, -1, SQLITE_STATIC);
        step(b->db, b->journal);
        sqlite3_bind_int64(b->sweep, 1, seq);
        sqlite3_bind_int64(b->sweep, 2, seq);
        step(b->db, b->sweep);
        for (int i = 0; i < TRACES; i++) {
                sqlite3_bind_int64(b->trace, 1, seq);
                sqlite3_bind_text(b->trace, 2, trace_names[i], -1, SQLITE_STATIC);
                sqlite3_bind_blob(b->trace, 3, bytes, TRACE_BYTES, SQLITE_STATIC);
                step(b->db, b->trace);
        }
        step(b->db, b->commit);
}

static void bare_close(struct bare *b)
{
        sqlite3_finalize(b->begin);
        sqlite3_finalize(b->commit);
        sqlite3_finalize(b->journal);
        sqlite3_finalize(b->sweep);
        sqlite3_finalize(b->trace);
        sqlite3_close(b->db);
}

/* ---- store -------------------------------------------------------------------------------------------------------------------------- */

static struct work *sweep_work(int64_t seq, const unsigned char *bytes)
{
        struct work *w = work_new(RUN);
        struct fact *f = work_add(w, FACT_ENTRY);
        f->of.entry = (struct entry){
                .seq = (uint64_t)seq, .step = UINT64_C(1) << 32 | (uint64_t)seq, .phase = PHASE_INTEND, .kind = STEP_SWEEP, .boot = 1};
        struct trace_fact *t = arena_take(w->arena, TRACES * sizeof *t);
        for (int i = 0; i < TRACES; i++) {
                unsigned char *copy = arena_take(w->arena, TRACE_BYTES); /* a work owns its bytes */
                memcpy(copy, bytes, TRACE_BYTES);
                snprintf(t[i].name, sizeof t[i].name, "%s", trace_names[i]);
                t[i].dtype = "c128le";
                t[i].bytes = copy;
                t[i].byte_n = TRACE_BYTES;
        }
        f = work_add(w, FACT_SWEEP);
        f->of.sweep.id = seq;
        f->of.sweep.use = "witness";
        f->of.sweep.axis = 1;
        f->of.sweep.bias_json = f->of.sweep.temps_json = "{}";
        f->of.sweep.traces = t;
        f->of.sweep.trace_n = TRACES;
        return w;
}

static void take_answer(const struct world *w, struct inbox *answers)
{
        struct store_done *done = (struct store_done *)(void *)w->task->take(w, answers, INT64_MAX);
        if (done->code)
                die(done->err.text);
        done->message.free(&done->message);
}

static void store_commits(const struct world *w, struct store *s, struct inbox *answers, int64_t first, int in_flight,
                          const unsigned char *bytes)
{
        int waiting = 0;
        for (int64_t i = 0; i < PER_ROUND; i++) {
                struct work *work = sweep_work(first + i, bytes);
                work->answer = answers;
                if (!store_submit(s, work, DURABLE))
                        die("the queue is full");
                if (++waiting == in_flight) {
                        take_answer(w, answers);
                        waiting--;
                }
        }
        while (waiting--)
                take_answer(w, answers);
}

static void begin_run(const struct world *w, struct store *s, struct inbox *answers)
{
        static const char recipe[] = "{}";
        static double hz[POINTS];
        struct work *work = work_new(RUN);
        struct fact *f = work_add(work, FACT_DOCUMENT);
        f->of.document.kind = "recipe";
        f->of.document.name = f->of.document.by = "bench";
        f->of.document.body = recipe;
        sha256_of(recipe, 2, f->of.document.sha256);
        f = work_add(work, FACT_RUN_NEW);
        f->of.run_new.kind = "wafer";
        f->of.run_new.station = f->of.run_new.wafer = f->of.run_new.lot = f->of.run_new.build = "bench";
        f->of.run_new.plan_json = "{}";
        f->of.run_new.number = 1;
        sha256_of(recipe, 2, f->of.run_new.recipe);
        f = work_add(work, FACT_BOOT);
        f->of.boot.id = 1;
        f->of.boot.build = "bench";
        f = work_add(work, FACT_AXIS);
        f->of.axis.id = 1;
        f->of.axis.hz = hz;
        f->of.axis.n = POINTS;
        work->answer = answers;
        if (!store_submit(s, work, DURABLE))
                die("the run was not taken");
        take_answer(w, answers);
}

static int by_size(const void *a, const void *b)
{
        return (*(const double *)a > *(const double *)b) - (*(const double *)a < *(const double *)b);
}
static double median(double *x)
{
        qsort(x, ROUNDS, sizeof *x, by_size);
        return x[ROUNDS / 2];
}

int main(int argc, char **argv)
{
        struct tp_error err = {0};
        struct store_report report;
        char dir[200], copy[220];
        snprintf(dir, sizeof dir, "%s/tipplane-bench-XXXXXX",
                 argc > 1 ? argv[1] : "/tmp"); /* another disk: its directory as the argument */
        struct world *w = host_world_new(&err);
        if (!w || !mkdtemp(dir))
                die("no world");
        struct store *s = store_open(w, dir, NULL, "bench", &report, &err);
        if (!s)
                die(err.text);
        struct inbox *answers = w->task->inbox_new(w, 0);
        begin_run(w, s, answers);
        snprintf(copy, sizeof copy, "%s/bare.db", dir);
        if (store_copy_run(s, RUN, copy, &err)) /* the same tables and indexes */
                die(err.text);
        struct text body;
        text_init(&body, 0);
        entry_body_write(&(struct entry){.phase = PHASE_INTEND, .kind = STEP_SWEEP}, &body);
        struct bare bare;
        bare_open(&bare, copy, text_of(&body));
        unsigned char *bytes = malloc(TRACE_BYTES);
        double t_bare[ROUNDS], t_one[ROUNDS], t_eight[ROUNDS];
        for (int round = -1; round < ROUNDS; round++) { /* round -1 warms up */
                fill(bytes, (unsigned)round + 2);
                int64_t t0 = world_boot_ns(w), first = 1 + (int64_t)(round + 1) * 3 * PER_ROUND;
                for (int64_t i = 0; i < PER_ROUND; i++)
                        bare_commit(&bare, first + i, bytes);
                int64_t t1 = world_boot_ns(w);
                store_commits(w, s, answers, first, 1, bytes);
                int64_t t2 = world_boot_ns(w);
                store_commits(w, s, answers, first + PER_ROUND, 8, bytes);
                int64_t t3 = world_boot_ns(w);
                if (round < 0)
                        continue;
                t_bare[round] = (double)(t1 - t0) * 1e-9;
                t_one[round] = (double)(t2 - t1) * 1e-9;
                t_eight[round] = (double)(t3 - t2) * 1e-9;
        }
        double mb = median(t_bare), m1 = median(t_one), m8 = median(t_eight);
        printf("sweep commits (durable, %d points x %d traces, %d x %d, SQLite %s)\n", POINTS, TRACES, ROUNDS, PER_ROUND, report.sqlite);
        printf("  bare SQLite            %7.0f /s  (%.0f .. %.0f)\n", PER_ROUND / mb, PER_ROUND / t_bare[ROUNDS - 1],
               PER_ROUND / t_bare[0]);
        printf("  store, one at a time   %7.0f /s  (%.0f .. %.0f)  ratio %.2f\n", PER_ROUND / m1, PER_ROUND / t_one[ROUNDS - 1],
               PER_ROUND / t_one[0], mb / m1);
        printf("  store, eight in flight %7.0f /s  (%.0f .. %.0f)  ratio %.2f\n", PER_ROUND / m8, PER_ROUND / t_eight[ROUNDS - 1],
               PER_ROUND / t_eight[0], mb / m8);
        bare_close(&bare);
        store_close(s);
        w->task->inbox_free(w, answers);
        host_world_free(w);
        text_done(&body);
        free(bytes);
        nftw(dir, remove_one, 16, FTW_DEPTH | FTW_PHYS);
        return 0;
}
