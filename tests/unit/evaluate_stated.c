/* What only the recipe can say of an uncertainty (temperature, receivers, lines, overtravel), each against measuring again with that one
   thing otherwise.  Raw data are chain matrices (evaluate_bench.h). */
#include "evaluate_bench.h"
#undef I
#include "evaluate/chain.h"

/* One number with its causes. */
struct number {
        struct chain ch;
        struct asked a;
        double value;
        struct cause_list list;
};
struct readings {
        struct raw_sweep standards[4], device, open, short_;
        const struct drift_seen *drift;
};

static void number_take(struct bench *b, const struct calibration *c, const struct readings *r, int32_t quantity, double hz,
                        struct number *ret)
{
        struct chain_question *q = arena_take(b->arena, sizeof *q);
        struct tp_error err = {0};
        struct trio t;
        size_t j;
        double gain;
        *q = (struct chain_question){.recipe = &b->recipe,
                                     .measure = &b->measures[0],
                                     .calibration = c,
                                     .raw = &r->device,
                                     .drift = r->drift,
                                     .dummies = {[RF_DUMMY_OPEN] = &r->open, [RF_DUMMY_SHORT] = &r->short_}};
        if (chain_open(q, b->arena, &ret->ch, &err))
                fail_msg("%s", err.text);
        ret->a = (struct asked){.ch = &ret->ch, .quantity = quantity, .hz = hz, .view = VIEW_SERIES};
        assert_int_equal(chain_between(&ret->ch, hz, &t, &j, &gain, &err), CODE_OK);
        ret->value = asked_value(&ret->a, asked_z(&ret->a, &t));
        causes_of(&ret->a, &t, j, gain, &ret->list);
}

/* The n-th cause of a name, 0 where there is none. */
static double cause(const struct number *x, const char *name, size_t n)
{
        for (size_t k = 0; k < x->list.n; k++)
                if (strcmp(x->list.name[k], name) == 0 && n-- == 0)
                        return x->list.dq[k];
        return 0;
}
static bool is_counted(const struct number *x, const char *name)
{
        for (size_t k = 0; k < x->list.not_counted_n; k++)
                if (strcmp(x->list.not_counted[k], name) == 0)
                        return false;
        return true;
}

static const struct dut inductor = {DUT_INDUCTOR, 5, 150e-12, 10e-15, NULL, false}, resistor = {DUT_RESISTOR, 75, 9e-12, 0, NULL, false},
                        open_dummy = {DUT_OPEN, 0, 0, 0, NULL, false}, short_dummy = {DUT_SHORT, 0, 0, 0, NULL, false};

static void read_all(struct bench *b, const struct dut *device, struct readings *r)
{
        r->drift = NULL;
        for (size_t k = 0; k < 4; k++)
                r->standards[k] = bench_standard(b, k, NULL);
        r->device = bench_device(b, device);
        r->open = bench_device(b, &open_dummy);
        r->short_ = bench_device(b, &short_dummy);
}
static struct calibration *calibrate(struct bench *b, const struct readings *r)
{
        struct standard_sweep of[4];
        struct calibration *c = NULL;
        struct tp_error err = {0};
        for (int k = 0; k < 4; k++)
                of[k] = (struct standard_sweep){k, &r->standards[k]};
        if (calibration_solve(&b->recipe, of, 4, b->arena, &c, NULL, &err))
                fail_msg("%s", err.text);
        return c;
}

static void a_bent_receiver_moves_numbers_as_foretold(void **state)
{
        (void)state;
        static const struct {
                const char *method;
                const struct dut *device;
                int32_t quantity;
                double hz;
        } rows[] = {
                {"unknown_thru", &inductor, QUANTITY_L, 5e9},
                {"unknown_thru", &inductor, QUANTITY_Q, 20e9},
                {"unknown_thru", &resistor, QUANTITY_R, 2e9},
                {"solt", &inductor, QUANTITY_L, 5e9},
                {"solt", &resistor, QUANTITY_R, 10e9},
                {"known_standards", &inductor, QUANTITY_Q, 20e9},
                {"known_standards", &resistor, QUANTITY_R, 30e9},
        };
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++)
                for (int port = 0; port < 2; port++) {
                        struct bench *b = bench_new(rows[k].method);
                        struct readings r;
                        struct number before, after;
                        const double half_width = 2e-4, e = half_width / 10 / sqrt(3);
                        b->recipe.setup.linearity_db_10db = half_width;
                        read_all(b, rows[k].device, &r);
                        number_take(b, calibrate(b, &r), &r, rows[k].quantity, rows[k].hz, &before);
                        for (int s = 0; s < 4; s++)
                                bench_bend(&r.standards[s], port, e);
                        bench_bend(&r.device, port, e);
                        bench_bend(&r.open, port, e);
                        bench_bend(&r.short_, port, e);
                        number_take(b, calibrate(b, &r), &r, rows[k].quantity, rows[k].hz, &after);
                        double moved = after.value - before.value, foretold = cause(&before, "linearity", (size_t)port);
                        print_message("%s %s port %d: moved by %.4g, foretold %.4g\n", rows[k].method, quantity_words[rows[k].quantity],
                                      port + 1, moved / before.value, foretold / before.value);
                        assert_true(is_counted(&before, "linearity"));
                        if (!(fabs(foretold - moved) < 0.02 * fabs(moved)))
                                fail_msg("%s, row %zu, port %d: moved by %.6g, foretold %.6g", rows[k].method, k, port + 1, moved,
                                         foretold);
                        b->recipe.setup.linearity_db_10db = 0;
                        number_take(b, calibrate(b, &r), &r, rows[k].quantity, rows[k].hz, &after);
                        assert_true(!is_counted(&after, "linearity") && cause(&after, "linearity", 0) == 0);
                        bench_free(b);
                }
}

