/* store/: the only C that holds SQL besides schema/.  One writer task owns every writable connection and every checkpoint.  May use: run/
   (entries), SQLite. store.h: facts go in through store_submit(), questions are asked through view.h. */
#ifndef TIPPLANE_STORE_STORE_H
#define TIPPLANE_STORE_STORE_H
#include "base/world.h"
#include "run/entry.h"
#include "recipe/plan.h"

enum durability { LAZY, DURABLE };
struct store;
struct store_report {
        int runs_open, runs_sealed, runs_damaged, compensated;
        char sentence[440];
        uint32_t epoch;
        char sqlite[16];
};

/* ---- what can be written: one work = one transaction per file (catalogue first, then run file, then index) -------------------------- */
enum fact_kind {
        FACT_DOCUMENT, /* catalogue (and run file when run is set) */
        FACT_WAFER,
        FACT_THING,
        FACT_LEDGER,
        FACT_RUN_NEW,
        FACT_RUN_STATE,
        FACT_RUN_SEAL,
        FACT_COMMAND,
        FACT_COMMAND_DONE,
        FACT_AUDIT,
        FACT_ALARM,
        FACT_ALARM_CLEAR,
        FACT_TOKEN,
        FACT_EPOCH,
        FACT_BOOT,
        FACT_ENTRY,
        FACT_DEVICE,
        FACT_AXIS,
        FACT_TOUCHDOWN,
        FACT_TOUCHDOWN_DONE,
        FACT_SWEEP,
        FACT_CALIBRATION,
        FACT_CALIBRATION_STATE,
        FACT_CHECK,
        FACT_INTERVAL_OPEN,
        FACT_INTERVAL_CLOSE,
        FACT_TRUST,
        FACT_EVALUATION,
        FACT_EVALUATION_TRUST,
        FACT_PARAMETER,
        FACT_OFFER,
        FACT_MAP,
        FACT_EVENT,
        FACT_KIND_COUNT
};
enum { EVALUATION_OFFERED = 0 }; /* of facts: trust and parameters of an offer, which lie apart from those of evaluations (1 …) */
struct trace_fact {
        char name[16];
        const char *dtype;
        const void *bytes;
        size_t byte_n;
};
struct calibration_standard {
        char standard[32], copy[80], model_json[400];
        int64_t sweep;
        double residual_db;
};
struct parameter_fact {
        int64_t sweep;
        char quantity[32], unit[12], plane[20];
        double freq_hz, value, u95, lo_hz, hi_hz;
        bool has_value, has_range;
        const char *verdict;
        char reason[120];
        char budget[512]; /* as long as evaluate/ makes it */
};
struct fact {
        enum fact_kind kind;
        /* Pointers below point into the work's arena. */
        union {
                struct {
                        uint8_t sha256[32];
                        const char *kind, *name, *body, *by;
                } document;
                struct {
                        const char *id, *lot, *scribed;
                        uint8_t layout[32];
                } wafer;
                struct {
                        const char *kind, *serial, *part;
                        int32_t budget;
                } thing;
                struct {
                        const char *kind, *serial, *part;
                        uint64_t seq;
                        int32_t touches;
                        const char *why;
                } ledger; /* keyed (thing, run, seq) */
                struct {
                        const char *kind, *wafer, *lot, *station, *build;
                        uint8_t recipe[32], setup[32];
                        const char *plan_json;
                        int64_t number;
                } run_new; /* number: catalogue number of the run, high half of step ids */
                struct {
                        const char *state, *waiting_for;
                } run_state;
                struct {
                        const char *key, *token, *body;
                        uint8_t request[32];
                        int status;
                        const char *reply;
                } command; /* COMMAND and COMMAND_DONE */
                struct {
                        const char *token, *what, *target, *body, *result;
                } audit; /* hash-chained by the writer */
                struct {
                        const char *cause, *sentence, *action;
                        bool latched;
                        const char *who;
                } alarm;
                struct {
                        const char *id, *person, *role, *label;
                        uint8_t digest[32];
                } token;
                struct {
                        uint32_t epoch;
                        const char *station;
                } epoch;
                struct {
                        uint32_t id;
                        uint8_t boot[16];
                        const char *build;
                } boot;
                struct entry entry;
                struct {
                        int64_t id;
                        int die_x, die_y;
                        const char *name, *kind, *pads;
                } device;
                struct {
                        int64_t id;
                        const double *hz;
                        size_t n;
                        const char *segments;
                } axis;
                struct {
                        int64_t id;
                        int64_t device /* 0: none */;
                        const char *place;
                        int64_t replaces;
                        double x_um, y_um, z_um, overtravel_um;
                        int attempt;
                        const char *const *things;
                        const int *ports;
                        size_t thing_n;
                } touchdown; /* id = seq of the intention */
                struct {
                        int64_t id;
                        const char *outcome, *evidence_json;
                } touchdown_done;
                struct {
                        int64_t id, touchdown;
                        const char *use;
                        int condition;
                        int64_t axis;
                        const char *bias_json, *temps_json;
                        uint32_t flags;
                        const struct trace_fact *traces;
                        size_t trace_n;
                } sweep; /* id = seq of the intention */
                struct {
                        const char *id;
                        int64_t number;
                        const char *method, *plane, *domain_json, *state;
                        double z_ref_ohm;
                        int64_t axis;
                        const void *terms;
                        size_t term_bytes;
                        const void *covariance;
                        size_t covariance_bytes;
                        const char *diagnosis_json;
                        uint64_t solved_seq;
                        const struct calibration_standard *standards;
                        size_t standard_n;
                } calibration;
                struct {
                        const char *id, *state;
                } calibration_state;
                struct {
                        int64_t id;
                        const char *calibration;
                        uint64_t ended;
                        bool passed;
                        const char *cause, *modes_json;
                } check;
                struct {
                        int64_t id;
                        const char *calibration;
                        uint64_t opened;
                        int64_t opening_check;
                } interval_open;
                struct {
                        int64_t id;
                        uint64_t closed;
                        int64_t closing_check;
                        const char *ended_by;
                } interval_close;
                struct {
                        int64_t touchdown;
                        uint64_t entry;
                        int64_t quantity;
                        const char *trust, *reason;
                } trust;
                struct {
                        int64_t n;
                        const char *id, *spec_json, *build;
                } evaluation;
                struct {
                        int64_t evaluation, touchdown;
                        const char *trust, *reason;
                } evaluation_trust;
                struct {
                        int64_t evaluation;
                        const struct parameter_fact *rows;
                        size_t n;
                        bool replaces; /* what was said of the same sweep before, with less known; else the first stays */
                } parameter;
                struct {
                        const char *id, *spec_json, *build;
                        uint64_t entry; /* the note that offers it */
                        int64_t suspects, devices, numbers;
                } offer;
                struct {
                        const char *state, *counts_json, *map_json;
                        const char *lot, *wafer;
                        uint8_t recipe[32];
                } map; /* index: last snapshot of the run */
                struct {
                        const char *topic, *ref, *body;
                } event;
        } of;
};
struct work { /* made by work_new, filled with work_add, then submitted: the store's from then on */
        struct arena *arena;
        char run[27]; /* "" when no run file is touched */
        struct fact *facts;
        size_t fact_n, fact_room;
        struct inbox *answer; /* where {message.kind = STORE_DONE, cookie, code, err} goes; NULL: nobody asks */
        uint64_t cookie;
};
enum store_message { STORE_DONE = 200 };
struct store_done {
        struct message message;
        uint64_t cookie;
        enum code code;
        struct tp_error err;
        uint64_t event_seq; /* of the work's last event, 0: none */
        bool duplicate;     /* the work had been committed before: nothing was written, and that is fine */
};

