/* recipe_fields.c: the recipe's field tables.  Parser, writer, JSON Schema and reference page all come from here; what a table cannot say is in
   recipe_check.c and measure_check.c. */
#include "recipe/recipe_own.h"

#define COUNT_OF(a) (sizeof(a) / sizeof(a)[0])
#define AT(type, member) .offset = offsetof(type, member)
#define TEXT_AT(type, member) .offset = offsetof(type, member), .size = sizeof(((type *)0)->member)
#define LIST_AT(type, member, count) .offset = offsetof(type, member), .count_offset = offsetof(type, count)
#define OBJECT_OF(struct_type, word, table, words_for_people) \
        {.name = word, .say = words_for_people, .bytes = sizeof(struct_type), .fields = table, .field_n = COUNT_OF(table)}

const char *const place_words[] = {"unknown", "wafer", "substrate", "cleaner", "contact_pad", NULL};
_Static_assert(sizeof place_words / sizeof place_words[0] == PLACE_COUNT + 1, "each place has its word");
const char *const standard_kind_words[] = {"unknown", "open", "short", "load", "thru", "line", "reflect", NULL};
_Static_assert(sizeof standard_kind_words / sizeof standard_kind_words[0] == STANDARD_KIND_COUNT + 1, "each kind has its word");
const char *const quantity_words[] = {"unknown", "L", "Q", "C", "R", "SRF", "eps_eff", "loss", "Zc", "S21_dB", NULL};
const char *const quantity_units[] = {"", "H", "1", "F", "ohm", "Hz", "1", "dB/mm", "ohm", "dB", NULL};
_Static_assert(sizeof quantity_words / sizeof quantity_words[0] == QUANTITY_COUNT + 1, "each quantity has its word");
_Static_assert(sizeof quantity_units / sizeof quantity_units[0] == QUANTITY_COUNT + 1, "each quantity has its unit");
const char *const deembed_words[] = {"none", "open", "open_short", NULL};
_Static_assert(sizeof deembed_words / sizeof deembed_words[0] == DEEMBED_COUNT + 1, "each de-embedding has its word");
const char *const spacing_words[] = {"unknown", "log", "linear", NULL};
const char *const contact_family_words[] = {"unknown", "conducts", "blocks_dc", "to_ground", NULL};

/* ---- sweeps -------------------------------------------------------------------------------------------------------------------------- */
static const struct field segment_fields[] = {
        {.key = "start_hz", .type = FIELD_REAL, AT(struct segment, start_hz), .required = true, .min = 1, .max = 2e12, .unit = "Hz"},
        {.key = "stop_hz", .type = FIELD_REAL, AT(struct segment, stop_hz), .required = true, .min = 1, .max = 2e12, .unit = "Hz"},
        {.key = "points", .type = FIELD_I32, AT(struct segment, points), .required = true, .min = 1, .max = 20001, .say = "both ends included"},
        {.key = "spacing", .type = FIELD_CHOICE, AT(struct segment, spacing), .required = true, .words = spacing_words},
        {.key = "ifbw_hz", .type = FIELD_REAL, AT(struct segment, ifbw_hz), .required = true, .min = 0.1, .max = 1e7, .unit = "Hz"},
        {.key = "averages", .type = FIELD_I32, AT(struct segment, averages), .min = 1, .max = 1000, .standard = 1},
        {.key = "power_dbm", .type = FIELD_REAL, AT(struct segment, power_dbm), .min = -80, .max = 20, .standard = -20, .unit = "dBm", .say = "at the tips"},
};
static const struct object segment_object = OBJECT_OF(struct segment, "segment", segment_fields, NULL);
static const struct field sweep_fields[] = {
        {.key = "name", .type = FIELD_NAME, TEXT_AT(struct sweep_plan, name), .required = true},
        {.key = "segments", .type = FIELD_LIST, LIST_AT(struct sweep_plan, segments, segment_n), .required = true, .object = &segment_object, .min = 1, .max = 16,
         .say = "rising; a frequency shared by two neighbours is measured once"},
};
static const struct object sweep_object = OBJECT_OF(struct sweep_plan, "sweep", sweep_fields, NULL);

