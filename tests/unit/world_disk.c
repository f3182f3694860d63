/* The simulated disk under real SQLite: what was committed survives power cuts; the controls lose it, so the test can fail. */
#include "simulators/world/sim.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

struct score {
        int committed, lost, unexplained, broken;
};

static int count_rows(sqlite3 *db)
{
        sqlite3_stmt *q = NULL;
        int n = -1;
        if (sqlite3_prepare_v2(db, "SELECT count(*) FROM t", -1, &q, NULL) == SQLITE_OK && sqlite3_step(q) == SQLITE_ROW)
                n = sqlite3_column_int(q, 0);
        sqlite3_finalize(q);
        return n;
}

static bool is_whole(sqlite3 *db)
{
        sqlite3_stmt *q = NULL;
        bool ok = sqlite3_prepare_v2(db, "PRAGMA integrity_check", -1, &q, NULL) == SQLITE_OK && sqlite3_step(q) == SQLITE_ROW &&
                  strcmp((const char *)sqlite3_column_text(q, 0), "ok") == 0;
        sqlite3_finalize(q);
        return ok;
}

static sqlite3 *open_db(const struct world *w, const char *sync)
{
        sqlite3 *db = NULL;
        char sql[256];
        if (sqlite3_open_v2("/d/a.db", &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, w->vfs) != SQLITE_OK) {
                sqlite3_close(db);
                return NULL;
        }
        snprintf(sql, sizeof sql,
                 "PRAGMA journal_mode=WAL; PRAGMA synchronous=%s; PRAGMA wal_autocheckpoint=20; CREATE TABLE IF NOT EXISTS t(x INTEGER "
                 "PRIMARY KEY, b BLOB)",
                 sync);
        sqlite3_exec(db, sql, NULL, NULL, NULL);
        return db;
}

static void one_night(uint64_t seed, const char *sync, bool lies, struct score *score)
{
        struct sim *sim = sim_new(seed);
        int sure = 0; /* rows whose commit returned OK */
        for (int life = 0; life < 5; life++) {
                struct sim_process *p = sim_process_start(sim, "writer");
                sqlite3 *db = open_db(sim_process_world(p), sync);
                if (!db || !is_whole(db))
                        score->broken++;
                int have = db ? count_rows(db) : -1;
                if (have < sure)
                        score->lost++;
                if (have > sure + 1)
                        score->unexplained++;
                sure = have < 0 ? 0 : have;
                sim_disk(sim)->sync_lies = lies;
                for (int i = 0; i < 20; i++)
                        if (sqlite3_exec(db, "INSERT INTO t(b) VALUES(randomblob(900))", NULL, NULL, NULL) == SQLITE_OK) {
                                sure++;
                                score->committed++;
                        }
                sim_power_cut(sim);
                sqlite3_close(db);
                sim_process_end(p);
        }
        sim_free(sim);
}

static struct score campaign(const char *sync, bool lies)
{
        struct score score = {0};
        for (uint64_t seed = 1; seed <= 60; seed++)
                one_night(seed, sync, lies, &score);
        return score;
}

static void what_was_committed_survives_every_power_cut(void **state)
{
        (void)state;
        struct score s = campaign("FULL", false);
        assert_int_equal(s.committed, 60 * 5 * 20);
        assert_int_equal(s.lost, 0);
        assert_int_equal(s.unexplained, 0);
        assert_int_equal(s.broken, 0);
}

static void the_control_without_syncs_loses_commits(void **state)
{
        (void)state;
        assert_true(campaign("NORMAL", false).lost > 30);
        assert_true(campaign("OFF", false).lost > 30);
}

static void the_control_with_a_lying_disk_loses_commits(void **state)
{
        (void)state;
        struct score s = campaign("FULL", true);
        assert_true(s.lost + s.broken > 30);
}

struct echo {
        const struct world *w;
        int got;
};

static void echo_run(void *arg)
{
        struct echo *e = arg;
        struct listener *l = NULL;
        struct conn *c = NULL;
        struct tp_error err;
        uint8_t byte;
        size_t n;
        assert_int_equal(e->w->net->listen(e->w, "unix:/e", &l, &err), CODE_OK);
        assert_int_equal(e->w->net->accept(e->w, l, INT64_MAX, &c, &err), CODE_OK);
        while (e->w->net->read(e->w, c, &byte, 1, INT64_MAX, &n, &err) == CODE_OK)
                e->got++;
        e->w->net->close(e->w, c);
        e->w->net->close_listener(e->w, l);
}

static void a_killed_process_ends_its_streams_and_time_only_passes_while_all_wait(void **state)
{
        (void)state;
        struct sim *sim = sim_new(7);
        struct sim_process *a = sim_process_start(sim, "a"), *b = sim_process_start(sim, "b");
        const struct world *wb = sim_process_world(b), *w = sim_world(sim);
        struct echo e = {sim_process_world(a), 0};
        struct task *t = e.w->task->start(e.w, "echo", echo_run, &e);
        struct conn *c = NULL;
        struct tp_error err;
        w->task->sleep_until(w, world_boot_ns(w) + NS_PER_MS);
        assert_int_equal(wb->net->connect(wb, "unix:/e", INT64_MAX, &c, &err), CODE_OK);
        assert_int_equal(wb->net->write(wb, c, "hello", 5, INT64_MAX, &err), CODE_OK);
        int64_t before = world_boot_ns(w);
        w->task->sleep_until(w, before + 3600 * NS_PER_S);
        assert_int_equal(world_boot_ns(w), before + 3600 * NS_PER_S);
        assert_int_equal(e.got, 5);
        sim_kill(b);
        assert_int_equal(wb->net->write(wb, c, "x", 1, INT64_MAX, &err), CODE_LINK_DEAD);
        w->task->join(w, t);
        wb->net->close(wb, c);
        sim_process_end(b);
        sim_process_end(a);
        sim_free(sim);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(what_was_committed_survives_every_power_cut),
                cmocka_unit_test(the_control_without_syncs_loses_commits),
                cmocka_unit_test(the_control_with_a_lying_disk_loses_commits),
                cmocka_unit_test(a_killed_process_ends_its_streams_and_time_only_passes_while_all_wait),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
