/* Bad recipes and layouts: each is the good demo (or a recording's) recipe with one change, and each is refused with a sentence that names
   the place, shows the value and says what to do. */
#include "tests/unit/recipe_helper.h"

struct bad {
        const char *where;   /* JSON pointer of the change */
        const char *value;   /* new JSON value; NULL: the key is taken away */
        const char *pointer; /* expected, in the error and in the sentence */
        const char *shows;   /* expected in the sentence: the value */
        const char *says;    /* expected in the sentence: what is wrong or what to do */
};

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
        if (b && (strcmp(err.pointer, b->pointer) != 0 || !strstr(err.text, b->pointer) || !strstr(err.text, b->shows) ||
                  !strstr(err.text, b->says)))
                fail_msg("%s = %s: wanted \"%s\", \"%s\", \"%s\"; got pointer \"%s\", sentence \"%s\"", b->where,
                         b->value ? b->value : "(taken away)", b->pointer, b->shows, b->says, err.pointer, err.text);
        cJSON_free(changed);
        cJSON_Delete(json);
        arena_free(a);
        free(text);
}

static const struct bad layouts[] = {
        {"/layout/pitch_x_um", "0", "/layout/pitch_x_um", "0 um", "outside"},
        {"/layout/pitch_x_um", "\"9400\"", "/layout/pitch_x_um", "\"9400\"", "not a number"},
        {"/layout/pitch_x_um", "94000", "/layout/pitch_x_um", "94000 um", "not one whole die"},
        {"/layout/pitch_um", "9400", "/layout/pitch_um", "\"pitch_um\"", "the nearest is"},
        {"/layout/street_um", "5000.5", "/layout/street_um", "5000.5 um", "outside"},
        {"/layout/edge_exclusion_mm", "50", "/layout/edge_exclusion_mm", "50 mm", "leaves nothing"},
        {"/layout/reference_die/x", "7", "/layout/reference_die", "7,0", "not a whole die"},
        {"/layout/excluded", "[{\"x\": 9, \"y\": 9}]", "/layout/excluded/0", "9,9", "leave it out"},
        {"/layout/excluded", "[{\"x\": 0, \"y\": 0}]", "/layout/excluded/0", "0,0", "reference"},
        {"/layout/devices/3/name", "\"L1\"", "/layout/devices/3/name", "\"L1\"", "unique"},
        {"/layout/devices/3/name", "\"=L1\"", "/layout/devices/3/name", "\"=L1\"", "no name"},
        {"/layout/devices/3/kind", "\"unknown\"", "/layout/devices/3/kind", "\"unknown\"", "L2"},
        {"/layout/devices/3/kind", "\"coil\"", "/layout/devices/3/kind", "\"coil\"", "inductor"},
        {"/layout/devices/3/x_um", "4600", "/layout/devices/3/x_um", "4600 um", "move the device inwards"},
        {"/layout/devices/3/y_um", "-4700", "/layout/devices/3/y_um", "-4700 um", "move the device inwards"},
        {"/layout/devices/3/y_um", "3000", "/layout/devices/3", "-1000, 3000 um", "L1 stands already"},
        {"/layout/devices/6/length_um", "0", "/layout/devices/6/length_um", "0 um", "TL1"},
        {"/layout/devices/3/footprint/ports", "4", "/layout/devices/3/footprint/ports", "4 ports", "two-port"},
        {"/layout/ladder_columns", "16", "/layout/ladder_columns", "16 columns", "fewer columns"},
};