/* ---- setup --------------------------------------------------------------------------------------------------------------------------- */
static const struct field probe_fields[] = {
        {.key = "port", .type = FIELD_I32, AT(struct probe, port), .required = true, .min = 1, .max = 4},
        {.key = "serial", .type = FIELD_NAME, TEXT_AT(struct probe, serial), .required = true},
        {.key = "pitch_um", .type = FIELD_REAL, AT(struct probe, pitch_um), .required = true, .min = 10, .max = 1000, .unit = "um"},
        {.key = "order", .type = FIELD_NAME, TEXT_AT(struct probe, order), .standard_text = "GSG"},
};
static const struct object probe_object = OBJECT_OF(struct probe, "probe", probe_fields, NULL);
static const struct field setup_fields[] = {
        {.key = "name", .type = FIELD_NAME, TEXT_AT(struct setup, name), .required = true},
        {.key = "probes", .type = FIELD_LIST, LIST_AT(struct setup, probes, probe_n), .required = true, .object = &probe_object, .min = 1, .max = 4},
        {.key = "spacing_um", .type = FIELD_REAL, AT(struct setup, spacing_um), .required = true, .min = 0, .max = 50000, .unit = "um",
         .say = "between the signal tips; changing it ends the calibration"},
        {.key = "overtravel_um", .type = FIELD_REAL, AT(struct setup, overtravel_um), .required = true, .min = 0, .max = 200, .unit = "um"},
        {.key = "separation_um", .type = FIELD_REAL, AT(struct setup, separation_um), .required = true, .min = 250, .max = 5000, .unit = "um",
         .say = "height for steps"},
        {.key = "temperature_c", .type = FIELD_REAL, AT(struct setup, temperature_c), .required = true, .min = -80, .max = 400, .unit = "degree Celsius"},
        {.key = "substrate", .type = FIELD_NAME, TEXT_AT(struct setup, substrate), .say = "serial of the calibration substrate"},
        {.key = "tip_touches_max", .type = FIELD_I32, AT(struct setup, tip_touches_max), .required = true, .min = 1, .max = 10000000},
        {.key = "contact_ohm", .type = FIELD_REAL, AT(struct setup, contact_ohm), .required = true, .min = 0, .max = 10, .unit = "ohm",
         .say = "expected contact resistance per signal path"},
        {.key = "contact_ohm_u", .type = FIELD_REAL, AT(struct setup, contact_ohm_u), .required = true, .min = 0, .max = 10, .unit = "ohm",
         .say = "its repeatability, one standard deviation"},
        {.key = "contact_h_u", .type = FIELD_REAL, AT(struct setup, contact_h_u), .required = true, .min = 0, .max = 1e-9, .unit = "H",
         .say = "repeatability of contact inductance per signal path, one standard deviation"},
        {.key = "placement_um_u", .type = FIELD_REAL, AT(struct setup, placement_um_u), .required = true, .min = 0, .max = 100, .unit = "um",
         .say = "placement repeatability, one standard deviation"},
};
static const struct object setup_object = OBJECT_OF(struct setup, "setup", setup_fields, "What is mounted; data point to it, any change ends the calibration.");

