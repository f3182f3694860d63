/* probes.h: the history of a pair of probes out of what runs have stored.  Pure: JSON in, text out; memory from the arena. */
#ifndef TIPPLANE_CLI_PROBES_H
#define TIPPLANE_CLI_PROBES_H
#include "cli/cli.h"
#include "rf/trust/history.h"

#define PROBES_CALIBRATIONS_MAX 200 /* the newest ones are kept */

struct probes_entry {
        char run[32], serial[2][40];
        int64_t number; /* of the calibration in its run */
        struct rf_descriptors d;
        struct terms tracking; /* ERF, ERR at a few frequencies, the rest NaN */
        struct axis axis;
};
struct probes_history {
        struct arena *arena;
        size_t n, without;          /* accepted calibrations; those of older runs that hold no history */
        struct probes_entry *entry; /* oldest first once probes_judge() has been called */
};
struct probes_history probes_history_of(struct arena *arena);
/* Accepted calibrations of one run (schema Calibrations), in any order of runs as long as it falls: newest run first.  With `serial` only
   those made with that probe.  CODE_MEMORY; entries that cannot be read are counted in `without`. */
enum code probes_take(struct probes_history *h, const char *run, const cJSON *calibrations, const char *serial, struct tp_error *err);
/* Keeps those with the probes of the newest one, puts them in order of time, refers delay and loss to the first, and judges the newest. */
enum code probes_judge(struct probes_history *h, struct rf_history_answer *ret, struct tp_error *err);
void probes_show(const struct probes_history *h, const struct rf_history_answer *a, struct text *to);
void probes_show_json(const struct probes_history *h, const struct rf_history_answer *a, struct text *to);

#endif
