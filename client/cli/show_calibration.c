/* show_calibration.c: of which calibrations a run was made: method, range, what its loads were taken as, how well its bands meet (show.h). */
#include "cli/number.h"
#include "cli/show.h"
#include <math.h>
#include <string.h>

/* When the standard was touched and read; "": this run's file has no sweep of it. */
static const char *swept_of(const cJSON *calibration, const char *standard)
{
        const cJSON *s;
        cJSON_ArrayForEach(s, have(calibration, "standards"))
        {
                if (strcmp(have_text(s, "standard"), standard) == 0)
                        return have_text(s, "swept");
        }
        return "";
}

/* What the loads were taken as, where the DC meter said it, and when that was. */
static void put_loads(const cJSON *calibration, struct text *to)
{
        const cJSON *l;
        const char *before = "             loads by the DC meter:";
        cJSON_ArrayForEach(l, have(have(calibration, "diagnosis"), "loads"))
        {
                text_f(to, "%s %s at port %lld ", before, have_text(l, "standard"), (long long)have_int(l, "port"));
                put_quantity(to, have_real(l, "ohm"), 2 * have_real(l, "u_ohm"), "ohm");
                text_f(to, " (stated %.6g", have_real(l, "stated_ohm"));
                if (have(l, "tolerance_ohm"))
                        text_f(to, " ± %.6g", have_real(l, "tolerance_ohm"));
                const char *swept = swept_of(calibration, have_text(l, "standard"));
                text_f(to, "; read %s)", swept[0] ? swept : "in another run");
                before = ",";
        }
        if (*before == ',')
                text_put(to, "\n");
}

/* The method of a band; files of before the joint said it itself have it in the bands' list. */
static const char *band_word(const cJSON *diagnosis, const cJSON *joint, const char *key, int k)
{
        const char *own = have_text(joint, key);
        return own[0] ? own : have_text(cJSON_GetArrayItem(have(diagnosis, "bands"), k), "method");
}

/* One line per joint: how far the two solutions differ where both exist, against what their uncertainties allow. */
static void put_joints(const cJSON *calibration, struct text *to)
{
        const cJSON *diagnosis = have(calibration, "diagnosis"), *j;
        int k = 0;
        cJSON_ArrayForEach(j, have(diagnosis, "joints"))
        {
                double share = have_real(j, "share_of_allowed"), allowed = have_real(j, "kink_allowed");
                text_put(to, "             join ");
                put_hz(to, have_real(j, "from_hz"));
                text_put(to, " to ");
                put_hz(to, have_real(j, "to_hz"));
                text_f(to, ", %s below, %s above: kink %.2g at ", band_word(diagnosis, j, "below", k),
                       band_word(diagnosis, j, "above", k + 1), have_real(j, "kink"));
                put_hz(to, have_real(j, "kink_hz"));
                if (isfinite(allowed))
                        text_f(to, ", where %.2g is allowed", allowed);
                if (isfinite(share))
                        text_f(to, "; over the join %.2g of what both uncertainties allow", share);
                else
                        text_put(to, "; no uncertainty is stated that it could be held against");
                text_put(to, "\n");
                if (have_text(j, "sentence")[0])
                        text_f(to, "             %s%s\n", have_true(j, "beyond") ? "WARNING: " : "", have_text(j, "sentence"));
                k++;
        }
}

void show_calibrations(const cJSON *calibrations, int64_t anew, struct text *to)
{
        const cJSON *c;
        const char *left = "Calibration  ";
        cJSON_ArrayForEach(c, have(calibrations, "calibrations"))
        {
                const cJSON *domain = have(c, "domain");
                text_f(to, "%snumber %lld, %s, %s", left, (long long)have_int(c, "number"), have_text(c, "method"), have_text(c, "state"));
                if (domain) {
                        text_put(to, ", ");
                        put_hz(to, have_real(domain, "from_hz"));
                        text_put(to, " to ");
                        put_hz(to, have_real(domain, "to_hz"));
                }
                text_put(to, "\n");
                put_loads(c, to);
                put_joints(c, to);
                left = "             ";
        }
        if (anew) {
                text_put(to, left);
                put_count(to, anew, "calibration anew", "calibrations anew");
                text_put(to, " during the run\n");
        }
}
