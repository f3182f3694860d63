/* Quantities of the table and the ladder of de-embeddings through the whole chain: against the elements that were put in. */
#include "evaluate_bench.h"
#include "rf/extract/extrinsic.h"
#include "rf/extract/quantity.h"

/* ---- devices ------------------------------------------------------------------------------------------------------------------------- */
static struct chain_matrix nothing(double hz)
{
        (void)hz;
        return in_series(0);
}
static void fet_elements(double hz, double complex y[4])
{
        double complex w = J * TWO_PI * hz, in = 1 / (4 + 1 / (w * 40e-15)), mu = w * 9e-15;
        y[0] = in + mu;
        y[1] = -mu;
        y[2] = 0.06 * cexp(-w * 0.3e-12) / (1 + 4 * w * 40e-15) - mu;
        y[3] = 0.006 + w * 12e-15 + mu;
}
static struct chain_matrix fet(double hz)
{
        double complex y[4];
        fet_elements(hz, y);
        return of_y(y[0], y[1], y[2], y[3]);
}
/* One pole: f |h21| is the same everywhere. */
static struct chain_matrix one_pole(double hz)
{
        double complex w = J * TWO_PI * hz;
        return of_y(w * 50e-15 / (1 + 4 * w * 50e-15), 0, 0.06 / (1 + 4 * w * 50e-15), 0.006);
}
static struct chain_matrix coil(double hz)
{
        double complex w = J * TWO_PI * hz, y3 = 1 / (1.5 + w * 250e-12) + w * 8e-15;
        return times(to_ground(w * 12e-15 + 1e-4), times(in_series(1 / y3), to_ground(w * 9e-15 + 2e-4)));
}
static struct chain_matrix the_line(double hz) { return line(CMPLX(20 * sqrt(hz / 1e11), TWO_PI * hz * 2 / 299792458.0) * 300e-6, 60); }

/* ---- one question -------------------------------------------------------------------------------------------------------------------- */
struct run {
        struct bench *b;
        struct calibration *c;
        struct raw_sweep device, dummy[RF_DUMMY_COUNT];
        struct parameter_answer *a;
        size_t n;
        struct tp_error err;
};
static struct run run_new(int32_t kind, int32_t deembed)
{
        struct run r = {.b = bench_new("unknown_thru")};
        r.b->devices[0].kind = kind;
        r.b->devices[0].length_um = kind == DEVICE_LINE ? 300 : 0;
        r.b->measures[0].deembed = deembed;
        r.c = bench_calibrate(r.b);
        return r;
}
static struct chain_question question(struct run *r)
{
        struct chain_question q = {.recipe = &r->b->recipe, .measure = &r->b->measures[0], .calibration = r->c, .raw = &r->device};
        for (int k = 1; k < RF_DUMMY_COUNT; k++)
                q.dummies[k] = r->dummy[k].n ? &r->dummy[k] : NULL;
        return q;
}
static void ask_all(struct run *r)
{
        struct chain_question q = question(r);
        uint32_t flags;
        if (chain_run(&q, r->b->arena, &r->a, &r->n, &flags, &r->err))
                fail_msg("%s", r->err.text);
}
static void open_and_short(struct run *r)
{
        static const struct dut open = {DUT_OPEN, 0, 0, 0, NULL, false}, shorted = {DUT_SHORT, 0, 0, 0, NULL, false};
        r->dummy[RF_DUMMY_OPEN] = bench_device(r->b, &open);
        r->dummy[RF_DUMMY_SHORT] = bench_device(r->b, &shorted);
}
static int32_t word(const char *w)
{
        for (int32_t k = 1; quantity_words[k]; k++)
                if (strcmp(quantity_words[k], w) == 0)
                        return k;
        fail_msg("no quantity %s", w);
        return 0;
}
static void near_to(const struct parameter_answer *a, double want, double relative)
{
        if (!a->has_value || !(fabs(a->value - want) <= relative * fabs(want)))
                fail_msg("%s: %.12g, wanted %.12g within %.1g (%s)", quantity_words[a->plan->quantity], a->value, want, relative,
                         a->reason);
        if (!(a->u95 > 0 && isfinite(a->u95)))
                fail_msg("%s: u95 %.3g of %.9g", quantity_words[a->plan->quantity], a->u95, want);
}

