/* simulators_physics.c: what must hold of the true networks, the pads, the tips, the raw analyzer and its noise, whatever the numbers are.
 */
#include "simulators_world.h"
#include "simulators/analyzer.h"
#include "simulators/bench.h"
#include "simulators/true_values.h"

struct rig {
        struct test_world t;
        struct bench *b;
        char dir[64], config[6000];
};
static void rig_new(struct rig *r, const char *more)
{
        struct tp_error err;
        char path[128];
        test_world_init(&r->t, false);
        snprintf(r->dir, sizeof r->dir, "/tmp/tipplane_sim_XXXXXX");
        assert_non_null(mkdtemp(r->dir));
        test_scenario(r->dir, more, "", r->config);
        if (bench_open(&r->t.world, r->config, strlen(r->config), r->dir, NULL, &r->b, &err))
                fail_msg("%s", err.text);
        snprintf(path, sizeof path, "%s/layout.json", r->dir);
        unlink(path);
        rmdir(r->dir);
}

static double energy(struct y2 s, int port) /* what leaves for one watt into a port */
{
        double complex a = port == 1 ? s.e11 : s.e22, b = port == 1 ? s.e21 : s.e12;
        return creal(a * conj(a) + b * conj(b));
}
static double away(struct y2 a, struct y2 b)
{
        return fmax(fmax(cabs(a.e11 - b.e11), cabs(a.e12 - b.e12)), fmax(cabs(a.e21 - b.e21), cabs(a.e22 - b.e22)));
}
static const double all_hz[] = {70e3, 1e6, 1e8, 1e9, 10e9, 40e9, 60e9, 110e9, 160e9, 220e9};
enum { HZ_N = sizeof all_hz / sizeof all_hz[0] };

static void every_device_bare_or_between_its_pads_is_reciprocal_and_passive(void **state)
{
        struct rig r;
        (void)state;
        rig_new(&r, "\"seed\":21,\"process\":{\"defect_rate\":0.3},");
        for (size_t i = 0; i < r.b->wafer.die_n * r.b->layout.device_n; i++) {
                struct sim_pads pads = wafer_pads(&r.b->wafer, (int)i);
                for (int k = 0; k < HZ_N; k++) {
                        struct y2 y = device_y(&r.b->wafer.devices[i], all_hz[k], 3), s = y2_to_s(y, 50),
                                  p = y2_to_s(pads_around(&pads, y, all_hz[k]), 50);
                        assert_true(cabs(s.e12 - s.e21) < 1e-12 && cabs(p.e12 - p.e21) < 1e-9);
                        assert_true(energy(s, 1) < 1 + 1e-9 && energy(s, 2) < 1 + 1e-9 && energy(p, 1) < 1 + 1e-9 &&
                                    energy(p, 2) < 1 + 1e-9);
                }
        }
        bench_close(r.b);
}

static void a_line_without_loss_keeps_all_energy_and_its_delay(void **state)
{
        struct sim_device d = {.kind = DEVICE_LINE,
                               .l_h = 50 / 1.5e8,
                               .c_f = 1 / (50 * 1.5e8),
                               .length_m = 300e-6,
                               .defect = DEFECT_NONE}; /* 50 ohm, 2 ps */
        (void)state;
        for (int k = 0; k < HZ_N; k++) {
                struct y2 s = y2_to_s(device_y(&d, all_hz[k], 0), 50);
                assert_true(fabs(energy(s, 1) - 1) < 1e-9 && cabs(s.e11) < 1e-9);
                assert_true(cabs(s.e21 - cexp(-I * 2 * M_PI * all_hz[k] * 2e-12)) < 1e-9);
        }
        d.l_h *= 2; /* another impedance still loses nothing */
        for (int k = 0; k < HZ_N; k++)
                assert_true(fabs(energy(y2_to_s(device_y(&d, all_hz[k], 0), 50), 1) - 1) < 1e-8);
}

