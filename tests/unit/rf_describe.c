/* How many numbers a definition takes, and what it says where none describe the data.  Truth: the standard the data are made from; 200 draws
   of noise against the stated u. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <math.h>
#include "rf/calibrate/standards_describe.h"
#include "tests/unit/rf_synth.h"

enum { POINTS = 110, DRAWS = 200 };
struct copy {
        double hz[POINTS], re[POINTS], im[POINTS];
        struct axis axis;
        struct synth random;
};
/* Noise per component; fault: added to the reflection up to 20 GHz, as a joined calibration may have it. */
static void read_of(struct copy *r, const struct standard_definition *is, double noise, double low_noise, double complex fault)
{
        for (size_t i = 0; i < POINTS; i++)
                r->hz[i] = 1e9 * (double)(i + 1);
        axis_of(POINTS, r->hz, &r->axis, NULL);
        for (size_t i = 0; i < POINTS; i++) {
                double u = r->hz[i] < 10e9 ? low_noise : noise;
                double complex g = rf_standard_reflection(is, 25, r->hz[i]) + u * synth_normal(&r->random) + (i < 20 ? fault : 0);
                r->re[i] = creal(g);
                r->im[i] = cimag(g);
        }
}
static struct standard_described described(const struct copy *r, const struct standard_definition *told, unsigned numbers)
{
        static double workspace[4 * POINTS];
        struct standard_definition d = *told;
        struct standard_described got;
        struct tp_error err = {0};
        assert_int_equal(rf_standard_describe_bytes(POINTS), sizeof workspace);
        if (rf_standard_describe(&d, numbers, 25, &r->axis, r->re, r->im, workspace, &got, &err))
                fail_msg("%s", err.text);
        return got;
}
static const struct standard_definition told_open = {.kind = RF_OPEN, .c_f = {-6.5e-15}},
                                        told_load = {.kind = RF_LOAD, .r_ohm = 25, .t_ref_c = 25};

static void an_order_that_the_data_need_is_freed(void **state)
{
        (void)state;
        static struct copy r;
        struct standard_definition is = {.kind = RF_OPEN, .c_f = {-5e-15, 3e-26}};
        double sum[2] = {0};
        int right = 0, widened = 0;
        r.random.random = synth_seed(3);
        for (int n = 0; n < DRAWS; n++) {
                read_of(&r, &is, 1e-4, 1e-4, 0);
                struct standard_described d = described(&r, &told_open, STANDARD_FIT(STANDARD_C0));
                if (d.freed != STANDARD_FIT(STANDARD_C1)) /* one in some hundreds frees another one by chance */
                        continue;
                right++;
                widened += d.widened > 1;
                assert_true(d.describes && d.fit.n == 2 && fabs(d.noise / 1e-4 - 1) < 0.35);
                sum[0] += pow((d.fit.value[0] + 5e-15) / d.fit.u[0], 2);
                sum[1] += pow((d.fit.value[1] - 3e-26) / d.fit.u[1], 2);
        }
        assert_true(right >= DRAWS - 4 && widened <= 2);
        for (int k = 0; k < 2;
             k++) /* 5 % of chance in the rms of 200 draws, three times that; weights by a noise that is estimated cost some */
                if (!(sqrt(sum[k] / right) > 0.85 && sqrt(sum[k] / right) < 1.2))
                        fail_msg("number %d: its error is %.3f of its u", k, sqrt(sum[k] / right));
}

static void nothing_is_freed_of_what_needs_nothing(void **state)
{
        (void)state;
        static struct copy r;
        int freed = 0;
        r.random.random = synth_seed(4);
        for (int n = 0; n < DRAWS; n++) {
                read_of(&r, &told_open, 1e-3, 1e-3, 0);
                struct standard_described d = described(&r, &told_open, STANDARD_FIT(STANDARD_C0));
                freed += d.freed != 0;
                assert_true(d.describes);
        }
        assert_true(freed <= 4);
        read_of(&r, &told_open, 0, 0, 0); /* without any noise: rounding is no order */
        struct standard_described d = described(&r, &told_open, STANDARD_FIT(STANDARD_C0));
        assert_true(!d.freed && d.describes && fabs(d.fit.value[0] + 6.5e-15) < 1e-22);
}

static void much_noise_at_one_end_does_not_lead(void **state)
{
        (void)state;
        static struct copy r;
        double sum = 0;
        r.random.random = synth_seed(5);
        for (int n = 0; n < DRAWS; n++) {
                read_of(&r, &told_load, 1e-4, 0.1, 0);
                struct standard_described d = described(&r, &told_load, STANDARD_FIT(STANDARD_R) | STANDARD_FIT(STANDARD_L0));
                double error = d.fit.value[1] - 25;
                assert_true(fabs(error) < 0.01); /* all alike: 0.1 x sqrt(9/110)/sqrt(110) of a reflection is 0.08 ohm */
                sum += pow(error / d.fit.u[1], 2);
        }
        assert_true(sqrt(sum / DRAWS) < 1.2);
}

static void what_no_order_describes_is_said_and_its_u_holds_the_truth(void **state)
{
        (void)state;
        static struct copy r;
        r.random.random = synth_seed(6);
        for (int n = 0; n < 20; n++) {
                read_of(&r, &told_load, 1e-4, 1e-4, CMPLX(0.004, 0.003));
                struct standard_described d = described(&r, &told_load, STANDARD_FIT(STANDARD_R) | STANDARD_FIT(STANDARD_L0));
                assert_true(!d.describes && d.fit.scatter > 5 * d.noise);
                /* the calibration has a step: leaving parts out shows how far R depends on where one looks */
                if (!(fabs(d.fit.value[1] - 25) < 4 * d.fit.u[1]))
                        fail_msg("R %.4g +- %.2g, is 25", d.fit.value[1], d.fit.u[1]);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(an_order_that_the_data_need_is_freed),
                                           cmocka_unit_test(nothing_is_freed_of_what_needs_nothing),
                                           cmocka_unit_test(much_noise_at_one_end_does_not_lead),
                                           cmocka_unit_test(what_no_order_describes_is_said_and_its_u_holds_the_truth)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