static const struct bad recipes[] = {
        {"/layout/devices/4/footprint/pitch_um", "50", "/layout/devices/4/footprint/pitch_um",
         "footprint pitch 50 um, but probe P1 has 75 um", "fit other probes or leave the device out"},
        {"/layout/devices/4/footprint/order", "\"GS\"", "/layout/devices/4/footprint/order", "GS", "probe P1 has GSG"},
        {"/layout/devices/4/footprint/overtravel_um_max", "35", "/layout/devices/4/footprint/overtravel_um_max", "35 um", "lower one"},
        {"/setup/probes/1/port", "1", "/setup/probes/1/port", "1", "port 2"},
        {"/setup/probes/2", "{\"port\":3,\"serial\":\"P3\",\"pitch_um\":75,\"order\":\"GSG\"}", "/setup/probes", "3 probes",
         "from files: `tipplane solve`"},
        {"/setup/probes/1", NULL, "/setup/probes", "1 probe;", "two probes for ports 1 and 2"},
        {"/setup/probes/1/serial", "\"P1\"", "/setup/probes/1/serial", "\"P1\"", "its own ledger"},
        {"/setup/separation_um", "200", "/setup/separation_um", "200 um", "outside 250 um"},
        {"/setup/substrate", NULL, "/setup/substrate", "OPEN_AIR", "give the substrate's serial"},
        {"/sweeps/0/segments/1/start_hz", "9000000", "/sweeps/0/segments/1/start_hz", "9000000 Hz", "let segments rise"},
        {"/sweeps/0/segments/1/stop_hz", "10000000", "/sweeps/0/segments/1/stop_hz", "10000000 Hz", "stop must lie above start"},
        {"/sweeps/0/segments/1/points", "1.5", "/sweeps/0/segments/1/points", "1.5", "whole number"},
        {"/sweeps/0/segments/1/ifbw_hz", "-100", "/sweeps/0/segments/1/ifbw_hz", "-100 Hz", "outside"},
        {"/standards/1/name", "\"LOAD_A\"", "/standards/2/name", "\"LOAD_A\"", "unique"},
        {"/standards/1/raised", "true", "/standards/1/raised", "true for SHORT_A", "only an open"},
        {"/standards/1/touches_max", "0", "/standards/1/touches_max", "0 for SHORT_A", "budget"},
        {"/standards/1/place", "\"cleaner\"", "/standards/1/place", "\"cleaner\"", "substrate or on the wafer"},
        {"/standards/4/touches_max", "5", "/standards/4/touches_max", "5 touches for SHORT_B, one run needs 7", "check less often"},
        {"/setup/tip_touches_max", "400", "/setup/tip_touches_max", "400 touches, one run needs 442", "fresh probes"},
        {"/calibration/method", "\"lrq\"", "/calibration/method", "\"lrq\"", "unknown_thru"},
        {"/calibration/method", NULL, "/calibration/method", "missing", "unknown_thru"},
        {"/calibration/sweep", "\"narrow\"", "/calibration/sweep", "\"narrow\"", "there are: wide"},
        {"/calibration/standards/2", NULL, "/calibration/standards", "0 of kind load", "at least 1"},
        {"/calibration/load_resistance", "\"read\"", "/calibration/load_resistance", "\"read\"", "measured"},
        {"/calibration/load_resistance", "\"measured\"", "/setup/dc_ohm_u", "missing", "the DC meter's reading"},
        {"/setup/dc_ohm_u", "-1", "/setup/dc_ohm_u", "-1 ohm", "outside"},
        {"/calibration/standards/2/standard", "\"LOAD_C\"", "/calibration/standards/2/standard", "\"LOAD_C\"", "MISMATCH_A"},
        {"/standards/2/model/r_ohm", "0", "/standards/2/model", "0 ohm", "above 0"},
        {"/standards/2/model/r_per_k", "0.5", "/standards/2/model/r_per_k", "0.5", "outside"},
        {"/standards/2/model/dc_ohm", "61", "/standards/2/model", "61 ohm at DC", "not in contact"},
        {"/standards/2/model/r_tolerance_ohm", "50", "/standards/2/model/r_tolerance_ohm", "50 ohm for LOAD_A of 50 ohm",
         "lets a short pass"},
        {"/standards/2/model/dc_ohm", "-1", "/standards/2/model/dc_ohm", "-1 ohm", "outside"},
        {"/standards/1/model/l_h", "[1,2]", "/standards/1/model/l_h", "2", "4"},
        {"/standards/0/port_2", "{\"kind\":\"thru\"}", "/standards/0/port_2/kind", "\"thru\"", "only opens, shorts and loads"},
        {"/standards/0/port_2", "{}", "/standards/0/port_2/kind", "missing", "needs it"},
        {"/standards/0/port_2", "{\"kind\":\"short\"}", "/calibration/standards", "0 of kind open", "at least 1"},
        {"/standards/0/data", "[{\"hz\":7e4,\"s11\":[1,0]},{\"hz\":1e9,\"s11\":[1,0]},{\"hz\":2e9,\"s11\":[1,0]}]", "/standards/0/data",
         "nothing is extrapolated", "over the whole sweep"},
        {"/standards/0/data",
         "[{\"hz\":7e4,\"s11\":[1,0]},{\"hz\":5e10,\"s11\":[0,1]},{\"hz\":1e11,\"s11\":[0,-1]},{\"hz\":2.2e11,\"s11\":[-1,0]}]",
         "/standards/0/data", "too coarse", "more rows"},
        {"/standards/0/data", "[{\"hz\":2e9,\"s11\":[1,0]},{\"hz\":1e9,\"s11\":[1,0]}]", "/standards/0/data/1/hz", "1000000000 Hz",
         "sort the rows"},
        {"/standards/0/data", "[{\"hz\":2e9,\"s11\":[1]}]", "/standards/0/data/0/s11", "1", "2"},
        {"/calibration/match_fit", "\"all\"", "/calibration/match_fit", "\"all\"", "from_open"},
        {"/calibration/verify/0/standard", "\"LOAD_A\"", "/calibration/verify/0/standard", "\"LOAD_A\"",
         "a calibration agrees with itself always"},
        {"/calibration/verify/0/limit", "0", "/calibration/verify/0/limit", "0", "outside"},
        {"/check/every_dies", "0", "/check/every_dies", "0 means no checks", "no standards"},
        {"/check/standards", "[]", "/check/standards", "every 12 dies", "name the copies"},
        {"/check/limits", NULL, "/check/limits", "every 12 dies", "give its limits"},
        {"/check/standards/0/standard", "\"OPEN_AIR\"", "/check/standards/0/standard", "OPEN_AIR", "name copies to touch"},
        {"/proof/device", "\"L1\"", "/proof/device", "\"L1\"", "by a ladder"},
        {"/proof/dies/2", NULL, "/proof/dies", "2 dies", "at least three"},
        {"/proof/dies", "[{\"x\":0,\"y\":0},{\"x\":1,\"y\":0},{\"x\":2,\"y\":0}]", "/proof/dies", "row 0", "turned wafer"},
        {"/proof/dies/2/x", "6", "/proof/dies/2", "die 6,-2", "not a whole die"},
        {"/order", "\"spiral\"", "/order", "\"spiral\"", "interleave"},
        {"/sampling", "\"half\"", "/sampling", "\"half\"", "all"},
        {"/measures/2/device", "\"L9\"", "/measures/2/device", "\"L9\"", "there are: OPEN, SHORT, L1"},
        {"/measures/3/device", "\"L1\"", "/measures/3/device", "\"L1\"", "measured already"},
        {"/measures/2/device", "\"LADDER\"", "/measures/2/device", "\"LADDER\"", "proves the place"},
        {"/measures/2/sweep", "\"wider\"", "/measures/2/sweep", "\"wider\"", "there are: wide"},
        {"/measures/2/open", "\"SHORT\"", "/measures/2/open", "\"SHORT\"", "must be of kind open"},
        {"/measures/2/short", NULL, "/measures/2/short", "missing", "needs its dummy"},
        {"/measures/2/deembed", "\"open\"", "/measures/2/short", "\"SHORT\"", "leave it out"},
        {"/measures/0", NULL, "/measures/1/open", "OPEN", "measure dummies first"},
        {"/measures/4/conditions/0/volt", "28", "/measures/4/conditions/0/volt", "28 V", "max_volt of 10 V"},
        {"/measures/4/conditions/0/channel", "0", "/measures/4/conditions/0/channel", "0 for 10 V", "name the bias channel"},
        {"/measures/4/conditions/0/gate", "{\"volt\":28,\"limit_a\":0.01}", "/measures/4/conditions/0/gate/volt", "28 V at the gate",
         "max_volt of 10 V"},
        {"/measures/4/conditions/0/gate", "{\"volt\":1,\"limit_a\":0}", "/measures/4/conditions/0/gate/limit_a", "0 A", "current limit"},
        {"/measures/4/conditions/0/gate", "{\"volt\":1,\"limit_a\":0.01,\"channel\":1}", "/measures/4/conditions/0/gate/channel",
         "beside channel 1", "the lower one"},
        {"/measures/4/conditions/0/limit_a", "0", "/measures/4/conditions/0/limit_a", "0 A", "current limit"},
        {"/measures/4/conditions", "[]", "/measures/4/conditions", "a list of 0", "1 to 32"},
        {"/measures/2/contact/dc_ohm_high", "0.01", "/measures/2/contact/dc_ohm_high", "0.01 ohm", "range of a good contact"},
        {"/measures/2/parameters/0/acceptance", "\"lenient\"", "/measures/2/parameters/0/acceptance", "\"lenient\"", "guarded"},
        {"/measures/2/parameters/0/risk", "0.6", "/measures/2/parameters/0/risk", "0.6", "outside"},
        {"/measures/2/parameters/0/risk", "0", "/measures/2/parameters/0/risk", "0", "outside"},
        {"/measures/2/parameters/0/low", "400e-12", "/measures/2/parameters/0/high", "4e-10 H", "exchanged or in another unit"},
        {"/measures/2/parameters/0/freq_hz", "221e9", "/measures/2/parameters/0/freq_hz", "221000000000 Hz", "outside sweep wide"},
        {"/measures/2/parameters/0/expect_high", NULL, "/measures/2/parameters/0/expect_high", "nan", "give both"},
        {"/measures/2/parameters/1/name", "\"L_10GHz\"", "/measures/2/parameters/1/name", "\"L_10GHz\"", "unique"},
        {"/measures/2/parameters/0/quantity", "\"eps_eff\"", "/measures/2/parameters/0/quantity", "\"eps_eff\"", "of lines"},
        {"/measures/2/parameters/2/freq_hz", "1e9", "/measures/2/parameters/2/freq_hz", "1000000000 Hz", "leave it out"},
        {"/measures/2/parameters/0/quantity", "\"fT\"", "/measures/2/parameters/0/quantity", "\"fT\"", "of transistors"},
        {"/measures/2/parameters/0/quantity", "\"h21\"", "/measures/2/parameters/0/quantity", "\"h21\"", "of transistors"},
        {"/measures/2/parameters/0/quantity", "\"R_line\"", "/measures/2/parameters/0/quantity", "\"R_line\"", "of lines"},
        {"/measures/2/parameters/0/quantity", "\"SRFd\"", "/measures/2/parameters/0/freq_hz", "10000000000 Hz", "leave it out"},
        {"/measures/2/parameters/0/quantity", "\"Ls\"", "/measures/2/parameters/0/quantity", "\"Ls\"", "L11"},
        {"/measures/2/deembed", "\"three_step\"", "/measures/2/short", "\"SHORT\"", "leave it out"},
        {"/measures/2/deembed", "\"pad_open_short\"", "/measures/2/pad", "missing", "needs its dummy"},
        {"/measures/2/pad", "\"OPEN\"", "/measures/2/pad", "\"OPEN\"", "needs none"},
        {"/measures/2/deembed", "\"two_x_thru\"", "/measures/2/sweep", "\"wide\"", "starts at its own step"},
        {"/measures/2/two_x_thru", "\"SHORT\"", "/measures/2/two_x_thru", "\"SHORT\"", "needs none"},
        {"/measures/2/parameters/0/at", "\"best_window\"", "/measures/2/parameters/0/freq_hz", "10000000000 Hz", "leave one out"},
        {"/measures/2/parameters/2/at", "\"best_window\"", "/measures/2/parameters/2/at", "SRF", "found in the whole sweep"},
        {"/measures/2/parameters/0/at", "\"here\"", "/measures/2/parameters/0/at", "\"here\"", "best_window"},
        {"/measures/2/parameters/0/quantity", "\"Qd_max\"", "/measures/2/parameters/0/freq_hz", "10000000000 Hz", "Qd_max is found"},
        {"/measures/2/parameters/0/quantity", "\"group_delay\"", "/measures/2/parameters/0/quantity", "\"group_delay\"", "of lines"},
        {"/measures/0/parameters", "[{\"name\":\"C\",\"quantity\":\"C\",\"freq_hz\":1e9}]", "/measures/0/parameters", "OPEN",
         "dummies have no parameters"},
        {"/mesures", "[]", "/mesures", "\"mesures\"", "the nearest is \"measures\""},
        {"/setup", NULL, "/setup", "missing", "recipe needs it"},
};