/* Y_true = ((Ym - Yo)^-1 - (Ys - Yo)^-1)^-1, Koolen, Geelen & Versleijen 1991, written out here by the test's own algebra. */
static struct y2 inverse(struct y2 a)
{
        double complex d = a.e11 * a.e22 - a.e12 * a.e21;
        struct y2 r = {a.e22 / d, -a.e12 / d, -a.e21 / d, a.e11 / d};
        return r;
}
static struct y2 minus(struct y2 a, struct y2 b)
{
        struct y2 r = {a.e11 - b.e11, a.e12 - b.e12, a.e21 - b.e21, a.e22 - b.e22};
        return r;
}
static double open_short_error(const struct rig *r, int device, double hz)
{
        int die = device - device % (int)r->b->layout.device_n;
        struct sim_pads pads[3];
        struct y2 y[3];
        int index[3] = {device, die, die + 1}; /* device, OPEN, SHORT */
        for (int k = 0; k < 3; k++) {
                pads[k] = wafer_pads(&r->b->wafer, index[k]);
                y[k] = pads_around(&pads[k], device_y(&r->b->wafer.devices[index[k]], hz, 0), hz);
        }
        struct y2 got = inverse(minus(inverse(minus(y[0], y[1])), inverse(minus(y[2], y[1]))));
        return away(y2_to_s(got, 50), y2_to_s(device_y(&r->b->wafer.devices[device], hz, 0), 50));
}

static void with_equal_lumped_pads_open_short_gives_the_truth_and_with_real_ones_nearly(void **state)
{
        struct rig same, real;
        double worst_low = 0, worst_high = 0;
        (void)state;
        rig_new(&same, "\"seed\":21,\"process\":{\"defect_rate\":0},\"pads\":{\"scatter\":0,\"feed_share\":0},");
        rig_new(&real, "\"seed\":21,\"process\":{\"defect_rate\":0},");
        for (int device = 2; device < 6; device++)
                for (int k = 3; k < HZ_N; k++) {
                        assert_true(open_short_error(&same, device, all_hz[k]) < 1e-6);
                        double e = open_short_error(&real, device, all_hz[k]);
                        if (all_hz[k] <= 10e9)
                                worst_low = fmax(worst_low, e);
                        if (all_hz[k] >= 110e9)
                                worst_high = fmax(worst_high, e);
                }
        assert_true(worst_low < 2e-3);                      /* lumped below … */
        assert_true(worst_high > 3e-3 && worst_high < 0.1); /* … and not above: no dummy takes that away */
        bench_close(same.b);
        bench_close(real.b);
}

static void contact_resistance_has_the_stated_mean_scatter_and_an_honest_tail(void **state)
{
        struct rig r;
        double sum = 0, square = 0, largest = 0, least = 1, shift = 0, henry = 0;
        int n = 20000;
        (void)state;
        rig_new(&r, "\"seed\":8,");
        for (int k = 0; k < n; k++) {
                struct sim_touch t = touch_of(&r.b->scenario, 77, k);
                double ohm = touch_path_ohm(&r.b->scenario, &t, 0, 30, 0);
                sum += ohm;
                square += ohm * ohm;
                largest = fmax(largest, ohm);
                least = fmin(least, ohm);
                shift += t.shift_um[1] * t.shift_um[1];
                henry += t.l_h[0] * t.l_h[0];
        }
        double mean = sum / n, sigma = sqrt(square / n - mean * mean);
        assert_true(fabs(mean - 0.016) < 0.0005 && fabs(sigma - 0.005) < 0.0004);
        assert_true(largest > 0.032 && largest < 0.05 && least > 0.002);
        assert_true(fabs(sqrt(shift / n) - 1) < 0.03 && fabs(sqrt(henry / n) - 0.4e-12) < 0.02e-12);
        struct sim_touch t = touch_of(&r.b->scenario, 77, 1);
        assert_true(isinf(touch_path_ohm(&r.b->scenario, &t, 0, 0, 0)));
        assert_true(touch_path_ohm(&r.b->scenario, &t, 0, 1, 0) > 0.5);
        bench_close(r.b);
}

