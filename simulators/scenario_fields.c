/* scenario_fields.c: the field tables of a scenario: names, units, ranges, defaults. */
#include "simulators/scenario.h"

static const char *const place_words_here[] = {"unknown", "wafer",       "substrate",
                                               "cleaner", "contact_pad", NULL}; /* as enum place of recipe/recipe.h */
static const char *const standard_words[] = {"unknown", "open", "short", "load", "thru", NULL};
static const char *const clock_words[] = {"auto", "stepped", "world", NULL};
const char *const fault_words[] = {"unknown",     "open_contact", "lost_ground",   "drift_step",      "analyzer_timeout",
                                   "stale_sweep", "nan_block",    "stage_timeout", "bias_read_fails", "align_pitch_off",
                                   "mains",       "loop_open",    "vacuum_lost",   "attenuator",      NULL};
_Static_assert(sizeof fault_words / sizeof fault_words[0] == FAULT_KIND_COUNT + 1, "each fault has a word");

#define FIELDS(table) .fields = table, .field_n = sizeof table / sizeof table[0]
/* R: a real with default and range.  T: the struct that S names. */
#define R(key_, member_, default_, min_, max_, unit_, say_)                                                                      \
        {                                                                                                                        \
                .key = key_, .type = FIELD_REAL, .offset = offsetof(S, member_), .standard = default_, .min = min_, .max = max_, \
                .unit = unit_, .say = say_                                                                                       \
        }
#define N(key_, member_, default_, min_, max_, say_)                                                                            \
        {                                                                                                                       \
                .key = key_, .type = FIELD_I32, .offset = offsetof(S, member_), .standard = default_, .min = min_, .max = max_, \
                .say = say_                                                                                                     \
        }
#define NAME(key_, member_, need_, say_)                                                                                    \
        {                                                                                                                   \
                .key = key_, .type = FIELD_NAME, .offset = offsetof(S, member_), .size = 32, .required = need_, .say = say_ \
        }
#define CHOICE(key_, member_, words_, need_, say_)                                                                                 \
        {                                                                                                                          \
                .key = key_, .type = FIELD_CHOICE, .offset = offsetof(S, member_), .words = words_, .required = need_, .say = say_ \
        }