/* A standard given by data that are wrong by one standard uncertainty in one component: the calibration is solved anew with them. */
static void data_of_standards_move_numbers_as_foretold(void **state)
{
        (void)state;
        static const struct {
                const char *method, *name;
                int standard, entry; /* of the standard's causes: real and imaginary part of S11; S21 (for S12, too), of a thru; S22 */
                int32_t quantity;
                double hz;
        } rows[] = {
                {"unknown_thru", "load data", 2, 0, QUANTITY_L, 5e9},
                {"unknown_thru", "short data", 1, 1, QUANTITY_Q, 20e9},
                {"unknown_thru", "open data", 0, 3, QUANTITY_L, 20e9},
                {"solt", "load data", 2, 2, QUANTITY_L, 5e9},
                {"solt", "thru data", 3, 2, QUANTITY_L, 20e9},
                {"solt", "thru data", 3, 1, QUANTITY_Q, 20e9},
                {"known_standards", "load data", 2, 0, QUANTITY_L, 5e9},
                {"known_standards", "thru data", 3, 3, QUANTITY_L, 5e9},
                {"known_standards", "thru data", 3, 0, QUANTITY_L, 20e9},
                {"lrm", "load data", 2, 0, QUANTITY_L, 20e9},
        };
        const double u = 1e-4;
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
                struct bench *b = bench_new(rows[k].method);
                struct standard *s = &b->standards[rows[k].standard];
                bool through = s->kind == STANDARD_THRU;
                struct standard_row data[BENCH_POINTS];
                struct readings r;
                struct number before, silent, after;
                read_all(b, &inductor, &r); /* as the models say */
                for (size_t i = 0; i < BENCH_POINTS; i++) {
                        struct m2 is = standard_at(s, b->recipe.setup.temperature_c, b->hz[i]);
                        data[i] = (struct standard_row){.hz = b->hz[i],
                                                        .s11 = {creal(is.e[0]), cimag(is.e[0])},
                                                        .s21 = {creal(is.e[2]), cimag(is.e[2])},
                                                        .s22 = {creal(is.e[3]), cimag(is.e[3])},
                                                        .has_s22 = true};
                }
                s->data = data;
                s->data_n = BENCH_POINTS;
                s->data_z_ohm = 50;
                number_take(b, calibrate(b, &r), &r, rows[k].quantity, rows[k].hz, &silent);
                assert_true(!is_counted(&silent, "standards' data") && cause(&silent, rows[k].name, 0) == 0);
                s->data_u = u;
                number_take(b, calibrate(b, &r), &r, rows[k].quantity, rows[k].hz, &before);
                assert_true(is_counted(&before, "standards' data"));
                assert_true(fabs(before.value / silent.value - 1) < 1e-9);
                for (size_t i = 0; i < BENCH_POINTS; i++) {
                        double *parts[2][4] = {{&data[i].s11[0], &data[i].s11[1], &data[i].s22[0], &data[i].s22[1]},
                                               {&data[i].s11[0], &data[i].s11[1], &data[i].s21[0], &data[i].s21[1]}};
                        *parts[through][rows[k].entry] += u;
                }
                number_take(b, calibrate(b, &r), &r, rows[k].quantity, rows[k].hz, &after);
                double moved = after.value - before.value, foretold = cause(&before, rows[k].name, (size_t)rows[k].entry);
                print_message("%s %s %d of %s: moved by %.4g, foretold %.4g\n", rows[k].method, rows[k].name, rows[k].entry,
                              quantity_words[rows[k].quantity], moved / before.value, foretold / before.value);
                if (!(fabs(moved) > 0 && fabs(fabs(foretold) - fabs(moved)) < 0.03 * fabs(moved)))
                        fail_msg("%s, row %zu: moved by %.6g, foretold %.6g", rows[k].method, k, moved, foretold);
                double u_before, u_silent, u95;
                budget_close(&before.list, &u_before, &u95, NULL);
                budget_close(&silent.list, &u_silent, &u95, NULL);
                assert_true(u_before > u_silent);
                bench_free(b);
        }
}