static void words_and_units_are_those_of_rf(void **state)
{
        (void)state;
        for (int32_t k = QUANTITY_TABLE; k < QUANTITY_EXTRINSIC; k++) {
                int32_t q = quantity_rf(k);
                if (!q)
                        fail_msg("%s is no quantity of rf/", quantity_words[k]);
                assert_string_equal(quantity_units[k], rf_quantities[q].unit);
                assert_int_equal(quantity_of_sweep(k), rf_quantities[q].group == RF_GROUP_SWEEP);
                for (int32_t j = 1; j < k; j++)
                        assert_string_not_equal(quantity_words[j], quantity_words[k]);
        }
        for (int32_t k = QUANTITY_EXTRINSIC; k < QUANTITY_COUNT; k++) {
                assert_string_equal(quantity_words[k], rf_extrinsic_words[quantity_extrinsic(k)]);
                assert_string_equal(quantity_units[k], rf_extrinsic_units[quantity_extrinsic(k)]);
                assert_true(quantity_of_sweep(k) && !quantity_rf(k) && !quantity_inside(k));
        }
        assert_int_equal(quantity_extrinsic(QUANTITY_L), -1);
        assert_int_equal(quantity_rf(QUANTITY_L), 0);
        assert_true(quantity_of_sweep(QUANTITY_SRF) && !quantity_of_sweep(QUANTITY_L));
        for (int32_t k = 1; k < DEEMBED_COUNT; k++)
                assert_string_equal(deembed_words[k], rf_deembed_words[deembed_rf(k)]);
        assert_int_equal(deembed_rf(DEEMBED_NONE), 0);
}

static void a_coil_gives_pi_both_views_and_their_resonances(void **state)
{
        (void)state;
        static const char *const words[] = {"L11", "Q11", "Ld", "Qd", "pi_C1", "pi_G2", "SRF11", "SRFd"};
        struct run r = run_new(DEVICE_INDUCTOR, DEEMBED_OPEN_SHORT);
        for (size_t k = 0; k < 8; k++)
                bench_ask(r.b, word(words[k]), k < 6 ? 10e9 : 0)->resolve_share_max = 3;
        struct inner d = {.of = coil};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        double complex w = J * TWO_PI * 10e9, y3 = 1 / (1.5 + w * 250e-12) + w * 8e-15, y1 = w * 12e-15 + 1e-4, y2 = w * 9e-15 + 2e-4;
        double complex z11 = 1 / (y1 + y3), zd = (y1 + y2) / (y1 * y2 + y3 * (y1 + y2));
        double want[6] = {cimag(z11) / cimag(w), cimag(z11) / creal(z11), cimag(zd) / cimag(w), cimag(zd) / creal(zd), 12e-15, 2e-4};
        for (size_t k = 0; k < 6; k++)
                near_to(&r.a[k], want[k], 1e-7);
        /* resonances by bisection of the elements' susceptance */
        for (size_t k = 6; k < 8; k++) {
                double lo = 10e9, hi = 109e9;
                for (int i = 0; i < 60; i++) {
                        double f = (lo + hi) / 2;
                        double complex v = J * TWO_PI * f, s3 = 1 / (1.5 + v * 250e-12) + v * 8e-15, s1 = v * 12e-15 + 1e-4,
                                       s2 = v * 9e-15 + 2e-4;
                        double complex y = k == 6 ? s1 + s3 : (s1 * s2 + s3 * (s1 + s2)) / (s1 + s2);
                        *(cimag(y) < 0 ? &lo : &hi) = f;
                }
                near_to(&r.a[k], lo, 1e-4);
                assert_string_equal(r.a[k].plan->name, k == 6 ? "p7" : "p8");
        }
        assert_true(fabs(r.a[6].value / r.a[7].value - 1) > 0.05); /* not the same thing */
        bench_free(r.b);
}

