/* Bad recipes and layouts: each is the good demo (or a recording's) recipe with one change, and each is refused with a sentence that names
   the place, shows the value and says what to do. */
#include "tests/unit/recipe_helper.h"

struct bad {
        const char *where;   /* JSON pointer of the change */
        const char *value;   /* new JSON value; NULL: the key is taken away */
        const char *pointer; /* expected, in the error and in the sentence; HERE: where the change is */
        const char *shows;   /* expected in the sentence: the value */
        const char *says;    /* expected in the sentence: what is wrong or what to do */
};

#define HERE NULL

/* One step of a JSON pointer; arrays by number. */
static cJSON *step_into(cJSON *at, const char *key)
{
        return cJSON_IsArray(at) ? cJSON_GetArrayItem(at, atoi(key)) : cJSON_GetObjectItemCaseSensitive(at, key);
}

static void change(cJSON *root, const char *where, const char *value)
{
        char path[128], *keys[16];
        size_t n = 0;
        snprintf(path, sizeof path, "%s", where);
        for (char *k = strtok(path, "/"); k; k = strtok(NULL, "/"))
                keys[n++] = k;
        cJSON *at = root;
        for (size_t i = 0; i + 1 < n; i++)
                at = step_into(at, keys[i]);
        assert_non_null(at);
        cJSON *item = value ? cJSON_Parse(value) : NULL;
        assert_true(!value || item);
        if (cJSON_IsArray(at)) {
                if (!item)
                        cJSON_DeleteItemFromArray(at, atoi(keys[n - 1]));
                else if (atoi(keys[n - 1]) < cJSON_GetArraySize(at))
                        cJSON_ReplaceItemInArray(at, atoi(keys[n - 1]), item);
                else
                        cJSON_AddItemToArray(at, item);
        } else {
                cJSON_DeleteItemFromObjectCaseSensitive(at, keys[n - 1]);
                if (item)
                        cJSON_AddItemToObject(at, keys[n - 1], item);
        }
}

/* first: changes that make a good recipe of another kind. */
static void assert_refused_after(const char *path, const struct bad *first, size_t first_n, const struct bad *b)
{
        size_t n = 0;
        char *text = file_text(path, &n);
        cJSON *json = cJSON_Parse(text);
        struct arena *a = arena_new(0);
        struct recipe *r = NULL;
        struct tp_error err = {0};
        for (size_t k = 0; k < first_n; k++)
                change(json, first[k].where, first[k].value);
        if (b)
                change(json, b->where, b->value);
        char *changed = cJSON_PrintUnformatted(json);
        enum code code = recipe_read(changed, strlen(changed), a, &r, &err);
        if (!b && code)
                fail_msg("%s", err.text);
        if (b && (code != CODE_BAD_INPUT || r))
                fail_msg("%s = %s was read (code %d, %s)", b->where, b->value ? b->value : "(taken away)", code, err.text);
        const char *pointer = b && b->pointer ? b->pointer : b ? b->where : "";
        if (b &&
            (strcmp(err.pointer, pointer) != 0 || !strstr(err.text, pointer) || !strstr(err.text, b->shows) || !strstr(err.text, b->says)))
                fail_msg("%s = %s: wanted \"%s\", \"%s\", \"%s\"; got pointer \"%s\", sentence \"%s\"", b->where,
                         b->value ? b->value : "(taken away)", pointer, b->shows, b->says, err.pointer, err.text);
        cJSON_free(changed);
        cJSON_Delete(json);
        arena_free(a);
        free(text);
}

