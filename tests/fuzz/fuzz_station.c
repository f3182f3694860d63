/* fuzz_station.c: the station's own file, whose limits protect probes and people.  What is accepted has limits that are numbers in range.
 */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_json.h"
#include "station/config.h"

static const char *const fuzz_words[] = {
        FUZZ_JSON_WORDS, "\"limits\":", "\"volt_max\":", "\"driver\":\"replay\"", "\"config\":", "..", "/", NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct station_config c = {0};
        enum code code = station_config_read(bytes, n, "station.json", NULL, &c, err);
        if (!code && !(c.limits.volt_max >= 0 && c.limits.volt_max <= 1e4 && c.limits.overtravel_um_max >= 0 &&
                       c.limits.separation_um_min >= 0 && c.limits.bias_unknown_wait_s >= 0))
                fuzz_broken("an accepted limit is no limit");
        if (!code && !c.driver[0])
                fuzz_broken("accepted without a driver");
        station_config_done(&c);
        return code;
}
