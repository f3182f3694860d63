/* The leads of a transistor from its own off and cold states: elements that were put in come back, the intrinsic elements with them, and
   each cause against measuring all states again with that one thing otherwise.  Raw data are chain matrices (evaluate_bench.h). */
#include "evaluate_bench.h"
#undef I
#include "evaluate/chain.h"

static const struct {
        double r_in, r_out, r_common, l_in, l_out, l_common;
} put = {4, 3, 1.2, 20e-12, 15e-12, 3e-12};
enum { ON, COLD_1, COLD_2, COLD_3, OFF, STATES };
static const double drives[STATES] = {0, 0.5, 0.8, 1.4, 0};
#define K_S_V 0.25

/* The inside with its leads: z and an impedance in the common one lift both ports. */
static struct chain_matrix with_leads(double hz, double complex y11, double complex y12, double complex y21, double complex y22)
{
        double complex w = J * TWO_PI * hz, det = y11 * y22 - y12 * y21, s = put.r_common + w * put.l_common;
        double complex z11 = y22 / det + s, z12 = -y12 / det + s, z21 = -y21 / det + s, z22 = y11 / det + s;
        struct chain_matrix m = {z11 / z21, (z11 * z22 - z12 * z21) / z21, 1 / z21, z22 / z21};
        return times(in_series(put.r_in + w * put.l_in), times(m, in_series(put.r_out + w * put.l_out)));
}
static struct chain_matrix on(double hz)
{
        double complex w = J * TWO_PI * hz, in = 1 / (4 + 1 / (w * 40e-15)), mu = w * 9e-15;
        return with_leads(hz, in + mu, -mu, 0.06 * cexp(-w * 0.3e-12) / (1 + 4 * w * 40e-15) - mu, 0.006 + w * 12e-15 + mu);
}
static struct chain_matrix cold(double hz, double drive)
{
        double complex w = J * TWO_PI * hz, half = w * 24e-15;
        return with_leads(hz, 2 * half, -half, -half, half + K_S_V * drive + w * 12e-15);
}
static struct chain_matrix cold_1(double hz) { return cold(hz, drives[COLD_1]); }
static struct chain_matrix cold_2(double hz) { return cold(hz, drives[COLD_2]); }
static struct chain_matrix cold_3(double hz) { return cold(hz, drives[COLD_3]); }
static struct chain_matrix off(double hz)
{
        double complex edge = J * TWO_PI * hz * 9e-15;
        return with_leads(hz, 2 * edge, -edge, -edge, 2 * edge);
}
static struct chain_matrix (*const states_of[STATES])(double hz) = {on, cold_1, cold_2, cold_3, off};

/* A bipolar in the same leads: hybrid pi of 12 mA and a gain of 100; collector open by Ebers and Moll, reverse gain 2, transit times of 0.5 and
   8 ps, no depletion. */
#define V_T 0.0257
static const double base_a[STATES] = {1.2e-4, 2e-3, 4e-3, 8e-3, 0};
static const double hbt_gm = 0.012 / V_T;
static struct chain_matrix hbt_on(double hz)
{
        double complex w = J * TWO_PI * hz, mu = w * 9e-15;
        return with_leads(hz, hbt_gm / 100 + w * 300e-15 + mu, -mu, hbt_gm * cexp(-w * 0.2e-12) - mu, 3e-4 + w * 14e-15 + mu);
}
static struct chain_matrix hbt_cold(double hz, double ampere)
{
        double complex w = J * TWO_PI * hz;
        double reverse = ampere / (1.5 / 100 + 0.5) / V_T, forward = 1.5 * reverse;
        double complex be = forward * (0.01 + w * 0.5e-12), bc = reverse * (0.5 + w * 8e-12);
        return with_leads(hz, be + bc, -bc, forward - reverse - bc, reverse + bc);
}
static struct chain_matrix hbt_1(double hz) { return hbt_cold(hz, base_a[COLD_1]); }
static struct chain_matrix hbt_2(double hz) { return hbt_cold(hz, base_a[COLD_2]); }
static struct chain_matrix hbt_3(double hz) { return hbt_cold(hz, base_a[COLD_3]); }
static struct chain_matrix (*const hbt_states[STATES])(double hz) = {hbt_on, hbt_1, hbt_2, hbt_3, off};

