/* recipe/: what to do on a wafer, and the plan it makes.  Pure.  May use: wafer/, formats/, rf/ (words of methods), base/.
   recipe.h: the document.  Immutable, named by the SHA-256 of its bytes. */
#ifndef TIPPLANE_RECIPE_RECIPE_H
#define TIPPLANE_RECIPE_RECIPE_H
#include "wafer/layout.h"

enum place { PLACE_UNKNOWN, PLACE_WAFER, PLACE_SUBSTRATE, PLACE_CLEANER, PLACE_CONTACT_PAD, PLACE_COUNT };
extern const char *const place_words[];
enum standard_kind {
        STANDARD_UNKNOWN,
        STANDARD_OPEN,
        STANDARD_SHORT,
        STANDARD_LOAD,
        STANDARD_THRU,
        STANDARD_LINE,
        STANDARD_REFLECT,
        STANDARD_KIND_COUNT
};
extern const char *const standard_kind_words[];

struct segment {
        double start_hz, stop_hz;
        int32_t points;
        int32_t spacing; /* 1 log, 2 linear */
        double ifbw_hz;
        int32_t averages;
        double power_dbm;
};
struct sweep_plan {
        char name[32];
        struct segment *segments;
        size_t segment_n;
};

/* How the analyzer stood in a sweep, read back from it.  Ports 1, 2; lowest and highest over the segments; false: it does not tell. */
struct analyzer_settings {
        bool has_attenuator, has_power, has_ifbw;
        double attenuator_db[2], power_dbm[2], ifbw_hz[2];
};

struct probe {
        int32_t port;
        char serial[32];
        double pitch_um;
        char order[8];
        char module[32]; /* serial of what drives this port; "": not told */
};
struct setup {
        char name[32];
        struct probe *probes;
        size_t probe_n;                      /* two, by port */
        double spacing_um;                   /* between the signal tips; changing it ends the calibration */
        double spacing_settle_s;             /* waited after a positioner has moved within a calibration: cables relax */
        double overtravel_um, separation_um; /* separation: for steps, >= 250 */
        double temperature_c;
        char substrate[32]; /* serial of the calibration substrate */
        int32_t tip_touches_max;
        double contact_ohm, contact_ohm_u; /* expected contact resistance per signal path and its repeatability (1 s) */
        double contact_h_u;                /* repeatability of contact inductance per signal path (1 s) */
        double placement_um_u;             /* placement repeatability (1 s) */
        double temperature_k_u;            /* of the device against temperature_c (1 s); 0: not stated, as with all that follow */
        double overtravel_um_u;            /* repeatability of overtravel, both tips alike (1 s) */
        double skate_um_um;                /* by how much a tip slides inwards per um of overtravel */
        double pad_f_um;                   /* capacitance of the pad per um that lies behind the tip */
        double linearity_db_10db;          /* half width of a receiver's error over 10 dB of level */
        double dc_ohm_u;                   /* of one reading of the DC meter, from its specification (1 s) */
};
struct standard_model { /* SI units; offsets 0 on wafer; C and L may be negative */
        double c_f[4], l_h[4], r_ohm, delay_s, loss_ohm_s, z_ohm;
        double r_per_k, t_ref_c;                 /* load: relative change of R per kelvin, from t_ref_c */
        double r_tolerance_ohm;                  /* load: how far from r_ohm a copy may read at DC; 0: a tenth of r_ohm */
        double dc_ohm, u_dc_ohm, dc_at_c;        /* load: what a DC meter read of this copy, at dc_at_c: R is trimmed to it; 0: not read */
        double u_r_ohm, u_l_h, u_c_f, u_delay_s; /* 1 s of this copy against the model */
        double u_r_per_k, u_loss_ohm_s, u_z_ohm; /* likewise */
        double u_shared; /* of the variance of all of these, what both ports have in common, 0 … 1; the rest is each port's own */
        double length_um, u_length_um; /* lines and thru of a line calibration */
};
struct standard_end {
        int32_t kind; /* enum standard_kind */
        struct standard_model model;
};
struct standard_row {
        double hz, s11[2], s12[2], s21[2], s22[2];
        bool has_s12, has_s22;
}; /* re, im; S12 left out: S21, S22 left out: S11 */
struct standard {
        char name[32];
        int32_t kind;  /* enum standard_kind */
        char copy[32]; /* the physical copy that wears: serial of substrate + this name it in the ledger */
        int32_t place; /* enum place: substrate, or wafer for replayed and on-wafer standards */
        double x_um, y_um;
        double spacing_um; /* between the signal tips on it; 0: the setup's, lines and the thru beside them by their length */
        bool raised;       /* swept at separation height: an open without wear, no touch */
        int32_t touches_max;
        struct standard_model model;
        struct standard_end port_2;
        bool has_port_2; /* what stands at port 2 when it is not the same: an open with a short beside it */
        struct standard_row *data;
        size_t data_n;
        double data_z_ohm; /* what it is, by data instead of the model, rising */
        double data_u;     /* of the data (of files: of `ideal`, too), 1 s of each component of S in 50 ohm; 0: not stated */
};
struct use {
        char standard[32];
};
struct verification {
        char standard[32];
        double limit; /* worst |S - model| allowed */
};
/* One band of a joined calibration: its method and the standards it uses.  Neighbours overlap; there they are joined by their
 * uncertainties. */