/* ---- standards and calibration ------------------------------------------------------------------------------------------------------- */
static const struct field model_fields[] = {
        {.key = "c_f", .type = FIELD_REALS, TEXT_AT(struct standard_model, c_f), .unit = "F, F/Hz, F/Hz^2, F/Hz^3", .say = "open: capacitance by powers of frequency; may be negative"},
        {.key = "l_h", .type = FIELD_REALS, TEXT_AT(struct standard_model, l_h), .unit = "H, H/Hz, H/Hz^2, H/Hz^3", .say = "short, load: inductance by powers of frequency; may be negative"},
        {.key = "r_ohm", .type = FIELD_REAL, AT(struct standard_model, r_ohm), .min = 0, .max = 1e6, .unit = "ohm", .say = "load"},
        {.key = "delay_s", .type = FIELD_REAL, AT(struct standard_model, delay_s), .min = -1e-9, .max = 1e-9, .unit = "s", .say = "offset line or thru, one way"},
        {.key = "loss_ohm_s", .type = FIELD_REAL, AT(struct standard_model, loss_ohm_s), .min = 0, .max = 1e15, .unit = "ohm/s at 1 GHz"},
        {.key = "z_ohm", .type = FIELD_REAL, AT(struct standard_model, z_ohm), .min = 1, .max = 1000, .standard = 50, .unit = "ohm"},
        {.key = "u_r_ohm", .type = FIELD_REAL, AT(struct standard_model, u_r_ohm), .min = 0, .max = 1e6, .unit = "ohm", .say = "this copy against the model, one standard deviation"},
        {.key = "u_l_h", .type = FIELD_REAL, AT(struct standard_model, u_l_h), .min = 0, .max = 1e-6, .unit = "H"},
        {.key = "u_c_f", .type = FIELD_REAL, AT(struct standard_model, u_c_f), .min = 0, .max = 1e-9, .unit = "F"},
        {.key = "u_delay_s", .type = FIELD_REAL, AT(struct standard_model, u_delay_s), .min = 0, .max = 1e-9, .unit = "s"},
        {.key = "length_um", .type = FIELD_REAL, AT(struct standard_model, length_um), .min = 0, .max = 100000, .unit = "um", .say = "lines, and the thru of a line calibration"},
};
static const struct object model_object = OBJECT_OF(struct standard_model, "standard_model", model_fields, "Definition of a standard in SI units.");
static const struct field standard_fields[] = {
        {.key = "name", .type = FIELD_NAME, TEXT_AT(struct standard, name), .required = true},
        {.key = "kind", .type = FIELD_CHOICE, AT(struct standard, kind), .required = true, .words = standard_kind_words},
        {.key = "copy", .type = FIELD_NAME, TEXT_AT(struct standard, copy), .say = "the physical copy that wears; its name when left out"},
        {.key = "place", .type = FIELD_CHOICE, AT(struct standard, place), .required = true, .words = place_words},
        {.key = "x_um", .type = FIELD_REAL, AT(struct standard, x_um), .required = true, .min = -250000, .max = 250000, .unit = "um"},
        {.key = "y_um", .type = FIELD_REAL, AT(struct standard, y_um), .required = true, .min = -250000, .max = 250000, .unit = "um"},
        {.key = "raised", .type = FIELD_BOOL, AT(struct standard, raised), .say = "swept at separation height: an open without wear"},
        {.key = "touches_max", .type = FIELD_I32, AT(struct standard, touches_max), .min = 0, .max = 100000, .say = "budget of the copy, over all runs"},
        {.key = "model", .type = FIELD_OBJECT, AT(struct standard, model), .object = &model_object},
};
static const struct object standard_object = OBJECT_OF(struct standard, "standard", standard_fields, NULL);
static const struct field use_fields[] = {
        {.key = "standard", .type = FIELD_NAME, TEXT_AT(struct use, standard), .required = true},
};
static const struct object use_object = OBJECT_OF(struct use, "use", use_fields, NULL);
static const struct field verification_fields[] = {
        {.key = "standard", .type = FIELD_NAME, TEXT_AT(struct verification, standard), .required = true},
        {.key = "limit", .type = FIELD_REAL, AT(struct verification, limit), .required = true, .min = 1e-6, .max = 2, .say = "worst |S - model| allowed"},
};
static const struct object verification_object = OBJECT_OF(struct verification, "verification", verification_fields, NULL);
static const struct field calibration_fields[] = {
        {.key = "method", .type = FIELD_NAME, TEXT_AT(struct calibration_plan, method), .required = true, .say = "solt, unknown_thru or multiline_trl"},
        {.key = "sweep", .type = FIELD_NAME, TEXT_AT(struct calibration_plan, sweep), .required = true},
        {.key = "standards", .type = FIELD_LIST, LIST_AT(struct calibration_plan, standards, standard_n), .required = true, .object = &use_object, .min = 1, .max = 16},
        {.key = "switch_terms", .type = FIELD_BOOL, AT(struct calibration_plan, switch_terms), .say = "the analyzer must give them"},
        {.key = "thru_delay_s", .type = FIELD_REAL, AT(struct calibration_plan, thru_delay_s), .min = -1e-9, .max = 1e-9, .unit = "s", .say = "first guess (unknown thru)"},
        {.key = "eps_eff", .type = FIELD_REAL, AT(struct calibration_plan, eps_eff), .min = 0, .max = 50, .say = "first guess (lines)"},
        {.key = "reflect_estimate", .type = FIELD_REAL, AT(struct calibration_plan, reflect_estimate), .min = -1, .max = 1, .say = "-1 short, +1 open (lines)"},
        {.key = "reflect_offset_um", .type = FIELD_REAL, AT(struct calibration_plan, reflect_offset_um), .min = -10000, .max = 10000, .unit = "um",
         .say = "of the reflect beyond the reference plane, negative towards the probe"},
        {.key = "line_capacitance_f_m", .type = FIELD_REAL, AT(struct calibration_plan, line_capacitance_f_m), .min = 0, .max = 1e-8, .unit = "F/m",
         .say = "to renormalise to 50 ohm; 0: results stay in the line's impedance"},
        {.key = "verify", .type = FIELD_LIST, LIST_AT(struct calibration_plan, verify, verify_n), .object = &verification_object, .min = 0, .max = 16,
         .say = "measured, never used in the solution"},
        {.key = "tries_max", .type = FIELD_I32, AT(struct calibration_plan, tries_max), .min = 1, .max = 10, .standard = 2},
};
static const struct object calibration_object = OBJECT_OF(struct calibration_plan, "calibration", calibration_fields, NULL);