/* Opens or creates DIR/catalogue.db, DIR/index.db, DIR/runs/: lock file first, quick_check, migrations, reconcile.  NULL on error.
   The world's VFS is used for every database.  `build` goes into boot rows. */
struct store *store_open(const struct world *, const char *dir, const char *schema_dir_or_null, const char *build, struct store_report *ret,
                         struct tp_error *);
/* The same with sizes of one's own; 0 stands for the usual value. */
struct store_sizes {
        int64_t reserve_bytes; /* DIR/reserve, released when the disk is full: 64 MiB, 64 KiB under virtual time */
        int64_t queue_bytes;   /* most that may wait in works: 64 MiB */
        size_t queue_works;    /* most works that may wait: 4096 */
};
struct store *store_open_sized(const struct world *, const char *dir, const char *schema_dir_or_null, const char *build,
                               const struct store_sizes *, struct store_report *ret, struct tp_error *);
struct work *work_new(const char *run_or_null);       /* NULL: memory */
struct fact *work_add(struct work *, enum fact_kind); /* zeroed, NULL: memory; valid until the next work_add */
const char *work_text(struct work *, const char *fmt, ...) __attribute__((format(printf, 2, 3))); /* in the work's arena */
void work_free(struct work *);
/* FIFO, grouped.  false: the queue is full or the store is closing, and the work is still the caller's.  DURABLE is answered only after the
 * sync. */