struct band_plan {
        char method[32];
        double from_hz, to_hz;
        struct use *standards;
        size_t standard_n;
};
enum plane_wish { PLANE_BY_METHOD, PLANE_AT_TIPS, PLANE_AT_LINE_MIDDLE, PLANE_WISH_COUNT };
extern const char *const plane_wish_words[]; /* "by_method", "tip", "line_middle" */
/* Resistance of the loads: the recipe's number, or what the DC meter reads at each touch less what it reads on a short. */
enum load_resistance { LOAD_RESISTANCE_STATED, LOAD_RESISTANCE_MEASURED, LOAD_RESISTANCE_COUNT };
extern const char *const load_resistance_words[]; /* "stated", "measured" */
struct calibration_plan {
        char method[32]; /* a word of rf_methods[]; "" when there are bands */
        struct band_plan *bands;
        size_t band_n;  /* none: the one method covers all */
        int32_t plane;  /* enum plane_wish: where the results lie; by_method: tips, or the middle of the first line when all bands are lines
                         */
        char sweep[32]; /* the sweep plan; sweeps of devices must lie inside its frequencies */
        struct use *standards;
        size_t standard_n;
        bool switch_terms;           /* the analyzer must give them */
        double thru_delay_s;         /* first guess (unknown thru) */
        int32_t load_resistance;     /* enum load_resistance */
        int32_t match_fit;           /* enum rf_match_fit: what of the match is found (lrrm) */
        double eps_eff;              /* first guess (lines) */
        double reflect_estimate;     /* -1 short, +1 open (lines) */
        double reflect_offset_um;    /* of the reflect beyond the reference plane, negative towards the probe */
        double line_capacitance_f_m; /* to renormalise to 50 ohm; 0: results stay in the line's impedance */
        double line_capacitance_u_f_m, line_loss_tangent_u, line_z_ohm_u; /* 1 s; 0: not stated */
        double line_loss_tangent;                                         /* of the lines' capacitance */
        double line_z_ohm; /* an assumed real impedance of the lines, instead of their capacitance; 0: none */
        struct verification *verify;
        size_t verify_n; /* measured, never used in the solution */
        int32_t tries_max;
};
struct check_limits {
        double delay_fs, loss_db, contact_ohm, contact_h, residual;
};
struct check_plan {
        int32_t every_dies;
        struct use *standards;
        size_t standard_n; /* copies re-measured against their own baseline, e.g. short and thru; raised open comes free */
        struct check_limits limits;
};
struct place_proof {
        char device[32]; /* the ladder */
        struct die_at *dies;
        size_t die_n; /* at least three, not all in one row or column */
        bool required;
};
struct bias_source {
        double volt;
        int32_t channel;
        double limit_a;
};
struct current_source {
        double ampere; /* held, either sign */
        int32_t channel;
        double limit_v; /* up to this voltage, either way */
};
struct condition {
        char name[32]; /* "": only numbered */
        double volt;
        int32_t channel;
        double limit_a;
        double settle_s;
        struct bias_source gate; /* on before the other, off after it: a transistor's gate or base, on a channel below it */
        bool has_gate;
        struct current_source base; /* on after the other, off before it: a bipolar's, on a channel above the collector's */
        bool has_base;
        double open_v;                           /* above 0: the channel holds no current up to this voltage: an open collector */
};                                               /* volt 0: unbiased, but for gate or base */
double condition_volt(const struct condition *); /* the highest magnitude, limits of held currents with it; 0: nothing is biased */

