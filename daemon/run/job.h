/* job.h: arithmetic that runs beside the loop.  A job is made by the loop, runs on the arithmetic pool, and comes back as a message; while
   it runs nobody else touches it. It reads sweeps through views and never writes. */
#ifndef TIPPLANE_RUN_JOB_H
#define TIPPLANE_RUN_JOB_H
#include "run/rescue_run.h"
#include "station/protocol.h"

enum { LOOP_JOB = 400 };
enum job_kind { JOB_JUDGE, JOB_SOLVE, JOB_VERIFY, JOB_CHECK, JOB_EVALUATE, JOB_RESCUE };
struct job_sweep {
        int32_t item; /* index into recipe->standards or ->measures */
        int64_t sweep;
        int32_t condition, touchdown_die;
        const struct calibration *calibration;
        const struct drift_seen *drift; /* of the runner, which leaves it as it is; NULL: not both checks yet */
};
struct job_answer_row {
        int32_t item;
        int64_t sweep;
        uint32_t flags;
        bool as_seen; /* drift counts as two checks saw it: replaces what was said before they did */
        struct parameter_answer *rows;
        size_t n;
};
struct job {
        struct message message; /* kind LOOP_JOB */
        enum job_kind kind;
        const struct world *world;
        struct store *store;
        struct inbox *loop;
        struct arena *arena; /* answers live here; freed with the job */
        char run[27];
        uint64_t step;
        const struct recipe *recipe;
        const double *hz;
        size_t hz_n;
        const struct calibration *calibration;
        bool replayed;
        /* JUDGE */
        struct link_note *note; /* the station's result with its traces; the job's own */
        struct contact_question question;
        struct contact_answer contact;
        struct raw_sweep raw;
        /* SOLVE, VERIFY, CHECK, EVALUATE */
        struct job_sweep *sweeps;
        size_t sweep_n;
        struct job_sweep *baseline;
        size_t baseline_n;
        struct job_sweep dummies[RF_DUMMY_COUNT];
        bool has_dummy[RF_DUMMY_COUNT]; /* of the die, EVALUATE */
        struct job_sweep opens[8];
        size_t open_n; /* good opens of other dies */
        int32_t die;
        struct calibration *solved;
        struct text terms, diagnosis;
        bool accepted;
        double worst;
        char sentence[200];
        struct check_answer check;
        struct job_answer_row *answers;
        size_t answer_n;
        /* RESCUE */
        const struct plan *plan;
        struct rescued rescued;
        bool rescue_has_place; /* in the run's file */
        enum code code;
        struct tp_error err;
};
/* NULL: memory. The job's lists are taken from job->arena by the caller. */
struct job *job_new(const struct world *, struct store *, struct inbox *loop, enum job_kind, const char *run);
bool job_start(struct job *); /* false: the pool refused; still the caller's */
void job_free(struct job *);
/* The six traces of a stored sweep as SoA; also used by the API for exports. */
enum code sweep_load(struct view *, int64_t sweep, const double *hz, size_t n, struct arena *, struct raw_sweep *ret, struct tp_error *);

/* Answers of one sweep as a fact of an evaluation, which is returned; NULL: no memory. */
struct fact *parameter_facts(struct work *, int64_t evaluation, int64_t sweep, const struct parameter_answer *, size_t n);

#endif