static const struct bad layouts[] = {
        {"/layout/pitch_x_um", "0", HERE, "0 um", "outside"},
        {"/layout/pitch_x_um", "\"9400\"", HERE, "\"9400\"", "not a number"},
        {"/layout/pitch_x_um", "94000", HERE, "94000 um", "not one whole die"},
        {"/layout/pitch_um", "9400", HERE, "\"pitch_um\"", "the nearest is"},
        {"/layout/street_um", "5000.5", HERE, "5000.5 um", "outside"},
        {"/layout/edge_exclusion_mm", "50", HERE, "50 mm", "leaves nothing"},
        {"/layout/reference_die/x", "7", "/layout/reference_die", "7,0", "not a whole die"},
        {"/layout/excluded", "[{\"x\": 9, \"y\": 9}]", "/layout/excluded/0", "9,9", "leave it out"},
        {"/layout/excluded", "[{\"x\": 0, \"y\": 0}]", "/layout/excluded/0", "0,0", "reference"},
        {"/layout/devices/3/name", "\"L1\"", HERE, "\"L1\"", "unique"},
        {"/layout/devices/3/name", "\"=L1\"", HERE, "\"=L1\"", "no name"},
        {"/layout/devices/3/kind", "\"unknown\"", HERE, "\"unknown\"", "L2"},
        {"/layout/devices/3/kind", "\"coil\"", HERE, "\"coil\"", "inductor"},
        {"/layout/devices/3/x_um", "4600", HERE, "4600 um", "move the device inwards"},
        {"/layout/devices/3/y_um", "-4700", HERE, "-4700 um", "move the device inwards"},
        {"/layout/devices/3/y_um", "3000", "/layout/devices/3", "-1000, 3000 um", "L1 stands already"},
        {"/layout/devices/6/length_um", "0", HERE, "0 um", "TL1"},
        {"/layout/devices/3/footprint/ports", "4", HERE, "4 ports", "two-port"},
        {"/layout/ladder_columns", "16", HERE, "16 columns", "fewer columns"},
};