static void copies_differ_by_the_stated_scatter_and_loads_wear_after_touch_20(void **state)
{
        struct scenario s = {.contact = {.wear_from = 20, .wear_knee = 50, .wear = 2e-4}};
        struct nominal_standard n = {
                .name = "LOAD", .kind = SIM_STANDARD_LOAD, .r_ohm = 50, .l_h = 6e-12, .u_r_ohm = 0.1, .u_l_h = 0.7e-12};
        double square = 0;
        (void)state;
        s.standards = &n;
        s.standard_n = 1;
        for (s.seed = 1; s.seed <= 2000; s.seed++) {
                struct sim_copy c = copy_of(&s, 0, 0);
                square += (c.r_ohm[0] - 50) * (c.r_ohm[0] - 50);
                assert_true(c.r_ohm[0] != c.r_ohm[1]);
        }
        assert_true(fabs(sqrt(square / 2000) - 0.1) < 0.005);
        assert_true(copy_of(&s, 0, 20).r_ohm[0] == copy_of(&s, 0, 0).r_ohm[0]);
        assert_true(fabs(copy_of(&s, 0, 30).r_ohm[0] / copy_of(&s, 0, 0).r_ohm[0] - 1 - 10 * 2e-4) < 1e-12);
        assert_true(fabs(copy_of(&s, 0, 60).r_ohm[0] / copy_of(&s, 0, 0).r_ohm[0] - 1 - (40 + 4 * 10) * 2e-4) < 1e-12);
}

/* The flow graph against the eight-term matrix form, T_M = T_X T_D T_Y, written out by the test: another road to the same ratios. */
static void the_raw_ratios_obey_the_eight_terms_once_the_switch_terms_are_taken_out(void **state)
{
        struct rig r;
        double hz[] = {1e9, 30e9, 150e9};
        struct sim_now now = {{{3, 0.01}, {-2, 0.02}}, 0.5};
        (void)state;
        rig_new(&r, "\"seed\":8,");
        struct sim_system *sys = system_new(&r.b->scenario, hz, 3);
        struct y2 s[2] = {{0.3 - 0.2 * I, 0.5 + 0.1 * I, 0.45 - 0.3 * I, -0.1 + 0.6 * I}, {0.1 * I, 0.8, 0.7, 0.2}};
        for (size_t i = 0; i < 3; i++) {
                double complex ratio[2];
                for (int k = 0; k < 2; k++) {
                        double complex m[RAW_N];
                        system_form(sys, &now, i, s[k], m);
                        double complex d = 1 - m[RAW_S12] * m[RAW_S21] * m[RAW_GF] * m[RAW_GR]; /* Marks 1997 */
                        double complex s21 = (m[RAW_S21] - m[RAW_S22] * m[RAW_S21] * m[RAW_GF]) / d,
                                       s12 = (m[RAW_S12] - m[RAW_S11] * m[RAW_S12] * m[RAW_GR]) / d;
                        ratio[k] = s21 / s12 / (s[k].e21 / s[k].e12); /* k^2-like constant of the boxes: the same for every device */
                        assert_true(fabs(cabs(m[RAW_GF]) - 0.12) < 0.03);
                }
                assert_true(cabs(ratio[0] / ratio[1] - 1) < 1e-12);
                struct y2 open = {1, 0, 0, 1};
                double complex m[RAW_N];
                system_form(sys, &now, i, open, m);
                assert_true(cabs(m[RAW_S11]) > 0.05 && cabs(m[RAW_S11]) < 1.6);
        }
        system_free(sys);
        bench_close(r.b);
}

