/* standard_model.c: can a standard be what its model says?  (calibration_problem.h)
 * Limits      1 nF, 1 uH: on-wafer standards have femtofarads and picohenries, the largest parts that are de-embedded a thousand times more.
 *             A number beyond is of another unit.  Higher powers of frequency are held against the same limits at 1 GHz. */
#include "recipe/calibration_problem.h"
#include <math.h>
#include <string.h>

#define C_MOST_F 1e-9
#define L_MOST_H 1e-6
#define AT_HZ 1e9

static enum code polynomial(const char *key, const double x[4], double most, const char *unit, const char *example, struct tp_error *err)
{
        double power = 1;
        for (int k = 0; k < 4; k++, power *= AT_HZ)
                if (!(fabs(x[k]) * power <= most))
                        return tp_fail_at(
                                err, CODE_BAD_INPUT, key,
                                "%s: number %d is %.6g, which makes %.3g %s at 1 GHz, and no standard has more than %.0e; %s is in "
                                "%s and %s/Hz, … (%s)",
                                key, k + 1, x[k], x[k] * power, unit, most, key, unit, unit, example);
        return CODE_OK;
}

static bool any(const double x[4]) { return x[0] != 0 || x[1] != 0 || x[2] != 0 || x[3] != 0; }

enum code standard_model_check(int32_t kind, const struct standard_model *m, struct tp_error *err)
{
        bool open = kind == STANDARD_OPEN, shorted = kind == STANDARD_SHORT, load = kind == STANDARD_LOAD,
             reflect = kind == STANDARD_REFLECT; /* nothing defines it, but how copies differ can be said */
        const struct {
                const char *key, *of;
                bool told, used;
        } keys[] = {{"c_f", "an open, or lies beside a load", any(m->c_f), open || load},
                    {"u_c_f", "an open or a reflect, or lies beside a load", m->u_c_f > 0, open || load || reflect},
                    {"l_h", "a short or a load", any(m->l_h), shorted || load},
                    {"u_l_h", "a short, a load or a reflect", m->u_l_h > 0, shorted || load || reflect},
                    {"r_ohm", "a load", m->r_ohm > 0, load},
                    {"u_r_ohm", "a load or a reflect", m->u_r_ohm > 0, load || reflect},
                    {"r_per_k", "a load", m->r_per_k > 0 || m->r_per_k < 0, load},
                    {"r_tolerance_ohm", "a load", m->r_tolerance_ohm > 0, load},
                    {"dc_ohm", "a load", m->dc_ohm > 0, load}};
        enum code code = polynomial("c_f", m->c_f, C_MOST_F, "F", "6.5 fF is 6.5e-15", err);
        if (!code)
                code = polynomial("l_h", m->l_h, L_MOST_H, "H", "4 pH is 4e-12", err);
        for (size_t k = 0; k < sizeof keys / sizeof keys[0] && !code; k++)
                if (keys[k].told && !keys[k].used)
                        code = tp_fail_at(err, CODE_BAD_INPUT, keys[k].key,
                                          "%s: is of %s, and a standard of kind %s has no use for it; leave "
                                          "it out, or correct the kind",
                                          keys[k].key, keys[k].of, standard_kind_words[kind]);
        return code;
}

bool standard_model_is_told(const struct standard_model *m)
{
        return any(m->c_f) || any(m->l_h) || m->r_ohm > 0 || m->delay_s > 0 || m->delay_s < 0 || m->loss_ohm_s > 0 || m->dc_ohm > 0 ||
               m->r_per_k > 0 || m->r_per_k < 0 || m->u_c_f > 0 || m->u_l_h > 0 || m->u_r_ohm > 0 || m->u_r_per_k > 0 || m->u_delay_s > 0 ||
               m->u_loss_ohm_s > 0 || m->u_z_ohm > 0;
}
