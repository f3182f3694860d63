/* own.h: the store's inside.  The writer task alone uses the writable connections and changes the list of slots; what other tasks may see
   (health, slots' readers, numbers) is under `mutex`. */
#ifndef TIPPLANE_STORE_OWN_H
#define TIPPLANE_STORE_OWN_H
#include "store/sql.h"
#include "store/store.h"

enum { RUNS_OPEN_MAX = 32, RUN_PATH = 128, BATCH_WORKS = 256, VIEWS_KEPT = 4 };
#define APP_CATALOGUE 0x54504c43
#define APP_RUN 0x54504c52
#define APP_INDEX 0x54504c49

struct gate {        /* under mutex */
        int readers; /* views that hold the file open */
        bool shut;   /* the log is long: new views wait a moment, so that it can be emptied between two readers */
};
struct view;
struct run_slot {                    /* one open run */
        char id[27], path[RUN_PATH]; /* path relative to the directory */
        char name[40];               /* "run 01J…" */
        int64_t number;
        struct db db;
        uint64_t last_seq; /* last journal seq that is known to be on disk */
        struct gate gate;
        uint64_t batch_seq; /* last seq of the batch being written */
        bool closing;       /* under mutex: being sealed, new readers are refused */
};

struct item { /* one submitted work; lives in the work's arena */
        struct message message;
        struct work *work;
        enum durability durability;
        int64_t submitted_ns;
        size_t bytes;
        struct item *next_durable;               /* FIFO of unanswered durable ones, under mutex */
        struct store_done *done;                 /* made at submission, so that an answer never fails for memory; NULL: nobody asks */
        uint8_t (*digests)[16];                  /* of the work's traces, in order */
        bool decided, duplicate, seals, created; /* created: its run file is new */
        enum code code;
        struct tp_error err;
        uint64_t event_seq;
};
enum { MESSAGE_WORK = 1, MESSAGE_CLOSE, MESSAGE_INDEX /* somebody deleted index.db */ };

struct store {
        const struct world *w;
        char dir[STORE_PATH - 256], build[64];
        struct store_sizes sizes;
        struct file_lock *lock;
        struct lock *mutex;
        struct inbox *in;
        struct task *task;
        struct message close, index_lost;
        uint8_t boot[16];
        /* the writer's */
        struct db catalogue, index;
        struct gate gate; /* of both */
        struct run_slot *slots[RUNS_OPEN_MAX];
        int slot_n;
        struct ulid_maker ulids;
        uint64_t events;
        struct {
                char run[27];
                uint64_t seq;
        } ledger_known, ledger_batch; /* last ledger row on disk, and of the batch being written */
        /* under mutex */
        uint32_t epoch;
        int64_t next_number, waiting_bytes;
        size_t waiting_n;
        struct view *kept[VIEWS_KEPT]; /* view_kept.c */
        int kept_n;
        uint64_t sealed_version;     /* store_sealed_version() */
        bool closing, index_is_lost; /* index_is_lost: being made again, no view may look */
        struct item *oldest, *newest;
        struct store_health health;
};

/* The state of one work while it is written. */
struct apply {
        struct store *s;
        struct item *item;
        struct run_slot *slot; /* NULL: no run file */
        int64_t now_us;
        size_t digest_i;
        uint64_t entry_seq; /* of the work's last entry */
};
enum home { HOME_CATALOGUE = 1, HOME_RUN = 2, HOME_INDEX = 4 };
typedef enum code apply_fn(struct apply *, const struct fact *, struct tp_error *);
struct fact_row {
        const char *word;
        apply_fn *catalogue, *run, *index;
};
extern const struct fact_row fact_rows[FACT_KIND_COUNT];
unsigned work_homes(const struct work *w);

/* write_catalogue.c, write_run.c, write_index.c */
apply_fn catalogue_document, catalogue_wafer, catalogue_thing, catalogue_ledger, catalogue_run_new, catalogue_command,
        catalogue_command_done, catalogue_audit, catalogue_alarm, catalogue_alarm_clear, catalogue_token, catalogue_epoch;
apply_fn run_document, run_run_new, run_run_state, run_seal, run_boot, run_entry, run_device, run_axis, run_touchdown, run_touchdown_done,
        run_sweep, run_calibration, run_calibration_state, run_check, run_interval_open, run_interval_close, run_trust, run_evaluation,
        run_evaluation_trust, run_parameter, run_offer, run_map;
apply_fn index_run_new, index_run_state, index_map, index_event;
/* Whether the work's entries are in the journal already (a repeated delivery). */
enum code work_is_duplicate(struct apply *, bool *ret, struct tp_error *);
enum code audit_row(struct store *, const char *token, const char *what, const char *target, const char *body, const char *result,
                    struct tp_error *);

/* files.c */
void path_in(const struct store *, const char *relative, char ret[STORE_PATH]);
bool run_path_of(const char *ulid, char ret[RUN_PATH]); /* runs/YYYY/MM/ULID.run from the ULID's own time */
enum code set_aside(struct store *, const char *relative, char ret_new[RUN_PATH + 32],
                    struct tp_error *); /* …damaged-N, with -wal and -shm */
bool reserve_take(struct store *);
void reserve_release(struct store *);
enum code db_settle(struct db *, int application_id, bool normal_sync, struct tp_error *); /* pragmas of a writable connection */
enum code db_check(struct db *, struct tp_error *);                                        /* quick_check: CODE_DAMAGED */

/* migrate.c: brings the file to this build's schema; a new file gets all of it.  *ret_fresh: it was empty. */
enum code migrate(struct store *, struct db *, const char *kind, int application_id, const char *schema_dir, bool *ret_fresh,
                  struct tp_error *);
int schema_version(const char *kind);

/* slots.c */
struct run_slot *slot_find(struct store *, const char *run);
enum code slot_create(struct store *, const char *run, int64_t number, struct run_slot **ret, struct tp_error *);
enum code slot_open(struct store *, const char *run, int64_t number, const char *path, struct run_slot **ret, struct tp_error *);
enum code slot_reopen(struct store *, struct run_slot *, struct tp_error *);
void slot_drop(struct store *, struct run_slot *);
enum code slot_seal(struct store *, struct run_slot *, struct tp_error *); /* idempotent; the slot is gone afterwards */

/* writer.c, rebuild.c, reconcile.c */
void writer_run(void *store);
void db_checkpoint(struct db *, bool truncate);
enum code index_fill(struct store *, struct tp_error *);
enum code index_refresh(struct store *, const char *run, struct tp_error *);
enum code recover_runs(struct store *, int *ret_n, struct tp_error *); /* recover.c: run files the catalogue does not know */
/* `whole`: every page is looked at; without it only what is used. */
enum code index_open(struct store *, const char *schema_dir, bool whole, char ret_aside[RUN_PATH + 32], struct tp_error *);
enum code reconcile(struct store *, struct store_report *, struct tp_error *);
/* Ledger rows of a run without their entry, see store_reconcile_list(). */
enum code orphans_of(struct db *catalogue, struct db *run_file, const char *run, struct arena *, struct orphan **ret, size_t *ret_n,
                     uint64_t *ret_next_seq, struct tp_error *);
enum code view_token_count(struct store *, int64_t *ret, struct tp_error *);
enum code alarm_raise(struct store *, const char *cause, const char *run, const char *sentence, const char *action, bool latched,
                      struct tp_error *);

#endif