static void a_line_gives_its_elements_per_metre(void **state)
{
        (void)state;
        static const char *const words[] = {"R_line", "L_line", "C_line", "delay", "beta"};
        struct run r = run_new(DEVICE_LINE, DEEMBED_OPEN_SHORT);
        r.b->recipe.setup.contact_ohm_u = 1e-4; /* 0.28 ohm in all: what an ordinary touch would hide */
        r.b->recipe.setup.contact_h_u = 1e-14;
        r.b->recipe.setup.placement_um_u = 0.01;
        for (size_t k = 0; k < 5; k++)
                bench_ask(r.b, word(words[k]), 60e9)->resolve_share_max = 3;
        bench_ask(r.b, word("G_line"), 60e9); /* alpha/Zc dominates what there is of G: none was put in, so it must be refused */
        struct inner d = {.of = the_line};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        double alpha = 20 * sqrt(0.6), beta = TWO_PI * 60e9 * 2 / 299792458.0;
        double want[5] = {alpha * 60, beta * 60 / (TWO_PI * 60e9), beta / 60 / (TWO_PI * 60e9), beta * 300e-6 / (TWO_PI * 60e9), beta};
        for (size_t k = 0; k < 5; k++)
                near_to(&r.a[k], want[k], 1e-6);
        assert_false(r.a[5].has_value && fabs(r.a[5].value - alpha / 60) > 1e-6 * alpha);
        bench_free(r.b);
}

static void a_transistor_gives_gains_stability_and_elements(void **state)
{
        (void)state;
        static const char *const words[] = {"h21", "U", "K", "mu", "MAG_dB", "Gmax_dB", "gm", "Cgs", "Cgd", "gds", "Ri", "gm_tau"};
        struct run r = run_new(DEVICE_TRANSISTOR, DEEMBED_OPEN_SHORT);
        for (size_t k = 0; k < 12; k++)
                bench_ask(r.b, word(words[k]), 20e9)->resolve_share_max = 10;
        struct inner d = {.of = fet};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        double complex y[4];
        fet_elements(20e9, y);
        double u = pow(cabs(y[2] - y[1]), 2) / (4 * (creal(y[0]) * creal(y[3]) - creal(y[1]) * creal(y[2])));
        double k = (2 * creal(y[0]) * creal(y[3]) - creal(y[1] * y[2])) / cabs(y[1] * y[2]);
        near_to(&r.a[0], cabs(y[2] / y[0]), 1e-7);
        near_to(&r.a[1], u, 1e-6);
        near_to(&r.a[2], k, 1e-6);
        assert_true(r.a[3].has_value && (r.a[3].value > 1) == (k > 1));
        assert_true(k < 1 && !r.a[4].has_value && strstr(r.a[4].reason, "K < 1"));
        near_to(&r.a[5], 10 * log10(cabs(y[2] / y[1])), 1e-7);
        static const double elements[] = {0.06, 40e-15, 9e-15, 0.006, 4, 0.3e-12};
        for (size_t j = 0; j < 6; j++)
                near_to(&r.a[6 + j], elements[j], 1e-6);
        assert_non_null(strstr(r.a[0].budget, "placement"));
        bench_free(r.b);
}

static void ft_and_fmax_come_from_the_plateau(void **state)
{
        (void)state;
        struct run r = run_new(DEVICE_TRANSISTOR, DEEMBED_OPEN_SHORT);
        bench_ask(r.b, word("fT"), 0);
        bench_ask(r.b, word("fT_im"), 0);
        bench_ask(r.b, word("fmax"), 0);
        bench_ask(r.b, word("fmax_MAG"), 0);
        bench_ask(r.b, word("fT"), 0)->resolve_share_max = 1e-3;
        struct inner d = {.of = one_pole};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        near_to(&r.a[0], 0.06 / (TWO_PI * 50e-15), 1e-7);
        near_to(&r.a[1], 0.06 / (TWO_PI * 50e-15), 1e-7);
        /* fmax of one pole: gm/(4 pi C sqrt(rg gds)) */
        near_to(&r.a[2], 0.06 / (2 * TWO_PI * 50e-15 * sqrt(4 * 0.006)), 1e-6);
        assert_true(r.a[0].has_range && r.a[0].lo_hz == 5e9 && r.a[0].hi_hz == 40e9);
        /* nothing comes back through it: S12 = 0, no MAG that rounding would not make */
        assert_false(r.a[3].has_value && r.a[3].u95 < 0.01 * r.a[3].value);
        assert_true(!r.a[4].has_value && strstr(r.a[4].reason, "not resolvable: u95 is"));
        bench_free(r.b);
        /* a resistor has none, and is told so by its sweep */
        r = run_new(DEVICE_TRANSISTOR, DEEMBED_NONE);
        bench_ask(r.b, word("fT"), 0);
        static const struct dut resistor = {DUT_RESISTOR, 75, 9e-12, 0, NULL, false};
        r.device = bench_device(r.b, &resistor);
        ask_all(&r);
        assert_true(!r.a[0].has_value && strstr(r.a[0].reason, "falls by 20 dB a decade nowhere"));
        bench_free(r.b);
}