static const char *const state_names[STATES] = {"on", "cold_1", "cold_2", "cold_3", "off"};

struct touched {
        struct bench *b;
        struct calibration *c;
        struct condition conditions[STATES];
        struct cold_state cold[3];
        struct raw_sweep raw[STATES], open, short_;
        const struct raw_sweep *at[STATES];
        struct chain_matrix (*const *of)(double hz);
        struct chain_question q;
        struct parameter_answer *a;
        size_t n;
};
static void states_sweep(struct touched *t, const struct touch *touch)
{
        for (int k = 0; k < STATES; k++) {
                struct inner d = {.of = t->of[k], .touch = touch, .no_leads = t->b->measures[0].deembed == DEEMBED_NONE};
                t->raw[k] = bench_two_port(t->b, pads_and_leads, &d);
                t->at[k] = &t->raw[k];
        }
}
static void sweep_all(struct touched *t, const struct touch *touch)
{
        static const struct dut open = {DUT_OPEN, 0, 0, 0, NULL, false}, shorted = {DUT_SHORT, 0, 0, 0, NULL, false};
        states_sweep(t, touch);
        t->open = bench_device(t->b, &open);
        t->short_ = bench_device(t->b, &shorted);
}
static void touched_new(struct touched *t, int32_t deembed)
{
        *t = (struct touched){.b = bench_new("unknown_thru"), .of = states_of};
        struct measure *m = &t->b->measures[0];
        t->b->devices[0].kind = DEVICE_TRANSISTOR;
        m->deembed = deembed;
        m->conditions = t->conditions;
        m->condition_n = STATES;
        for (int k = 0; k < STATES; k++)
                strcpy(t->conditions[k].name, state_names[k]);
        for (int k = 0; k < 3; k++) {
                strcpy(t->cold[k].condition, state_names[COLD_1 + k]);
                t->cold[k].drive = drives[COLD_1 + k];
        }
        m->has_extrinsic = true;
        m->extrinsic = (struct extrinsic_plan){.off_as = RF_OFF_COLD_PINCH,
                                               .off_below_hz = 5e9,
                                               .cold = t->cold,
                                               .cold_n = 3,
                                               .cold_as = RF_COLD_VANISHING,
                                               .drive_u = 0.005,
                                               .from_hz = 5e9,
                                               .below_hz = 40e9};
        t->c = bench_calibrate(t->b);
        sweep_all(t, NULL);
        t->q = (struct chain_question){.recipe = &t->b->recipe,
                                       .measure = m,
                                       .calibration = t->c,
                                       .raw = &t->raw[ON],
                                       .states = t->at,
                                       .state_n = STATES,
                                       .condition = ON,
                                       .dummies = {[RF_DUMMY_OPEN] = &t->open, [RF_DUMMY_SHORT] = &t->short_}};
}
static void become_bipolar(struct touched *t)
{
        t->of = hbt_states;
        for (int k = 0; k < 3; k++)
                t->cold[k].drive = base_a[COLD_1 + k];
        t->b->measures[0].extrinsic.cold_as = RF_COLD_OPEN_COLLECTOR;
        t->b->measures[0].extrinsic.drive_u = 1e-6;
        states_sweep(t, NULL);
}
static int32_t word(const char *w)
{
        for (int32_t k = 1; quantity_words[k]; k++)
                if (strcmp(quantity_words[k], w) == 0)
                        return k;
        fail_msg("no quantity %s", w);
        return 0;
}
static void ask(struct touched *t, const char *const *words, size_t n)
{
        for (size_t k = 0; k < n; k++) {
                int32_t q = word(words[k]);
                bench_ask(t->b, q, quantity_of_sweep(q) ? 0 : 20e9)->resolve_share_max = 10;
        }
}
static void run(struct touched *t)
{
        struct tp_error err = {0};
        uint32_t flags;
        if (chain_run(&t->q, t->b->arena, &t->a, &t->n, &flags, &err))
                fail_msg("%s", err.text);
}
static void near_to(const struct parameter_answer *a, double want, double relative)
{
        if (!a->has_value || !(fabs(a->value - want) <= relative * fabs(want)))
                fail_msg("%s: %.9g, wanted %.9g within %.1g (%s)", quantity_words[a->plan->quantity], a->value, want, relative, a->reason);
        if (!(a->u95 > 0 && isfinite(a->u95)))
                fail_msg("%s: u95 %.3g", quantity_words[a->plan->quantity], a->u95);
}