/* ---- checks, proof, mandate ---------------------------------------------------------------------------------------------------------- */
static const struct field limits_fields[] = {
        {.key = "delay_fs", .type = FIELD_REAL, AT(struct check_limits, delay_fs), .required = true, .min = 0.001, .max = 1e6, .unit = "fs"},
        {.key = "loss_db", .type = FIELD_REAL, AT(struct check_limits, loss_db), .required = true, .min = 1e-6, .max = 100, .unit = "dB"},
        {.key = "contact_ohm", .type = FIELD_REAL, AT(struct check_limits, contact_ohm), .required = true, .min = 1e-6, .max = 100, .unit = "ohm"},
        {.key = "contact_h", .type = FIELD_REAL, AT(struct check_limits, contact_h), .required = true, .min = 1e-16, .max = 1e-9, .unit = "H"},
        {.key = "residual", .type = FIELD_REAL, AT(struct check_limits, residual), .required = true, .min = 1e-6, .max = 2, .say = "worst |S| the modes leave unexplained"},
};
static const struct object limits_object = OBJECT_OF(struct check_limits, "check_limits", limits_fields, NULL);
static const struct field check_fields[] = {
        {.key = "every_dies", .type = FIELD_I32, AT(struct check_plan, every_dies), .required = true, .min = 0, .max = 10000, .say = "0: no checks, and nothing is ever proven"},
        {.key = "standards", .type = FIELD_LIST, LIST_AT(struct check_plan, standards, standard_n), .object = &use_object, .min = 0, .max = 8},
        {.key = "limits", .type = FIELD_OBJECT, AT(struct check_plan, limits), .object = &limits_object},
};
static const struct object check_object = OBJECT_OF(struct check_plan, "check", check_fields, "Copies measured again against their own baseline; the raised open comes free.");
static const struct field proof_fields[] = {
        {.key = "required", .type = FIELD_BOOL, AT(struct place_proof, required), .required = true},
        {.key = "device", .type = FIELD_NAME, TEXT_AT(struct place_proof, device), .say = "the ladder"},
        {.key = "dies", .type = FIELD_LIST, LIST_AT(struct place_proof, dies, die_n), .object = &die_at_object, .min = 0, .max = 32, .say = "at least three, not all in one row or column"},
};
static const struct object proof_object = OBJECT_OF(struct place_proof, "proof", proof_fields, "How the place on the wafer is proven before the first sweep.");
static const struct field mandate_fields[] = {
        {.key = "retouch_max", .type = FIELD_I32, AT(struct mandate, retouch_max), .min = 0, .max = 10, .say = "per device, by contact evidence alone, never because of a value"},
        {.key = "recalibrate_max", .type = FIELD_I32, AT(struct mandate, recalibrate_max), .min = 0, .max = 100},
        {.key = "overtravel_extra_um_max", .type = FIELD_REAL, AT(struct mandate, overtravel_extra_um_max), .min = 0, .max = 10, .unit = "um"},
        {.key = "remeasure_suspects", .type = FIELD_BOOL, AT(struct mandate, remeasure_suspects)},
        {.key = "skip_device", .type = FIELD_BOOL, AT(struct mandate, skip_device)},
        {.key = "skip_die", .type = FIELD_BOOL, AT(struct mandate, skip_die)},
};
static const struct object mandate_object = OBJECT_OF(struct mandate, "mandate", mandate_fields, "What the daemon may do alone tonight.");