bool store_submit(struct store *, struct work *take, enum durability);
struct store_health {
        int64_t oldest_waiting_ns; /* age of the oldest durable work without an answer, 0: none */
        int64_t queued_bytes, free_bytes, wal_bytes, last_sync_us;
        bool reserve_held; /* false: only a safe end is written, lazy works get CODE_DISK_FULL */
        bool failed;       /* the disk has failed twice: every work gets CODE_DISK until the daemon starts anew */
        uint64_t commits;
};
struct store_health store_health(struct store *); /* any task */
/* Closes the files of sealed runs that no view has asked for in this time, or that were moved, deleted or written to.  Any task but one
   that must never wait for a disk; four files at the most are kept without it. */
void store_tidy(struct store *, int64_t unused_ns);
void store_close(struct store *); /* last batch, checkpoints, lock released; NULL is fine.  All views closed before */

/* ---- what a start must know (any task) ---------------------------------------------------------------------------------------------- */
uint32_t store_epoch(struct store *);      /* of this start: 1 + the catalogue's last; a FACT_EPOCH may raise it */
const uint8_t *store_boot(struct store *); /* 16 random bytes of this start: boot rows and audit rows carry them */
/* Another number whenever what a view says of sealed runs may have changed: a run was sealed, or the index was made again.  Any task; read
   it before the view is opened. */
uint64_t store_sealed_version(struct store *);
int64_t store_next_number(struct store *); /* a new run's number in the catalogue; each call another */
enum code store_path_of_run(struct store *, const char *run, char *ret, size_t room,
                            struct tp_error *); /* the whole path; CODE_NOT_FOUND */
void store_copy_path(struct store *, const char *run, const char *reader, char *ret,
                     size_t room); /* where a reader's own copy may lie; what is there at a start is removed */
struct run_open {
        char id[27];
        int64_t number;
};
size_t store_runs_open(struct store *, struct run_open *ret, size_t room); /* to be resumed, oldest first; returns how many there are */
/* Ledger rows of a run whose intention is not in its journal and which no NOTE compensates yet: the touch was counted, the motion is
   impossible by order.  The caller journals one NOTE_COMPENSATE per seq (of_step's low half = seq) with ledger rows of -touches under the
   NOTE's seq. The next seq of a run's journal is ret_next_seq = 1 + the larger of its journal's and its ledger's last. */
struct orphan {
        uint64_t seq;
        int32_t touches;
        char kind[8], serial[40], part[64];
};
enum code store_reconcile_list(struct store *, const char *run, struct arena *, struct orphan **ret, size_t *ret_n, uint64_t *ret_next_seq,
                               struct tp_error *);
/* On the very first start: makes one token of role safety, writes it to DIR/token (0600), keeps its SHA-256. *ret_made false when there are
 * tokens. */
enum code store_start_token(struct store *, bool *ret_made, char *ret_path, size_t room, struct tp_error *);
/* "tpl_" + 64 hex digits, and the digest that FACT_TOKEN keeps. */
void token_make(const struct world *, char ret[69], uint8_t ret_digest[32]);

#endif