/* With next to no leakage the ratios are those of the flow graph, by another road; with -40 dB an isolating device seems to transmit. */
static void leakage_adds_to_the_flow_graph_and_grows_with_frequency(void **state)
{
        struct rig r;
        double hz[] = {1e9, 30e9, 200e9}, seen[3];
        struct sim_now now = {{{3, 0.01}, {-2, 0.02}}, 0.5};
        (void)state;
        rig_new(&r, "\"seed\":8,");
        struct scenario none = r.b->scenario, little = none, some = none;
        assert_true(none.analyzer.leak_db == -300);
        little.analyzer.leak_db = -280;
        some.analyzer.leak_db = -40;
        struct sim_system *sys[3] = {system_new(&none, hz, 3), system_new(&little, hz, 3), system_new(&some, hz, 3)};
        struct y2 s = {0.3 - 0.2 * I, 0.5 + 0.1 * I, 0.45 - 0.3 * I, -0.1 + 0.6 * I}, walls = {0.9, 0, 0, -0.8 * I};
        for (size_t i = 0; i < 3; i++) {
                double complex m[3][RAW_N];
                for (int k = 0; k < 3; k++)
                        system_form(sys[k], &now, i, s, m[k]);
                for (int q = 0; q < RAW_N; q++)
                        assert_true(cabs(m[0][q] - m[1][q]) < 1e-12);
                assert_true(cabs(m[2][RAW_S21] - m[0][RAW_S21]) > 1e-6);
                for (int k = 0; k < 3; k++)
                        system_form(sys[k], &now, i, walls, m[k]);
                assert_true(m[0][RAW_S21] == 0 && m[0][RAW_S12] == 0);
                seen[i] = cabs(m[2][RAW_S21]) / cabs(sys[2]->port[0][i].out * sys[2]->port[1][i].in);
                assert_true(cabs(m[2][RAW_S21]) > 0 && cabs(m[2][RAW_S12]) > 0);
        }
        assert_true(seen[0] > 1e-6 && seen[0] < 3e-4 && seen[2] > 3e-4 && seen[2] < 0.1); /* 0.01 at 220 GHz, a few paths together */
        for (int k = 0; k < 3; k++)
                system_free(sys[k]);
        bench_close(r.b);
}

/* Each port has its own kind; equal kinds are what one kind for both always was. */
static void a_standard_may_have_two_ends(void **state)
{
        struct nominal_standard n = {
                .name = "OPEN_LOAD", .kind = SIM_STANDARD_OPEN, .kind_2 = SIM_STANDARD_LOAD, .r_ohm = 50, .l_h = 6e-12, .c_f = 5e-15};
        struct scenario s = {.seed = 1, .standards = &n, .standard_n = 1};
        (void)state;
        struct sim_copy c = copy_of(&s, 0, 0);
        double w = 2 * M_PI * 10e9, series, ground1, ground2;
        struct y2 y = copy_y(&c, 10e9);
        assert_true(cabs(y.e11 - I * w * 5e-15) < 1e-18 && cabs(y.e22 - 1 / (50 + I * w * 6e-12)) < 1e-15 && y.e12 == 0 && y.e21 == 0);
        copy_dc_ohm(&c, &series, &ground1, &ground2);
        assert_true(isinf(series) && isinf(ground1) && ground2 == 50);
        n.kind_2 = 0;
        c = copy_of(&s, 0, 0);
        y = copy_y(&c, 10e9);
        assert_true(y.e11 == y.e22);
}

static void noise_grows_with_the_root_of_the_if_bandwidth_and_shrinks_with_averages(void **state)
{
        struct rig r;
        double hz[] = {10e9, 200e9}, sigma[4];
        static const struct {
                double ifbw;
                int averages;
        } ways[4] = {{10, 1}, {1000, 1}, {1000, 16}, {100, 1}};
        (void)state;
        rig_new(&r, "\"seed\":8,");
        struct sim_system *sys = system_new(&r.b->scenario, hz, 2);
        struct draws d = draws_of(1, DRAW_NOISE, 0, 0, 0, 0);
        for (size_t i = 0; i < 2; i++) {
                for (int w = 0; w < 4; w++) {
                        double square = 0;
                        for (int k = 0; k < 4000; k++) {
                                double complex m[RAW_N] = {0};
                                system_noise(sys, &d, i, ways[w].ifbw, ways[w].averages, m);
                                square += creal(m[RAW_S21] * conj(m[RAW_S21]));
                        }
                        sigma[w] = sqrt(square / 4000);
                }
                assert_true(fabs(sigma[1] / sigma[0] - 10) < 0.4 && fabs(sigma[1] / sigma[2] - 4) < 0.2);
                double tips = sigma[0] / cabs(sys->port[0][i].out *
                                              sys->port[1][i].in); /* floor at the tips, 10 Hz: -115 dB at 10 GHz, -89.4 at 200 */
                assert_true(fabs(20 * log10(tips) - (i == 0 ? -115 : -89.4)) < 1.5);
        }
        double square = 0;
        for (int k = 0; k < 4000; k++) { /* trace noise at 200 GHz, 1 kHz: 0.017 dB rms within half */
                double complex m[RAW_N] = {1};
                system_noise(sys, &d, 1, 1000, 1, m);
                square += (cabs(m[RAW_S11]) - 1) * (cabs(m[RAW_S11]) - 1);
        }
        double db = 20 * log10(1 + sqrt(square / 4000));
        assert_true(db > 0.009 && db < 0.025);
        system_free(sys);
        bench_close(r.b);
}

