/* view.h: questions, one function each.  A view is read-only, one short transaction, interrupted at its deadline; never held over a socket
   write. Rows and texts come from the caller's arena.  Reader tasks only. */
#ifndef TIPPLANE_STORE_VIEW_H
#define TIPPLANE_STORE_VIEW_H
#include "base/arena.h"
#include "store/store.h"

struct view;
/* run NULL: catalogue and index only. A sealed run is opened immutable (and its file may stay open after view_close), a live one read-only
   without checkpoint. */
struct view *view_open(struct store *, const char *run_or_null, int64_t deadline_ns, struct tp_error *);
void view_close(struct view *);

struct run_row {
        char id[27], state[16], wafer[40], lot[40], recipe_name[64], kind[16], began[32], waiting_for[160];
        int64_t number;
        char path[128], sha256[65];
        const char *counts_json, *map_json;
};
enum code view_runs(struct view *, const char *after_or_null, size_t limit, struct arena *, struct run_row **ret, size_t *ret_n,
                    struct tp_error *);
enum code view_run(struct view *, const char *id, struct arena *, struct run_row *ret, struct tp_error *);
struct document_row {
        char sha256[65], kind[16], name[64], added[32];
        const char *body;
        size_t body_n;
};
enum code view_documents(struct view *, const char *kind, struct arena *, struct document_row **ret, size_t *ret_n,
                         struct tp_error *); /* body NULL */
enum code view_document(struct view *, const uint8_t sha256[32], struct arena *, struct document_row *ret, struct tp_error *);
enum code view_entries(struct view *, uint64_t after_seq, size_t limit, struct arena *, struct entry **ret, size_t *ret_n,
                       struct tp_error *); /* journal, in order; limit 0: all */
enum code view_plan(struct view *, struct arena *, const char **ret_plan_json, const char **ret_recipe, size_t *ret_recipe_n,
                    struct tp_error *);
struct sweep_row {
        int64_t id, touchdown;
        char use[12];
        int condition;
        int64_t axis;
        uint32_t flags;
        int die_x, die_y;
        char device[32], kind[16], outcome[16], trust[12], trust_reason[64]; /* trust: of the touch, by the run's own evaluation */
        double x_um, y_um;
        const char *bias_json, *temps_json;
};
enum code view_sweep(struct view *, int64_t id, struct arena *, struct sweep_row *ret, struct tp_error *);
enum code view_sweeps(struct view *, const char *use_or_null, struct arena *, struct sweep_row **ret, size_t *ret_n, struct tp_error *);
enum code view_axis(struct view *, int64_t axis, struct arena *, double **ret_hz, size_t *ret_n, struct tp_error *);
/* Bytes as the instrument gave them; digest verified (CODE_DAMAGED). */
enum code view_trace(struct view *, int64_t sweep, const char *name, struct arena *, char ret_dtype[8], const void **ret_bytes,
                     size_t *ret_n, struct tp_error *);
/* The live evaluation's work list: device sweeps of good or doubtful touches without a parameter row. */
enum code view_unevaluated(struct view *, int64_t evaluation, struct arena *, struct sweep_row **ret, size_t *ret_n, struct tp_error *);
struct calibration_row {
        char id[27];
        int64_t number;
        char method[32], plane[20], state[12];
        double z_ref_ohm;
        int64_t axis;
        const void *terms;
        size_t term_bytes;
        const void *covariance;
        size_t covariance_bytes;
        const char *domain_json, *diagnosis_json;
};
/* What the run's calibrations were solved from, calibration by calibration. */
struct solved_from_row {
        char calibration[27], standard[40], copy[40], swept[32]; /* swept: RFC 3339; "" and no numbers: in another run */
        int64_t sweep, touchdown;                                /* 0: none (raised) */
};
enum code view_solved_from(struct view *, struct arena *, struct solved_from_row **ret, size_t *ret_n, struct tp_error *);
enum code view_calibrations(struct view *, struct arena *, struct calibration_row **ret, size_t *ret_n, struct tp_error *);
struct parameter_row {
        int64_t sweep, touchdown;
        int die_x, die_y;
        char device[32], quantity[32], unit[12], plane[20], verdict[12], trust[12], contact[16];
        double freq_hz, value, u95;
        bool has_value;
        const char *reason, *trust_reason, *budget;
        int attempt, condition; /* condition: of the measure's, from 0 */
        int64_t evaluation;
};
/* evaluation 0: of each sweep the newest one; else that one alone. */
enum code view_parameters(struct view *, const char *device_or_null, const char *quantity_or_null, int64_t evaluation, struct arena *,
                          struct parameter_row **ret, size_t *ret_n, struct tp_error *);