static const struct bad recipes[] = {
        {"/layout/devices/4/footprint/pitch_um", "50", HERE, "footprint pitch 50 um, but probe P1 has 75 um",
         "fit other probes or leave the device out"},
        {"/layout/devices/4/footprint/order", "\"GS\"", HERE, "GS", "probe P1 has GSG"},
        {"/layout/devices/4/footprint/overtravel_um_max", "35", HERE, "35 um", "lower one"},
        {"/setup/probes/1/port", "1", HERE, "1", "port 2"},
        {"/setup/probes/2", "{\"port\":3,\"serial\":\"P3\",\"pitch_um\":75,\"order\":\"GSG\"}", "/setup/probes", "3 probes",
         "from files: `tipplane solve`"},
        {"/setup/probes/1", NULL, "/setup/probes", "1 probe;", "two probes for ports 1 and 2"},
        {"/setup/probes/1/serial", "\"P1\"", HERE, "\"P1\"", "its own ledger"},
        {"/setup/separation_um", "200", HERE, "200 um", "outside 250 um"},
        {"/setup/substrate", NULL, HERE, "OPEN_AIR", "give the substrate's serial"},
        {"/sweeps/0/segments/1/start_hz", "9000000", HERE, "9000000 Hz", "let segments rise"},
        {"/sweeps/0/segments/1/stop_hz", "10000000", HERE, "10000000 Hz", "stop must lie above start"},
        {"/sweeps/0/segments/1/points", "1.5", HERE, "1.5", "whole number"},
        {"/sweeps/0/segments/1/ifbw_hz", "-100", HERE, "-100 Hz", "outside"},
        {"/standards/1/name", "\"LOAD_A\"", "/standards/2/name", "\"LOAD_A\"", "unique"},
        {"/standards/1/raised", "true", HERE, "true for SHORT_A", "only an open"},
        {"/standards/1/touches_max", "0", HERE, "0 for SHORT_A", "budget"},
        {"/standards/1/place", "\"cleaner\"", HERE, "\"cleaner\"", "substrate or on the wafer"},
        {"/standards/4/touches_max", "5", HERE, "5 touches for SHORT_B, one run needs 7", "check less often"},
        {"/setup/tip_touches_max", "400", HERE, "400 touches, one run needs 442", "fresh probes"},
        {"/calibration/method", "\"lrq\"", HERE, "\"lrq\"", "unknown_thru"},
        {"/calibration/method", NULL, HERE, "missing", "unknown_thru"},
        {"/calibration/sweep", "\"narrow\"", HERE, "\"narrow\"", "there are: wide"},
        {"/calibration/standards/2", NULL, "/calibration/standards", "0 of kind load", "at least 1"},
        {"/calibration/load_resistance", "\"read\"", HERE, "\"read\"", "measured"},
        {"/calibration/load_resistance", "\"measured\"", "/setup/dc_ohm_u", "missing", "the DC meter's reading"},
        {"/setup/dc_ohm_u", "-1", HERE, "-1 ohm", "outside"},
        {"/calibration/standards/2/standard", "\"LOAD_C\"", HERE, "\"LOAD_C\"", "MISMATCH_A"},
        {"/standards/2/model/r_ohm", "0", "/standards/2/model", "0 ohm", "above 0"},
        {"/standards/2/model/r_per_k", "0.5", HERE, "0.5", "outside"},
        {"/standards/2/model/dc_ohm", "61", "/standards/2/model", "61 ohm at DC", "not in contact"},
        {"/standards/2/model/r_tolerance_ohm", "50", HERE, "50 ohm for LOAD_A of 50 ohm", "lets a short pass"},
        {"/standards/2/model/dc_ohm", "-1", HERE, "-1 ohm", "outside"},
        {"/standards/1/data", "[{\"hz\":1e9,\"s11\":[-1,0]}]", "/standards/1/model", "what SHORT_A is", "leave one of them out"},
        {"/standards/1/model/l_h", "[1,2]", HERE, "2", "4"},
        {"/standards/1/model/l_h", "[4,0,0,0]", HERE, "4 H at 1 GHz", "4 pH is 4e-12"},
        {"/standards/0/model/c_f", "[-6.5e-15,0,1e-24,0]", HERE, "number 3 is 1e-24", "6.5 fF is 6.5e-15"},
        {"/standards/0/model/r_ohm", "50", HERE, "of a load", "kind open"},
        {"/standards/3/model/l_h", "[1e-12,0,0,0]", HERE, "a short or a load", "kind thru"},
        {"/standards/0/kind", NULL, HERE, "missing", "one of open, short, load, thru, line, reflect"},
        {"/standards/0/port_2", "{\"kind\":\"thru\"}", "/standards/0/port_2/kind", "\"thru\"", "only opens, shorts and loads"},
        {"/standards/0/port_2", "{}", "/standards/0/port_2/kind", "missing", "needs it"},
        {"/standards/0/port_2", "{\"kind\":\"short\"}", "/calibration/standards", "0 of kind open", "at least 1"},
        {"/calibration/match_fit", "\"all\"", HERE, "\"all\"", "from_open"},
        {"/calibration/verify/0/standard", "\"LOAD_A\"", HERE, "\"LOAD_A\"", "a calibration agrees with itself always"},
        {"/calibration/verify/0/limit", "0", HERE, "0", "outside"},
        {"/check/every_dies", "0", HERE, "0 means no checks", "no standards"},
        {"/check/standards", "[]", HERE, "every 12 dies", "name the copies"},
        {"/check/limits", NULL, HERE, "every 12 dies", "give its limits"},
        {"/check/standards/0/standard", "\"OPEN_AIR\"", HERE, "OPEN_AIR", "name copies to touch"},
        {"/proof/device", "\"L1\"", HERE, "\"L1\"", "by a ladder"},
        {"/proof/dies/2", NULL, "/proof/dies", "2 dies", "at least three"},
        {"/proof/dies", "[{\"x\":0,\"y\":0},{\"x\":1,\"y\":0},{\"x\":2,\"y\":0}]", HERE, "row 0", "turned wafer"},
        {"/proof/dies/2/x", "6", "/proof/dies/2", "die 6,-2", "not a whole die"},
        {"/standards/0/data_u", "0.01", HERE, "has none", "u_r_ohm"},
        {"/standards/0/data_u", "2", HERE, "2", "outside"},
        {"/order", "\"spiral\"", HERE, "\"spiral\"", "interleave"},
        {"/sampling", "\"half\"", HERE, "\"half\"", "all"},
        {"/measures/2/device", "\"L9\"", HERE, "\"L9\"", "there are: OPEN, SHORT, L1"},
        {"/measures/3/device", "\"L1\"", HERE, "\"L1\"", "measured already"},
        {"/measures/2/device", "\"LADDER\"", HERE, "\"LADDER\"", "proves the place"},
        {"/measures/2/sweep", "\"wider\"", HERE, "\"wider\"", "there are: wide"},
        {"/measures/2/open", "\"SHORT\"", HERE, "\"SHORT\"", "must be of kind open"},
        {"/measures/2/short", NULL, HERE, "missing", "needs its dummy"},
        {"/measures/2/deembed", "\"open\"", "/measures/2/short", "\"SHORT\"", "leave it out"},
        {"/measures/0", NULL, "/measures/1/open", "OPEN", "measure dummies first"},
        {"/measures/4/conditions/0/volt", "28", HERE, "28 V", "max_volt of 10 V"},
        {"/measures/4/conditions/0/channel", "0", HERE, "0 for 10 V", "name the bias channel"},
        {"/measures/4/conditions/0/gate", "{\"volt\":28,\"limit_a\":0.01}", "/measures/4/conditions/0/gate/volt", "28 V at the gate",
         "max_volt of 10 V"},
        {"/measures/4/conditions/0/gate", "{\"volt\":1,\"limit_a\":0}", "/measures/4/conditions/0/gate/limit_a", "0 A", "current limit"},
        {"/measures/4/conditions/0/gate", "{\"volt\":1,\"limit_a\":0.01,\"channel\":1}", "/measures/4/conditions/0/gate/channel",
         "beside channel 1", "the lower one"},
        {"/measures/4/conditions/0/limit_a", "0", HERE, "0 A", "current limit"},
        {"/measures/4/conditions", "[]", HERE, "a list of 0", "1 to 32"},
        {"/measures/2/contact/dc_ohm_high", "0.01", HERE, "0.01 ohm", "range of a good contact"},
        {"/measures/2/parameters/0/acceptance", "\"lenient\"", HERE, "\"lenient\"", "guarded"},
        {"/measures/2/parameters/0/risk", "0.6", HERE, "0.6", "outside"},
        {"/measures/2/parameters/0/risk", "0", HERE, "0", "outside"},
        {"/measures/2/parameters/0/low", "400e-12", "/measures/2/parameters/0/high", "4e-10 H", "exchanged or in another unit"},
        {"/measures/2/parameters/0/freq_hz", "221e9", HERE, "221000000000 Hz", "outside sweep wide"},
        {"/measures/2/parameters/0/expect_high", NULL, HERE, "nan", "give both"},
        {"/measures/2/parameters/1/name", "\"L_10GHz\"", HERE, "\"L_10GHz\"", "unique"},
        {"/measures/2/parameters/0/quantity", "\"eps_eff\"", HERE, "\"eps_eff\"", "of lines"},
        {"/measures/2/parameters/2/freq_hz", "1e9", HERE, "1000000000 Hz", "leave it out"},
        {"/measures/2/parameters/0/quantity", "\"fT\"", HERE, "\"fT\"", "of transistors"},
        {"/measures/2/parameters/0/quantity", "\"h21\"", HERE, "\"h21\"", "of transistors"},
        {"/measures/2/parameters/0/quantity", "\"R_line\"", HERE, "\"R_line\"", "of lines"},
        {"/measures/2/parameters/0/quantity", "\"SRFd\"", "/measures/2/parameters/0/freq_hz", "10000000000 Hz", "leave it out"},
        {"/measures/2/parameters/0/quantity", "\"Ls\"", HERE, "\"Ls\"", "L11"},
        {"/measures/2/deembed", "\"three_step\"", "/measures/2/short", "\"SHORT\"", "leave it out"},
        {"/measures/2/deembed", "\"pad_open_short\"", "/measures/2/pad", "missing", "needs its dummy"},
        {"/measures/2/pad", "\"OPEN\"", HERE, "\"OPEN\"", "needs none"},
        {"/measures/2/deembed", "\"two_x_thru\"", "/measures/2/sweep", "\"wide\"", "starts at its own step"},
        {"/measures/2/two_x_thru", "\"SHORT\"", HERE, "\"SHORT\"", "needs none"},
        {"/measures/2/parameters/0/at", "\"best_window\"", "/measures/2/parameters/0/freq_hz", "10000000000 Hz", "leave one out"},
        {"/measures/2/parameters/2/at", "\"best_window\"", HERE, "SRF", "found in the whole sweep"},
        {"/measures/2/parameters/0/at", "\"here\"", HERE, "\"here\"", "best_window"},
        {"/measures/2/parameters/0/quantity", "\"Qd_max\"", "/measures/2/parameters/0/freq_hz", "10000000000 Hz", "Qd_max is found"},
        {"/measures/2/parameters/0/quantity", "\"group_delay\"", HERE, "\"group_delay\"", "of lines"},
        {"/measures/0/parameters", "[{\"name\":\"C\",\"quantity\":\"C\",\"freq_hz\":1e9}]", HERE, "OPEN", "dummies have no parameters"},
        {"/mesures", "[]", HERE, "\"mesures\"", "the nearest is \"measures\""},
        {"/setup", NULL, HERE, "missing", "recipe needs it"},
};

