/* store_offer.c: what a run offers is stored once, apart from what counts; a run file that has no place for it keeps the note. */
#include "store_help.h"
#include "store/schema.h"

static struct view *open_view(struct bed *b)
{
        struct view *v = view_open(b->s, RUN_A, INT64_MAX, &b->err);
        assert_non_null(v);
        return v;
}

/* One run with one touch (10), its sweep (12), and its value by the recipe's own evaluation. */
static void run_with_a_value(struct bed *b)
{
        bed_run(b, RUN_A, 1);
        bed_touch(b, RUN_A, 1, 10, 5);
        struct work *w = work_new(RUN_A);
        struct fact *f = work_add(w, FACT_EVALUATION);
        f->of.evaluation.n = 1;
        f->of.evaluation.id = RUN_A;
        f->of.evaluation.spec_json = "{\"by\":\"recipe\"}";
        f = work_add(w, FACT_PARAMETER);
        f->of.parameter.evaluation = 1;
        f->of.parameter.rows = value_of(w, 1e-9, 1e-11, "pass");
        f->of.parameter.n = 1;
        bed_must(b, w);
}

/* What a run offers: the note that offers it, the offer, its trust and its numbers, as one work. */
static struct work *offer_of(int64_t entry)
{
        struct work *w = work_new(RUN_A);
        struct entry *e = add_entry(w, 1, (uint64_t)entry, 0, PHASE_NOTE, STEP_NONE);
        e->body.note.note = NOTE_RESCUE_OFFERED;
        struct fact *f = work_add(w, FACT_OFFER);
        f->of.offer.id = "01JABCDEFGH0000000000000EF";
        f->of.offer.entry = (uint64_t)entry;
        f->of.offer.suspects = 3;
        f->of.offer.devices = f->of.offer.numbers = 1;
        f->of.offer.spec_json = "{\"by\":\"rescue\"}";
        f = work_add(w, FACT_EVALUATION_TRUST);
        f->of.evaluation_trust.evaluation = EVALUATION_OFFERED;
        f->of.evaluation_trust.touchdown = 10;
        f->of.evaluation_trust.trust = "rescued";
        f->of.evaluation_trust.reason = "between two calibrations";
        f = work_add(w, FACT_PARAMETER);
        f->of.parameter.evaluation = EVALUATION_OFFERED;
        f->of.parameter.rows = value_of(w, 1.5e-9, 2e-11, "marginal");
        f->of.parameter.n = 1;
        return w;
}