/* ---- measures ------------------------------------------------------------------------------------------------------------------------ */
static const struct field condition_fields[] = {
        {.key = "volt", .type = FIELD_REAL, AT(struct condition, volt), .min = -1000, .max = 1000, .unit = "V", .say = "0: unbiased"},
        {.key = "channel", .type = FIELD_I32, AT(struct condition, channel), .min = 0, .max = 16},
        {.key = "limit_a", .type = FIELD_REAL, AT(struct condition, limit_a), .min = 0, .max = 10, .unit = "A"},
        {.key = "settle_s", .type = FIELD_REAL, AT(struct condition, settle_s), .min = 0, .max = 3600, .unit = "s"},
};
static const struct object condition_object = OBJECT_OF(struct condition, "condition", condition_fields, NULL);
static const struct field contact_fields[] = {
        {.key = "family", .type = FIELD_CHOICE, AT(struct contact_plan, family), .required = true, .words = contact_family_words,
         .say = "conducts: DC from port to port; blocks_dc; to_ground: DC from each port to ground"},
        {.key = "dc_ohm_low", .type = FIELD_REAL, AT(struct contact_plan, dc_ohm_low), .min = 0, .max = 1e9, .unit = "ohm"},
        {.key = "dc_ohm_high", .type = FIELD_REAL, AT(struct contact_plan, dc_ohm_high), .min = 0, .max = 1e9, .unit = "ohm"},
        {.key = "drift_limit", .type = FIELD_REAL, AT(struct contact_plan, drift_limit), .min = 1e-6, .max = 2, .standard = 0.05, .say = "|S(end) - S(start)| allowed"},
};
static const struct object contact_object = OBJECT_OF(struct contact_plan, "contact", contact_fields, "What a good contact to this device looks like, without looking at its value.");
static const struct field parameter_fields[] = {
        {.key = "name", .type = FIELD_NAME, TEXT_AT(struct parameter_plan, name), .required = true},
        {.key = "quantity", .type = FIELD_CHOICE, AT(struct parameter_plan, quantity), .required = true, .words = quantity_words},
        {.key = "freq_hz", .type = FIELD_REAL, AT(struct parameter_plan, freq_hz), .min = 0, .max = 2e12, .unit = "Hz", .say = "not for SRF"},
        {.key = "low", .type = FIELD_REAL, AT(struct parameter_plan, low), .has_offset = offsetof(struct parameter_plan, has_low), .say = "limit, in the quantity's unit"},
        {.key = "high", .type = FIELD_REAL, AT(struct parameter_plan, high), .has_offset = offsetof(struct parameter_plan, has_high), .say = "limit, in the quantity's unit"},
        {.key = "expect_low", .type = FIELD_REAL, AT(struct parameter_plan, expect_low), .standard = __builtin_nan(""), .has_offset = offsetof(struct parameter_plan, has_expect),
         .say = "first-die sanity; goes with expect_high"},
        {.key = "expect_high", .type = FIELD_REAL, AT(struct parameter_plan, expect_high), .standard = __builtin_nan(""), .has_offset = offsetof(struct parameter_plan, has_expect)},
        {.key = "resolve_share_max", .type = FIELD_REAL, AT(struct parameter_plan, resolve_share_max), .min = 0.001, .max = 10, .standard = 0.3,
         .say = "refused as not resolvable when u95/|value| is above it"},
};
static const struct object parameter_object = OBJECT_OF(struct parameter_plan, "parameter", parameter_fields, NULL);
static const struct field measure_fields[] = {
        {.key = "device", .type = FIELD_NAME, TEXT_AT(struct measure, device), .required = true, .say = "a device of the layout"},
        {.key = "sweep", .type = FIELD_NAME, TEXT_AT(struct measure, sweep), .required = true},
        {.key = "conditions", .type = FIELD_LIST, LIST_AT(struct measure, conditions, condition_n), .required = true, .object = &condition_object, .min = 1, .max = 32,
         .say = "one sweep each, under one touch"},
        {.key = "contact", .type = FIELD_OBJECT, AT(struct measure, contact), .required = true, .object = &contact_object},
        {.key = "deembed", .type = FIELD_CHOICE, AT(struct measure, deembed), .words = deembed_words},
        {.key = "open", .type = FIELD_NAME, TEXT_AT(struct measure, open), .say = "open dummy of the same die"},
        {.key = "short", .type = FIELD_NAME, TEXT_AT(struct measure, short_), .say = "short dummy of the same die"},
        {.key = "symmetric", .type = FIELD_BOOL, AT(struct measure, symmetric)},
        {.key = "parameters", .type = FIELD_LIST, LIST_AT(struct measure, parameters, parameter_n), .object = &parameter_object, .min = 0, .max = 64, .say = "none for dummies"},
};
static const struct object measure_object = OBJECT_OF(struct measure, "measure", measure_fields, NULL);