static const char *const inside_words[] = {"gm", "gm_tau", "gds", "Cgs", "Cgd", "Cds", "Ri"};
static const double inside_values[] = {0.06, 0.3e-12, 0.006, 40e-15, 9e-15, 12e-15, 4};
static const char *const lead_words[] = {"r_in", "r_out", "r_common", "l_in", "l_out", "l_common"};

static void the_elements_inside_the_leads_come_back(void **state)
{
        struct touched t;
        (void)state;
        touched_new(&t, DEEMBED_OPEN_SHORT);
        ask(&t, inside_words, 7);
        ask(&t, lead_words, 6);
        ask(&t, (const char *const[]){"h21"}, 1);
        run(&t);
        for (int k = 0; k < 7; k++)
                near_to(&t.a[k], inside_values[k], k == 1 || k == 6 ? 0.05 : 0.01);
        const double leads[] = {put.r_in, put.r_out, put.r_common, put.l_in, put.l_out, put.l_common};
        for (int k = 0; k < 6; k++)
                near_to(&t.a[7 + k], leads[k], 0.03);
        assert_string_equal(t.a[0].plane, "device");
        double gain = t.a[13].value;
        t.b->measures[0].has_extrinsic = false; /* the same sweeps as they stand */
        t.b->measures[0].parameter_n = 7;
        run(&t);
        assert_true(fabs(t.a[0].value / 0.06 - 1) > 0.05 && fabs(t.a[6].value / 4 - 1) > 0.5);
        t.b->measures[0].parameter_n = 14;
        t.b->parameters[0] = t.b->parameters[13];
        t.b->measures[0].parameter_n = 1;
        run(&t);
        assert_true(t.a[0].value == gain); /* a gain is the whole device's with and without */
        bench_free(t.b);
}

/* ---- causes: what one thing does to gm, through the leads and beside them -------------------------------------------------------------- */
static double number_at(struct touched *t, int32_t quantity, bool exact, struct cause_list *list)
{
        struct chain ch, inside;
        struct tp_error err = {0};
        struct trio at;
        size_t j;
        double gain;
        assert_int_equal(chain_open(&t->q, t->b->arena, &ch, &err), CODE_OK);
        if (leads_chain(&ch, t->b->arena, &inside, &err))
                fail_msg("%s", err.text);
        if (exact)
                inside.leads = NULL;
        struct asked a = {
                .ch = &inside, .quantity = quantity, .rf = (enum rf_quantity)quantity_rf(quantity), .hz = 20e9, .view = VIEW_SERIES};
        assert_int_equal(chain_between(&inside, a.hz, &at, &j, &gain, &err), CODE_OK);
        if (list)
                causes_of(&a, &at, j, gain, list);
        return asked_value(&a, asked_z(&a, &at));
}
static double number(struct touched *t, int32_t quantity, struct cause_list *list) { return number_at(t, quantity, false, list); }
static double number_of_exact_leads(struct touched *t, int32_t quantity, struct cause_list *list)
{
        return number_at(t, quantity, true, list);
}
static double cause(const struct cause_list *list, const char *name, size_t n)
{
        for (size_t k = 0; k < list->n; k++)
                if (strcmp(list->name[k], name) == 0 && n-- == 0)
                        return list->dq[k];
        return 0;
}