#define S struct nominal_device
static const struct field device_fields[] = {
        NAME("device", name, true, "name in the layout"),
        R("r_ohm", r_ohm, 0, 0, 1e9, "ohm", "series resistance; of a line per metre"),
        R("l_h", l_h, 0, 0, 1, "H", "series inductance; of a line per metre"),
        R("c_f", c_f, 0, 0, 1, "F", "capacitance; of a line per metre"),
        R("cp_f", cp_f, 0, 0, 1, "F", "capacitance across an inductor or resistor"),
        R("skin_hz", skin_hz, 0, 0, 1e13, "Hz", "where the skin effect begins; 0: none"),
        R("tan_delta", tan_delta, 0, 0, 1, "1", "loss tangent"),
        R("cox_f", cox_f, 0, 0, 1, "F", "oxide capacitance to the substrate"),
        R("rsub_ohm", rsub_ohm, 0, 0, 1e9, "ohm", "substrate resistance"),
        R("csub_f", csub_f, 0, 0, 1, "F", "substrate capacitance"),
        R("vc1", vc1, 0, -1, 1, "1/V", "linear voltage coefficient"),
        R("vc2", vc2, 0, -1, 1, "1/V^2", "quadratic voltage coefficient"),
        R("gm_s", gm_s, 0, 0, 100, "S", "transconductance of a transistor; its c_f, cp_f, csub_f, rsub_ohm: Cgs, Cgd, Cds, Rds"),
        R("ri_ohm", ri_ohm, 0, 0, 1e3, "ohm", "transistor: in series with Cgs; bipolar: inner base resistance"),
        R("tau_s", tau_s, 0, 0, 1e-9, "s", "transistor: delay of its transconductance"),
        R("rd_ohm", rd_ohm, 0, 0, 1e3, "ohm", "transistor: lead of the drain; r_ohm is the gate's"),
        R("ld_h", ld_h, 0, 0, 1e-9, "H", "transistor: lead of the drain; l_h is the gate's"),
        R("rs_ohm", rs_ohm, 0, 0, 1e3, "ohm", "transistor: lead of the source"),
        R("ls_h", ls_h, 0, 0, 1e-9, "H", "transistor: lead of the source"),
        R("vth_v", vth_v, 0, -100, 100, "V", "transistor: threshold"),
        R("k_s_v", k_s_v, 0, 0, 100, "S/V", "transistor: conductance of the channel per volt above the threshold; 0: biased as designed"),
        R("beta", beta, 0, 0, 1e5, "1", "bipolar transistor: current gain; 0: it is none. Its r_ohm, rd_ohm, rs_ohm: RB, RC, RE"),
        R("beta_r", beta_r, 2, 1e-3, 1e3, "1", "bipolar: reverse current gain"),
        R("is_a", is_a, 1e-18, 1e-30, 1e-6, "A", "bipolar: saturation current"),
        R("tf_s", tf_s, 0, 0, 1e-9, "s",
          "bipolar: forward transit time; c_f, cp_f, csub_f: depletion at 0 V, base-emitter, -collector, Ccs"),
        R("tr_s", tr_s, 0, 0, 1e-6, "s", "bipolar: reverse transit time"),
        R("early_v", early_v, 0, 0, 1e4, "V", "bipolar: Early voltage; 0: no output conductance"),
        R("cx_f", cx_f, 0, 0, 1e-9, "F", "bipolar: outer base-collector junction, in front of the inner base resistance ri_ohm"),
};
static const struct object device_object = {
        .name = "nominal_device", .say = "A device by design.", .bytes = sizeof(S), FIELDS(device_fields)};
#undef S

#define S struct nominal_standard
static const struct field standard_fields[] = {
        NAME("name", name, true, "name in the recipe"),
        CHOICE("kind", kind, standard_words, true, "open, short, load or thru"),
        CHOICE("kind_2", kind_2, standard_words, false, "open, short or load at port 2, where it is not what port 1 has"),
        {.key = "place",
         .type = FIELD_CHOICE,
         .offset = offsetof(S, place),
         .words = place_words_here,
         .standard = 2,
         .say = "where it lies"},
        R("x_um", x_um, 0, -1e6, 1e6, "um", "probes' centre in the place's frame"),
        R("y_um", y_um, 0, -1e6, 1e6, "um", "probes' centre in the place's frame"),
        R("spacing_um", spacing_um, 0, 0, 1e5, "um", "between the signal tips that it is made for; 0: the stage's at first"),
        {.key = "raised", .type = FIELD_BOOL, .offset = offsetof(S, raised), .say = "an open in the air, never touched"},
        R("r_ohm", r_ohm, 50, 0, 1e6, "ohm", "load: resistance at DC"),
        R("l_h", l_h, 0, -1e-9, 1e-9, "H", "short, load: inductance"),
        R("c_f", c_f, 0, -1e-12, 1e-12, "F", "open: capacitance against the tip plane"),
        R("delay_s", delay_s, 0, 0, 1e-9, "s", "thru: one-way delay"),
        R("z_ohm", z_ohm, 50, 1, 1000, "ohm", "thru: impedance"),
        R("loss_ohm_s", loss_ohm_s, 0, 0, 1e15, "ohm/s", "thru: skin-effect loss at 1 GHz"),
        R("dc_ohm", dc_ohm, 0, 0, 100, "ohm", "thru: resistance at DC that the skin effect adds to"),
        R("u_r_ohm", u_r_ohm, 0.1, 0, 10, "ohm", "scatter of copies (1 s)"),
        R("u_l_h", u_l_h, 0, 0, 1e-10, "H", "scatter of copies (1 s)"),
        R("u_c_f", u_c_f, 0, 0, 1e-13, "F", "scatter of copies (1 s)"),
        R("u_delay_s", u_delay_s, 0, 0, 1e-12, "s", "scatter of copies (1 s)"),
        N("touches_before", touches_before, 0, 0, 10000, "touches it has seen before this night"),
};
static const struct object standard_object = {
        .name = "nominal_standard", .say = "A calibration standard by design.", .bytes = sizeof(S), FIELDS(standard_fields)};
