/* offline_plan.h: a calibration from files: the recipe's own calibration and standards, with a file in the place of a device.
   One table of fields (schema/plan.schema.json) reads it; `calibration` is the recipe's table without what needs a station.  Pure. */
#ifndef TIPPLANE_RECIPE_OFFLINE_PLAN_H
#define TIPPLANE_RECIPE_OFFLINE_PLAN_H
#include "recipe/calibration_problem.h"
#include "recipe/recipe.h"

#define OFFLINE_STANDARDS_MAX 64
#define OFFLINE_PATH_MAX 512
#define OFFLINE_STEPS_MAX 12

enum offline_kind { OFFLINE_KNOWN = STANDARD_KIND_COUNT, OFFLINE_KIND_COUNT }; /* the recipe's kinds and this one */
extern const char *const offline_kind_words[];

/* Exactly one of: file (.s2p of raw ratios), or port_1 and port_2 files (.s1p), at least one of them. */
struct offline_standard {
        struct standard standard; /* first, so that the recipe's fields fit; kind is UNKNOWN for `known`; place and wear are empty */
        int32_t kind;             /* enum standard_kind or OFFLINE_KNOWN */
        char file[OFFLINE_PATH_MAX], file_1[OFFLINE_PATH_MAX], file_2[OFFLINE_PATH_MAX];
        char ideal[OFFLINE_PATH_MAX]; /* .s2p: what it is, in place of model, port_2 and data; "" none */
};
/* "file": a .s2p with GF = a2/b2 (source at port 1) as S21 and GR = a1/b1 (source at port 2) as S12; or two .s1p. */
struct offline_switch {
        char file[OFFLINE_PATH_MAX], forward[OFFLINE_PATH_MAX], reverse[OFFLINE_PATH_MAX];
};
/* Two ports of an analyzer of three or four, calibrated together: by a plan of two ports, or by terms that are solved already. */
struct offline_step {
        int32_t port_1, port_2; /* of the analyzer, from 1: ports 1 and 2 of the plan or terms */
        char plan[OFFLINE_PATH_MAX], terms[OFFLINE_PATH_MAX];
};
struct offline_plan {
        char name[64], notes[400];
        double temperature_c;                              /* of the standards */
        double contact_ohm_u, contact_h_u, placement_um_u; /* 1 s; of every touch */
        double drift_delay_s_u, drift_loss_db_u; /* 1 s; of each port's way since the calibration; loss at the highest frequency */
        double noise_floor_u, noise_trace_u;     /* 1 s per component of a raw ratio m: hypot(floor, trace |m|); 0: not stated */
        double line_dc_ohm_m,
                line_dc_ohm_m_u; /* DC resistance per metre of the lines: their capacitance is found from it; 0: not measured */
        double noise_freedom;    /* degrees of freedom of both; 0: stated, not counted from readings */
        struct offline_standard *standards;
        size_t standard_n;
        struct offline_switch switch_terms;
        bool has_switch_terms;
        struct calibration_plan calibration; /* without standards: all, in the order of `standards` */
        bool has_calibration;
        int32_t ports;              /* 3 or 4: by `steps`, without standards, switch terms and calibration of its own; else 2 */
        struct offline_step *steps; /* each port is in one at least */
        size_t step_n;
};

/* The table, put together in the caller's memory out of the recipe's, without what needs a station. */
struct offline_plan_tables {
        struct field calibration_fields[40], standard_fields[40], plan_fields[20];
        struct object calibration, standard, plan;
};
const struct object *offline_plan_object(struct offline_plan_tables *);

/* Parses and checks what can be known without the files: names, methods, what each standard is made of.  From `arena`. */
enum code offline_plan_read(const char *text, size_t n, struct arena *, struct offline_plan **ret, struct tp_error *);
/* The checks alone, of what the table has read; fills in the standards that the calibration does not name. */
enum code offline_plan_check(struct offline_plan *, struct arena *, struct tp_error *);
const struct offline_standard *offline_plan_standard(const struct offline_plan *, const char *name); /* NULL: there is none */
/* Is it part of the solution (else it is only verified, or not used at all)? */
bool offline_plan_uses(const struct offline_plan *, const char *name);

#endif
