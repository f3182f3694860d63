/* results.h: what a run found, as a table: what was asked for by dies.  Pure: JSON in, everything in the arena or in the JSON. */
#ifndef TIPPLANE_CLI_RESULTS_H
#define TIPPLANE_CLI_RESULTS_H
#include "cli/cli.h"

enum result_state {
        RESULT_PASS,
        RESULT_MARGINAL,
        RESULT_FAIL,
        RESULT_NO_VERDICT, /* measured, but without limits, or not resolvable */
        RESULT_NO_CONTACT,
        RESULT_NOT_MEASURED, /* skipped, written off, waiting */
        RESULT_STATES
};
/* One number of one die: of its last touch. */
struct found {
        enum result_state state;
        double value, u95;       /* NaN: none */
        double u_own;            /* standard uncertainty by noise and by the touches of this die alone; NaN: not known, or no value */
        bool is_suspect;         /* trust is neither proven nor rescued */
        enum result_state first; /* at the first touch: NO_CONTACT where that one gave nothing */
};
struct asked {
        const char *device, *name, *label, *unit; /* label: the name, and the condition where the device has several */
        double low, high;                         /* NaN: no such limit */
        int condition;
        unsigned number; /* 10000 times the device's place, plus 100 times the condition's, plus its own; device and own from 1 */
};
/* Over the devices that have a limit: the worst verdict; no contact or not measured where one of them is and none fails. */
struct result_die {
        int x, y;
        enum result_state state;
        bool is_suspect, is_first_good;
};
struct results {
        size_t asked_n, die_n;
        struct asked *asked;    /* [asked_n], in the recipe's order */
        struct result_die *die; /* [die_n], in the order of visits */
        struct found *of;       /* [die_n * asked_n], die by die */
};
/* The label of one of them, by the daemon's devices (NULL: the name alone); in the arena, or `name` itself. */
const char *asked_label(const cJSON *devices, const char *device, const char *name, int condition, struct arena *arena);
static inline bool asked_has_limit(const struct asked *a) { return a->low == a->low || a->high == a->high; }
/* map, devices, parameters: what the daemon answers under these names.  CODE_BAD_REPLY: a parameter of a die or device that is not there. */
enum code results_read(const cJSON *map, const cJSON *devices, const cJSON *parameters, struct arena *arena, struct results *ret,
                       struct tp_error *err);

#endif
