/* run_stdf.h: what a run found, as STDF V4: a part per die, a PTR per asked number.  Pure. */
#ifndef TIPPLANE_CLI_RUN_STDF_H
#define TIPPLANE_CLI_RUN_STDF_H
#include "cli/cli.h"
#include "wafer/results.h"

struct stdf_about {
        const char *run, *wafer, *lot, *recipe, *station, *version;
        uint32_t began_s, first_touch_s, last_touch_s, ended_s; /* since 1970, UTC */
        double diameter_mm, die_width_mm, die_height_mm;        /* NaN or 0: not known */
        char flat;                                              /* where the notch is: U D L R, ' ': elsewhere */
        int centre_x, centre_y;                                 /* the die nearest the wafer's centre */
        const double *test_s;                                   /* [die_n]: with the probes down on it; NaN: not known */
};
/* map: for the geometry; the texts stay the JSON's and the caller's. */
void stdf_about_wafer(const cJSON *map, struct stdf_about *ret);
/* Appends the file.  CODE_BAD_INPUT: a die beyond what STDF counts (16 bits). */
enum code run_stdf(const struct stdf_about *about, const struct results *r, struct text *to, struct tp_error *err);

#endif