static void assert_refused(const char *path, const struct bad *b) { assert_refused_after(path, NULL, 0, b); }

static const struct bad recordings[] = {
        {"/calibration/standards", "[{\"standard\":\"LINE_0200\"},{\"standard\":\"SHORT\"}]", "/calibration/standards", "1 of kind line",
         "at least 2"},
        {"/calibration/eps_eff", "0.5", "/calibration/eps_eff", "0.5", "at least 1"},
        {"/mandate/rescue_suspects", "true", "/mandate/rescue_suspects", "no standard is raised", "a raised open"},
        {"/calibration/reflect_estimate", "0", "/calibration/reflect_estimate", "0", "-1 for a short"},
        {"/standards/5/kind", "\"load\"", "/calibration/standards", "0 of kind reflect", "at least 1"},
        {"/standards/5/x_um", "60000", "/standards/5", "60000, 0 um", "off the wafer"},
};

/* of tests/unit/golden/bands.recipe.json: unknown_thru from 70 kHz to 4 GHz, lines from 0.3 GHz */
static const struct bad bands[] = {
        {"/calibration/method", "\"solt\"", "/calibration/method", "\"solt\"", "leave one out"},
        {"/calibration/bands/1", NULL, "/calibration/bands", "1 band", "another band"},
        {"/calibration/bands/1/method", "\"sol\"", "/calibration/bands/1/method", "\"sol\"", "no two-port method; there are: solt"},
        {"/calibration/bands/1/method", NULL, "/calibration/bands/1/method", "missing", "band needs it"},
        {"/calibration/bands/0/from_hz", "1e5", "/calibration/bands/0/from_hz", "100000 Hz leaves a gap", "begin there"},
        {"/calibration/bands/1/to_hz", "200e9", "/calibration/bands/1/to_hz", "200000000000 Hz leaves a gap", "end there"},
        {"/calibration/bands/1/from_hz", "5e9", "/calibration/bands/1/from_hz", "5000000000 Hz leaves a gap", "let them overlap"},
        {"/calibration/bands/1/from_hz", "3.8e9", "/calibration/bands/1/from_hz", "it shares 1 frequencies", "an octave or more"},
        {"/calibration/bands/1/from_hz", "230e9", "/calibration/bands/1/to_hz", "220000000000 Hz, not above 230000000000 Hz", "exchange"},
        {"/calibration/bands/1",
         "{\"method\":\"multiline_trl\",\"from_hz\":230e9,\"to_hz\":240e9,\"standards\":[{\"standard\":\"THRU_A\"}]}",
         "/calibration/bands/1/from_hz", "230000000000 Hz to 240000000000 Hz holds no frequency", "leave the band out"},
        {"/calibration/bands/0/to_hz", "221e9", "/calibration/bands/1/from_hz", "300000000 Hz to 220000000000 Hz", "bands rise"},
        {"/calibration/bands/0/standards/2", NULL, "/calibration/bands/0/standards", "0 of kind load", "at least 1"},
        {"/calibration/bands/0/standards/4", "{\"standard\":\"LINE_0450\"}", "/calibration/bands/0/standards/4/standard",
         "LINE_0450 is a line", "no use for"},
        {"/calibration/bands/0/standards/3/standard", "\"THRU_Z\"", "/calibration/bands/0/standards/3/standard", "\"THRU_Z\"",
         "no standard of this recipe"},
        {"/calibration/bands/0/standards/3/standard", "\"THRU_B\"", "/calibration/bands/0/standards/3/standard", "\"THRU_B\" is not among",
         "name it there too"},
        {"/calibration/bands/1/standards/3", NULL, "/calibration/standards/6/standard", "\"LINE_2100\" is used in no band", "leave it out"},
        {"/calibration/bands/1/standards", "[{\"standard\":\"THRU_A\"},{\"standard\":\"SHORT_A\"}]", "/calibration/bands/1/standards",
         "1 of kind line", "at least 2"},
        {"/calibration/standards/4", NULL, "/calibration/bands/1/standards/1/standard", "\"LINE_0450\" is not among", "name it there too"},
        {"/calibration/line_capacitance_f_m", NULL, "/calibration/line_capacitance_f_m", "missing", "so that all are in 50 ohm"},
        {"/calibration/line_z_ohm", "55", "/calibration/line_z_ohm", "55 ohm", "give one of them"},
        {"/calibration/plane", "\"line_middle\"", "/calibration/plane", "\"line_middle\"", "say \"tip\""},
        {"/calibration/plane", "\"device\"", "/calibration/plane", "\"device\"", "tip"},
        {"/calibration/bands/0/method", "\"sixteen_term\"", "/calibration/bands/0/method", "\"sixteen_term\"", "use it alone"},
        {"/calibration/bands/2",
         "{\"method\":\"multiline_trl\",\"from_hz\":2e9,\"to_hz\":230e9,\"standards\":[{\"standard\":\"LINE_0450\"},{\"standard\":\"LINE_"
         "2100\"},{\"standard\":\"SHORT_A\"}]}",
         "/calibration/bands/2/from_hz", "2000000000 Hz lies below 4000000000 Hz", "two at most overlap"},
        {"/calibration/bands/0",
         "{\"method\":\"multiline_trl\",\"from_hz\":7e4,\"to_hz\":4e9,\"standards\":[{\"standard\":\"LINE_0450\"},{\"standard\":\"LINE_"
         "2100\"},{\"standard\":\"SHORT_A\"}]}",
         "/calibration/standards/0/standard", "\"OPEN_AIR\" is used in no band", "leave it out"},
        {"/calibration/eps_eff", NULL, "/calibration/eps_eff", "0", "at least 1"},
        {"/calibration/reflect_estimate", "0.1", "/calibration/reflect_estimate", "0.1", "-1 for a short"},
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
        {"/measures/2/extrinsic/off", "\"pinched\"", "/measures/2/extrinsic/off", "\"pinched\"", "there are: on, off, cold_1, cold_2"},
        {"/measures/2/extrinsic/off", "\"on\"", "/measures/2/extrinsic/off", "\"on\" has 1 V", "which amplifies then"},
        {"/measures/2/extrinsic/cold/1/condition", "\"cold_3\"", "/measures/2/extrinsic/cold/1/condition", "\"cold_3\"", "there are: on"},
        {"/measures/2/extrinsic/cold/1/condition", "\"cold_1\"", "/measures/2/extrinsic/cold/1/condition", "\"cold_1\"", "named twice"},
        {"/measures/2/extrinsic/cold/1/condition", "\"off\"", "/measures/2/extrinsic/cold/1/condition", "\"off\" biases no gate",
         "give it one"},
        {"/measures/2/extrinsic/off", "\"cold_1\"", "/measures/2/extrinsic/cold/0/condition", "\"cold_1\" is the off state", "either"},
        {"/measures/2/extrinsic/cold/1/drive", "0.5", "/measures/2/extrinsic/cold", "from 0.5 to 0.5", "over different ones"},
        {"/measures/2/extrinsic/cold/1/drive", "-1", "/measures/2/extrinsic/cold/1/drive", "-1", "outside"},
        {"/measures/2/extrinsic/cold/1", NULL, "/measures/2/extrinsic/cold", "a list of 1", "2 to 16"},
        {"/measures/2/extrinsic/off_as", "\"unknown\"", "/measures/2/extrinsic/off_as", "\"unknown\"", "pi and cold_pinch"},
        {"/measures/2/extrinsic/cold_as", "\"unknown\"", "/measures/2/extrinsic/cold_as", "\"unknown\"",
         "gate_forward, vanishing and open_collector"},
        {"/measures/2/extrinsic/cold_as", "\"gate_forward\"", "/measures/2/extrinsic/channel_ohm", "0 ohm", "four resistances"},
        {"/measures/2/extrinsic/channel_ohm", "5", "/measures/2/extrinsic/channel_ohm", "5 ohm", "leave it out"},
        {"/measures/2/extrinsic/below_hz", "1e9", "/measures/2/extrinsic/below_hz", "1e+09 Hz", "three or more"},
        {"/measures/2/extrinsic/off_below_hz", "7e4", "/measures/2/extrinsic/off_below_hz", "70000 Hz", "three or more"},
        {"/measures/2/conditions/3/name", "\"cold_1\"", "/measures/2/conditions/3/name", "\"cold_1\"", "condition 2 already"},
        {"/measures/2/extrinsic", NULL, "/measures/2/parameters/1/quantity", "\"c_in\"", "give L1 \"extrinsic\""},
        {"/measures/2/extrinsic/off", NULL, "/measures/2/parameters/1/quantity", "\"c_in\"", "give \"extrinsic\" its \"off\""},
        {"/measures/2/parameters/1/quantity", "\"c_between\"", "/measures/2/parameters/1/quantity", "\"c_between\"", "not a pad"},
        {"/measures/2/parameters/0/quantity", "\"Cds\"", "/measures/2/parameters/0/quantity", "\"Cds\"", "open dummy"},
        {"/measures/2/parameters/1/freq_hz", "1e9", "/measures/2/parameters/1/freq_hz", "1000000000 Hz", "leave it out"},
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
        {"/measures/2/conditions/0/base/ampere", "0", "/measures/2/conditions/0/base/ampere", "0 A for the base", "off then"},
        {"/measures/2/conditions/0/base/ampere", "2", "/measures/2/conditions/0/base/ampere", "2 A", "outside"},
        {"/measures/2/conditions/0/base/limit_v", "0", "/measures/2/conditions/0/base/limit_v", "0 V for the base",
         "needs a voltage limit"},
        {"/measures/2/conditions/0/base/limit_v", NULL, "/measures/2/conditions/0/base/limit_v", "missing", "without one"},
        {"/measures/2/conditions/0/base/limit_v", "28", "/measures/2/conditions/0/base/limit_v", "28 V", "max_volt of 10 V"},
        {"/measures/2/conditions/0/base/channel", "0", "/measures/2/conditions/0/base/channel", "beside channel 0", "the higher one"},
        {"/measures/2/conditions/0/limit_a", "0", "/measures/2/conditions/0/limit_a", "0 A for 1.2 V", "current limit"},
        {"/measures/2/conditions/0/gate", "{\"volt\":1,\"limit_a\":0.01}", "/measures/2/conditions/0/gate", "has a base as well", "either"},
        {"/measures/2/conditions/0/open_v", "1", "/measures/2/conditions/0/open_v", "set to 1.2 V", "either"},
        {"/measures/2/conditions/1/open_v", "1", "/measures/2/conditions/1/open_v", "1 V", "goes with a base current"},
        {"/measures/2/conditions/2/open_v", "28", "/measures/2/conditions/2/open_v", "28 V", "max_volt of 10 V"},
        {"/measures/2/conditions/2/base/channel", "0", "/measures/2/conditions/2/base/channel", "beside channel 0", "goes before"},
        {"/measures/2/conditions/2/base/ampere", "3e-3", "/measures/2/extrinsic/cold/0/drive", "base current is 0.003 A", "the same"},
        {"/measures/2/conditions/3/base", NULL, "/measures/2/extrinsic/cold/1/condition", "no base current", "give it \"base\""},
        {"/measures/2/extrinsic/cold_as", "\"vanishing\"", "/measures/2/extrinsic/cold/0/condition", "drives the base", "open_collector"},
        {"/measures/2/extrinsic/off_as", "\"cold_pinch\"", "/measures/2/extrinsic/off_as", "a bipolar", "say \"pi\""},
        {"/measures/2/extrinsic/off", "\"cold_2\"", "/measures/2/extrinsic/off", "drives the base", "not off"},
        {"/measures/2/parameters/0/quantity", "\"C_pi\"", "/measures/2/parameters/0/quantity", "\"C_pi\"", "open dummy"},
};