enum deembed {
        DEEMBED_NONE,
        DEEMBED_OPEN,
        DEEMBED_OPEN_SHORT,
        DEEMBED_SHORT,
        DEEMBED_SHORT_OPEN,
        DEEMBED_PAD_OPEN_SHORT,
        DEEMBED_THREE_STEP,
        DEEMBED_THRU_PI,
        DEEMBED_THRU_TEE,
        DEEMBED_L_2L,
        DEEMBED_TWO_X_THRU,
        DEEMBED_COUNT
};
enum quantity_kind {
        QUANTITY_UNKNOWN,
        QUANTITY_L,
        QUANTITY_Q,
        QUANTITY_C,
        QUANTITY_R,
        QUANTITY_SRF,
        QUANTITY_EPS_EFF,
        QUANTITY_LOSS,
        QUANTITY_ZC_RE,
        QUANTITY_S21_DB,
        QUANTITY_TABLE,
        /* from here on the words are those of rf_quantities[] */ QUANTITY_EXTRINSIC = QUANTITY_TABLE + 70,
        /* … and from here on those of rf_extrinsic_words[] */ QUANTITY_COUNT = QUANTITY_EXTRINSIC + 9
};
extern const char *const quantity_words[];       /* "unknown", "L", "Q", "C", "R", "SRF", "eps_eff", "loss", "Zc", "S21_dB", "L11" … */
extern const char *const deembed_words[];        /* "none", and words of rf_deembed_methods[] */
extern const char *const contact_family_words[]; /* "unknown", "conducts", "blocks_dc", "to_ground" */
extern const char *const quantity_units[];       /* "", "H", "1", "F", "ohm", "Hz", "1", "dB/mm", "ohm", "dB", … */
int32_t
quantity_rf(int32_t quantity); /* enum rf_quantity: the row of rf_quantities[] of a word from QUANTITY_TABLE on; RF_Q_UNKNOWN before */
int32_t quantity_extrinsic(int32_t quantity); /* enum rf_extrinsic_element; -1: no element around a transistor */
bool quantity_inside(int32_t quantity);       /* of the intrinsic transistor: gm, Cgs, R_pi … */
bool quantity_of_sweep(int32_t quantity);     /* found in the whole sweep, not asked at a frequency: SRF, fT, fmax, Qd_max … */
int32_t deembed_rf(int32_t deembed);          /* enum deembed_method; RF_DEEMBED_UNKNOWN: none */
enum freq_wish { AT_FREQUENCY, AT_BEST_WINDOW };
extern const char *const freq_wish_words[]; /* "frequency", "best_window" */
struct parameter_plan {
        char name[32];    /* "L at 10 GHz": unique per device; NAME characters, e.g. "L_10GHz" */
        int32_t quantity; /* enum quantity_kind */
        int32_t at;       /* enum freq_wish: at freq_hz, or in the middle of the window in which it is resolved best */
        double freq_hz;
        double low, high;
        bool has_low, has_high; /* limits, in the quantity's unit */
        double expect_low, expect_high;
        bool has_expect; /* first-die sanity */
        double per_k;    /* change per kelvin: of the value's share, 1/K; of quantities in dB, and K and mu, in their unit */
        bool has_per_k;
        double resolve_share_max; /* refused (not resolvable) when u95/|value| is above it; default 0.3 */
        int32_t acceptance;       /* enum acceptance (rf/trust/decide_limits.h): how the limits are decided; default guarded */
        double risk;              /* of a wrong pass or a wrong fail, guarded; default 0.05 */
};
struct contact_plan {
        int32_t family;                 /* 1 conducts (DC between ports), 2 blocks DC, 3 to ground on each port */
        double dc_ohm_low, dc_ohm_high; /* family 1: port to port; 3: each port to ground */
        double drift_limit;             /* |S(end) - S(start)| allowed */
};
struct cold_state {
        char condition[32];
        double drive; /* FET: gate above threshold, V; forward gate, bipolar: gate or base current, A */
};
struct extrinsic_plan { /* what lies around a transistor, from conditions of its own measure (rf/extract/extrinsic.h) */
        char off[32];   /* a condition; "": the de-embedding takes all capacitance of the pads */
        int32_t off_as; /* enum rf_off */
        double off_below_hz;
        double c_between_f_u; /* between the pads, which a pinched channel's edge hides (1 s); 0: not stated */
        struct cold_state *cold;
        size_t cold_n;
        int32_t cold_as;                   /* enum rf_cold */
        double drive_u;                    /* of all drives alike (1 s): the threshold; 0: not stated */
        double channel_ohm, channel_ohm_u; /* forward gate: the channel's, and 1 s of it */
        double from_hz, below_hz;          /* where the cold states are read; 0: everywhere */
};
struct measure {
        char device[32]; /* a device of the layout */
        char sweep[32];
        struct condition *conditions;
        size_t condition_n; /* at least one */
        struct contact_plan contact;
        int32_t deembed;           /* enum deembed */
        char open[32], short_[32]; /* dummies: devices of the same die; JSON keys are rf_dummy_words[] */
        char pad[32], thru[32], short_left[32], short_right[32], line[32], line_double[32], two_x_thru[32];
        bool symmetric;
        struct extrinsic_plan extrinsic;
        bool has_extrinsic;
        struct parameter_plan *parameters;
        size_t parameter_n; /* none for dummies */
};
bool condition_is_state(const struct measure *, int condition);  /* its leads are found by it: nothing amplifies there */
bool quantity_amplifies(int32_t quantity);                       /* gm, fT …: exists where the transistor amplifies alone */
int measure_condition(const struct measure *, const char *name); /* -1: none of that name */
const char *measure_dummy(const struct measure *, int dummy);    /* enum rf_dummy: the device's name, "" when there is none */
struct mandate {
        int32_t retouch_max, recalibrate_max;
        double overtravel_extra_um_max;
        bool remeasure_suspects, rescue_suspects, skip_device, skip_die;
};
struct recipe {
        char name[64];
        char notes[400]; /* for people; decides nothing */
        struct layout layout;
        struct setup setup;
        struct sweep_plan *sweeps;
        size_t sweep_n;
        struct standard *standards;
        size_t standard_n;
        struct calibration_plan calibration;
        struct check_plan check;
        struct place_proof proof;
        int32_t order; /* enum die_order */
        struct measure *measures;
        size_t measure_n; /* dummies first; the order within a die */
        struct mandate mandate;
        double max_volt;    /* the recipe's own bias ceiling */
        char sampling[16];  /* "all" */
        uint8_t sha256[32]; /* of the document's bytes */
};
extern const struct object recipe_object;

