/* probes.h: the histories of probes and modules out of what runs have stored.  Each serial has its own, whatever port it sat at and whatever
   sat at the other one: the terms of port 1 belong to what is mounted there, those of port 2 likewise.  Pure: JSON in, text out; memory from
   the arena. */
#ifndef TIPPLANE_CLI_PROBES_H
#define TIPPLANE_CLI_PROBES_H
#include "cli/cli.h"
#include "rf/trust/history.h"

#define PROBES_CALIBRATIONS_MAX 200 /* the newest ones are kept */

enum probes_what { PROBES_PROBE, PROBES_MODULE, PROBES_WHATS };
struct probes_entry {
        char run[32], serial[PROBES_WHATS][2][40]; /* by port; a module that was not told: "" */
        int64_t number;                            /* of the calibration in its run */
        struct rf_descriptors d;
        struct terms tracking; /* ERF, ERR at a few frequencies, the rest NaN */
        struct axis axis;
};
struct probes_point {
        const struct probes_entry *entry;
        int port;                /* 0, 1: where the serial sat then */
        struct rf_descriptors d; /* its figures, at the port where it sits now; the other port NaN */
};
struct probes_series {
        enum probes_what what;
        char serial[40];
        int port; /* in the newest calibration with it */
        size_t n;
        struct probes_point *points; /* oldest first */
        struct rf_history_answer answer;
};
struct probes_history {
        struct arena *arena;
        size_t n, without;          /* accepted calibrations; those of older runs that hold no history */
        struct probes_entry *entry; /* newest first */
        struct probes_series series[2 * PROBES_WHATS];
        size_t series_n;
};
struct probes_history probes_history_of(struct arena *arena);
/* Accepted calibrations of one run (schema Calibrations), in any order of runs as long as it falls: newest run first.  With `serial` only
   those made with that probe or module.  CODE_MEMORY; entries that cannot be read are counted in `without`. */
enum code probes_take(struct probes_history *h, const char *run, const cJSON *calibrations, const char *serial, struct tp_error *err);
/* A series for each probe and module of the newest calibration (with `serial` for that one alone): delay and loss against its own first
   one, and what of its figures has moved. */
enum code probes_judge(struct probes_history *h, const char *serial, struct tp_error *err);
void probes_show(const struct probes_history *h, struct text *to);
void probes_show_json(const struct probes_history *h, struct text *to);

#endif
