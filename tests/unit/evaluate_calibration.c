/* Calibrations made of chain matrices: solved, read back, verified, refused. */
#include "evaluate_bench.h"
#include "formats/touchstone.h"

static double far_from_truth(struct bench *b, const struct calibration *c, const struct dut *d)
{
        struct raw_sweep raw = bench_device(b, d);
        struct chain_question q = {.recipe = &b->recipe, .measure = &b->measures[0], .calibration = c, .raw = &raw};
        struct tp_error err = {0};
        double *re[4], *im[4], worst = 0;
        if (chain_network(&q, false, b->arena, re, im, &err))
                fail_msg("%s", err.text);
        for (size_t i = 0; i < BENCH_POINTS; i++) {
                double complex want[4];
                s_of(dut_chain(b->hz[i], d), want);
                for (int k = 0; k < 4; k++)
                        worst = fmax(worst, cabs(CMPLX(re[k][i], im[k][i]) - want[k]));
        }
        return worst;
}

static const struct dut inductor = {DUT_INDUCTOR, 1, 300e-12, 6e-15, NULL, false};

static void both_substrate_methods_return_the_device(void **state)
{
        (void)state;
        static const char *const methods[] = {"unknown_thru", "solt"};
        for (int k = 0; k < 2; k++) {
                struct bench *b = bench_new(methods[k]);
                struct calibration *c = bench_calibrate(b);
                assert_string_equal(calibration_plane(c), "tip");
                assert_true(calibration_z_ref(c) == 50);
                assert_true(far_from_truth(b, c, &inductor) < 1e-11);
                bench_free(b);
        }
}

static void leaving_out_the_switch_terms_is_seen(void **state)
{
        (void)state;
        struct bench *b = bench_new("unknown_thru");
        struct raw_sweep raw[4];
        struct standard_sweep of[4];
        struct calibration *c;
        struct tp_error err = {0};
        for (int k = 0; k < 4; k++) {
                raw[k] = bench_standard(b, (size_t)k, NULL);
                raw[k].gf_re = raw[k].gf_im = raw[k].gr_re = raw[k].gr_im = NULL;
                of[k] = (struct standard_sweep){k, &raw[k]};
        }
        assert_int_equal(calibration_solve(&b->recipe, of, 4, b->arena, &c, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "THRU_A"));
        b->recipe.calibration.switch_terms = false; /* believed to be absent: solved, and wrong */
        assert_int_equal(calibration_solve(&b->recipe, of, 4, b->arena, &c, NULL, &err), CODE_OK);
        assert_true(far_from_truth(b, c, &inductor) > 1e-3);
        bench_free(b);
}

static void a_calibration_read_back_is_the_same_to_the_bit(void **state)
{
        (void)state;
        struct bench *b = bench_new("unknown_thru");
        struct calibration *c = bench_calibrate(b), *again;
        struct text bytes, twice;
        struct tp_error err = {0};
        text_init(&bytes, 0);
        text_init(&twice, 0);
        calibration_bytes(c, &bytes);
        assert_true(text_ok(&bytes));
        assert_int_equal(calibration_read(bytes.at, bytes.n, b->arena, &again, &err), CODE_OK);
        calibration_bytes(again, &twice);
        assert_int_equal(bytes.n, twice.n);
        assert_memory_equal(bytes.at, twice.at, bytes.n);
        size_t n;
        assert_memory_equal(calibration_axis(again, &n), b->hz, sizeof b->hz);
        assert_int_equal(n, BENCH_POINTS);
        assert_true(far_from_truth(b, again, &inductor) == far_from_truth(b, c, &inductor));

        bytes.at[bytes.n / 2] ^= 1;
        assert_int_equal(calibration_read(bytes.at, bytes.n, b->arena, &again, &err), CODE_DAMAGED);
        bytes.at[bytes.n / 2] ^= 1;
        assert_int_equal(calibration_read(bytes.at, bytes.n - 8, b->arena, &again, &err), CODE_DAMAGED);
        assert_int_equal(calibration_read(bytes.at, 3, b->arena, &again, &err), CODE_DAMAGED);
        bytes.at[8] = 9;
        assert_int_equal(calibration_read(bytes.at, bytes.n, b->arena, &again, &err), CODE_TOO_NEW);
        text_done(&bytes);
        text_done(&twice);
        bench_free(b);
}