static void drift_is_a_function_of_time_and_stays_mild_over_a_normal_night(void **state)
{
        struct rig r;
        double largest = 0, hour = 0;
        (void)state;
        rig_new(&r, "\"seed\":8,");
        for (int64_t seed = 1; seed <= 200; seed++) {
                r.b->scenario.seed = seed;
                struct sim_drift a = drift_of(&r.b->scenario, 0, 7200, 1e6), again = drift_of(&r.b->scenario, 0, 7200, 1e6),
                                 begin = drift_of(&r.b->scenario, 0, 3600, 1e6);
                assert_true(a.delay_fs == again.delay_fs);
                largest = fmax(largest, fabs(a.delay_fs));
                hour += (a.delay_fs - begin.delay_fs) * (a.delay_fs - begin.delay_fs);
        }
        assert_true(largest > 3 && largest < 25); /* a check that allows 25 fs passes */
        assert_true(sqrt(hour / 200) > 2 && sqrt(hour / 200) < 6);
        bench_close(r.b);
}

/* Relative distance of a truth from what it must be. */
static void truth_is(const struct sim_device *d, enum true_quantity q, const struct true_at *at, double want, double within)
{
        double got = true_value_at(d, q, at);
        if (!(fabs(got - want) <= within * fabs(want)))
                fail_msg("%s: %.9g, wanted %.9g", true_quantity_words[q], got, want);
}

/* Without Cgd: fT = gm/(2 pi Cgs) and fmax = fT/2 sqrt(Rds/Rg), exactly; S12 = 0, so mu is 1/|S22|.  Inside the leads the elements come
   back; below the threshold and without drain voltage, what the header says. */