/* gm_tau is an angle of a few thousandths of a turn: what the fit's own curvature does to it is no smaller than what contacts do.  In C_pi the
   leads take up all but 4e-5 of it, of which the nodes of the window leave a part. */
static bool is_told(double by, double told, double value, const char *of)
{
        double left = strcmp(of, "gm_tau") == 0 ? 2e-4 : strcmp(of, "C_pi") == 0 ? 5e-6 : 1e-6;
        return fabs(by - told) <= 0.06 * fabs(by) + left * fabs(value);
}

static void contacts_are_told(struct touched *t, const char *const *words, int n)
{
        struct cause_list list;
        for (int k = 0; k < n; k++) {
                int32_t q = word(words[k]);
                sweep_all(t, NULL);
                double before = number(t, q, &list);
                for (int port = 0; port < 2; port++) {
                        struct touch r = {.r_ohm = {0}}, l = {.l_h = {0}};
                        r.r_ohm[port] = t->b->recipe.setup.contact_ohm_u;
                        l.l_h[port] = t->b->recipe.setup.contact_h_u;
                        states_sweep(t, &r);
                        double by_r = number(t, q, NULL) - before, told_r = cause(&list, "contact R", (size_t)port);
                        states_sweep(t, &l);
                        double by_l = number(t, q, NULL) - before, told_l = cause(&list, "contact L", (size_t)port);
                        if (!is_told(by_r, told_r, before, words[k]) || !is_told(by_l, told_l, before, words[k]))
                                fail_msg("%s, port %d: contact R %.3g, told %.3g; contact L %.3g, told %.3g of %.4g", words[k], port + 1,
                                         by_r, told_r, by_l, told_l, before);
                }
        }
}
static void a_contact_goes_into_leads_and_number_alike(void **state)
{
        struct touched t;
        (void)state;
        touched_new(&t, DEEMBED_OPEN_SHORT);
        ask(&t, inside_words, 7);
        contacts_are_told(&t, inside_words, 4);
        bench_free(t.b);
}

/* Leads and hybrid pi come back, what contacts do to them is told, and so is the supply's offset. */
static void a_bipolar_is_found_behind_its_leads(void **state)
{
        static const char *const words[] = {"hbt_gm", "C_pi", "C_mu", "R_pi", "r_in", "r_out", "r_common", "l_in", "l_out", "l_common"};
        const double want[] = {hbt_gm, 300e-15, 9e-15, 100 / hbt_gm, put.r_in, put.r_out, put.r_common, put.l_in, put.l_out, put.l_common};
        struct touched t;
        struct cause_list list;
        (void)state;
        touched_new(&t, DEEMBED_OPEN_SHORT);
        become_bipolar(&t);
        ask(&t, words, 10);
        run(&t);
        for (int k = 0; k < 10; k++)
                near_to(&t.a[k], want[k], 0.03);
        contacts_are_told(&t, words, 3); /* R_pi is an eighth of its branch at 20 GHz: read it lower */
        sweep_all(&t, NULL);
        int32_t gm = word("hbt_gm");
        double before = number(&t, gm, &list), told = cause(&list, "extrinsic drive", 0);
        for (int k = 0; k < 3; k++)
                t.cold[k].drive += 1e-6;
        double moved = number(&t, gm, NULL) - before;
        if (!(fabs(moved) > 1e-6 && fabs(moved - told) < 0.03 * fabs(moved)))
                fail_msg("base currents moved by their u: gm by %.4g, told %.4g", moved, told);
        bench_free(t.b);
}

static const struct leads *leads_at(struct touched *t)
{
        struct chain ch, inside;
        struct tp_error err = {0};
        assert_int_equal(chain_open(&t->q, t->b->arena, &ch, &err), CODE_OK);
        if (leads_chain(&ch, t->b->arena, &inside, &err))
                fail_msg("%s", err.text);
        return inside.leads;
}
/* A bipolar with its collector open is no reciprocal network: its tee is the mean of both directions, which two receivers read.  So all is
   read again, standards and dummies too, with the receiver of one port bent. */
