/* solve.h: what `tipplane solve` does with a plan, shared by its two files: cmd_solve.c (two ports), cmd_solve_multiport.c (three and four
   ports by two-port steps). */
#ifndef TIPPLANE_CLI_SOLVE_H
#define TIPPLANE_CLI_SOLVE_H
#include "cli/offline.h"
#include "recipe/offline_solve.h"

struct solve_notes {
        struct terms_note note[TERMS_JSON_NOTES_MAX];
        size_t n;
};
struct solve_job {
        struct cli *c;
        const char *path; /* of the plan */
        const struct offline_plan *plan;
        struct solve_notes *notes; /* of the result: what was read */
        bool with_causes;          /* of uncertainty: of two ports, unless they are not wanted */
};
/* The plan beside the one of `job` (or at `path`, job->path NULL) read and checked into job->plan; its digest is noted under `name`. */
enum code solve_plan_read(struct solve_job *job, const char *path, const char *name, struct tp_error *err);
/* A two-port plan: its files read, solved and verified. */
enum code solve_files(struct solve_job *job, struct offline_solved **ret, struct tp_error *err);
/* solve_suspicions.c: readings that look exchanged, or of the other sign of time, are noted. */
void solve_suspicions(struct solve_job *job, const struct offline_solved *, const struct offline_reading *readings, size_t n,
                      const struct switch_terms *or_null);
/* solve_exchanged.c: open and short exchanged, seen in the sign of what reflections are multiplied by. */
void solve_exchanged(struct solve_job *job, const struct offline_solved *, const struct offline_reading *readings, size_t n);
/* One reading that transmits against its switch terms (rf_switch_smooth()): a note where another use of them is the smooth one.  `tipplane
   correct` asks the same of devices. */
void solve_smooth(struct cli *, const char *name, const struct net2 *raw, const struct switch_terms *);
/* "short: short.s2p, SHA-256 5e88…": what was read for what; beyond the notes' room it is left out. */
enum code solve_note_file(struct solve_job *job, const char *name, const char *path, struct tp_error *err);
/* Terms to --out, and what they are worth to stdout; without --out the terms are the data and the rest is talk.  diagnosis: a JSON value
   under its own key. */
enum code solve_put(struct cli *c, const struct text *terms, const char *diagnosis_json, const struct text *words, struct tp_error *err);
/* A plan with steps, from the files to --out. */
enum code solve_multiport(struct solve_job *job, struct tp_error *err);

#endif