static void verification_accepts_good_copies_and_names_the_bad_one(void **state)
{
        (void)state;
        struct bench *b = bench_new("unknown_thru");
        struct calibration *c = bench_calibrate(b);
        struct touch dirty = {.r_ohm = {0, 4}};
        struct raw_sweep raw[2] = {bench_standard(b, SHORT_B, NULL), bench_standard(b, THRU_B, NULL)};
        struct standard_sweep of[2] = {{SHORT_B, &raw[0]}, {THRU_B, &raw[1]}};
        struct tp_error err = {0};
        bool accepted;
        double worst;
        char sentence[200];
        assert_int_equal(calibration_verify(&b->recipe, c, of, 2, b->arena, &accepted, &worst, sentence, &err), CODE_OK);
        assert_true(accepted);
        assert_true(worst < 1e-10);
        raw[1] = bench_standard(b, THRU_B, &dirty); /* 4 ohm in series: S11 moves by 4/104 */
        b->verify[1].limit = 0.03;
        assert_int_equal(calibration_verify(&b->recipe, c, of, 2, b->arena, &accepted, &worst, sentence, &err), CODE_OK);
        assert_false(accepted);
        assert_true(fabs(worst - 4.0 / 104) < 1e-3);
        assert_non_null(strstr(sentence, "THRU_B"));
        bench_free(b);
}

static void a_sweep_on_other_frequencies_is_refused(void **state)
{
        (void)state;
        struct bench *b = bench_new("unknown_thru");
        struct calibration *c = bench_calibrate(b);
        struct raw_sweep raw = bench_device(b, &inductor);
        double other[3] = {1e9, 1.25e9, 2e9}, *re[4], *im[4];
        struct chain_question q = {.recipe = &b->recipe, .measure = &b->measures[0], .calibration = c, .raw = &raw};
        struct tp_error err = {0};
        raw.hz = other;
        raw.n = 3;
        assert_int_equal(chain_network(&q, false, b->arena, re, im, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "1.25"));
        other[1] = 1.5e9; /* a part of the axis is fine */
        assert_int_equal(chain_network(&q, false, b->arena, re, im, &err), CODE_OK);
        bench_free(b);
}

/* ---- lines: 200, 450, 900, 2100 um of a lossy line with eps_eff 5.2, a short 0 um from the middle of the first ---------------------- */
static double complex line_gamma(double hz) { return CMPLX(12 * sqrt(hz / 1e11), TWO_PI * hz * sqrt(5.2) / 299792458.0); }
static struct chain_matrix line_chain(double hz, const void *what) { return line(line_gamma(hz) * *(const double *)what * 1e-6, 55); }
static double complex line_short(double hz, int port, const void *what)
{
        (void)port; /* a short in the middle of the first line */
        return 55 * ctanh(line_gamma(hz) * *(const double *)what * 1e-6);
}

static struct bench *line_bench(struct standard_sweep of[5], struct raw_sweep raw[5])
{
        static const double um[] = {200, 450, 900, 2100}, half = 100;
        struct bench *b = bench_new("multiline_trl");
        for (int k = 0; k < 5; k++) {
                struct standard *s = &b->standards[k];
                snprintf(s->name, sizeof s->name, "STD%d", k);
                s->kind = k == 0 ? STANDARD_THRU : k == 4 ? STANDARD_REFLECT : STANDARD_LINE;
                s->raised = false;
                s->model.length_um = k < 4 ? um[k] : 0;
                raw[k] = k < 4 ? bench_two_port(b, line_chain, &um[k]) : bench_reflections(b, line_short, &half);
                of[k] = (struct standard_sweep){k, &raw[k]};
        }
        b->recipe.calibration.eps_eff = 5;
        b->recipe.calibration.reflect_estimate = -1;
        return b;
}

static void lines_give_permittivity_and_loss_of_another_line(void **state)
{
        (void)state;
        static const double um = 1500;
        struct raw_sweep raw[5];
        struct standard_sweep of[5];
        struct bench *b = line_bench(of, raw);
        struct calibration *c;
        struct text diagnosis;
        struct tp_error err = {0};
        text_init(&diagnosis, 0);
        if (calibration_solve(&b->recipe, of, 5, b->arena, &c, &diagnosis, &err))
                fail_msg("%s", err.text);
        assert_string_equal(calibration_plane(c), "line_middle");
        assert_true(calibration_z_ref(c) == 0); /* the line's own: no ohms were given */
        assert_non_null(strstr(text_of(&diagnosis), "\"reflect_distance\""));
        assert_non_null(strstr(text_of(&diagnosis), "eps_eff"));

        b->devices[0].kind = DEVICE_LINE;
        b->devices[0].length_um = um;
        b->measures[0].deembed = DEEMBED_NONE;
        static const double at[] = {5e9, 40e9, 83.25e9};
        for (int k = 0; k < 3; k++) {
                bench_ask(b, QUANTITY_EPS_EFF, at[k]);
                bench_ask(b, QUANTITY_LOSS, at[k]);
        }
        struct raw_sweep device = bench_two_port(b, line_chain, &um);
        struct chain_question q = {.recipe = &b->recipe, .measure = &b->measures[0], .calibration = c, .raw = &device, .replayed = true};
        struct parameter_answer *a;
        size_t n;
        uint32_t flags;
        if (chain_run(&q, b->arena, &a, &n, &flags, &err))
                fail_msg("%s", err.text);
        assert_int_equal(n, 6);
        for (int k = 0; k < 3; k++) {
                double complex g = line_gamma(at[k]) * 299792458.0 / (TWO_PI * at[k]);
                assert_true(a[2 * k].has_value && fabs(a[2 * k].value + creal(g * g)) < 1e-4);
                assert_true(fabs(a[2 * k + 1].value - 8.685889638065037e-3 * creal(line_gamma(at[k]))) < 1e-5);
                assert_non_null(strstr(a[2 * k].reason, "the calibration's lines"));
        }
        struct text s2p;
        text_init(&s2p, 0);
        assert_int_equal(chain_touchstone(&q, false, NULL, 0, &s2p, &err), CODE_OK);
        assert_non_null(strstr(text_of(&s2p), "R 1"));
        assert_non_null(strstr(text_of(&s2p), "replayed"));
        text_done(&s2p);
        text_done(&diagnosis);
        bench_free(b);
}

