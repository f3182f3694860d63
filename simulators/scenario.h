/* scenario.h: everything that a simulated station is made of, as one JSON document.  Defaults are a good station in a quiet night; each
   number can be set. The config of driver "simulated" is either the scenario itself, or {"scenario": path} with "truth_file", "state_file"
   and "seed" beside it.  Paths are relative to the document they stand in. */
#ifndef TIPPLANE_SIMULATORS_SCENARIO_H
#define TIPPLANE_SIMULATORS_SCENARIO_H
#include "base/world.h"
#include "simulators/device.h"

#define SIM_CHANNELS_MAX 4
#define SIM_PATH_ROOM 512

struct nominal_device { /* a device by design; its kind and its place come from the layout */
        char name[32];
        double r_ohm, l_h, c_f, cp_f, skin_hz, tan_delta, cox_f, rsub_ohm, csub_f, vc1, vc2, gm_s;
        double ri_ohm, tau_s, rd_ohm, ld_h, rs_ohm, ls_h, vth_v, k_s_v;
        double beta, beta_r, is_a, tf_s, tr_s, early_v, cx_f;
};
enum sim_standard_kind { SIM_STANDARD_UNKNOWN, SIM_STANDARD_OPEN, SIM_STANDARD_SHORT, SIM_STANDARD_LOAD, SIM_STANDARD_THRU };
struct nominal_standard {
        char name[32];
        int32_t kind, kind_2, place; /* enum sim_standard_kind, kind_2 of port 2 where it is another; enum place */
        double x_um, y_um, spacing_um;
        bool raised;
        double r_ohm, l_h, c_f, delay_s, z_ohm, loss_ohm_s, dc_ohm;
        double u_r_ohm, u_l_h, u_c_f, u_delay_s; /* how far copies scatter (1 s) */
        int32_t touches_before;
};
enum fault_kind {
        FAULT_UNKNOWN,
        FAULT_OPEN_CONTACT,
        FAULT_LOST_GROUND,
        FAULT_DRIFT_STEP,
        FAULT_ANALYZER_TIMEOUT,
        FAULT_STALE_SWEEP,
        FAULT_NAN_BLOCK,
        FAULT_STAGE_TIMEOUT,
        FAULT_BIAS_READ,
        FAULT_ALIGN_PITCH,
        FAULT_MAINS,
        FAULT_LOOP_OPEN,
        FAULT_VACUUM,
        FAULT_ATTENUATOR,
        FAULT_KIND_COUNT
};
extern const char *const fault_words[];
struct fault {
        int32_t what;                  /* enum fault_kind */
        int32_t port;                  /* 1, 2; contact and drift */
        int32_t die_x, die_y;          /* contact: which die … */
        char device[32], standard[32]; /* … and device, or which standard */
        int32_t first, attempts;       /* contact: touches first … first+attempts-1 of that target */
        double at_s, for_s;            /* drift, mains, loop, vacuum: station time */
        int32_t at_count, count;       /* instruments: the at_count-th sweep (lower, bias reading, alignment of the wafer) and count-1 more;
                                          drift: after so many touches */
        double fs, db;                 /* drift: one way; dB at 220 GHz */
        int32_t dies_x, dies_y;        /* alignment: so many pitches off */
};
struct fault_rates {
        double open_contact, lost_ground, analyzer_timeout, stale_sweep, nan_block, stage_timeout, bias_read;
};
struct defect {
        int32_t die_x, die_y;
        char device[32];
        int32_t what;
        double ohm;
};

struct scenario {
        char name[64];
        int64_t seed;
        char layout[SIM_PATH_ROOM], recipe[SIM_PATH_ROOM], truth_file[SIM_PATH_ROOM], state_file[SIM_PATH_ROOM];
        int32_t clock; /* enum sim_clock */
        struct {
                double floor_db, trace_scale, switch_term, band_step_db_min, band_step_db_max, term_scatter_db, leak_db;
                int32_t points_max;
        } analyzer;
        struct {
                double walk_fs, walk_db, fs_per_k_min, fs_per_k_max, db_per_k, setback_k, setback_at_s, setback_s, cycle_k, cycle_s,
                        warmup_fs, warmup_db, warmup_s;
        } drift;
        struct {
                double path_ohm, scatter_ohm, inductance_scatter_h, placement_um, plateau_um_min, plateau_um_max, creep, creep_s, ground_h,
                        ground_q, ground_hz_min, ground_hz_max, gap_f, raised_f, place_f, coupling_raised_f, coupling_down_f, delay_fs_um,
                        wear_from, wear_knee, wear;
        } contact;
        struct {
                double c_f, l_h, r_ohm, loss_ohm, scatter, die_scatter, gradient, feed_share, coupling_f;
                int32_t sections;
        } pads;
        struct {
                double sheet_radial, sheet_die, sheet_device, mim_gradient, mim_die, mim_device, metal_radial, metal_device, geometry_die,
                        geometry_device, substrate_gradient, ladder_match, defect_rate;
        } process;
        struct {
                double step_s, speed_um_s, lower_s, settle_s, separate_s, home_s, align_s, separation_um, home_um_min, home_um_max,
                        tolerance_um, spacing_um, spacing_um_min, spacing_um_max, spacing_s, flex_fs, flex_s;
                bool refuse_sideways;
        } stage;
        struct {
                int32_t channels, first_port;
                double volt_max, ramp_v_s, offset_v, noise_v, offset_a;
        } bias;
        struct {
                double noise_ohm, read_s;
        } meter;
        double temperature_c, temperature_scatter_c;
        struct nominal_device *devices;
        size_t device_n;
        struct nominal_standard *standards;
        size_t standard_n;
        struct fault *faults;
        size_t fault_n;
        struct fault_rates rates;
        struct defect *defects;
        size_t defect_n;
};
enum sim_clock { SIM_CLOCK_AUTO, SIM_CLOCK_STEPPED, SIM_CLOCK_WORLD };
extern const struct object scenario_object;

/* Reads config (see above), checks it, joins paths to the directory of their document.  Lists come from `arena`. */
enum code scenario_read(const struct world *, const char *config_json, size_t n, const char *base_dir, struct arena *, struct scenario *ret,
                        struct tp_error *);
/* The layout it names, or the member "layout" of the recipe it names. */
enum code scenario_layout(const struct world *, const struct scenario *, struct arena *, struct layout *ret, struct tp_error *);

#endif
