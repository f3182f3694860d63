/* How the analyzer stood, read back: into the calibration's domain, through its bytes, and against what a sweep or a check says later.
   Raw data are chain matrices (evaluate_bench.h). */
#include "evaluate_bench.h"
#undef I
#include "evaluate/inside.h"

static const struct dut resistor = {DUT_RESISTOR, 75, 9e-12, 0, NULL, false};

struct night {
        struct bench *b;
        struct raw_sweep raw[4], device;
        struct standard_sweep of[4];
        struct calibration *c;
};
static void night_open(struct night *n)
{
        *n = (struct night){.b = bench_new("unknown_thru")};
        double hz = n->b->segment.ifbw_hz;
        struct analyzer_settings s = {.has_attenuator = true,
                                      .has_power = true,
                                      .has_ifbw = true,
                                      .attenuator_db = {10, 20},
                                      .power_dbm = {-32, -31},
                                      .ifbw_hz = {hz, hz}};
        n->b->measures[0].deembed = DEEMBED_NONE;
        for (int k = 0; k < 4; k++) {
                n->raw[k] = bench_standard(n->b, (size_t)k, NULL);
                n->raw[k].settings = s;
                n->of[k] = (struct standard_sweep){k, &n->raw[k]};
        }
        n->device = bench_device(n->b, &resistor);
        n->device.settings = s;
}
static enum code night_solve(struct night *n, struct tp_error *err)
{
        return calibration_solve(&n->b->recipe, n->of, 4, n->b->arena, &n->c, NULL, err);
}
static enum code correct(struct night *n, const struct calibration *c, struct tp_error *err)
{
        struct chain_question q = {.recipe = &n->b->recipe, .measure = &n->b->measures[0], .calibration = c, .raw = &n->device};
        double *re[4], *im[4];
        return chain_network(&q, false, n->b->arena, re, im, err);
}

static void the_domain_is_what_was_read_back_and_outlives_its_bytes(void **state)
{
        (void)state;
        struct night n;
        struct tp_error err = {0};
        struct calibration *again;
        struct text bytes;
        night_open(&n);
        n.raw[2].settings.power_dbm[0] = -33;
        if (night_solve(&n, &err))
                fail_msg("%s", err.text);
        text_init(&bytes, 0);
        calibration_bytes(n.c, &bytes);
        assert_int_equal(calibration_read(bytes.at, bytes.n, n.b->arena, &again, &err), CODE_OK);
        assert_true(again->domain.attenuator_db[0] == 10 && again->domain.attenuator_db[1] == 20);
        assert_true(again->domain.power_dbm[0] == -33 && again->domain.power_dbm[1] == -31);
        assert_int_equal(correct(&n, again, &err), CODE_OK);
        n.device.settings.attenuator_db[1] = 10;
        assert_int_equal(correct(&n, again, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "port 2's source attenuator stands at 10 dB, in the calibration at 20 dB"));
        n.device.settings.has_attenuator = false; /* not told: not compared */
        assert_int_equal(correct(&n, again, &err), CODE_OK);
        n.device.settings.power_dbm[1] = -20.5;
        assert_int_equal(correct(&n, again, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "drives the tips with -20.5 dBm"));
        text_done(&bytes);
        bench_free(n.b);
}

static void what_changes_within_a_calibration_ends_it(void **state)
{
        (void)state;
        struct night n;
        struct tp_error err = {0};
        night_open(&n);
        n.raw[THRU_A].settings.attenuator_db[0] = 0;
        assert_int_equal(night_solve(&n, &err), CODE_BAD_INPUT);
        assert_true(strstr(err.text, "standard THRU_A was swept with port 1's source attenuator at 0 dB") && strstr(err.text, "10 dB"));
        n.raw[THRU_A].settings.has_attenuator = false;
        assert_int_equal(night_solve(&n, &err), CODE_OK);
        n.raw[SHORT_A].settings.ifbw_hz[1] *= 3;
        assert_int_equal(night_solve(&n, &err), CODE_BAD_INPUT);
        assert_true(strstr(err.text, "standard SHORT_A") && strstr(err.text, "of IF bandwidth, plan wide asks for"));
        n.raw[SHORT_A].settings.has_ifbw = false;
        assert_int_equal(night_solve(&n, &err), CODE_OK);
        n.device.settings.ifbw_hz[0] /= 10;
        assert_int_equal(correct(&n, n.c, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "its noise is another"));
        bench_free(n.b);
}

static void a_check_sees_it_too(void **state)
{
        (void)state;
        struct night n;
        struct tp_error err = {0};
        struct check_answer answer;
        night_open(&n);
        assert_int_equal(night_solve(&n, &err), CODE_OK);
        struct raw_sweep now = n.raw[SHORT_A];
        struct standard_sweep then = {SHORT_A, &n.raw[SHORT_A]}, later = {SHORT_A, &now};
        assert_int_equal(check_fit(&n.b->recipe, n.c, &then, &later, 1, n.b->arena, &answer, &err), CODE_OK);
        assert_true(answer.passed);
        now.settings.attenuator_db[1] = 30;
        assert_int_equal(check_fit(&n.b->recipe, n.c, &then, &later, 1, n.b->arena, &answer, &err), CODE_BAD_INPUT);
        assert_true(strstr(err.text, "standard SHORT_A") && strstr(err.text, "port 2's source attenuator stands at 30 dB"));
        bench_free(n.b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(the_domain_is_what_was_read_back_and_outlives_its_bytes),
                cmocka_unit_test(what_changes_within_a_calibration_ends_it),
                cmocka_unit_test(a_check_sees_it_too),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