static void a_wrong_reflect_offset_is_refused_not_flipped(void **state)
{
        (void)state;
        struct raw_sweep raw[5];
        struct standard_sweep of[5];
        struct bench *b = line_bench(of, raw);
        struct calibration *c;
        struct tp_error err = {0};
        b->recipe.calibration.reflect_offset_um = -150; /* it lies at 0 */
        assert_int_equal(calibration_solve(&b->recipe, of, 5, b->arena, &c, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "offset"));
        bench_free(b);
}

/* The domain's temperature is what the chuck read, not what the recipe hoped for; a sweep at another one has no value. */
static void the_chucks_own_reading_bounds_the_domain(void **state)
{
        (void)state;
        static const int standards[] = {OPEN_AIR, SHORT_A, LOAD_A, THRU_A};
        static const struct dut resistor = {DUT_RESISTOR, 75, 9e-12, 0, NULL, false};
        struct bench *b = bench_new("unknown_thru");
        struct raw_sweep raw[4], device = bench_device(b, &resistor);
        struct standard_sweep of[4];
        struct calibration *told = NULL, *plain = bench_calibrate(b);
        struct tp_error err = {0};
        struct text domain;
        b->measures[0].deembed = DEEMBED_NONE;
        bench_ask(b, QUANTITY_R, 1e9);
        for (int k = 0; k < 4; k++) {
                raw[k] = bench_standard(b, (size_t)standards[k], NULL);
                raw[k].has_chuck = k != 0; /* one was not read: the others tell */
                raw[k].chuck_c = 27 + 0.5 * k;
                of[k] = (struct standard_sweep){standards[k], &raw[k]};
        }
        assert_int_equal(calibration_solve(&b->recipe, of, 4, b->arena, &told, NULL, &err), CODE_OK);
        text_init(&domain, 0);
        calibration_domain_json(told, &domain);
        assert_non_null(strstr(text_of(&domain), "\"temperature_c\":28"));
        text_clear(&domain);
        calibration_domain_json(plain, &domain);
        assert_non_null(strstr(text_of(&domain), "\"temperature_c\":25"));
        text_done(&domain);
        struct chain_question q = {.recipe = &b->recipe, .measure = &b->measures[0], .calibration = told, .raw = &device};
        struct parameter_answer *a;
        size_t n;
        uint32_t flags;
        device.has_chuck = true;
        device.chuck_c = 28.4; /* within 2 K of the standards */
        assert_int_equal(chain_run(&q, b->arena, &a, &n, &flags, &err), CODE_OK);
        device.chuck_c = 25.5;
        assert_int_equal(chain_run(&q, b->arena, &a, &n, &flags, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "28"));
        assert_non_null(strstr(err.text, "calibrate at this temperature"));
        q.calibration = plain; /* nobody read the chuck then: the recipe's 25 degrees hold */
        assert_int_equal(chain_run(&q, b->arena, &a, &n, &flags, &err), CODE_OK);
        bench_free(b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(the_chucks_own_reading_bounds_the_domain),
                                           cmocka_unit_test(both_substrate_methods_return_the_device),
                                           cmocka_unit_test(leaving_out_the_switch_terms_is_seen),
                                           cmocka_unit_test(a_calibration_read_back_is_the_same_to_the_bit),
                                           cmocka_unit_test(verification_accepts_good_copies_and_names_the_bad_one),
                                           cmocka_unit_test(a_sweep_on_other_frequencies_is_refused),
                                           cmocka_unit_test(lines_give_permittivity_and_loss_of_another_line),
                                           cmocka_unit_test(a_wrong_reflect_offset_is_refused_not_flipped)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