/* Both tips further in by as much: less line before the pads, more pad behind the tips. */
struct slid {
        const struct dut *d;
        double in_um, pad_f_um, own_um[2];
};
static struct chain_matrix slid_chain(double hz, const void *what)
{
        const struct slid *x = what;
        double w = TWO_PI * hz, per_um = w * sqrt(5.3) / 299792458.0 * 1e-6;
        struct chain_matrix m = dut_chain(hz, x->d);
        double one = x->in_um + x->own_um[0], two = x->in_um + x->own_um[1];
        m = times(to_ground(J * w * x->pad_f_um * one), times(m, to_ground(J * w * x->pad_f_um * two)));
        return times(line(-J * per_um * one, 50), times(m, line(-J * per_um * two, 50)));
}

static void overtravel_and_place_move_numbers_as_foretold(void **state)
{
        (void)state;
        struct bench *b = bench_new("unknown_thru");
        struct readings r, moved = {0};
        struct number before, after;
        struct slid x = {.d = &inductor, .pad_f_um = 2e-16};
        read_all(b, &inductor, &r);
        moved = r;
        struct calibration *c = calibrate(b, &r);
        b->recipe.setup.pad_f_um = x.pad_f_um;
        b->recipe.setup.overtravel_um_u = 0.02; /* small: the change of a number is not straight in a whole micrometre */
        b->recipe.setup.skate_um_um = 0.5;
        b->recipe.setup.placement_um_u = 0.01;
        number_take(b, c, &r, QUANTITY_L, 40e9, &before);
        x.in_um = 0.01;
        moved.device = bench_two_port(b, slid_chain, &x);
        number_take(b, c, &moved, QUANTITY_L, 40e9, &after);
        double seen = after.value - before.value, foretold = cause(&before, "overtravel", 0);
        if (!(fabs(seen - foretold) < 2e-3 * fabs(seen) && fabs(seen) > 1e-6 * before.value))
                fail_msg("overtravel: moved by %.6g, foretold %.6g", seen, foretold);
        assert_true(cause(&before, "overtravel, open", 0) != 0 && cause(&before, "overtravel, short", 0) != 0);
        x.in_um = 0; /* the first of placement: port 1 outwards, by its own share of the variance */
        x.own_um[0] = -0.01 * sqrt(0.5);
        moved.device = bench_two_port(b, slid_chain, &x);
        number_take(b, c, &moved, QUANTITY_L, 40e9, &after);
        seen = after.value - before.value;
        foretold = cause(&before, "placement", 0);
        if (!(fabs(seen - foretold) < 2e-3 * fabs(seen)))
                fail_msg("placement: moved by %.6g, foretold %.6g", seen, foretold);
        b->recipe.setup.overtravel_um_u = 0;
        number_take(b, c, &r, QUANTITY_L, 40e9, &after);
        assert_true(!is_counted(&after, "overtravel"));
        bench_free(b);
}

/* 75 ohm with 3900 ppm/K, 0.5 K: 0.146 ohm, beside what there is without. */
static void temperature_counts_where_it_is_stated(void **state)
{
        (void)state;
        double u95[3];
        for (int k = 0; k < 3; k++) {
                struct bench *b = bench_new("unknown_thru");
                struct readings r;
                struct parameter_answer *a;
                struct tp_error err = {0};
                size_t n;
                uint32_t flags;
                read_all(b, &resistor, &r);
                struct parameter_plan *p = bench_ask(b, QUANTITY_R, 5e9);
                b->recipe.setup.temperature_k_u = k ? 0.5 : 0;
                p->has_per_k = k != 1;
                p->per_k = k != 1 ? 0.0039 : 0;
                struct chain_question q = {.recipe = &b->recipe,
                                           .measure = &b->measures[0],
                                           .calibration = calibrate(b, &r),
                                           .raw = &r.device,
                                           .dummies = {[RF_DUMMY_OPEN] = &r.open, [RF_DUMMY_SHORT] = &r.short_}};
                assert_int_equal(chain_run(&q, b->arena, &a, &n, &flags, &err), CODE_OK);
                u95[k] = a[0].u95;
                assert_true((k < 2) == budget_leaves_out(a[0].budget, "temperature"));
                if (k == 2) {
                        double stated = 2 * 0.5 * 0.0039 * a[0].value, both = sqrt(u95[0] * u95[0] + stated * stated);
                        assert_true(fabs(stated / 2 - 0.146) < 1e-3);
                        if (!(fabs(u95[2] - both) < 0.02 * both)) /* the t factor moves a little */
                                fail_msg("u95 %.6g ohm, wanted %.6g", u95[2], both);
                        assert_non_null(strstr(a[0].budget, "\"temperature\":"));
                }
                bench_free(b);
        }
        assert_true(u95[0] == u95[1]);
}

