/* runner_own.h: the inside of the runner, shared by act.c (the turn), act_result.c (outcomes), act_open.c (begin, seal), act_resume.c
   (after a restart), act_link.c (the station's messages), act_command.c (people's), act_value.c (evaluation), act_rescue.c (suspects
   between two calibrations), act_show.c (snapshots) and journal.c (entries with their data, one transaction each). */
#ifndef TIPPLANE_RUN_RUNNER_OWN_H
#define TIPPLANE_RUN_RUNNER_OWN_H
#include "run/decide.h"
#include "run/laws.h"
#include "run/runner.h"
#include "run/trust.h"

enum doing {
        DOING_NOTHING,
        DOING_OPEN /* the run's first transaction */,
        DOING_NOTE,
        DOING_INTENT,
        DOING_SEND /* waits for the link */,
        DOING_STATION,
        DOING_ASK /* what became of the open step? */,
        DOING_JOB,
        DOING_OUTCOME,
        DOING_SEAL,
        DOING_STUCK /* the store failed, or a law forbids */
};
struct kept_raw {
        struct arena *arena;
        struct raw_sweep raw;
        int32_t calibration, target;
        size_t sweep;
};
struct live_calibration {
        int32_t number;
        char id[27];
        struct arena *arena;
        struct calibration *calibration;
};
#define NOTES_MAX 32
#define CONDITIONS_MAX 8

struct runner {
        const struct world *world;
        const struct log *log;
        struct store *store;
        struct inbox *loop;
        struct snapshot_slot *slot;
        char station_name[64], build[64];
        struct ulid_maker ulids;
        /* the station */
        struct link *link;
        bool link_up, setup_sent;
        struct welcome welcome;
        struct capability_set can;
        struct arena *can_arena;
        struct state_read state;
        uint64_t walks;      /* of the station, as far as its notes are queued or journaled */
        uint64_t late_walks; /* a step was refused for a walk after this one: nothing is sent until that is heard of; 0: none was */
        int64_t station_ns;
        /* the run in hand */
        bool active;
        char run[27], wafer[40], lot[40], recipe_name[64];
        int64_t number;
        struct arena *arena; /* recipe, plan, axes: lives as long as the run */
        const char *recipe_text;
        size_t recipe_n;
        struct recipe *recipe;
        struct plan *plan;
        double **axis_hz;
        size_t *axis_n;            /* by sweep index */
        struct evidence *e, *next; /* next: with the pending entry applied; becomes e when it is committed */
        struct evidence *shadow;   /* simulated nights only: folded from entries that went through JSON */
        uint64_t seq;              /* of the last entry committed or under way */
        uint32_t boot;
        enum doing doing;
        struct step step;
        struct entry pending;
        uint64_t cookie;                      /* of the transaction waited for */
        bool fresh;                           /* the open step was never sent; false: ask the station first what became of it */
        int64_t asked_ns, sent_ns, result_ns; /* boot clock */
        struct note notes[NOTES_MAX];
        size_t note_n;
        int64_t touchdown; /* seq of the LOWER of the touch in hand, 0 none */
        struct job *job;   /* whose answer is the pending outcome's payload */
        struct outcome owed;
        bool owes_outcome; /* after a NOTE_COMPENSATE that is under way */
        double dc_start[3], dc_end[3];
        struct contact_answer contact; /* last judgement of the touch in hand */
        struct live_calibration calibrations[16];
        size_t calibration_n;
        struct kept_raw *typical; /* by measure */
        struct kept_raw raised;
        int64_t (*device_sweep)[CONDITIONS_MAX]; /* by target: sweep of the last touch */
        uint8_t *die_due, *verdict, *valued;     /* by die; by target: enums below */
        struct interval_drift *drift;            /* by interval: what its checks saw, by the journal */
        const char **rescued;                    /* by target: why its trust is `rescued`; NULL: it is not */
        bool rescuing, rescue_asked;
        struct job *offer;         /* a rescue that the mandate does not grant, until its note is on disk */
        size_t offered_n;          /* devices of the offer that is on disk */
        bool valuing, last_values; /* nothing more comes that values could wait for */
        unsigned jobs_out;         /* jobs that have not come back */
        char why_wait[200], why_refused[400];
        bool needs_person;
        bool stop_asked;
        struct command *safe_asked, *start_asked;
        int64_t wake_ns;
        /* for people */
        char began[32];
        double waited_s;
        uint64_t steps;
        int64_t begun_station_ns, shown_ns;
        bool changed, map_changed;
        uint64_t version;
        struct text map; /* as shown last: made anew only when a device's outcome, trust or verdict changed */
};
uint8_t verdict_worse(uint8_t a, const char *word);
struct interval_drift {
        struct drift_seen seen;
        bool has_from, has_both;
};
/* Seen: with what both checks of its interval saw, which comes after the first value. */
enum { VALUED_NOT, VALUED_DONE, VALUED_UNDER_WAY, VALUED_SEEN };
enum { VERDICT_NONE, VERDICT_PASS, VERDICT_MARGINAL, VERDICT_FAIL };
extern const char *const verdict_words[];

