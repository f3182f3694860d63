/* recover.c: run files the catalogue does not know: it was lost, or an older copy was restored.  Their own rows say who they are.
   What comes back is the list of runs with their digests; what no run file holds (tokens, audit, documents never used) does not. */
#include "store/own.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct scan {
        struct store *s;
        char dir[RUN_PATH]; /* relative, where `each` is called */
        int depth;          /* 0: runs/, 1: a year, 2: a month */
        enum code code;
        struct tp_error *err;
        int found;
};

struct facts {
        char id[27];
        int64_t number, began_us, closed_us;
};

static enum code ask_file(struct store *s, const char *path, struct facts *ret, bool *ret_is_run, struct tp_error *err)
{
        struct db db;
        sqlite3_stmt *q = NULL;
        *ret_is_run = false;
        enum code code = db_open(&db, s->w, path, "a run file", DB_WRITE_EXISTING, err); /* writable: its log may have to be read in */
        if (!code)
                code = db_ask(&db, &q, err, "SELECT id,number,began_us,closed_us FROM run", "");
        if (!code)
                code = db_row(&db, q, ret_is_run, err);
        if (!code && *ret_is_run) {
                column_into(q, 0, ret->id, sizeof ret->id);
                ret->number = sqlite3_column_int64(q, 1);
                ret->began_us = sqlite3_column_int64(q, 2);
                ret->closed_us = sqlite3_column_int64(q, 3);
        }
        db_end(q);
        db_close(&db);
        return code;
}

/* Registered as open; reconcile() then resumes it, or finishes its seal, which gives the same digest as before. */
static enum code take_in(struct scan *scan, const char *relative, const char *id)
{
        struct store *s = scan->s;
        struct tp_error why;
        struct facts f;
        char path[STORE_PATH];
        int64_t there = 0;
        bool is_run = false;
        enum code code = db_int(&s->catalogue, &there, 0, scan->err, "SELECT 1 FROM run WHERE id=?", "t", id);
        if (code || there)
                return code;
        path_in(s, relative, path);
        code = ask_file(s, path, &f, &is_run, &why);
        if (code || !is_run || strcmp(f.id, id) != 0) /* unreadable, cut off at its birth, or under another's name: left where it is */
                return code == CODE_MEMORY || code == CODE_DISK_FULL ? code : CODE_OK;
        code = db_run(&s->catalogue, scan->err,
                      "INSERT INTO run(id,number,path,state,opened_us,schema) VALUES(?,?,?,'open',?,?) ON CONFLICT DO NOTHING", "titii",
                      f.id, f.number, relative, f.began_us, (int64_t)schema_version("run"));
        scan->found += !code;
        return code;
}

static void each_name(void *ctx, const char *name)
{
        struct scan *scan = ctx;
        struct scan below = {.s = scan->s, .depth = scan->depth + 1, .err = scan->err};
        size_t n = strlen(name);
        char path[STORE_PATH];
        if (scan->code || strlen(scan->dir) + n + 2 > sizeof below.dir)
                return;
        snprintf(below.dir, sizeof below.dir, "%.60s/%.60s", scan->dir, name);
        if (scan->depth == 2) {
                char id[27];
                if (n != 30 || strcmp(name + 26, ".run") != 0)
                        return;
                snprintf(id, sizeof id, "%.26s", name);
                if (ulid_valid(id))
                        scan->code = take_in(scan, below.dir, id);
                return;
        }
        if (strspn(name, "0123456789") != n)
                return;
        path_in(scan->s, below.dir, path);
        scan->s->w->file->list(scan->s->w, path, each_name, &below, NULL);
        scan->code = below.code;
        scan->found += below.found;
}

enum code recover_runs(struct store *s, int *ret_n, struct tp_error *err)
{
        struct scan scan = {.s = s, .dir = "runs", .err = err};
        char path[STORE_PATH];
        path_in(s, "runs", path);
        s->w->file->list(s->w, path, each_name, &scan, NULL);
        *ret_n = scan.found;
        return scan.code;
}