static void each_bad_base_is_refused(void **state)
{
        (void)state;
        size_t first = sizeof bipolar / sizeof bipolar[0];
        assert_refused_after("simulators/demo/recipe.json", bipolar, first, NULL); /* good as it stands */
        for (size_t i = 0; i < sizeof bases / sizeof bases[0]; i++)
                assert_refused_after("simulators/demo/recipe.json", bipolar, first, &bases[i]);
}

static void each_bad_way_to_find_leads_is_refused(void **state)
{
        (void)state;
        size_t first = sizeof transistor / sizeof transistor[0];
        assert_refused_after("simulators/demo/recipe.json", transistor, first, NULL); /* good as it stands */
        for (size_t i = 0; i < sizeof leads / sizeof leads[0]; i++)
                assert_refused_after("simulators/demo/recipe.json", transistor, first, &leads[i]);
}

static void each_bad_layout_is_refused_with_place_and_value(void **state)
{
        (void)state;
        for (size_t i = 0; i < sizeof layouts / sizeof layouts[0]; i++)
                assert_refused("simulators/demo/recipe.json", &layouts[i]);
}

static void each_bad_recipe_is_refused_with_place_and_value(void **state)
{
        (void)state;
        for (size_t i = 0; i < sizeof recipes / sizeof recipes[0]; i++)
                assert_refused("simulators/demo/recipe.json", &recipes[i]);
}