#undef S

#define S struct fault
static const struct field fault_fields[] = {
        CHOICE("what", what, fault_words, true, "kind of fault"),
        N("port", port, 1, 1, 2, "contact and drift: which port"),
        N("die_x", die_x, 0, -1000, 1000, "contact: column of the die"),
        N("die_y", die_y, 0, -1000, 1000, "contact: row of the die"),
        {.key = "device", .type = FIELD_TEXT, .offset = offsetof(S, device), .size = 32, .say = "contact: device"},
        {.key = "standard",
         .type = FIELD_TEXT,
         .offset = offsetof(S, standard),
         .size = 32,
         .say = "contact: standard, instead of die and device"},
        N("first", first, 1, 1, 1000, "contact: first touch of that target which is bad"),
        N("attempts", attempts, 1, 1, 1000, "contact: how many touches are bad"),
        R("at_s", at_s, 0, 0, 1e7, "s", "station time of a drift step, mains failure, open loop, lost vacuum"),
        R("for_s", for_s, 1, 0, 1e7, "s", "how long the loop stays open or the vacuum away"),
        N("at_count", at_count, 0, 0, 1000000, "instruments: the how-manieth call; drift: after so many touches"),
        N("count", count, 1, 1, 1000000, "instruments: how many calls fail"),
        R("fs", fs, 0, -1e4, 1e4, "fs", "drift step, one way"),
        R("db", db, 0, -10, 10, "dB", "drift step at 220 GHz, one way; attenuator: what the port's reads back instead of 0"),
        N("dies_x", dies_x, 0, -10, 10, "alignment: so many pitches off in x"),
        N("dies_y", dies_y, 0, -10, 10, "alignment: so many pitches off in y"),
};
static const struct object fault_object = {.name = "fault", .say = "One fault to inject.", .bytes = sizeof(S), FIELDS(fault_fields)};
#undef S

#define S struct fault_rates
static const struct field rate_fields[] = {
        R("open_contact", open_contact, 0, 0, 1, "1", "share of touches"),
        R("lost_ground", lost_ground, 0, 0, 1, "1", "share of touches"),
        R("analyzer_timeout", analyzer_timeout, 0, 0, 1, "1", "share of sweeps"),
        R("stale_sweep", stale_sweep, 0, 0, 1, "1", "share of sweeps"),
        R("nan_block", nan_block, 0, 0, 1, "1", "share of sweeps"),
        R("stage_timeout", stage_timeout, 0, 0, 1, "1", "share of lowerings"),
        R("bias_read_fails", bias_read, 0, 0, 1, "1", "share of readings"),
};
static const struct object rates_object = {
        .name = "fault_rates", .say = "Faults by chance, drawn by key.", .bytes = sizeof(S), FIELDS(rate_fields)};
#undef S

#define S struct defect
static const struct field defect_fields[] = {
        N("die_x", die_x, 0, -1000, 1000, "column"),
        N("die_y", die_y, 0, -1000, 1000, "row"),
        NAME("device", device, true, "device"),
        CHOICE("what", what, defect_words, true, "short, open or partial_via"),
        R("ohm", ohm, 5, 1e-3, 1e6, "ohm", "resistance of the short or via"),
};
static const struct object defect_object = {
        .name = "defect", .say = "A device that is really broken.", .bytes = sizeof(S), FIELDS(defect_fields)};
#undef S