static void an_offer_lies_apart_from_what_counts(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        struct offer_row offer;
        struct parameter_row *params;
        size_t n;
        bool has = true;
        run_with_a_value(b);
        struct view *v = open_view(b);
        assert_int_equal(view_offer(v, a, &offer, &has, &b->err), CODE_OK);
        assert_false(has);
        view_close(v);
        bed_must(b, offer_of(900));
        v = open_view(b);
        assert_int_equal(view_offer(v, a, &offer, &has, &b->err), CODE_OK);
        assert_true(has && offer.entry == 900 && offer.suspects == 3 && offer.devices == 1 && offer.values == 1 && offer.made[0]);
        assert_string_equal(offer.spec_json, "{\"by\":\"rescue\"}");
        assert_string_equal(offer.build, "test-build");
        assert_int_equal(view_offer_parameters(v, a, &params, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1);
        assert_true(params[0].value == 1.5e-9 && params[0].u95 == 2e-11 && params[0].sweep == 12 && params[0].touchdown == 10);
        assert_string_equal(params[0].trust, "rescued");
        assert_string_equal(params[0].device, "L1");
        assert_int_equal(view_parameters(v, "L1", NULL, 0, a, &params, &n, &b->err), CODE_OK);
        assert_int_equal(n, 1); /* what counts is what it was */
        assert_true(params[0].evaluation == 1 && params[0].value == 1e-9);
        view_close(v);
        struct store_done done; /* there is room for one: a second one takes its note back with it */
        assert_int_not_equal(bed_do(b, offer_of(901), DURABLE, &done), CODE_OK);
        v = open_view(b);
        struct entry *entries;
        assert_int_equal(view_entries(v, 901, 0, a, &entries, &n, &b->err), CODE_OK);
        for (size_t i = 0; i < n; i++)
                assert_int_not_equal(entries[i].seq, 901);
        view_close(v);
        arena_free(a);
}

/* A run that an older build began, its file without a place for an offer: the note is written, and the run goes on. */
static void a_file_without_room_for_an_offer_keeps_its_note(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char path[400];
        run_with_a_value(b);
        run_path(b, RUN_A, path);
        bed_close(b);
        sqlite3 *db = bed_sql(b, path + strlen(b->dir) + 1);
        sql_run(db, "DROP VIEW v_offer; DROP TABLE offer_parameter; DROP TABLE offer_trust; DROP TABLE offer; PRAGMA user_version=2");
        sqlite3_close(db);
        bed_open(b);
        bed_must(b, offer_of(900));
        struct offer_row offer;
        struct entry *entries;
        size_t n;
        bool has = true;
        struct view *v = open_view(b);
        assert_int_equal(view_offer(v, a, &offer, &has, &b->err), CODE_OK);
        assert_false(has);
        assert_int_equal(view_entries(v, 899, 0, a, &entries, &n, &b->err), CODE_OK);
        assert_true(n > 0 && entries[n - 1].seq == 900 && entries[n - 1].body.note.note == NOTE_RESCUE_OFFERED);
        view_close(v);
        arena_free(a);
}

/* The run file as the first migrations alone make it, with all of its rows: as a build of schema 1 began it. */
static void to_schema_1(struct bed *b, const char *path)
{
        char old[420], sql[600];
        sqlite3 *db = NULL;
        snprintf(old, sizeof old, "%s.old", path);
        sqlite3 *whole = bed_sql(b, path + strlen(b->dir) + 1);
        sql_run(whole, "PRAGMA wal_checkpoint(TRUNCATE); PRAGMA journal_mode=DELETE");
        sqlite3_close(whole);
        assert_int_equal(rename(path, old), 0);
        assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL), SQLITE_OK);
        for (size_t i = 0; i < schema_sql_n; i++)
                if (strcmp(schema_sqls[i].kind, "run") == 0 && schema_sqls[i].number == 1)
                        sql_run(db, schema_sqls[i].sql);
        snprintf(sql, sizeof sql, "ATTACH '%s' AS whole", old);
        sql_run(db, sql);
        snprintf(sql, sizeof sql, "PRAGMA application_id=%ld; PRAGMA user_version=1", sql_int(db, "PRAGMA whole.application_id"));
        sql_run(db, sql);
        sql_run(db, "CREATE TEMP TABLE done(name)");
        for (char *name;
             (name = sql_text(db, "SELECT min(name) FROM main.sqlite_schema WHERE type='table' AND name NOT LIKE 'sqlite%' AND name "
                                  "NOT IN(SELECT name FROM temp.done)"));
             free(name)) {
                snprintf(sql, sizeof sql, "INSERT OR REPLACE INTO main.%s SELECT * FROM whole.%s; INSERT INTO temp.done VALUES('%s')", name,
                         name, name);
                sql_run(db, sql);
        }
        sqlite3_close(db);
        assert_int_equal(remove(old), 0);
}

/* What a mandate grants cannot be stored in a file of schema 1: it is refused whole, with what to do, and costs nothing else; the run goes on
   and is sealed, as it was begun. */
static void a_file_of_schema_1_refuses_a_rescue_and_loses_nothing(void **state)
{
        struct bed *b = *state;
        struct arena *a = arena_new(0);
        char path[400];
        run_with_a_value(b);
        run_path(b, RUN_A, path);
        bed_close(b);
        to_schema_1(b, path);
        bed_open(b);
        bool keeps = true;
        struct view *v = open_view(b);
        assert_int_equal(view_keeps_evaluation_trust(v, &keeps, &b->err), CODE_OK);
        assert_false(keeps);
        view_close(v);
        struct store_done done;
        assert_int_equal(bed_do(b, rescue_of_touch_10(), DURABLE, &done), CODE_STATE);
        assert_non_null(strstr(done.err.text, "begun by an older build"));
        assert_non_null(strstr(done.err.text, "tipplane evaluate"));
        struct parameter_row *params;
        struct evaluation_row *evaluations;
        size_t n;
        v = open_view(b);
        assert_int_equal(view_evaluations(v, a, &evaluations, &n, &b->err), CODE_OK);
        assert_true(n == 1 && evaluations[0].n == 1);
        assert_int_equal(view_parameters(v, "L1", NULL, 0, a, &params, &n, &b->err), CODE_OK);
        assert_true(n == 1 && params[0].evaluation == 1 && params[0].value == 1e-9);
        view_close(v);
        bed_must(b, offer_of(900)); /* instead its note says that a person may have it */
        bed_touch(b, RUN_A, 901, 20, 6);
        bed_check(b, path + strlen(b->dir) + 1);
        sqlite3 *db = bed_sql(b, path + strlen(b->dir) + 1);
        assert_int_equal(sql_int(db, "PRAGMA user_version"), 1);
        assert_int_equal(sql_int(db, "SELECT count(*) FROM touchdown WHERE id IN(10,20)"), 2);
        sqlite3_close(db);
        arena_free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(an_offer_lies_apart_from_what_counts, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(a_file_without_room_for_an_offer_keeps_its_note, bed_setup, bed_teardown),
                cmocka_unit_test_setup_teardown(a_file_of_schema_1_refuses_a_rescue_and_loses_nothing, bed_setup, bed_teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