static void a_transistor_s_truth_is_its_elements(void **state)
{
        struct sim_device d = {.kind = DEVICE_TRANSISTOR, .gm_s = 0.06, .c_f = 40e-15, .rsub_ohm = 250, .r_ohm = 6, .defect = DEFECT_NONE};
        struct true_at at = {.hz = 20e9}, in = {.hz = 20e9, .bias.volt = {1, 1}, .inside = true};
        (void)state;
        truth_is(&d, TRUE_FT, &at, 238.73241463784302e9, 1e-12);
        truth_is(&d, TRUE_FMAX, &at, 770.50555507687476e9, 1e-9);
        double x = 0.06 / (2 * M_PI * 20e9 * 40e-15);
        truth_is(&d, TRUE_H21, &at, x, 1e-12);
        truth_is(&d, TRUE_U, &at, x * x / 4 * 250 / 6, 1e-9);
        truth_is(&d, TRUE_MU, &at, 1 / ((250.0 - 50) / (250 + 50)), 1e-9);
        d.cp_f = 8e-15;
        struct y2 y = device_y(&d, 20e9, 0), s = y2_to_s(y, 50);
        double k =
                (1 + pow(cabs(s.e11 * s.e22 - s.e12 * s.e21), 2) - pow(cabs(s.e11), 2) - pow(cabs(s.e22), 2)) / (2 * cabs(s.e12 * s.e21));
        truth_is(&d, TRUE_K, &at, k, 1e-9); /* Rollett's, by S */
        assert_true(k < 1 && isnan(true_value_at(&d, TRUE_MAG, &at)) && true_value_at(&d, TRUE_MU, &at) < 1);
        truth_is(&d, TRUE_GMAX_DB, &at, 10 * log10(cabs(s.e21 / s.e12)), 1e-12);
        /* a loss at both ends makes it stable: the best of all loads takes MAG, and none takes more */
        d.rsub_ohm = 30;
        d.r_ohm = 30;
        at.hz = 60e9;
        y = device_y(&d, 60e9, 0);
        assert_true(true_value_at(&d, TRUE_K, &at) > 1 && true_value_at(&d, TRUE_MU, &at) > 1 && true_value_at(&d, TRUE_MU_PRIME, &at) > 1);
        double most = 0;
        for (int a = 1; a < 400; a++)
                for (int b = -200; b < 200; b++) {
                        double complex load = CMPLX(a * 2.5e-4, b * 2.5e-4), v2 = -y.e21 / (y.e22 + load), in_y = y.e11 + y.e12 * v2;
                        most = fmax(most, creal(load) * creal(v2 * conj(v2)) / creal(in_y));
                }
        truth_is(&d, TRUE_MAG, &at, most, 1e-4);
        d = (struct sim_device){.kind = DEVICE_TRANSISTOR,
                                .gm_s = 0.06,
                                .c_f = 40e-15,
                                .cp_f = 8e-15,
                                .csub_f = 12e-15,
                                .rsub_ohm = 250,
                                .r_ohm = 3,
                                .l_h = 2e-11,
                                .rd_ohm = 2,
                                .ld_h = 3e-11,
                                .rs_ohm = 1,
                                .ls_h = 3e-12,
                                .ri_ohm = 2.5,
                                .tau_s = 4e-13,
                                .vth_v = 0.4,
                                .k_s_v = 0.2,
                                .defect = DEFECT_NONE};
        truth_is(&d, TRUE_GM, &in, 0.06, 1e-12);
        truth_is(&d, TRUE_GM_TAU, &in, 4e-13, 1e-9);
        truth_is(&d, TRUE_GDS, &in, 0.004, 1e-12);
        truth_is(&d, TRUE_CGS, &in, 40e-15, 1e-12);
        truth_is(&d, TRUE_CGD, &in, 8e-15, 1e-12);
        truth_is(&d, TRUE_CDS, &in, 12e-15, 1e-12);
        truth_is(&d, TRUE_RI, &in, 2.5, 1e-9);
        assert_true(true_value_at(&d, TRUE_GM, &at) < 0.059); /* with its leads: less by the source's feedback */
        /* cold, 0.5 V above the threshold: 10 ohm of channel; at low frequency Z12 is the source's lead and half of it */
        y = device_biased_y(&d, 1e8, &(struct sim_bias){.volt = {0.9, 0}});
        double complex det = y.e11 * y.e22 - y.e12 * y.e21;
        assert_true(fabs(creal(-y.e12 / det) / (1 + 5) - 1) < 1e-4 && fabs(creal(y.e11 / det) / (2 + 1 + 10) - 1) < 1e-4);
        /* off: nothing but edges of 8 fF and Cds */
        y = transistor_inside_y(&d, 1e9, &(struct sim_bias){.volt = {0, 0}});
        assert_true(fabs(cimag(y.e11 + 2 * y.e12)) < 1e-12 && fabs(cimag(y.e22 + y.e12) / (2 * M_PI * 1e9) / 12e-15 - 1) < 1e-9);
}