/* The stated u of fT against what really comes out when every touch (device, dummies, standards) has its own contact. */
static void the_uncertainty_of_ft_is_what_many_touches_give(void **state)
{
        (void)state;
        enum { TRIALS = 120 };
        struct run r = run_new(DEVICE_TRANSISTOR, DEEMBED_OPEN_SHORT);
        r.b->recipe.setup.placement_um_u = 0;
        r.b->recipe.setup.contact_h_u = 1e-12;
        r.b->recipe.setup.contact_ohm_u = 0.05;
        bench_ask(r.b, word("fT"), 0)->resolve_share_max = 1;
        bench_ask(r.b, word("fmax"), 0)->resolve_share_max = 2; /* one trial in a hundred has a u95, drawn, of all its fmax */
        static const int which[] = {OPEN_AIR, SHORT_A, LOAD_A, THRU_A};
        static const struct dut kinds[] = {{DUT_OPEN, 0, 0, 0, NULL, false}, {DUT_SHORT, 0, 0, 0, NULL, false}};
        double sum[2] = {0}, squares[2] = {0}, said[2] = {0};
        for (int trial = 0; trial <= TRIALS; trial++) { /* the first has no errors: what the chain says of itself */
                struct touch touch[7];
                for (int t = 0; t < 7; t++)
                        for (int p = 0; p < 2; p++) {
                                double on = trial > 0;
                                touch[t].r_ohm[p] = on * 0.05 * bench_noise(r.b);
                                touch[t].l_h[p] = on * 1e-12 * bench_noise(r.b);
                                touch[t].hangs = false;
                        }
                struct raw_sweep raw[4];
                struct standard_sweep of[4];
                for (int k = 0; k < 4; k++) {
                        raw[k] = bench_standard(r.b, (size_t)which[k], k == 0 ? NULL : &touch[k]); /* the open hangs in air */
                        of[k] = (struct standard_sweep){which[k], &raw[k]};
                }
                assert_int_equal(calibration_solve(&r.b->recipe, of, 4, r.b->arena, &r.c, NULL, NULL), CODE_OK);
                struct inner d = {.of = one_pole, .touch = &touch[4]};
                r.device = bench_two_port(r.b, pads_and_leads, &d);
                for (int k = 0; k < 2; k++) {
                        struct dut dummy = kinds[k];
                        dummy.touch = &touch[5 + k];
                        r.dummy[k ? RF_DUMMY_SHORT : RF_DUMMY_OPEN] = bench_device(r.b, &dummy);
                }
                ask_all(&r);
                for (int k = 0; k < 2; k++) {
                        if (!r.a[k].has_value)
                                fail_msg("trial %d: %s", trial, r.a[k].reason);
                        if (trial == 0)
                                said[k] = r.a[k].u95 / 2;
                        else {
                                sum[k] += r.a[k].value / TRIALS;
                                squares[k] += r.a[k].value * r.a[k].value / TRIALS;
                        }
                }
        }
        for (int k = 0; k < 2; k++) {
                double s = sqrt(squares[k] - sum[k] * sum[k]);
                print_message("%s: %.4g GHz, stated u %.3g GHz, scatter of %d trials %.3g GHz\n", k ? "fmax" : "fT", sum[k] / 1e9,
                              said[k] / 1e9, TRIALS, s / 1e9);
                /* 120 trials know their scatter to 7 %; the statement may be on the safe side of it: it holds the pads' model and the
                   standards' other causes too */
                assert_true(said[k] > 0.8 * s && said[k] < 2 * s);
        }
        bench_free(r.b);
}

