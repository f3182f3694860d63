/* compare.c: the difference of two calibrations over all frequencies: may they be compared, where is the bound largest, and what is said
 * of it (compare.h).  The bound at one frequency is in compare_point.c. */
#include "rf/trust/compare.h"
#include "rf/numbers/robust.h"
#include <math.h>
#include <stdio.h>

size_t rf_comparison_bytes(size_t n) { return 5 * net2_stride(n) * sizeof(double); }

struct rf_comparison rf_comparison_at(void *memory_64, const struct axis *axis)
{
        struct rf_comparison c = {.axis = axis, .worst_all = NAN, .worst_hz = NAN, .median = NAN};
        double *at = memory_64;
        size_t stride = net2_stride(axis->n);
        for (int k = 0; k < 4; k++)
                c.bound[k] = at + (size_t)k * stride;
        c.worst = at + 4 * stride;
        for (size_t i = 0; i < 5 * stride; i++)
                at[i] = NAN;
        return c;
}

static enum code one_check(const char *which, const struct terms *t, const struct switch_terms *sw, struct tp_error *err)
{
        if (t->model != TERMS_EIGHT && t->model != TERMS_TWELVE && t->model != TERMS_SIXTEEN)
                return tp_fail(err, CODE_BAD_INPUT, "comparison: the %s calibration (%s) corrects no two-ports", which,
                               t->method ? t->method : "not solved");
        if (sw && !axis_equal(sw->axis, t->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "comparison: the switch terms of the %s calibration have %zu frequencies of their own, its terms %zu; both "
                               "must lie on one list",
                               which, sw->axis->n, t->axis->n);
        return CODE_OK;
}

static enum code pair_check(const struct terms *one, const struct switch_terms *sw_one, const struct terms *two,
                            const struct switch_terms *sw_two, const struct rf_comparison *ret, struct tp_error *err)
{
        bool sixteen = one->model == TERMS_SIXTEEN || two->model == TERMS_SIXTEEN;
        enum code code = one_check("first", one, sw_one, err);
        if (!code)
                code = one_check("second", two, sw_two, err);
        if (code)
                return code;
        if (!axis_equal(one->axis, two->axis) || !axis_equal(ret->axis, one->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "comparison: the calibrations have %zu and %zu frequencies that are not one list; compare them where both "
                               "were measured",
                               one->axis->n, two->axis->n);
        if (one->plane != two->plane)
                return tp_fail(err, CODE_BAD_INPUT,
                               "comparison: the first calibration's plane is %s, the second's %s; move one of them first, or the bound "
                               "measures what lies between the planes",
                               plane_words[one->plane], plane_words[two->plane]);
        if (sixteen && (one->model == TERMS_TWELVE || two->model == TERMS_TWELVE))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "comparison: sixteen terms work on data without switch terms, twelve hold them inside; convert the twelve to eight "
                        "first");
        for (size_t i = 0; sixteen && (sw_one || sw_two) && i < one->axis->n; i++)
                if (!sw_one || !sw_two || sw_one->f_re[i] != sw_two->f_re[i] || sw_one->f_im[i] != sw_two->f_im[i] ||
                    sw_one->r_re[i] != sw_two->r_re[i] || sw_one->r_im[i] != sw_two->r_im[i])
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "comparison: with sixteen terms both calibrations must use the same switch terms; at %.9g Hz they differ",
                                one->axis->hz[i]);
        if ((one->model == TERMS_EIGHT && one->switch_removed && !sw_one) != (two->model == TERMS_EIGHT && two->switch_removed && !sw_two))
                return tp_fail(err, CODE_BAD_INPUT,
                               "comparison: the %s calibration needs its switch terms and comes without, the other does not; give them",
                               one->model == TERMS_EIGHT && one->switch_removed && !sw_one ? "first" : "second");
        for (size_t i = 0; i < one->axis->n; i++) {
                double z1 = one->z_re[i], z2 = two->z_re[i];
                if (!(z1 > 0 && z2 > 0 && one->z_im[i] == 0 && two->z_im[i] == 0))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "comparison: at %.9g Hz the reference impedances are %.6g%+.6gj and %.6g%+.6gj ohm; a bound over "
                                       "passive devices needs one real impedance: renormalise both to 50 ohm first",
                                       one->axis->hz[i], z1, one->z_im[i], z2, two->z_im[i]);
                if (!(fabs(z1 - z2) <= 1e-9 * z1))
                        return tp_fail(err, CODE_BAD_INPUT,
                                       "comparison: at %.9g Hz the first calibration's reference is %.9g ohm, the second's %.9g ohm; "
                                       "renormalise one of them first",
                                       one->axis->hz[i], z1, z2);
        }
        return CODE_OK;
}

enum code rf_compare(const struct terms *one, const struct switch_terms *sw_one, const struct terms *two, const struct switch_terms *sw_two,
                     struct rf_comparison *ret, struct tp_error *err)
{
        static const char *const entry[] = {"S11", "S12", "S21", "S22"};
        enum code code = pair_check(one, sw_one, two, sw_two, ret, err);
        if (code)
                return code;
        const struct axis *axis = one->axis;
        size_t found = 0, worst_i = 0;
        double *sorted = ret->worst; /* first as room for the median */
        for (size_t i = 0; i < axis->n; i++) {
                struct rf_comparison_point p;
                bool good = rf_compare_point(one, sw_one, two, sw_two, i, &p);
                double worst = good ? fmax(fmax(p.bound[0], p.bound[1]), fmax(p.bound[2], p.bound[3])) : NAN;
                for (int k = 0; k < 4; k++)
                        ret->bound[k][i] = good ? p.bound[k] : NAN;
                if (!good)
                        continue;
                sorted[found++] = worst;
                if (found == 1 || worst > ret->worst_all) {
                        ret->worst_all = worst;
                        worst_i = i;
                }
        }
        if (found == 0)
                return tp_fail(err, CODE_UNRESOLVABLE, "comparison: at none of the %zu frequencies do both calibrations have terms",
                               axis->n);
        ret->median = rf_quantile(rf_sort(found, sorted), sorted, 0.5);
        for (size_t i = 0; i < axis->n; i++) {
                ret->worst[i] = NAN;
                if (isfinite(ret->bound[0][i]))
                        ret->worst[i] = fmax(fmax(ret->bound[0][i], ret->bound[1][i]), fmax(ret->bound[2][i], ret->bound[3][i]));
        }
        ret->point_n = found;
        ret->worst_hz = axis->hz[worst_i];
        ret->worst_entry = 0;
        for (int k = 1; k < 4; k++)
                if (ret->bound[k][worst_i] > ret->bound[ret->worst_entry][worst_i])
                        ret->worst_entry = k;
        const char *word = ret->worst_all <= RF_COMPARE_GOOD     ? "they are one"
                           : ret->worst_all <= RF_COMPARE_USABLE ? "usable side by side"
                           : ret->worst_all <= RF_COMPARE_LOOK   ? "look before using both"
                                                                 : "one of them is wrong, or the setup moved in between";
        snprintf(ret->sentence, sizeof ret->sentence,
                 "for no passive device do these two calibrations differ by more than %.2g (%s at %.4g GHz; %.2g at the median frequency): "
                 "%s",
                 ret->worst_all, entry[ret->worst_entry], ret->worst_hz / 1e9, ret->median, word);
        return CODE_OK;
}