static const struct bad recordings[] = {
        {"/calibration/standards", "[{\"standard\":\"LINE_0200\"},{\"standard\":\"SHORT\"}]", HERE, "1 of kind line", "at least 2"},
        {"/calibration/eps_eff", "0.5", HERE, "0.5", "at least 1"},
        {"/mandate/rescue_suspects", "true", HERE, "no standard is raised", "a raised open"},
        {"/calibration/reflect_estimate", "0", HERE, "0", "-1 for a short"},
        {"/standards/5/kind", "\"load\"", "/calibration/standards", "0 of kind reflect", "at least 1"},
        {"/standards/5/x_um", "60000", "/standards/5", "60000, 0 um", "off the wafer"},
};

/* of tests/unit/golden/bands.recipe.json: unknown_thru from 70 kHz to 4 GHz, lines from 0.3 GHz */
static const struct bad bands[] = {
        {"/calibration/method", "\"solt\"", HERE, "\"solt\"", "leave one out"},
        {"/calibration/bands/1", NULL, "/calibration/bands", "1 band", "another band"},
        {"/calibration/bands/1/method", "\"sol\"", HERE, "\"sol\"", "no two-port method; there are: solt"},
        {"/calibration/bands/1/method", NULL, HERE, "missing", "band needs it"},
        {"/calibration/bands/0/from_hz", "1e5", HERE, "100000 Hz leaves a gap", "begin there"},
        {"/calibration/bands/1/to_hz", "200e9", HERE, "200000000000 Hz leaves a gap", "end there"},
        {"/calibration/bands/1/from_hz", "5e9", HERE, "5000000000 Hz leaves a gap", "let them overlap"},
        {"/calibration/bands/1/from_hz", "3.8e9", HERE, "it shares 1 frequencies", "an octave or more"},
        {"/calibration/bands/1/from_hz", "230e9", "/calibration/bands/1/to_hz", "220000000000 Hz, not above 230000000000 Hz", "exchange"},
        {"/calibration/bands/1",
         "{\"method\":\"multiline_trl\",\"from_hz\":230e9,\"to_hz\":240e9,\"standards\":[{\"standard\":\"THRU_A\"}]}",
         "/calibration/bands/1/from_hz", "230000000000 Hz to 240000000000 Hz holds no frequency", "leave the band out"},
        {"/calibration/bands/0/to_hz", "221e9", "/calibration/bands/1/from_hz", "300000000 Hz to 220000000000 Hz", "bands rise"},
        {"/calibration/bands/0/standards/2", NULL, "/calibration/bands/0/standards", "0 of kind load", "at least 1"},
        {"/calibration/bands/0/standards/4", "{\"standard\":\"LINE_0450\"}", "/calibration/bands/0/standards/4/standard",
         "LINE_0450 is a line", "no use for"},
        {"/calibration/bands/0/standards/3/standard", "\"THRU_Z\"", HERE, "\"THRU_Z\"", "no standard of this recipe"},
        {"/calibration/bands/0/standards/3/standard", "\"THRU_B\"", HERE, "\"THRU_B\" is not among", "name it there too"},
        {"/calibration/bands/1/standards/3", NULL, "/calibration/standards/6/standard", "\"LINE_2100\" is used in no band", "leave it out"},
        {"/calibration/bands/1/standards", "[{\"standard\":\"THRU_A\"},{\"standard\":\"SHORT_A\"}]", HERE, "1 of kind line", "at least 2"},
        {"/calibration/standards/4", NULL, "/calibration/bands/1/standards/1/standard", "\"LINE_0450\" is not among", "name it there too"},
        {"/calibration/line_capacitance_f_m", NULL, HERE, "missing", "so that all are in 50 ohm"},
        {"/calibration/line_z_ohm", "55", HERE, "55 ohm", "give one of them"},
        {"/calibration/plane", "\"line_middle\"", HERE, "\"line_middle\"", "say \"tip\""},
        {"/calibration/plane", "\"device\"", HERE, "\"device\"", "tip"},
        {"/calibration/bands/0/method", "\"sixteen_term\"", HERE, "\"sixteen_term\"", "use it alone"},
        {"/calibration/bands/2",
         "{\"method\":\"multiline_trl\",\"from_hz\":2e9,\"to_hz\":230e9,\"standards\":[{\"standard\":\"LINE_0450\"},{\"standard\":\"LINE_"
         "2100\"},{\"standard\":\"SHORT_A\"}]}",
         "/calibration/bands/2/from_hz", "2000000000 Hz lies below 4000000000 Hz", "two at most overlap"},
        {"/calibration/bands/0",
         "{\"method\":\"multiline_trl\",\"from_hz\":7e4,\"to_hz\":4e9,\"standards\":[{\"standard\":\"LINE_0450\"},{\"standard\":\"LINE_"
         "2100\"},{\"standard\":\"SHORT_A\"}]}",
         "/calibration/standards/0/standard", "\"OPEN_AIR\" is used in no band", "leave it out"},
        {"/calibration/eps_eff", NULL, HERE, "0", "at least 1"},
        {"/calibration/reflect_estimate", "0.1", HERE, "0.1", "-1 for a short"},
};