/* the parts of a scenario: offsets from each part's own beginning */
#define S __typeof__(((struct scenario *)0)->analyzer)
static const struct field analyzer_fields[] = {
        R("floor_db", floor_db, 0, -200, 200, "dB", "added to the noise floor; -200 makes it silent"),
        R("trace_scale", trace_scale, 1, 0, 1000, "1", "times the trace noise"),
        R("switch_term", switch_term, 0.12, 0, 0.9, "1", "size of the switch terms"),
        R("band_step_db_min", band_step_db_min, 0.005, 0, 3, "dB", "step at a band edge, at least"),
        R("band_step_db_max", band_step_db_max, 0.03, 0, 3, "dB", "step at a band edge, at most"),
        R("term_scatter_db", term_scatter_db, 1, 0, 6, "dB", "how much raw terms differ between ports and stations (1 s)"),
        R("leak_db", leak_db, -300, -300, -20, "dB", "from side to side past the device at 220 GHz, 20 dB less a decade below; -300: none"),
        N("points_max", points_max, 20001, 2, 200001, "most points in a sweep"),
};
static const struct object analyzer_object = {
        .name = "analyzer", .say = "Raw error terms and noise.", .bytes = sizeof(S), FIELDS(analyzer_fields)};
#undef S
#define S __typeof__(((struct scenario *)0)->drift)
static const struct field drift_fields[] = {
        R("walk_fs", walk_fs, 3, 0, 1000, "fs", "random walk of each port's delay in one hour (1 s)"),
        R("walk_db", walk_db, 0.001, 0, 1, "dB", "random walk of each port's loss at 220 GHz in one hour (1 s)"),
        R("fs_per_k_min", fs_per_k_min, 20, 0, 1000, "fs/K", "least answer to room temperature"),
        R("fs_per_k_max", fs_per_k_max, 70, 0, 1000, "fs/K", "largest answer to room temperature"),
        R("db_per_k", db_per_k, 0.01, 0, 1, "dB/K", "loss at 220 GHz"),
        R("setback_k", setback_k, 0.08, -20, 20, "K", "fall of the room's temperature in the evening"),
        R("setback_at_s", setback_at_s, 1800, 0, 1e6, "s", "when it begins"),
        R("setback_s", setback_s, 3600, 1, 1e6, "s", "how long it takes"),
        R("cycle_k", cycle_k, 0.02, 0, 10, "K", "amplitude of the air conditioning"),
        R("cycle_s", cycle_s, 1200, 1, 1e6, "s", "its period"),
        R("warmup_fs", warmup_fs, 60, 0, 1e4, "fs", "delay still to come at power-on"),
        R("warmup_db", warmup_db, 0.15, 0, 3, "dB", "loss at 220 GHz still to come at power-on"),
        R("warmup_s", warmup_s, 1500, 1, 1e6, "s", "time constant; the station starts warm"),
};
static const struct object drift_object = {
        .name = "drift", .say = "Drift of each port, one way.", .bytes = sizeof(S), FIELDS(drift_fields)};
