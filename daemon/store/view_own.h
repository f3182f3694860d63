/* view_own.h: a view's inside: up to two read-only connections, one transaction each. */
#ifndef TIPPLANE_STORE_VIEW_OWN_H
#define TIPPLANE_STORE_VIEW_OWN_H
#include "store/own.h"
#include "store/view.h"

struct view {
        struct store *s;
        struct run_slot *slot; /* of a live run; counted as a reader */
        char run[27], name[40];
        int64_t deadline_ns;
        bool is_sealed;                /* the run's file was opened immutable, whole and of this build's schema */
        struct file_identity identity; /* of the sealed file, before it was opened */
        int64_t used_ns;               /* while it is kept: since when */
        bool counted;                  /* as a reader of the catalogue */
        bool has_index;                /* index.db is attached to the catalogue's connection as ix */
        struct db catalogue;           /* opened when first asked */
        struct db file;                /* the run's */
};
enum code view_catalogue(struct view *, struct tp_error *); /* opens it if it is not */
enum code view_index(struct view *, struct tp_error *);     /* and the index beside it */
/* The end of a question to the index: a damaged one is made again, and the answer is CODE_BUSY until then.  Returns `code` otherwise. */
enum code view_index_done(struct view *, enum code code, struct tp_error *);
void view_free(struct view *); /* closes all; NULL is fine */
/* view_kept.c: an open view of this sealed run in a new transaction, NULL: there is none that could be used. */
struct view *kept_take(struct store *, const char *run, int64_t deadline_ns);
/* false: it is not for keeping, and still the caller's. */
bool kept_give(struct view *);
enum code view_file(struct view *, struct tp_error *); /* CODE_STATE when the view was opened without a run */

/* Rows gathered in an array that doubles inside the arena. */
struct rows {
        struct arena *arena;
        void *at;
        size_t n, room, size;
};
void *rows_add(struct rows *); /* zeroed; NULL: memory */
/* Runs a question already bound: `each` fills one row. */
typedef enum code row_fn(sqlite3_stmt *, struct arena *, void *row, struct tp_error *);
enum code rows_read(struct db *, sqlite3_stmt *, struct rows *, row_fn *each, struct tp_error *);
/* The one row, or CODE_NOT_FOUND. */
enum code row_read(struct db *, sqlite3_stmt *, struct arena *, void *ret, row_fn *each, const char *what, struct tp_error *);

#endif