/* By hand: limits of 25 fs are 25/sqrt 3 = 14.4 fs; a port that stood at 10 fs all the time is 10 fs off; one that went from 0 to 10 is
   10/sqrt 3 = 5.77 fs off in the mean square; from -10 to 10 as much; each end unknown by 3 fs adds 3 sqrt(2/3) = 2.45 fs. */
static void drift_counts_what_the_checks_saw(void **state)
{
        (void)state;
        static const struct {
                double from_fs, to_fs, u_fs, want_fs;
        } rows[] = {{10, 10, 0, 10}, {0, 10, 0, 5.7735}, {-10, 10, 0, 5.7735}, {10, 0, 0, 5.7735}, {0, 0, 3, 2.4495}, {0, 10, 3, 6.2716}};
        struct bench *b = bench_new("unknown_thru");
        struct readings r;
        struct number by_limits, seen;
        struct use check = {.standard = "SHORT_B"};
        b->recipe.check.standards = &check;
        b->recipe.check.standard_n = 1;
        read_all(b, &inductor, &r);
        struct calibration *c = calibrate(b, &r);
        number_take(b, c, &r, QUANTITY_Q, 20e9, &by_limits);
        double per_fs = cause(&by_limits, "drift, delay", 1) / (25 / sqrt(3)),
               per_db = cause(&by_limits, "drift, loss", 1) / (0.05 / sqrt(3));
        assert_true(per_fs != 0 && per_db != 0);
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
                struct drift_seen drift = {.from = {{0}, {.delay_fs = rows[k].from_fs, .delay_u_fs = rows[k].u_fs, .loss_db = 0.01}},
                                           .to = {{0}, {.delay_fs = rows[k].to_fs, .delay_u_fs = rows[k].u_fs, .loss_db = 0.01}}};
                r.drift = &drift;
                number_take(b, c, &r, QUANTITY_Q, 20e9, &seen);
                double got = cause(&seen, "drift, delay, as seen", 1) / per_fs;
                assert_true(cause(&seen, "drift, delay, as seen", 0) == 0); /* port 1 did not move */
                if (!(fabs(got - rows[k].want_fs) < 1e-3))
                        fail_msg("from %g to %g fs: %.6g fs, wanted %.6g", rows[k].from_fs, rows[k].to_fs, got, rows[k].want_fs);
                assert_true(fabs(cause(&seen, "drift, loss, as seen", 1) / per_db - 0.01) < 1e-6);
                assert_true(cause(&seen, "drift, delay", 0) == 0 && cause(&seen, "drift, loss", 0) == 0);
        }
        bench_free(b);
}

static void a_budget_says_what_is_not_counted(void **state)
{
        (void)state;
        struct cause_list list = {.n = 0};
        double u, u95;
        char json[BUDGET_ROOM];
        cause_add(&list, "load R", 4, INFINITY);
        cause_not_counted(&list, "temperature");
        cause_not_counted(&list, "linearity");
        cause_not_counted(&list, "temperature");
        budget_close(&list, &u, &u95, json);
        assert_string_equal(json, "{\"scopes\":{\"touch\":0.0,\"reading\":0.0,\"shared\":100.0},\"shared\":{\"load R\":100},"
                                  "\"not_counted\":[\"temperature\",\"linearity\"]}");
        for (int k = 0; k < 9; k++)
                cause_add(&list, k % 2 ? "a cause with a name as long as names may ever become, or longer" : "b", 4, INFINITY);
        for (int k = 0; k < NOT_COUNTED_MAX; k++)
                cause_not_counted(&list, &"temperature of everything that lies about, and of what does not"[k]);
        budget_close(&list, &u, &u95, json); /* whatever does not fit is left out, whole */
        assert_true(strlen(json) > BUDGET_ROOM - 80 && strlen(json) < BUDGET_ROOM);
        assert_true(budget_percent(json, "scopes", "shared") == 100 && budget_percent(json, "shared", "b") == 50);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(a_bent_receiver_moves_numbers_as_foretold),
                                           cmocka_unit_test(data_of_standards_move_numbers_as_foretold),
                                           cmocka_unit_test(overtravel_and_place_move_numbers_as_foretold),
                                           cmocka_unit_test(temperature_counts_where_it_is_stated),
                                           cmocka_unit_test(drift_counts_what_the_checks_saw),
                                           cmocka_unit_test(a_budget_says_what_is_not_counted)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
