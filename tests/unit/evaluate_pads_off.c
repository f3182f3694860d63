/* evaluate_pads_off.c: the ladder of de-embeddings through the whole chain. */
#include "evaluate_asked.h"

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

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(every_de_embedding_of_a_recipe_gives_the_bare_device),
                cmocka_unit_test(the_half_of_a_two_x_thru_is_gated_out_of_the_sweep),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