static void true_values_are_those_worked_out_by_hand(void **state)
{
        double w = 2 * M_PI * 10e9;
        struct sim_device coil = {.kind = DEVICE_INDUCTOR, .r_ohm = 1, .l_h = 200e-12, .cp_f = 10e-15, .defect = DEFECT_NONE};
        struct sim_device mim = {.kind = DEVICE_CAPACITOR, .r_ohm = 0.5, .c_f = 100e-15, .vc2 = 1e-4, .defect = DEFECT_NONE};
        struct sim_device line = {.kind = DEVICE_LINE, .l_h = 3.3e-7, .c_f = 1.32e-10, .length_m = 2e-3, .defect = DEFECT_NONE},
                          film = {.kind = DEVICE_RESISTOR, .r_ohm = 75, .defect = DEFECT_NONE};
        (void)state;
        /* 1/(2 pi) sqrt(1/(L C) - (R/L)^2): the susceptance of (R + jwL) || C is zero there; 112.5395 GHz when R is 0 */
        double srf = sqrt(1 / (200e-12 * 10e-15) - 1 / (200e-12 * 200e-12)) / (2 * M_PI);
        assert_true(fabs(true_value(&coil, TRUE_SRF, 0, 0) / srf - 1) < 1e-9 && fabs(srf - 112.5395e9) < 0.5e9);
        coil.cp_f = 0;
        assert_true(fabs(true_value(&coil, TRUE_L, 10e9, 0) / 200e-12 - 1) < 1e-12 &&
                    fabs(true_value(&coil, TRUE_Q, 10e9, 0) / (w * 200e-12) - 1) < 1e-12);
        /* nothing leads to ground: all three views are one; what is asked by a word is found by it */
        assert_int_equal(true_quantity_of("Ld"), TRUE_LD);
        assert_int_equal(true_quantity_of("C_line"), TRUE_C_LINE);
        assert_int_equal(true_quantity_of("Qd_max_hz"), TRUE_QD_MAX_HZ);
        assert_int_equal(true_quantity_of("fmax_MAG"), TRUE_UNKNOWN);
        assert_true(fabs(true_value(&coil, TRUE_L11, 10e9, 0) / true_value(&coil, TRUE_L, 10e9, 0) - 1) < 1e-9);
        assert_true(fabs(true_value(&coil, TRUE_PI_C1, 10e9, 0)) < 1e-25);
        coil.cox_f = 40e-15; /* and with 40 fF to ground at each port: half of it across the floating coil, all of it at port 1 */
        double complex y = 1 / CMPLX(1, w * 200e-12), floating = 1 / (y + CMPLX(0, w * 20e-15)), grounded = 1 / (y + CMPLX(0, w * 40e-15));
        assert_true(fabs(true_value(&coil, TRUE_PI_C1, 10e9, 0) / 40e-15 - 1) < 1e-9 &&
                    fabs(true_value(&coil, TRUE_LD, 10e9, 0) / (cimag(floating) / w) - 1) < 1e-9 &&
                    fabs(true_value(&coil, TRUE_Q11, 10e9, 0) / (cimag(grounded) / creal(grounded)) - 1) < 1e-9);
        srf = sqrt(1 / (200e-12 * 20e-15) - 1 / (200e-12 * 200e-12)) / (2 * M_PI);
        assert_true(fabs(true_value(&coil, TRUE_SRFD, 0, 0) / srf - 1) < 1e-9);
        coil.cox_f = 0;
        assert_true(isnan(true_value(&coil, TRUE_SRF, 0, 0)) && isnan(true_value(&coil, TRUE_ZC, 10e9, 0)));
        assert_true(fabs(true_value(&mim, TRUE_C, 10e9, -10) / (100e-15 * 1.01) - 1) < 1e-12 &&
                    fabs(true_value(&mim, TRUE_Q, 10e9, 0) * w * 100e-15 * 0.5 - 1) < 1e-12);
        assert_true(fabs(true_value(&film, TRUE_R, 1e9, 0) - 75) < 1e-9);
        assert_true(fabs(true_value(&film, TRUE_S21_DB, 1e9, 0) - 20 * log10(100.0 / 175)) < 1e-9); /* 2 z/(2 z + R) */
        double eps = 3.3e-7 * 1.32e-10 * 299792458.0 * 299792458.0;
        for (double hz = 1e9; hz < 220e9; hz *= 1.5) /* through many turns of phase: 2 mm at 220 GHz is 2.9 */
                assert_true(fabs(true_value(&line, TRUE_EPS_EFF, hz, 0) / eps - 1) < 1e-6 &&
                            fabs(true_value(&line, TRUE_ZC, hz, 0) - 50) < 1e-6);
        line.r_ohm = 1000;
        assert_true(fabs(true_value(&line, TRUE_R_LINE, 40e9, 0) / 1000 - 1) < 1e-6 &&
                    fabs(true_value(&line, TRUE_C_LINE, 40e9, 0) / 1.32e-10 - 1) < 1e-9);
        /* low loss: alpha = R/(2 Zc) neper per metre */
        assert_true(fabs(true_value(&line, TRUE_LOSS, 40e9, 0) / (1000.0 / 100 * 8.685889638e-3) - 1) < 1e-3);
}