/* L1 as a transistor that is read off, cold and biased */
static const struct bad transistor[] = {
        {"/layout/devices/2/kind", "\"transistor\"", NULL, NULL, NULL},
        {"/measures/2/conditions",
         "[{\"name\":\"on\",\"volt\":1,\"channel\":1,\"limit_a\":0.05,\"gate\":{\"volt\":0.9,\"limit_a\":0.001}},{\"name\":\"off\"},"
         "{\"name\":\"cold_1\",\"gate\":{\"volt\":0.9,\"limit_a\":0.001}},{\"name\":\"cold_2\",\"gate\":{\"volt\":1.4,\"limit_a\":0.001}}]",
         NULL, NULL, NULL},
        {"/measures/2/parameters", "[{\"name\":\"gm\",\"quantity\":\"gm\",\"freq_hz\":1e10},{\"name\":\"c_in\",\"quantity\":\"c_in\"}]",
         NULL, NULL, NULL},
        {"/measures/2/extrinsic",
         "{\"off\":\"off\",\"cold\":[{\"condition\":\"cold_1\",\"drive\":0.5},{\"condition\":\"cold_2\",\"drive\":1}],\"from_hz\":1e9}",
         NULL, NULL, NULL},
};
static const struct bad leads[] = {
        {"/layout/devices/2/kind", "\"inductor\"", "/measures/2/extrinsic", "L1 is a inductor", "only a transistor"},
        {"/measures/2/extrinsic/off", "\"pinched\"", HERE, "\"pinched\"", "there are: on, off, cold_1, cold_2"},
        {"/measures/2/extrinsic/off", "\"on\"", HERE, "\"on\" has 1 V", "which amplifies then"},
        {"/measures/2/extrinsic/cold/1/condition", "\"cold_3\"", HERE, "\"cold_3\"", "there are: on"},
        {"/measures/2/extrinsic/cold/1/condition", "\"cold_1\"", HERE, "\"cold_1\"", "named twice"},
        {"/measures/2/extrinsic/cold/1/condition", "\"off\"", HERE, "\"off\" biases no gate", "give it one"},
        {"/measures/2/extrinsic/off", "\"cold_1\"", "/measures/2/extrinsic/cold/0/condition", "\"cold_1\" is the off state", "either"},
        {"/measures/2/extrinsic/cold/1/drive", "0.5", "/measures/2/extrinsic/cold", "from 0.5 to 0.5", "over different ones"},
        {"/measures/2/extrinsic/cold/1/drive", "-1", HERE, "-1", "outside"},
        {"/measures/2/extrinsic/cold/1", NULL, "/measures/2/extrinsic/cold", "a list of 1", "2 to 16"},
        {"/measures/2/extrinsic/off_as", "\"unknown\"", HERE, "\"unknown\"", "pi and cold_pinch"},
        {"/measures/2/extrinsic/cold_as", "\"unknown\"", HERE, "\"unknown\"", "gate_forward, vanishing and open_collector"},
        {"/measures/2/extrinsic/cold_as", "\"gate_forward\"", "/measures/2/extrinsic/channel_ohm", "0 ohm", "four resistances"},
        {"/measures/2/extrinsic/channel_ohm", "5", HERE, "5 ohm", "leave it out"},
        {"/measures/2/extrinsic/below_hz", "1e9", HERE, "1e+09 Hz", "three or more"},
        {"/measures/2/extrinsic/off_below_hz", "7e4", HERE, "70000 Hz", "three or more"},
        {"/measures/2/conditions/3/name", "\"cold_1\"", HERE, "\"cold_1\"", "condition 2 already"},
        {"/measures/2/extrinsic", NULL, "/measures/2/parameters/1/quantity", "\"c_in\"", "give L1 \"extrinsic\""},
        {"/measures/2/extrinsic/off", NULL, "/measures/2/parameters/1/quantity", "\"c_in\"", "give \"extrinsic\" its \"off\""},
        {"/measures/2/parameters/1/quantity", "\"c_between\"", HERE, "\"c_between\"", "not a pad"},
        {"/measures/2/parameters/0/quantity", "\"Cds\"", HERE, "\"Cds\"", "open dummy"},
        {"/measures/2/parameters/1/freq_hz", "1e9", HERE, "1000000000 Hz", "leave it out"},
};