#undef S
#define S __typeof__(((struct scenario *)0)->contact)
static const struct field contact_fields[] = {
        R("path_ohm", path_ohm, 0.016, 0, 10, "ohm", "contact resistance of one signal path on the plateau: signal tip and both grounds"),
        R("scatter_ohm", scatter_ohm, 0.005, 0, 10, "ohm", "from touch to touch (1 s)"),
        R("inductance_scatter_h", inductance_scatter_h, 0.4e-12, 0, 1e-10, "H", "from touch to touch (1 s)"),
        R("placement_um", placement_um, 1, 0, 100, "um", "along the line, at each port (1 s); half of it common to both"),
        R("plateau_um_min", plateau_um_min, 12, 1, 100, "um", "overtravel where the plateau begins, at least"),
        R("plateau_um_max", plateau_um_max, 20, 1, 100, "um", "and at most"),
        R("creep", creep, 0.02, 0, 0.9, "1", "share by which the resistance falls while in contact"),
        R("creep_s", creep_s, 20, 0.1, 1e5, "s", "time constant of that"),
        R("ground_h", ground_h, 40e-12, 0, 1e-9, "H", "common-lead inductance of a lost ground"),
        R("ground_q", ground_q, 6, 0.5, 100, "1", "quality of its resonance"),
        R("ground_hz_min", ground_hz_min, 50e9, 1e9, 1e12, "Hz", "its frequency, at least"),
        R("ground_hz_max", ground_hz_max, 90e9, 1e9, 1e12, "Hz", "and at most"),
        R("gap_f", gap_f, 2e-15, 0, 1e-12, "F", "from a hovering tip to the pad below"),
        R("raised_f", raised_f, -6.5e-15, -1e-13, 1e-13, "F", "open in the air against the tip plane, where no standard says otherwise"),
        R("place_f", place_f, 0.15e-15, -1e-14, 1e-14, "F", "what the wafer below adds to that"),
        R("coupling_raised_f", coupling_raised_f, 0.012e-15, 0, 1e-14, "F", "probe to probe in the air"),
        R("coupling_down_f", coupling_down_f, 0.008e-15, 0, 1e-14, "F", "probe to probe in contact"),
        R("delay_fs_um", delay_fs_um, 7, 0, 100, "fs/um", "what a micrometre of placement is worth, one way"),
        R("wear_from", wear_from, 20, 0, 1e6, "touches", "touches after which a load begins to wear"),
        R("wear_knee", wear_knee, 50, 0, 1e6, "touches", "touches after which it wears five times as fast"),
        R("wear", wear, 2e-4, 0, 1, "1", "relative change of a load's resistance with each touch"),
};
static const struct object contact_object = {
        .name = "contact", .say = "Tips, touches and the air.", .bytes = sizeof(S), FIELDS(contact_fields)};
#undef S
#define S __typeof__(((struct scenario *)0)->pads)
static const struct field pad_fields[] = {
        R("c_f", c_f, 20e-15, 0, 1e-12, "F", "pad to ground"),
        R("l_h", l_h, 10e-12, 0, 1e-9, "H", "feed line"),
        R("r_ohm", r_ohm, 0.06, 0, 100, "ohm", "feed line"),
        R("loss_ohm", loss_ohm, 15, 0, 1e5, "ohm", "substrate under the pad"),
        R("scatter", scatter, 0.005, 0, 1, "1", "from device to device (1 s, relative)"),
        R("die_scatter", die_scatter, 0.01, 0, 1, "1", "from die to die (1 s, relative)"),
        R("gradient", gradient, 0.05, -1, 1, "1", "across the wafer, centre to edge"),
        R("feed_share", feed_share, 0.08, 0, 1, "1", "the feed's own capacitance, as share of the pad's: what makes it distributed"),
        R("coupling_f", coupling_f, 0.03e-15, 0, 1e-13, "F", "pad to pad"),
        N("sections", sections, 3, 1, 8, "pieces of the feed"),
};
static const struct object pads_object = {.name = "pads", .say = "Pads and feed lines.", .bytes = sizeof(S), FIELDS(pad_fields)};
#undef S
#define S __typeof__(((struct scenario *)0)->process)
static const struct field process_fields[] = {
        R("sheet_radial", sheet_radial, 0.03, -1, 1, "1", "sheet resistance, centre to edge"),
        R("sheet_die", sheet_die, 0.005, 0, 1, "1", "from die to die (1 s)"),
        R("sheet_device", sheet_device, 0.002, 0, 1, "1", "from device to device (1 s)"),
        R("mim_gradient", mim_gradient, 0.02, -1, 1, "1", "capacitor dielectric, left to right, centre to edge"),
        R("mim_die", mim_die, 0.003, 0, 1, "1", "from die to die (1 s)"),
        R("mim_device", mim_device, 0.002, 0, 1, "1", "from device to device (1 s)"),
        R("metal_radial", metal_radial, 0.03, -1, 1, "1", "metal resistance, centre to edge"),
        R("metal_device", metal_device, 0.003, 0, 1, "1", "from device to device (1 s)"),
        R("geometry_die", geometry_die, 0.002, 0, 1, "1", "inductances from die to die (1 s)"),
        R("geometry_device", geometry_device, 0.001, 0, 1, "1", "inductances from device to device (1 s)"),
        R("substrate_gradient", substrate_gradient, 0.1, -1, 1, "1", "substrate resistance, bottom to top, centre to edge"),
        R("ladder_match", ladder_match, 0.001, 0, 1, "1", "matching of the ladder's two resistors (1 s)"),
        R("defect_rate", defect_rate, 0.006, 0, 1, "1", "share of devices that are really broken"),
};
static const struct object process_object = {
        .name = "process", .say = "How devices differ over the wafer.", .bytes = sizeof(S), FIELDS(process_fields)};