static void each_bad_line_calibration_is_refused_with_place_and_value(void **state)
{
        (void)state;
        for (size_t i = 0; i < sizeof recordings / sizeof recordings[0]; i++)
                assert_refused("tests/station/replay/onwafer_raw.recipe.json", &recordings[i]);
}

static void each_bad_band_is_refused_with_place_and_value(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        recipe_of_file("tests/unit/golden/bands.recipe.json", a); /* good as it stands */
        arena_free(a);
        for (size_t i = 0; i < sizeof bands / sizeof bands[0]; i++)
                assert_refused("tests/unit/golden/bands.recipe.json", &bands[i]);
}

/* Two changes: another sweep, and a device that uses it. */
static void a_device_swept_outside_the_calibrations_domain_is_refused(void **state)
{
        (void)state;
        size_t n = 0;
        char *text = file_text("simulators/demo/recipe.json", &n);
        cJSON *json = cJSON_Parse(text);
        struct arena *a = arena_new(0);
        struct recipe *r = NULL;
        struct tp_error err = {0};
        change(json, "/sweeps/1",
               "{\"name\":\"loud\",\"segments\":[{\"start_hz\":7e4,\"stop_hz\":7e4,\"points\":1,\"spacing\":\"log\",\"ifbw_hz\":100,"
               "\"power_dbm\":0}]}");
        change(json, "/measures/0/sweep", "\"loud\"");
        char *changed = cJSON_PrintUnformatted(json);
        assert_int_equal(recipe_read(changed, strlen(changed), a, &r, &err), CODE_BAD_INPUT);
        assert_string_equal(err.pointer, "/measures/0/sweep");
        assert_true(strstr(err.text, "drives the tips with 0 dBm") && strstr(err.text, "calibrate at this power"));
        cJSON_free(changed);
        cJSON_Delete(json);
        arena_free(a);
        free(text);
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

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(each_bad_layout_is_refused_with_place_and_value),
                cmocka_unit_test(each_bad_way_to_find_leads_is_refused),
                cmocka_unit_test(each_bad_base_is_refused),
                cmocka_unit_test(each_bad_recipe_is_refused_with_place_and_value),
                cmocka_unit_test(each_bad_line_calibration_is_refused_with_place_and_value),
                cmocka_unit_test(each_bad_band_is_refused_with_place_and_value),
                cmocka_unit_test(a_device_swept_outside_the_calibrations_domain_is_refused),
                cmocka_unit_test(what_is_no_json_is_refused_too),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