/* ---- the ladder of de-embeddings ---------------------------------------------------------------------------------------------------- */
static double complex left_short(double hz, int port, const void *what)
{
        (void)what;
        double complex w = J * TWO_PI * hz, pad = w * the_pads.c_f, lead = the_pads.r_ohm + w * the_pads.l_h;
        return port == 0 ? 1 / (pad + 1 / lead) : 1 / pad;
}
static double complex right_short(double hz, int port, const void *what) { return left_short(hz, 1 - port, what); }
static double complex leads_alone(double hz, int port, const void *what)
{
        (void)port, (void)what;
        return the_pads.r_ohm + J * TWO_PI * hz * the_pads.l_h;
}
static double complex pad_behind_leads(double hz, int port, const void *what)
{
        return leads_alone(hz, port, what) + 1 / (J * TWO_PI * hz * the_pads.c_f);
}
static double complex pad_alone(double hz, int port, const void *what)
{
        (void)port, (void)what;
        return 1 / (J * TWO_PI * hz * the_pads.c_f);
}
static struct chain_matrix leads_only(double hz, const void *what)
{
        const struct inner *d = what;
        double complex lead = the_pads.r_ohm + J * TWO_PI * hz * the_pads.l_h;
        return times(in_series(lead), times(d->of(hz), in_series(lead)));
}
static struct chain_matrix leads_then_pads(double hz, const void *what) /* series outside, shunt inside: the tee's belief */
{
        const struct inner *d = what;
        double complex w = J * TWO_PI * hz, lead = the_pads.r_ohm + w * the_pads.l_h, pad = w * the_pads.c_f;
        return times(times(in_series(lead), to_ground(pad)), times(d->of(hz), times(to_ground(pad), in_series(lead))));
}
static struct chain_matrix twice_the_line(double hz) { return times(the_line(hz), the_line(hz)); }

static void every_de_embedding_of_a_recipe_gives_the_bare_device(void **state)
{
        (void)state;
        double complex w = J * TWO_PI * 10e9, y3 = 1 / (1.5 + w * 250e-12) + w * 8e-15;
        double want = cimag(1 / y3) / cimag(w);
        for (int32_t method = DEEMBED_OPEN; method < DEEMBED_TWO_X_THRU; method++) { /* and that one below */
                struct run r = run_new(DEVICE_INDUCTOR, method);
                struct inner d = {.of = coil}, thru = {.of = nothing}, one = {.of = the_line, .no_leads = true},
                             two = {.of = twice_the_line, .no_leads = true};
                bench_ask(r.b, QUANTITY_L, 10e9)->resolve_share_max = 10;
                network around = pads_and_leads;
                if (method == DEEMBED_SHORT)
                        around = leads_only;
                if (method == DEEMBED_THRU_TEE || method == DEEMBED_SHORT_OPEN)
                        around = leads_then_pads;
                if (method == DEEMBED_L_2L || method == DEEMBED_OPEN)
                        d.no_leads = true;
                r.device = bench_two_port(r.b, around, &d);
                open_and_short(&r);
                r.dummy[RF_DUMMY_PAD] = bench_reflections(r.b, pad_alone, NULL);
                r.dummy[RF_DUMMY_THRU] = bench_two_port(r.b, around, &thru);
                r.dummy[RF_DUMMY_SHORT_LEFT] = bench_reflections(r.b, left_short, NULL);
                r.dummy[RF_DUMMY_SHORT_RIGHT] = bench_reflections(r.b, right_short, NULL);
                r.dummy[RF_DUMMY_LINE] = bench_two_port(r.b, pads_and_leads, &one);
                r.dummy[RF_DUMMY_LINE_DOUBLE] = bench_two_port(r.b, pads_and_leads, &two);
                if (method == DEEMBED_SHORT || method == DEEMBED_SHORT_OPEN)
                        r.dummy[RF_DUMMY_SHORT] = bench_reflections(r.b, leads_alone, NULL);
                if (method == DEEMBED_SHORT_OPEN)
                        r.dummy[RF_DUMMY_OPEN] = bench_reflections(r.b, pad_behind_leads, NULL);
                ask_all(&r);
                near_to(&r.a[0], want, 1e-6);
                if (method == DEEMBED_THRU_PI || method == DEEMBED_THRU_TEE ||
                    method == DEEMBED_SHORT_OPEN) /* another belief, another value */
                        assert_non_null(strstr(r.a[0].budget, "pads' model"));
                /* the network as a file says what was taken away */
                struct text file;
                struct chain_question all = question(&r);
                text_init(&file, 0);
                assert_int_equal(chain_touchstone(&all, true, NULL, 0, &file, &r.err), CODE_OK);
                assert_non_null(strstr(text_of(&file), rf_deembed_methods[deembed_rf(method)].say));
                assert_null(strstr(text_of(&file), "(null)"));
                text_done(&file);
                /* without one of its dummies it says which */
                for (int k = 1; k < RF_DUMMY_COUNT; k++)
                        if ((rf_deembed_methods[deembed_rf(method)].wants >> k) & 1u) {
                                struct chain_question q = question(&r);
                                uint32_t flags;
                                q.dummies[k] = NULL;
                                assert_int_equal(chain_run(&q, r.b->arena, &r.a, &r.n, &flags, &r.err), CODE_NOT_FOUND);
                                assert_non_null(strstr(r.err.text, rf_dummy_words[k]));
                        }
                bench_free(r.b);
        }
}