struct evaluation_row {
        int64_t n;
        char id[27], made[32];
        const char *spec_json;
};
enum code view_evaluations(struct view *, struct arena *, struct evaluation_row **ret, size_t *ret_n, struct tp_error *);
/* The evaluation that the run offers a person to take; at most one. */
struct offer_row {
        char id[27], made[32];
        uint64_t entry;                    /* seq of the note that offers it */
        int64_t suspects, devices, values; /* devices that only a drifted interval stands against; those that it changes; their numbers */
        const char *spec_json, *build;
};
/* Has the file a place for what an evaluation trusts otherwise than the run?  Those of schema 1 have not. */
enum code view_keeps_evaluation_trust(struct view *, bool *ret, struct tp_error *);
enum code view_offer(struct view *, struct arena *, struct offer_row *ret, bool *ret_has, struct tp_error *);
enum code view_offer_parameters(struct view *, struct arena *, struct parameter_row **ret, size_t *ret_n, struct tp_error *); /* of it */
struct touchdown_row {
        int64_t id;
        int die_x, die_y;
        char device[32], place[16], outcome[16], trust[12];
        double x_um, y_um, overtravel_um;
        int attempt;
        int64_t replaces, station_ns;
        const char *evidence_json, *trust_reason;
};
enum code view_touchdowns(struct view *, struct arena *, struct touchdown_row **ret, size_t *ret_n, struct tp_error *);
struct check_row {
        int64_t id;
        char calibration[27];
        uint64_t ended;
        bool passed;
        char cause[32];
        const char *modes_json;
};
enum code view_checks(struct view *, struct arena *, struct check_row **ret, size_t *ret_n, struct tp_error *);
struct interval_row {
        int64_t id;
        uint64_t opened, closed;
        char ended_by[32];
        int64_t opening, closing;
        char calibration[27];
};
enum code view_intervals(struct view *, struct arena *, struct interval_row **ret, size_t *ret_n, struct tp_error *);
enum code view_ledger_used(struct view *, const char *kind, const char *serial, const char *part, int32_t *ret, struct tp_error *);
struct token_row {
        char id[27], role[12], person[40];
};
enum code view_token(struct view *, const uint8_t digest[32], struct token_row *ret, struct tp_error *); /* CODE_NOT_FOUND */
/* All tokens that have not ended, and their digests in the same order: kept in memory by the API, so that `safe` needs no disk. */
enum code view_tokens(struct view *, struct arena *, struct token_row **ret, uint8_t (**ret_digests)[32], size_t *ret_n, struct tp_error *);
enum code view_command(struct view *, const char *token, const char *key, struct arena *, int *ret_status, const char **ret_reply,
                       uint8_t ret_request[32], struct tp_error *);
struct alarm_row {
        char id[27], cause[40];
        const char *sentence, *action;
        bool latched;
        char raised[32];
};
enum code view_alarms(struct view *, struct arena *, struct alarm_row **ret, size_t *ret_n, struct tp_error *);
struct event_row {
        uint64_t seq;
        uint32_t epoch;
        char topic[24], ref[40];
        const char *body;
};
enum code view_events(struct view *, uint64_t after, size_t limit, struct arena *, struct event_row **ret, size_t *ret_n,
                      uint64_t *ret_first, struct tp_error *);
/* Recomputes the chain of audit rows.  CODE_DAMAGED names the first row that does not follow from the one before; *ret_rows: how many hold.
   Rows cut off at the end are found only by comparing `ret_head` with what was printed or shipped elsewhere. */
enum code view_audit_verify(struct view *, int64_t *ret_rows, uint8_t ret_head[32], struct tp_error *);
/* A consistent copy of the run file for a download (backup API), journal_mode DELETE. */
enum code store_copy_run(struct store *, const char *run, const char *to_path, struct tp_error *);

#endif