/* L1 as a bipolar */
static const struct bad bipolar[] = {
        {"/layout/devices/2/kind", "\"transistor\"", NULL, NULL, NULL},
        {"/measures/2/conditions",
         "[{\"name\":\"on\",\"volt\":1.2,\"limit_a\":0.03,\"base\":{\"ampere\":6e-5,\"limit_v\":1.2,\"channel\":1}},{\"name\":\"off\"},"
         "{\"name\":\"cold_1\",\"open_v\":1,\"base\":{\"ampere\":2e-3,\"limit_v\":1.2,\"channel\":1}},"
         "{\"name\":\"cold_2\",\"base\":{\"ampere\":5e-3,\"limit_v\":1.2,\"channel\":1}}]",
         NULL, NULL, NULL},
        {"/measures/2/parameters", "[{\"name\":\"gm\",\"quantity\":\"hbt_gm\",\"freq_hz\":1e10}]", NULL, NULL, NULL},
        {"/measures/2/extrinsic",
         "{\"off\":\"off\",\"off_as\":\"pi\",\"cold\":[{\"condition\":\"cold_1\",\"drive\":2e-3},{\"condition\":\"cold_2\",\"drive\":5e-3}]"
         ","
         "\"cold_as\":\"open_collector\"}",
         NULL, NULL, NULL},
};
static const struct bad bases[] = {
        {"/layout/devices/2/kind", "\"inductor\"", "/measures/2/conditions/0/base", "L1 is a inductor", "only a transistor"},
        {"/measures/2/conditions/0/base/ampere", "0", HERE, "0 A for the base", "off then"},
        {"/measures/2/conditions/0/base/ampere", "2", HERE, "2 A", "outside"},
        {"/measures/2/conditions/0/base/limit_v", "0", HERE, "0 V for the base", "needs a voltage limit"},
        {"/measures/2/conditions/0/base/limit_v", NULL, HERE, "missing", "without one"},
        {"/measures/2/conditions/0/base/limit_v", "28", HERE, "28 V", "max_volt of 10 V"},
        {"/measures/2/conditions/0/base/channel", "0", HERE, "beside channel 0", "the higher one"},
        {"/measures/2/conditions/0/limit_a", "0", HERE, "0 A for 1.2 V", "current limit"},
        {"/measures/2/conditions/0/gate", "{\"volt\":1,\"limit_a\":0.01}", HERE, "has a base as well", "either"},
        {"/measures/2/conditions/0/open_v", "1", HERE, "set to 1.2 V", "either"},
        {"/measures/2/conditions/1/open_v", "1", HERE, "1 V", "goes with a base current"},
        {"/measures/2/conditions/2/open_v", "28", HERE, "28 V", "max_volt of 10 V"},
        {"/measures/2/conditions/2/base/channel", "0", HERE, "beside channel 0", "goes before"},
        {"/measures/2/conditions/2/base/ampere", "3e-3", "/measures/2/extrinsic/cold/0/drive", "base current is 0.003 A", "the same"},
        {"/measures/2/conditions/3/base", NULL, "/measures/2/extrinsic/cold/1/condition", "no base current", "give it \"base\""},
        {"/measures/2/extrinsic/cold_as", "\"vanishing\"", "/measures/2/extrinsic/cold/0/condition", "drives the base", "open_collector"},
        {"/measures/2/extrinsic/off_as", "\"cold_pinch\"", HERE, "a bipolar", "say \"pi\""},
        {"/measures/2/extrinsic/off", "\"cold_2\"", HERE, "drives the base", "not off"},
        {"/measures/2/parameters/0/quantity", "\"C_pi\"", HERE, "\"C_pi\"", "open dummy"},
};