/* ---- a 2x-thru: fixtures of 12 ps, lossy, not quite 50 ohm, with a launch of 8 fF and 6 pH ---------------------------------------------
 */
static struct chain_matrix fixture(double hz)
{
        double complex w = J * TWO_PI * hz;
        struct chain_matrix launch = times(to_ground(w * 8e-15), in_series(w * 6e-12));
        return times(launch, line(CMPLX(0.04 * sqrt(hz / 1e11), TWO_PI * hz * 12e-12), 48));
}
static struct chain_matrix between_fixtures(double hz, const void *what)
{
        const struct inner *d = what;
        return times(fixture(hz), times(d->of(hz), turned(fixture(hz))));
}

static void the_half_of_a_two_x_thru_is_gated_out_of_the_sweep(void **state)
{
        (void)state;
        struct run r = {.b = bench_new("unknown_thru")};
        for (size_t i = 0; i < BENCH_POINTS; i++)
                r.b->hz[i] = 0.5e9 * (double)(i + 1); /* from one step on */
        r.b->segment.start_hz = 0.5e9;
        r.b->segment.stop_hz = 110.5e9;
        r.b->devices[0].kind = DEVICE_INDUCTOR;
        r.b->measures[0].deembed = DEEMBED_TWO_X_THRU;
        r.c = bench_calibrate(r.b);
        struct inner d = {.of = coil}, thru = {.of = nothing};
        bench_ask(r.b, QUANTITY_L, 10e9);
        bench_ask(r.b, QUANTITY_L, 30e9);
        bench_ask(r.b, QUANTITY_L, 105e9)->resolve_share_max = 10;
        r.device = bench_two_port(r.b, between_fixtures, &d);
        r.dummy[RF_DUMMY_TWO_X_THRU] = bench_two_port(r.b, between_fixtures, &thru);
        ask_all(&r);
        for (int k = 0; k < 2; k++) {
                double complex w = J * TWO_PI * (k ? 30e9 : 10e9), z = 1 / (1 / (1.5 + w * 250e-12) + w * 8e-15);
                double want = cimag(z) / cimag(w);
                near_to(&r.a[k], want, 0.01); /* the gate is as sharp as the sweep is wide */
                assert_true(fabs(r.a[k].value - want) < r.a[k].u95);
        }
        assert_non_null(strstr(r.a[2].budget, "gate"));
        /* the chain's network is rf_deembed()'s of the corrected networks */
        struct chain_question q = question(&r);
        double *re[4], *im[4];
        assert_int_equal(chain_network(&q, true, r.b->arena, re, im, &r.err), CODE_OK);
        struct measure bare = r.b->measures[0];
        bare.deembed = DEEMBED_NONE;
        struct axis axis = {.n = BENCH_POINTS, .hz = r.b->hz};
        struct net2 nets[3];
        for (int k = 0; k < 2; k++) {
                struct chain_question one = q;
                double *of_re[4], *of_im[4];
                one.measure = &bare;
                one.raw = k ? &r.dummy[RF_DUMMY_TWO_X_THRU] : &r.device;
                assert_int_equal(chain_network(&one, false, r.b->arena, of_re, of_im, &r.err), CODE_OK);
                nets[k] = net2_at(arena_take(r.b->arena, net2_bytes(axis.n)), &axis, PLANE_TIP);
                net2_set_z(&nets[k], 50, 0);
                for (int e = 0; e < 4; e++) {
                        memcpy(nets[k].re[e], of_re[e], axis.n * sizeof(double));
                        memcpy(nets[k].im[e], of_im[e], axis.n * sizeof(double));
                }
        }
        nets[2] = net2_at(arena_take(r.b->arena, net2_bytes(axis.n)), &axis, PLANE_TIP);
        struct dummies dummies = {.of = {[RF_DUMMY_TWO_X_THRU] = &nets[1]}};
        assert_int_equal(rf_deembed(RF_DEEMBED_TWO_X_THRU, &nets[0], &dummies, &nets[2], r.b->arena, &r.err), CODE_OK);
        for (size_t i = 0; i < axis.n; i++)
                for (int e = 0; e < 4; e++)
                        assert_true(hypot(nets[2].re[e][i] - re[e][i], nets[2].im[e][i] - im[e][i]) < 1e-9);
        /* short pads cannot be gated: said */
        r.dummy[RF_DUMMY_TWO_X_THRU] = bench_two_port(r.b, pads_and_leads, &thru);
        q = question(&r);
        uint32_t flags;
        assert_int_equal(chain_run(&q, r.b->arena, &r.a, &r.n, &flags, &r.err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(r.err.text, "delay"));
        bench_free(r.b);
}

/* ---- found, not asked ------------------------------------------------------------------------------------------------------------------
 */
static struct chain_matrix lossy_coil(double hz) /* skin effect and a lossy way to ground: a top of Q */
{
        double complex w = J * TWO_PI * hz, y3 = 1 / (0.6 * sqrt(1 + hz / 2e9) + w * 500e-12), to = 1 / (1 / (w * 25e-15) + 250);
        return times(to_ground(to), times(in_series(1 / y3), to_ground(to)));
}
static double q11(double hz)
{
        struct chain_matrix m = lossy_coil(hz);
        double complex z = m.b / m.d;
        return cimag(z) / creal(z);
}

static void the_top_of_q_is_found_with_its_place(void **state)
{
        (void)state;
        struct run r = run_new(DEVICE_INDUCTOR, DEEMBED_OPEN_SHORT);
        bench_ask(r.b, word("Q11_max"), 0);
        bench_ask(r.b, word("Q11_max_hz"), 0);
        bench_ask(r.b, word("Qd_max"), 0);
        struct inner d = {.of = lossy_coil};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        double lo = 1e9, hi = 60e9;
        for (int i = 0; i < 200; i++) {
                double a = lo + (hi - lo) / 3, b = hi - (hi - lo) / 3;
                *(q11(a) < q11(b) ? &lo : &hi) = q11(a) < q11(b) ? a : b;
        }
        near_to(&r.a[0], q11(lo), 2e-3);
        near_to(&r.a[1], lo, 5e-3);
        assert_true(r.a[2].has_value && r.a[2].value > r.a[0].value); /* floating, it has less to ground */
        assert_true(r.a[1].has_range && r.a[1].lo_hz < lo && r.a[1].hi_hz > lo);
        bench_free(r.b);
        /* a Q that rises up to the end of the sweep has no top */
        r = run_new(DEVICE_INDUCTOR, DEEMBED_NONE);
        bench_ask(r.b, word("Qd_max"), 0);
        static const struct dut short_wire = {DUT_RESISTOR, 3, 20e-12, 0, NULL, false};
        r.device = bench_device(r.b, &short_wire);
        ask_all(&r);
        assert_true(!r.a[0].has_value && strstr(r.a[0].reason, "Q"));
        bench_free(r.b);
}

static void a_group_delay_is_the_slope_of_the_phase(void **state)
{
        (void)state;
        struct run r = run_new(DEVICE_LINE, DEEMBED_OPEN_SHORT);
        bench_ask(r.b, word("group_delay"), 40e9);
        bench_ask(r.b, word("group_delay"), 100e9);
        bench_ask(r.b, word("delay"), 40e9);
        struct inner d = {.of = the_line};
        r.device = bench_two_port(r.b, pads_and_leads, &d);
        open_and_short(&r);
        ask_all(&r);
        for (int k = 0; k < 3; k++) /* without dispersion both delays are one */
                near_to(&r.a[k], 2 * 300e-6 / 299792458.0, 1e-6);
        assert_true(r.a[0].has_range && r.a[0].hi_hz / r.a[0].lo_hz > 1.04);
        bench_free(r.b);
}

static void the_best_window_is_where_the_share_is_least(void **state)
{
        (void)state;
        struct run r = run_new(DEVICE_CAPACITOR, DEEMBED_OPEN_SHORT);
        bench_ask(r.b, QUANTITY_C, 0)->at = AT_BEST_WINDOW;
        for (int k = 0; k < 4; k++)
                bench_ask(r.b, QUANTITY_C, (const double[]){0.5e9, 2e9, 10e9, 60e9}[k])->resolve_share_max = 10;
        bench_ask(r.b, QUANTITY_C, 0)->at = AT_BEST_WINDOW;
        r.b->parameters[5].resolve_share_max = 0.001; /* more than the load's resistance lets anybody have */
        r.b->standards[LOAD_A].model.u_r_ohm = 0.1;
        static const struct dut c = {DUT_CAPACITOR, 0.5, 2e-12, 100e-15, NULL, false};
        r.device = bench_device(r.b, &c);
        open_and_short(&r);
        ask_all(&r);
        double centre = sqrt(r.a[0].lo_hz * r.a[0].hi_hz), w = TWO_PI * centre;
        near_to(&r.a[0], 1 / (1 / 100e-15 - w * w * 2e-12), 1e-4);
        assert_true(r.a[0].has_range && r.a[0].hi_hz > 1.5 * r.a[0].lo_hz);
        for (int k = 1; k <= 4; k++) /* nowhere else is it much better */
                assert_true(r.a[0].u95 < 1.2 * r.a[k].u95);
        assert_true(r.a[0].u95 < 0.2 * r.a[4].u95);
        assert_non_null(strstr(r.a[0].reason, "best resolved from"));
        assert_true(!r.a[5].has_value && strstr(r.a[5].reason, "not resolvable"));
        bench_free(r.b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(words_and_units_are_those_of_rf),
                                           cmocka_unit_test(a_coil_gives_pi_both_views_and_their_resonances),
                                           cmocka_unit_test(a_line_gives_its_elements_per_metre),
                                           cmocka_unit_test(a_transistor_gives_gains_stability_and_elements),
                                           cmocka_unit_test(ft_and_fmax_come_from_the_plateau),
                                           cmocka_unit_test(the_uncertainty_of_ft_is_what_many_touches_give),
                                           cmocka_unit_test(every_de_embedding_of_a_recipe_gives_the_bare_device),
                                           cmocka_unit_test(the_half_of_a_two_x_thru_is_gated_out_of_the_sweep),
                                           cmocka_unit_test(the_top_of_q_is_found_with_its_place),
                                           cmocka_unit_test(a_group_delay_is_the_slope_of_the_phase),
                                           cmocka_unit_test(the_best_window_is_where_the_share_is_least)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
