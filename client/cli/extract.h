/* extract.h: what cmd_extract.c and extract_number.c share. */
#ifndef TIPPLANE_CLI_EXTRACT_H
#define TIPPLANE_CLI_EXTRACT_H
#include "cli/offline.h"
#include "recipe/extract_limits.h"
#include "rf/extract/quantity.h"

/* What is known of a file's S, and what was asked of it. */
struct extract_job {
        const struct net2 *net;
        struct rf_ask ask;
        bool unstated;    /* nobody states how well S are known: ask.causes are the least there is, good for refusing alone */
        bool one_port;    /* a .s1p, as S11 of a two-port that does not transmit */
        const size_t *at; /* points that were asked for by --at; NULL: all */
        size_t at_n;
};
/* A file as a two-port; of one port S11, and *ret_one. */
enum code extract_read(struct cli *c, const char *path, struct net2 *ret, bool *ret_one, struct tp_error *err);
/* One number.  *ret_refused: all that was asked (with --at: some of it) is below what can be resolved; the sentence is in ret->say.
   Errors as of rf_extract(). */
enum code extract_number(struct cli *c, const struct extract_job *j, const char *word, struct rf_extracted *ret, bool *ret_refused,
                         struct tp_error *err);

/* ---- extract_limits.c: verdicts (--limits FILE) --------------------------------------------------------------------------------------- */
struct extract_judge;
struct extract_verdict {
        const char *verdict; /* "pass", "fail", "marginal", "none" */
        double pc;           /* probability that the true value lies within; NaN: not known */
        double low, high;    /* what would pass with this u, infinite where there is no limit; NaN: nothing, or not known */
        char range[80], reason[200];
};
/* The limits of the file, and room for the numbers of all of c's files, in the arena. */
enum code extract_judge_new(struct cli *c, const char *path, struct extract_judge **ret, struct tp_error *err);
const struct extract_limits *extract_judge_limits(const struct extract_judge *j);
bool extract_judge_passed(const struct extract_judge *j); /* every number so far */
/* Number i of x against parameter k; kept for the risks.  unstated: nobody says how well it is known. */
void extract_judge_number(struct extract_judge *j, size_t k, const struct rf_extracted *x, size_t i, const struct net2_causes *causes,
                          bool unstated, struct extract_verdict *ret);
void extract_verdict_json(struct json_out *o, const struct extract_limit *p, const struct extract_verdict *v);
/* What the rule does to all that is made, from ten values of a number on: lines, or "risks". */
void extract_judge_risks(const struct extract_judge *j, struct arena *arena, struct text *to);
void extract_judge_json(const struct extract_judge *j, struct arena *arena, struct json_out *o);

#endif