/* journal.c: one entry and what belongs to it, one transaction.  Each sets doing and cookie, or DOING_STUCK. */
void journal_intend(struct runner *); /* r->step */
void journal_outcome(struct runner *, enum code, const struct outcome *);
void journal_note(struct runner *, const struct note *);
void journal_committed(struct runner *, const struct store_done *);
struct work *journal_work(struct runner *); /* answered with r->cookie */
bool journal_submit(struct runner *, struct work *take, enum doing next);
/* act.c */
void runner_turn(struct runner *);
void runner_stuck(struct runner *, const struct tp_error *);
void runner_note(struct runner *, const struct note *); /* queued, journaled before the next step */
void act_send(struct runner *);
bool runner_job(struct runner *, struct job *take); /* false: the pool refused, the job is freed */
/* act_result.c */
void act_result(struct runner *, struct link_note *take);
void act_job_done(struct runner *, struct job *take);
void act_daemon_step(struct runner *); /* SOLVE, VERIFY, CHECK, JUDGE_PLACE, FINISH */
void act_refused(struct runner *, const struct tp_error *why);
void act_not_done(struct runner *, const char *did); /* the station's answer to DID: never, interrupted */
/* act_open.c */
void act_start(struct runner *, struct command *take);
void act_opened(struct runner *);
void act_seal(struct runner *);
void act_sealed(struct runner *);
enum code act_make_room(struct runner *, struct tp_error *); /* everything that lives as long as the run, once recipe and plan are there */
void act_pending_note(struct runner *, const struct note *);
void act_add_boot(struct runner *, struct work *);
void act_forget(struct runner *); /* frees what belongs to the run */
const struct live_calibration *act_calibration(const struct runner *, int32_t number);
/* act_link.c, act_command.c */
void act_link_note(struct runner *, struct link_note *take);
void act_safe_done(struct runner *, const struct link_note *);
void act_command(struct runner *, struct command *take);
/* act_value.c */
void value_look(struct runner *r); /* every die that became ready without an outcome */
void value_die_if_ready(struct runner *, int target);
bool value_is_dummy(const struct runner *, int target);
void value_turn(struct runner *); /* starts the next evaluation, if any */
bool value_pending(const struct runner *);
void value_done(struct runner *, struct job *take);
/* The entry that made `after` of `before`: if it is a check, its modes are kept for the values of the interval that it opens or closes.
   Of the same entries the same, while the run goes on and when it is taken over. */
void value_check_seen(struct runner *, const struct evidence *before, const struct evidence *after, const struct entry *);
enum code value_resume(struct runner *, struct tp_error *);
/* act_rescue.c */
bool rescue_goes_on(
        struct runner *); /* begins it once, when the mandate lets suspects be rescued; false when there is nothing to wait for */
void rescue_done(struct runner *, struct job *take);
void rescue_add_offer(struct runner *, struct work *); /* what the pending note NOTE_RESCUE_OFFERED offers, as facts beside it */
enum code rescue_resume(struct runner *, struct view *, struct tp_error *);
size_t rescue_count(const struct runner *);   /* devices whose trust is `rescued` */
size_t rescue_offered(const struct runner *); /* that could probably be, and the mandate does not say so */
/* act_show.c */
void show(struct runner *, bool now);

#endif