static void a_bent_receiver_goes_into_the_leads_as_foretold(void **state)
{
        struct touched t;
        const double half_width = 2e-4, e = half_width / 10 / sqrt(3);
        (void)state;
        touched_new(&t, DEEMBED_OPEN_SHORT);
        become_bipolar(&t);
        ask(&t, lead_words, 6);
        t.b->recipe.setup.linearity_db_10db = half_width;
        const struct leads *before = leads_at(&t);
        for (int port = 0; port < 2; port++) {
                sweep_all(&t, NULL);
                for (int k = 0; k < STATES; k++)
                        bench_bend(&t.raw[k], port, e);
                bench_bend(&t.open, port, e);
                bench_bend(&t.short_, port, e);
                t.q.calibration = bench_calibrate_bent(t.b, port, e);
                const struct leads *after = leads_at(&t);
                for (int r = RF_X_R_IN; r <= RF_X_R_COMMON; r++) {
                        double moved = after->x.value[r] - before->x.value[r], told = cause(&before->of[r], "linearity", (size_t)port);
                        print_message("%s port %d: moved by %.4g ohm, foretold %.4g\n", rf_extrinsic_words[r], port + 1, moved, told);
                        if (!(fabs(moved - told) < 0.03 * fabs(moved)))
                                fail_msg("%s, receiver of port %d bent: by %.4g ohm, foretold %.4g", rf_extrinsic_words[r], port + 1, moved,
                                         told);
                }
        }
        bench_free(t.b);
}

static void what_leads_take_up_is_not_told_of_the_number(void **state)
{
        struct touched t;
        struct cause_list list, exact;
        (void)state;
        touched_new(&t, DEEMBED_OPEN_SHORT);
        ask(&t, inside_words, 7);
        double cgs = number(&t, word("Cgs"), &list);
        number_of_exact_leads(&t, word("Cgs"), &exact);
        double with = fabs(cause(&list, "contact L", 0)), without = fabs(cause(&exact, "contact L", 0));
        if (!(without > 2e-4 * cgs && with < 0.2 * without))
                fail_msg("contact L of port 1 moves Cgs by %.3g, by %.3g if the leads were exact, of %.3g", with, without, cgs);
        bench_free(t.b);
}

static void what_is_not_known_of_the_drives_is_a_cause_by_name(void **state)
{
        struct touched t;
        struct cause_list list;
        (void)state;
        touched_new(&t, DEEMBED_OPEN_SHORT);
        ask(&t, inside_words, 7);
        int32_t gm = word("gm");
        double before = number(&t, gm, &list), told = cause(&list, "extrinsic drive", 0);
        assert_true(cause(&list, "extrinsic r_in", 0) != 0 && cause(&list, "extrinsic r_common", 0) != 0);
        for (int k = 0; k < 3; k++)
                t.cold[k].drive += 0.005;
        double moved = number(&t, gm, NULL) - before;
        if (!(fabs(moved) > 1e-5 && fabs(moved - told) < 0.03 * fabs(moved)))
                fail_msg("drives moved by their u: gm by %.4g, told %.4g", moved, told);
        t.b->measures[0].extrinsic.drive_u = 0;
        number(&t, gm, &list);
        assert_true(list.not_counted_n > 0 && cause(&list, "extrinsic drive", 0) == 0);
        bench_free(t.b);
}

/* ---- without dummies: the pads from the off state -------------------------------------------------------------------------------------- */
static void pads_come_off_by_the_off_state(void **state)
{
        struct touched t;
        (void)state;
        touched_new(&t, DEEMBED_NONE);
        strcpy(t.b->measures[0].extrinsic.off, "off");
        ask(&t, (const char *const[]){"c_in", "c_out", "r_common", "gm", "Cgs", "Cgd"}, 6);
        run(&t);
        const double want[] = {the_pads.c_f, the_pads.c_f + 9e-15, put.r_common, 0.06, 40e-15,
                               9e-15}; /* the drain's edge goes with its pad */
        for (int k = 0; k < 6; k++)
                near_to(&t.a[k], want[k], k == 1 ? 0.5 : 0.03);
        assert_true(budget_leaves_out(t.a[5].budget, "extrinsic c_between")); /* not stated */
        double before = t.a[5].u95;
        t.b->measures[0].extrinsic.c_between_f_u = 0.5e-15;
        run(&t);
        assert_false(budget_leaves_out(t.a[5].budget, "extrinsic c_between"));
        assert_true(fabs(hypot(before, 2 * 0.5e-15) / t.a[5].u95 - 1) < 0.05);
        bench_free(t.b);
}