#undef S
#define S __typeof__(((struct scenario *)0)->stage)
static const struct field stage_fields[] = {
        R("step_s", step_s, 1.1, 0, 1e4, "s", "a move, before the way counts"),
        R("speed_um_s", speed_um_s, 50000, 1, 1e7, "um/s", "speed of long moves"),
        R("lower_s", lower_s, 1.3, 0, 1e4, "s", "lowering to contact"),
        R("settle_s", settle_s, 0.15, 0, 1e4, "s", "settling after it"),
        R("separate_s", separate_s, 0.85, 0, 1e4, "s", "lifting"),
        R("home_s", home_s, 12, 0, 1e4, "s", "referencing the axes"),
        R("align_s", align_s, 25, 0, 1e4, "s", "edge, marks and height of one place"),
        R("separation_um", separation_um, 300, 1, 1e4, "um", "height of the tips when separated"),
        R("home_um_min", home_um_min, 5, 0, 1e5, "um", "how far off a place is before alignment, at least"),
        R("home_um_max", home_um_max, 50, 0, 1e5, "um", "and at most"),
        R("tolerance_um", tolerance_um, 20, 0.1, 1e4, "um", "half the pad: beyond it tips stand beside"),
        R("spacing_um", spacing_um, 200, 1, 1e5, "um", "between the signal tips, at first"),
        R("spacing_um_min", spacing_um_min, 0, 0, 1e5, "um", "nearest that a positioner sets them"),
        R("spacing_um_max", spacing_um_max, 0, 0, 1e5, "um", "furthest; 0: there is no positioner"),
        R("spacing_s", spacing_s, 4, 0, 1e4, "s", "one change of spacing"),
        R("flex_fs", flex_fs, 30, 0, 1e6, "fs", "how far each port's cable jumps with it, at most, to either side"),
        R("flex_s", flex_s, 120, 1, 1e6, "s", "in which that relaxes to 1/e"),
        {.key = "refuse_sideways",
         .type = FIELD_BOOL,
         .offset = offsetof(S, refuse_sideways),
         .say = "the stage itself refuses to move in contact"},
};
static const struct object stage_object = {
        .name = "stage", .say = "Stage: how long, how exactly.", .bytes = sizeof(S), FIELDS(stage_fields)};
#undef S
#define S __typeof__(((struct scenario *)0)->bias)
static const struct field bias_fields[] = {
        N("channels", channels, 2, 1, SIM_CHANNELS_MAX, "channels; the first feeds first_port, the second the other port"),
        N("first_port", first_port, 1, 1, 2, "1: as gate and drain are wired; 2: as collector and base"),
        R("offset_a", offset_a, 1e-7, 0, 1, "A", "largest offset of a held current"),
        R("volt_max", volt_max, 30, 0.1, 1000, "V", "most it can give"),
        R("ramp_v_s", ramp_v_s, 50, 0.1, 50, "V/s", "its ramp"),
        R("offset_v", offset_v, 0.002, 0, 1, "V", "largest read-back offset"),
        R("noise_v", noise_v, 0.0002, 0, 1, "V", "read-back noise (1 s)"),
};
static const struct object bias_object = {
        .name = "bias", .say = "Bias supply; stays on when the station's process dies.", .bytes = sizeof(S), FIELDS(bias_fields)};
