/* recipe_own.h: what the files of recipe/ share.  Not for other rooms. */
#ifndef TIPPLANE_RECIPE_RECIPE_OWN_H
#define TIPPLANE_RECIPE_RECIPE_OWN_H
#include "recipe/plan.h"
#include "wafer/order.h"
#include "wafer/proof.h"
#include "wafer/refuse.h"

/* Tables that a plan of files shares with the recipe (recipe_fields_standards.c, offline_plan.c). */
extern const struct object standard_object, calibration_object;

/* Everything that can be known without a station (recipe_check.c), and the measures' part of it (measure_check.c). */
enum code recipe_check(const struct recipe *, struct arena *scratch, struct tp_error *);
enum code measures_check(const struct recipe *, struct arena *scratch, struct tp_error *);
/* The standard of that name, or a sentence at `at` with those there are. */
enum code recipe_standard_named(const struct recipe *, const char *name, struct pointer at, const struct standard **ret, struct tp_error *);
/* The calibration's part of it (recipe_check_calibration.c): standard i; the plan; and a rehearsal, which takes milliseconds. */
enum code recipe_check_standard(const struct recipe *, size_t i, struct tp_error *);
enum code recipe_check_calibration(const struct recipe *, struct arena *scratch, struct tp_error *);
enum code recipe_check_on_paper(const struct recipe *, struct arena *scratch, struct tp_error *);
/* "wide, narrow": the names there are, for sentences. */
struct name_list {
        char at[200];
};
struct name_list sweep_names(const struct recipe *);
struct name_list standard_names(const struct recipe *);
struct name_list device_names(const struct layout *);
/* The probes cannot stand on it: pitch, order or overtravel; the sentence names device and probe (measure_check.c). */
enum code footprint_check(const struct recipe *, int device, struct tp_error *);
/* What lies around a transistor (extrinsic_check.c); hz: of the measure's sweep.  The second: may it be asked?  at: of its quantity. */
enum code extrinsic_check(const struct recipe *, size_t measure, const double *hz, size_t n, struct tp_error *);
enum code extrinsic_check_parameter(const struct measure *, const struct parameter_plan *, struct pointer at, struct tp_error *);
/* Does `hz` hold x?  To 1e-9 relative; hz rises strictly. */
bool axis_holds(const double *hz, size_t n, double x);

/* How often one run without trouble touches things (plan_need.c). */
struct need_counts {
        int32_t checks;
        int32_t *standards; /* per recipe->standards */
        int64_t devices, ladders, standards_total, total;
};
enum code need_count(const struct recipe *, size_t die_n, struct arena *, struct need_counts *ret, struct tp_error *);

#define STEP_SECONDS 1.2    /* one sideways step */
#define CONTACT_SECONDS 2.3 /* settle, lower, contact evidence, separate */
#define DC_SECONDS 0.2      /* one reading of the DC meter */

#endif