static void what_cannot_be_found_is_said(void **state)
{
        struct touched t;
        (void)state;
        touched_new(&t, DEEMBED_OPEN_SHORT);
        ask(&t, (const char *const[]){"gm", "r_in", "h21"}, 3);
        t.at[COLD_2] = NULL;
        run(&t);
        assert_true(!t.a[0].has_value && strstr(t.a[0].reason, "no sweep of condition cold_2"));
        assert_true(!t.a[1].has_value && t.a[2].has_value);
        t.at[COLD_2] = &t.raw[OFF]; /* as if its gate had not come up */
        run(&t);
        assert_true(!t.a[0].has_value && t.a[0].reason[0] && t.a[2].has_value);
        t.at[COLD_2] = &t.raw[COLD_2];
        t.q.raw = &t.raw[COLD_3];
        t.q.condition = COLD_3;
        run(&t);
        assert_true(!t.a[0].has_value && strstr(t.a[0].reason, "nothing amplifies under condition cold_3") && t.a[1].has_value);
        bench_free(t.b);
}

/* Found under the first condition, shared by the others of the touch: asked again after a state was taken away, they are still told; under
   another condition, with the same u95; and with other terms, or for another touch, they are found anew. */
static void leads_are_those_of_the_touch(void **state)
{
        struct touched t;
        struct leads_of_touch kept = {.measure = NULL};
        (void)state;
        touched_new(&t, DEEMBED_OPEN_SHORT);
        ask(&t, (const char *const[]){"r_in", "gm"}, 2);
        run(&t);
        double alone = t.a[0].value, alone_u95 = t.a[0].u95, gm = t.a[1].value, gm_u95 = t.a[1].u95;
        t.q.leads = &kept;
        run(&t);
        assert_true(t.a[0].value == alone && t.a[0].u95 == alone_u95 && t.a[1].value == gm && t.a[1].u95 == gm_u95);
        t.q.raw = &t.raw[COLD_3];
        t.q.condition = COLD_3;
        t.at[COLD_2] = NULL;
        run(&t);
        assert_true(t.a[0].value == alone && t.a[0].u95 == alone_u95);
        struct calibration other = *t.c;
        t.q.calibration = &other;
        run(&t);
        assert_true(!t.a[0].has_value && strstr(t.a[0].reason, "no sweep of condition cold_2"));
        kept = (struct leads_of_touch){.measure = NULL}; /* the next touch; what could not be found is not looked for again either */
        t.q.calibration = t.c;
        run(&t);
        assert_true(!t.a[0].has_value && kept.code == CODE_NOT_FOUND);
        t.at[COLD_2] = &t.raw[COLD_2];
        run(&t);
        assert_true(!t.a[0].has_value && strstr(t.a[0].reason, "no sweep of condition cold_2"));
        bench_free(t.b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(the_elements_inside_the_leads_come_back),
                cmocka_unit_test(a_contact_goes_into_leads_and_number_alike),
                cmocka_unit_test(what_leads_take_up_is_not_told_of_the_number),
                cmocka_unit_test(what_is_not_known_of_the_drives_is_a_cause_by_name),
                cmocka_unit_test(pads_come_off_by_the_off_state),
                cmocka_unit_test(what_cannot_be_found_is_said),
                cmocka_unit_test(leads_are_those_of_the_touch),
                cmocka_unit_test(a_bipolar_is_found_behind_its_leads),
                cmocka_unit_test(a_bent_receiver_goes_into_the_leads_as_foretold),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
