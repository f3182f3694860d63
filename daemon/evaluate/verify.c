/* verify.c: standards that took no part in the solution, corrected and held against their models.
 * Idea        What a calibration does to the standards it was made of proves nothing; a copy it has never seen does.
 * Model       reflections and thru: the standard's definition in 50 ohm.  Lines where a line method had its share: e^{-gamma l} between the
 * planes, with the gamma that the calibration found, seen from the calibration's impedance where the line's is known.  A line below the
 * line band of a joined calibration: its definition (delay, loss).  The distance is the largest |S_ij - model| over all frequencies; for
 * reflections S11 and S22 only, since the coupling of the tips is no part of the model. */
#include "evaluate/inside.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static bool is_reflection(int32_t kind)
{
        return kind == STANDARD_OPEN || kind == STANDARD_SHORT || kind == STANDARD_LOAD || kind == STANDARD_REFLECT;
}

static enum code model_at(const struct recipe *r, const struct calibration *c, const struct standard *s, size_t i, struct m2 *ret,
                          struct tp_error *err)
{
        bool lines = c->thru_m > 0 || (isfinite(c->gamma_im[i]) && s->model.length_um > 0);
        if (lines && (s->kind == STANDARD_LINE || s->kind == STANDARD_THRU)) {
                *ret = calibration_line(&r->calibration, CMPLX(c->gamma_re[i], c->gamma_im[i]), c->axis.hz[i],
                                        s->model.length_um * 1e-6 - c->thru_m, c->z_ref);
                return CODE_OK;
        }
        if (s->kind == STANDARD_REFLECT || s->kind == STANDARD_UNKNOWN || s->kind == STANDARD_KIND_COUNT)
                return tp_fail(err, CODE_BAD_INPUT,
                               "standard %s has no model to be verified against; verify with an open, short, load, thru or line", s->name);
        *ret = standard_at(s, r->setup.temperature_c, c->axis.hz[i]);
        return CODE_OK;
}

static double limit_of(const struct recipe *r, const char *name)
{
        for (size_t k = 0; k < r->calibration.verify_n; k++)
                if (!strcmp(r->calibration.verify[k].standard, name))
                        return r->calibration.verify[k].limit;
        return NAN;
}

enum code calibration_verify(const struct recipe *r, const struct calibration *c, const struct standard_sweep *of, size_t n,
                             struct arena *scratch, bool *ret_accepted, double *ret_worst, char sentence[200], struct tp_error *err)
{
        enum code trim = recipe_trimmed(r, c->loads, c->load_n, scratch, &r, err);
        if (trim)
                return tp_where(err, "verification");
        bool accepted = true;
        double worst = 0, worst_share = -1;
        snprintf(sentence, 200, "%s",
                 r->calibration.verify_n ? "no standard was left to verify with"
                                         : "not verified on anything outside it: the recipe names no copies for that");
        for (size_t k = 0; k < n; k++) {
                const struct standard *s = &r->standards[of[k].standard];
                double limit = limit_of(r, s->name), here = 0, here_hz = NAN;
                const uint32_t *map;
                if (!(limit > 0))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "standard %s is none of the recipe's verification standards with a limit above 0", s->name);
                enum code code = calibration_map(c, of[k].raw, scratch, &map, err);
                if (code)
                        return tp_where(err, "verification of %s", s->name);
                for (size_t j = 0; j < of[k].raw->n; j++) {
                        size_t i = map_at(map, j);
                        struct m2 got = tip_point(c, of[k].raw, j, i), want;
                        if ((code = model_at(r, c, s, i, &want, err)))
                                return code;
                        if (is_reflection(s->kind))
                                got.e[1] = got.e[2] = 0;
                        double distance = m2_distance(got, want);
                        if (!(distance <= here)) { /* NaN wins, and then is refused below */
                                here = distance;
                                here_hz = of[k].raw->hz[j];
                        }
                }
                double share = here / limit;
                if (!(share <= worst_share)) {
                        worst_share = share;
                        worst = here;
                        snprintf(sentence, 200, "%s lies %.3g from its model at %.4g GHz, limit %.3g%s", s->name, here, here_hz / 1e9,
                                 limit, share <= 1 ? "" : ": calibrate again, and look at the tips and this copy");
                }
                accepted = accepted && share <= 1;
        }
        *ret_accepted = accepted && (n > 0 || r->calibration.verify_n == 0); /* a recipe may do without, and then it says so */
        *ret_worst = worst;
        return CODE_OK;
}
