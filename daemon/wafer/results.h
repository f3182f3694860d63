/* results.h: what a run found, as a table: what was asked for by dies.  Pure, any thread: JSON and rows in, everything in the arena, in the JSON or
   in the rows, which must outlive it. */
#ifndef TIPPLANE_WAFER_RESULTS_H
#define TIPPLANE_WAFER_RESULTS_H
#include "base/arena.h"
#include "base/json.h"

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
        bool is_simple;  /* decided by the value alone; else guarded, with `risk` of a wrong verdict */
        double risk;
};
/* Over the devices that have a limit: the worst verdict; no contact or not measured where one of them is and none fails. */
struct result_die {
        int x, y;
        enum result_state state;
        bool is_suspect, is_first_good;
};
struct results {
        size_t asked_n, die_n;
        struct asked *asked;     /* [asked_n], in the recipe's order */
        struct result_die *die;  /* [die_n], in the order of visits */
        struct found *of;        /* [die_n * asked_n], die by die */
        size_t at_die, at_asked; /* where the last row went */
};
/* A stored value; those of a die and a device in the order of their touches. */
struct result_row {
        int x, y, condition, attempt;
        const char *device, *quantity, *verdict, *trust;
        double value, u95;   /* NaN: none */
        const cJSON *budget; /* as evaluate/budget_json.c makes it; NULL: none */
};
/* The label of one of them, by the daemon's devices (NULL: the name alone); in the arena, or `name` itself. */
const char *asked_label(const cJSON *devices, const char *device, const char *name, int condition, struct arena *arena);
static inline bool asked_has_limit(const struct asked *a) { return a->low == a->low || a->high == a->high; }
/* map, devices: what the interface answers under these names.  Then every row, then results_close(). */
enum code results_open(const cJSON *map, const cJSON *devices, struct arena *arena, struct results *ret, struct tp_error *err);
enum code results_add(struct results *r, const struct result_row *row, struct tp_error *err); /* CODE_BAD_REPLY: of no such die or device */
void results_close(struct results *r, const cJSON *map);
/* All of it from the interface's documents. */
enum code results_read(const cJSON *map, const cJSON *devices, const cJSON *parameters, struct arena *arena, struct results *ret,
                       struct tp_error *err);

#endif