/* A standard that is known by data and by nothing else. */
static const struct bad no_model[] = {{"/standards/0/model", "{}", NULL, NULL, NULL}};
static const struct bad by_data[] = {
        {"/standards/0/data", "[{\"hz\":7e4,\"s11\":[1,0]},{\"hz\":1e9,\"s11\":[1,0]},{\"hz\":2e9,\"s11\":[1,0]}]", HERE,
         "nothing is extrapolated", "over the whole sweep"},
        {"/standards/0/data",
         "[{\"hz\":7e4,\"s11\":[1,0]},{\"hz\":5e10,\"s11\":[0,1]},{\"hz\":1e11,\"s11\":[0,-1]},{\"hz\":2.2e11,\"s11\":[-1,0]}]", HERE,
         "too coarse", "more rows"},
        {"/standards/0/data", "[{\"hz\":2e9,\"s11\":[1,0]},{\"hz\":1e9,\"s11\":[1,0]}]", "/standards/0/data/1/hz", "1000000000 Hz",
         "sort the rows"},
        {"/standards/0/data", "[{\"hz\":2e9,\"s11\":[1]}]", "/standards/0/data/0/s11", "1", "2"},
};

/* Another sweep, for a device that uses it. */
static const struct bad loud[] = {
        {"/sweeps/1",
         "{\"name\":\"loud\",\"segments\":[{\"start_hz\":7e4,\"stop_hz\":7e4,\"points\":1,\"spacing\":\"log\",\"ifbw_hz\":100,"
         "\"power_dbm\":0}]}",
         NULL, NULL, NULL},
};
static const struct bad sweeps[] = {
        {"/measures/0/sweep", "\"loud\"", HERE, "drives the tips with 0 dBm", "calibrate at this power"},
};