/* Between pads: nothing, a joint, or one lead to ground; at DC and at 10 GHz. */
static void dummies_are_what_their_kind_says(void **state)
{
        static const struct {
                int32_t kind;
                bool joins, left, right;
        } kinds[] = {{DEVICE_OPEN, false, false, false},      {DEVICE_PAD, false, false, false},        {DEVICE_THRU, true, false, false},
                     {DEVICE_SHORT_LEFT, false, true, false}, {DEVICE_SHORT_RIGHT, false, false, true}, {DEVICE_SHORT, false, true, true}};
        (void)state;
        for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
                struct sim_device d = {.kind = kinds[k].kind, .defect = DEFECT_NONE};
                double series, ground1, ground2;
                struct y2 s = y2_to_s(device_y(&d, 10e9, 0), 50);
                device_dc_ohm(&d, &series, &ground1, &ground2);
                assert_int_equal(series < 1, kinds[k].joins);
                assert_int_equal(ground1 < 1, kinds[k].left);
                assert_int_equal(ground2 < 1, kinds[k].right);
                assert_true(cabs(s.e21 - (kinds[k].joins ? 1 : 0)) < 1e-6);
                assert_true(cabs(s.e11 - (kinds[k].joins ? 0 : kinds[k].left ? -1 : 1)) < 1e-6);
                assert_true(cabs(s.e22 - (kinds[k].joins ? 0 : kinds[k].right ? -1 : 1)) < 1e-6);
        }
}

static void draws_by_key_are_uniform_normal_and_unrelated(void **state)
{
        double mean = 0, square = 0, product = 0;
        int n = 40000;
        (void)state;
        for (int k = 0; k < n; k++) {
                struct draws a = draws_of(5, DRAW_DIE, k, 0, 0, 0), b = draws_of(5, DRAW_DIE, 0, k, 0, 0);
                double x = draw_normal(&a), y = draw_normal(&b);
                mean += x;
                square += x * x;
                product += x * y;
        }
        assert_true(fabs(mean / n) < 0.02 && fabs(square / n - 1) < 0.03 && fabs(product / n) < 0.02);
        struct draws d = draws_of(1, DRAW_NONE, 0, 0, 0, 0), e = draws_of(1, DRAW_NONE, 0, 0, 0, 0);
        for (int k = 0; k < 100; k++)
                assert_true(draw_bits(&d) == draw_bits(&e));
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(every_device_bare_or_between_its_pads_is_reciprocal_and_passive),
                cmocka_unit_test(a_line_without_loss_keeps_all_energy_and_its_delay),
                cmocka_unit_test(with_equal_lumped_pads_open_short_gives_the_truth_and_with_real_ones_nearly),
                cmocka_unit_test(contact_resistance_has_the_stated_mean_scatter_and_an_honest_tail),
                cmocka_unit_test(copies_differ_by_the_stated_scatter_and_loads_wear_after_touch_20),
                cmocka_unit_test(the_raw_ratios_obey_the_eight_terms_once_the_switch_terms_are_taken_out),
                cmocka_unit_test(leakage_adds_to_the_flow_graph_and_grows_with_frequency),
                cmocka_unit_test(a_standard_may_have_two_ends),
                cmocka_unit_test(noise_grows_with_the_root_of_the_if_bandwidth_and_shrinks_with_averages),
                cmocka_unit_test(drift_is_a_function_of_time_and_stays_mild_over_a_normal_night),
                cmocka_unit_test(true_values_are_those_worked_out_by_hand),
                cmocka_unit_test(a_transistor_s_truth_is_its_elements),
                cmocka_unit_test(dummies_are_what_their_kind_says),
                cmocka_unit_test(draws_by_key_are_uniform_normal_and_unrelated),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