static const struct field recipe_fields[] = {
        {.key = "name", .type = FIELD_TEXT, TEXT_AT(struct recipe, name), .required = true},
        {.key = "notes", .type = FIELD_TEXT, TEXT_AT(struct recipe, notes), .say = "for people; decides nothing"},
        {.key = "layout", .type = FIELD_OBJECT, AT(struct recipe, layout), .required = true, .object = &layout_object},
        {.key = "setup", .type = FIELD_OBJECT, AT(struct recipe, setup), .required = true, .object = &setup_object},
        {.key = "sweeps", .type = FIELD_LIST, LIST_AT(struct recipe, sweeps, sweep_n), .required = true, .object = &sweep_object, .min = 1, .max = 16},
        {.key = "standards", .type = FIELD_LIST, LIST_AT(struct recipe, standards, standard_n), .required = true, .object = &standard_object, .min = 1, .max = 64},
        {.key = "calibration", .type = FIELD_OBJECT, AT(struct recipe, calibration), .required = true, .object = &calibration_object},
        {.key = "check", .type = FIELD_OBJECT, AT(struct recipe, check), .required = true, .object = &check_object},
        {.key = "proof", .type = FIELD_OBJECT, AT(struct recipe, proof), .required = true, .object = &proof_object},
        {.key = "order", .type = FIELD_CHOICE, AT(struct recipe, order), .words = die_order_words, .standard = ORDER_INTERLEAVE,
         .say = "interleave keeps a drift over the night from looking like a gradient on the wafer"},
        {.key = "measures", .type = FIELD_LIST, LIST_AT(struct recipe, measures, measure_n), .required = true, .object = &measure_object, .min = 1, .max = 100,
         .say = "dummies first; the order within a die"},
        {.key = "mandate", .type = FIELD_OBJECT, AT(struct recipe, mandate), .object = &mandate_object},
        {.key = "max_volt", .type = FIELD_REAL, AT(struct recipe, max_volt), .min = 0, .max = 1000, .unit = "V", .say = "the recipe's own bias ceiling"},
        {.key = "sampling", .type = FIELD_NAME, TEXT_AT(struct recipe, sampling), .standard_text = "all"},
};
const struct object recipe_object = OBJECT_OF(struct recipe, "recipe", recipe_fields, "What to do on a wafer. Immutable, named by the SHA-256 of its bytes.");