#undef S
#define S __typeof__(((struct scenario *)0)->meter)
static const struct field meter_fields[] = {
        R("noise_ohm", noise_ohm, 0.002, 0, 10, "ohm", "noise of a reading (1 s)"),
        R("read_s", read_s, 0.05, 0, 100, "s", "time of one reading"),
};
static const struct object meter_object = {
        .name = "meter", .say = "DC meter, four wires to the tips.", .bytes = sizeof(S), FIELDS(meter_fields)};
#undef S

#define S struct scenario
#define PART(key_, member_, object_, say_)                                                                         \
        {                                                                                                          \
                .key = key_, .type = FIELD_OBJECT, .offset = offsetof(S, member_), .object = &object_, .say = say_ \
        }
#define PATH(key_, member_, say_)                                                                                   \
        {                                                                                                           \
                .key = key_, .type = FIELD_TEXT, .offset = offsetof(S, member_), .size = SIM_PATH_ROOM, .say = say_ \
        }
#define LIST(key_, member_, count_, object_, say_)                                                                                        \
        {                                                                                                                                 \
                .key = key_, .type = FIELD_LIST, .offset = offsetof(S, member_), .count_offset = offsetof(S, count_), .object = &object_, \
                .say = say_                                                                                                               \
        }
static const struct field scenario_fields[] = {
        {.key = "name",
         .type = FIELD_TEXT,
         .offset = offsetof(S, name),
         .size = 64,
         .required = true,
         .say = "what this station and wafer are called"},
        {.key = "seed",
         .type = FIELD_I64,
         .offset = offsetof(S, seed),
         .required = true,
         .min = 0,
         .max = 9007199254740991.0,
         .say = "one seed is one wafer and one night"},
        PATH("layout", layout, "path of a layout document"),
        PATH("recipe", recipe, "or of a recipe, whose layout is used"),
        PATH("truth_file", truth_file, "where the truth is written, for the judge alone; empty: nowhere"),
        PATH("state_file", state_file, "where the physical world outlives the process; empty: it ends with the process"),
        CHOICE("clock", clock, clock_words, false,
               "stepped: advances by what is asked; world: the world's own clock; auto: world when that is virtual"),
        PART("analyzer", analyzer, analyzer_object, "analyzer"),
        PART("drift", drift, drift_object, "drift"),
        PART("contact", contact, contact_object, "contact"),
        PART("pads", pads, pads_object, "pads"),
        PART("process", process, process_object, "process"),
        PART("stage", stage, stage_object, "stage"),
        PART("bias", bias, bias_object, "bias"),
        PART("meter", meter, meter_object, "meter"),
        R("temperature_c", temperature_c, 25, -60, 300, "degree Celsius", "chuck"),
        R("temperature_scatter_c", temperature_scatter_c, 0.05, 0, 10, "K", "of its readings (1 s)"),
        LIST("devices", devices, device_n, device_object, "devices of the layout by design; open, short and ladder need no entry"),
        LIST("standards", standards, standard_n, standard_object, "calibration standards by design"),
        LIST("faults", faults, fault_n, fault_object, "faults to inject"),
        PART("fault_rates", rates, rates_object, "faults by chance"),
        LIST("defects", defects, defect_n, defect_object, "devices that are really broken, beside those by chance"),
};
const struct object scenario_object = {
        .name = "scenario", .say = "A simulated station, its wafer and its night.", .bytes = sizeof(S), FIELDS(scenario_fields)};