/* Parses and checks everything that can be known without a station: names resolve, dummies exist, sweeps lie inside the calibration's,
   standards suit the method, budgets suffice, limits in order.  Everything comes from `arena`. */
enum code recipe_read(const char *text, size_t n, struct arena *, struct recipe **ret, struct tp_error *);
const struct sweep_plan *recipe_sweep(const struct recipe *, const char *name);
const struct standard *recipe_standard(const struct recipe *, const char *name);
/* Between the signal tips where a standard is measured, um. */
double recipe_spacing_um(const struct recipe *, const struct standard *);
/* The frequency list of a sweep plan, Hz, strictly rising (a point shared by two segments is given once).  From `arena`. */
enum code sweep_axis(const struct sweep_plan *, struct arena *, double **ret_hz, size_t *ret_n, struct tp_error *);
/* The smallest standard uncertainty, in the quantity's unit, that the contact's scatter and the load's definition leave a parameter in the
   middle of its limits: a lower bound, without noise, drift and dummies.  0 where there is no simple one. */
double recipe_u_least(const struct recipe *, const struct measure *, const struct parameter_plan *);
/* CODE_UNRESOLVABLE: with that uncertainty no value at all could pass; the sentence says by how much. */
enum code recipe_decidable(const struct recipe *, const struct measure *, const struct parameter_plan *, struct tp_error *);
/* Seconds of one full two-port sweep: per point and direction 1.2/IFBW * averages + 0.15 ms, and 40 ms a band switch. */
double sweep_seconds(const struct sweep_plan *);
/* One page in plain words: what will touch what, how often, how hot, how many volts, how long. */
struct plan;
void recipe_explain(const struct recipe *, const struct plan *, struct text *to);

#endif
