/* decide.h: which step comes next.  Pure: no allocation, no clock, no state outside *evidence; always a step. */
#ifndef TIPPLANE_RUN_DECIDE_H
#define TIPPLANE_RUN_DECIDE_H
#include "run/evidence.h"

struct question {
        const struct plan *plan;
        const struct evidence *e;
        int64_t now_ns;
        int next; /* the device that would be touched next, -1 when there is none, or none may be (finish early, no calibration to be had,
                     …) */
        enum purpose next_purpose; /* PURPOSE_DEVICE or PURPOSE_REMEASURE */
};
/* A rule: when its guard fits, `make` completes the step. */
struct rule {
        const char *name; /* "separate_before_moving": journaled, shown, named in tests */
        bool (*guard)(const struct question *);
        void (*make)(const struct question *, struct step *);
        const char *reason; /* one sentence for people */
        bool writes_off;    /* a recorded rule that may end a run with an open interval (law 5) */
        bool needs_person;  /* nothing goes on before a person acts: alarm */
        bool waits;         /* act need not journal the step: there is nothing to do until something arrives or not_before_ns */
};
extern const struct rule rules[];
extern const size_t rule_n;

/* The first rule that fits wins.  STEP_WAIT by a rule with `waits`: nothing to send; not_before_ns says when to ask again at the latest.
   id stays 0.  not_before_ns of other steps: a repeat after failures holds off until then (boot clock); 0 at once. */
struct step decide(const struct plan *, const struct evidence *, int64_t now_ns);
/* The same by another table: for tests that take a rule away. */
struct step decide_by(const struct rule *table, size_t n, const struct plan *, const struct evidence *, int64_t now_ns);
int rule_index(const char *name); /* -1 */

/* ---- shared by the two files ---- */
struct question question_of(const struct plan *, const struct evidence *, int64_t now_ns); /* decide.c */
bool place_is_settled(const struct question *);
bool calibration_is_possible(const struct evidence *, const struct plan *); /* one is being made, or may begin */
bool calibration_may_begin(const struct evidence *, const struct plan *);
int sweep_of(const struct recipe *, const char *name); /* index, -1 */

#endif