#define DEMO "simulators/demo/recipe.json"
#define ROWS(table) table, sizeof(table) / sizeof(table)[0]
struct refusals {
        const char *path;
        const struct bad *first;
        size_t first_n;
        const struct bad *rows;
        size_t n;
};
static const struct refusals of_layouts = {DEMO, NULL, 0, ROWS(layouts)}, of_recipes = {DEMO, NULL, 0, ROWS(recipes)},
                             of_leads = {DEMO, ROWS(transistor), ROWS(leads)}, of_bases = {DEMO, ROWS(bipolar), ROWS(bases)},
                             of_lines = {"tests/station/replay/onwafer_raw.recipe.json", NULL, 0, ROWS(recordings)},
                             of_bands = {"tests/unit/golden/bands.recipe.json", NULL, 0, ROWS(bands)},
                             of_data = {DEMO, ROWS(no_model), ROWS(by_data)}, of_sweeps = {DEMO, ROWS(loud), ROWS(sweeps)};

static void each_is_refused_with_place_and_value(void **state)
{
        const struct refusals *r = *state;
        assert_refused_after(r->path, r->first, r->first_n, NULL); /* good as it stands */
        for (size_t i = 0; i < r->n; i++)
                assert_refused_after(r->path, r->first, r->first_n, &r->rows[i]);
}

static void what_is_no_json_is_refused_too(void **state)
{
        (void)state;
        static const char *const texts[] = {
                "", "[]", "null", "{\"name\": \"x\", \"name\": \"y\"}", "{\"name\": 01}", "{\"name\": \"x\"} {}", "\xEF\xBB\xBF{}"};
        for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
                struct arena *a = arena_new(0);
                struct recipe *r = NULL;
                struct tp_error err = {0};
                assert_int_equal(recipe_read(texts[i], strlen(texts[i]), a, &r, &err), CODE_BAD_INPUT);
                assert_null(r);
                assert_true(strlen(err.text) > 10);
                arena_free(a);
        }
}

#define REFUSED(what, of)                                                                                                         \
        {                                                                                                                         \
                what " is refused with place and value", each_is_refused_with_place_and_value, NULL, NULL, (void *)(uintptr_t)&of \
        }

int main(void)
{
        const struct CMUnitTest tests[] = {
                REFUSED("each bad layout", of_layouts),           REFUSED("each bad recipe", of_recipes),
                REFUSED("each bad way to find leads", of_leads),  REFUSED("each bad base", of_bases),
                REFUSED("each bad line calibration", of_lines),   REFUSED("each bad band", of_bands),
                REFUSED("each bad list of data", of_data),        REFUSED("a device swept outside of the calibration's domain", of_sweeps),
                cmocka_unit_test(what_is_no_json_is_refused_too),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
