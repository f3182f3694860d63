/* plan.h: the recipe turned into flat lists: every target the probes may stand on, and the order of visits.
   Made once at a run's start from recipe, what the station can do, and what the ledgers hold; its digest and visit order are stored with
   the run. */
#ifndef TIPPLANE_RECIPE_PLAN_H
#define TIPPLANE_RECIPE_PLAN_H
#include "recipe/recipe.h"

enum target_kind { TARGET_UNKNOWN, TARGET_DEVICE, TARGET_STANDARD, TARGET_LADDER };
#define TARGET_THINGS 4
struct target {
        int32_t kind;      /* enum target_kind */
        int32_t place;     /* enum place */
        int32_t die;       /* index into dies, -1 off the wafer */
        int32_t item;      /* device: index into recipe->measures; standard: into recipe->standards; ladder: into layout.devices */
        double x_um, y_um; /* in the place's frame, probes' centre */
        double spacing_um; /* between the signal tips there; 0: the probes are not moved apart */
        bool raised;       /* never lowered */
        int32_t things[TARGET_THINGS];
        int32_t thing_n; /* what one touch spends: pads or copy, and both tips; indexes into plan->things */
        double seconds;  /* forecast of one visit, all told */
};
struct plan_thing {
        char kind[8]; /* pad, copy, tip, cell */
        char serial[40];
        char part[48];
        int32_t budget, used, reserved;
};                      /* used: by the ledger, at plan time */
struct capability_set { /* what the station says it can do */
        bool analyzer, stage, bias, meter, chuck, signal, interlock;
        bool switch_terms, bias_current; /* the supply can hold a current up to a voltage limit */
        double freq_hz_min, freq_hz_max;
        int32_t points_max;
        double volt_max, spacing_um;           /* fixed or motorised probe spacing now mounted; 0 unknown */
        double spacing_um_min, spacing_um_max; /* a positioner can set anything between; max 0: there is none */
        double *spacings_um;
        size_t spacing_n; /* replay: what was mounted */
        bool replayed;    /* trust will be `open`, reason `replayed` */
        double *axis_hz;
        size_t axis_n; /* replay: the only frequencies there are; NULL: any */
};
/* Touches so far, without those of the run being planned: a plan made again after a restart must be the same plan. */
struct ledger_view {
        int32_t (*used)(void *ctx, const char *kind, const char *serial, const char *part);
        void *ctx;
};

struct plan {
        const struct recipe *recipe; /* not owned; outlives the plan */
        char wafer[40];
        struct die *dies;
        size_t die_n;
        struct target *targets;
        size_t target_n;
        int32_t *prove;
        size_t prove_n; /* ladders, in order */
        int32_t *calibrate;
        size_t calibrate_n; /* targets, in the order of recipe->calibration.standards */
        int32_t *verify;
        size_t verify_n;
        int32_t *check;
        size_t check_n;
        int32_t *visits;
        size_t visit_n; /* device targets in visit order, die by die */
        int32_t *visit_die;
        size_t visit_die_n;   /* dies in visit order (indexes into dies), and where each begins in visits */
        int32_t *visit_begin; /* visit_die_n + 1 */
        struct plan_thing *things;
        size_t thing_n;
        int32_t check_times; /* checks of a run without trouble: the opening one, one every `every_dies`, the last one closing; 0: none */
        double seconds_total, seconds_wafer; /* forecast without trouble: all told; without calibration and verification */
        int64_t touches_total;               /* lowerings without trouble */
        bool replayed;
        uint8_t digest[32]; /* SHA-256 over everything above that decides */
};
/* The plan and all it holds come from `arena`.  Refusals name the missing role, the device and the probe, the thing and its budget, or the
 * frequency. */
enum code plan_make(const struct recipe *, const char *wafer, const struct capability_set *, const struct ledger_view *, struct arena *,
                    struct plan **ret, struct tp_error *);

#endif
