/* A calibration with leakage, through evaluate/ as a night does it: standards of a recipe, five of them unequal at the two ports, solved,
   stored, read back, and a device corrected that eight terms get wrong. */
#include "evaluate_bench.h"

enum { STANDARDS = 5 };

/* The bench's boxes with paths between the two sides: 1 % of what goes straight, twice that between the tips. */
static void read_with_leakage(double hz, const double complex d[4], double complex m[4])
{
        double complex x[4], y[4], leak = 0.01 * cexp(CMPLX(0, -TWO_PI * hz * 9e-12));
        s_of(box(0, hz), x);
        s_of(box(1, hz), y); /* its port 1 at the receivers too */
        const double complex e1[4] = {x[0], leak, leak, y[0]}, e2[4] = {x[1], leak * y[1], leak * x[1], y[1]},
                             e3[4] = {x[2], leak * x[2], leak * y[2], y[2]}, e4[4] = {x[3], 2 * leak, 2 * leak, y[3]};
        /* per source: a = e3 + e4 b, b = d a; b = (1 - d e4)^{-1} d e3; m = e1 + e2 b */
        for (int j = 0; j < 2; j++) {
                double complex p[4], q[2] = {d[0] * e3[j] + d[1] * e3[2 + j], d[2] * e3[j] + d[3] * e3[2 + j]};
                for (int k = 0; k < 4; k++)
                        p[k] = (k == 0 || k == 3) - (d[k / 2 * 2] * e4[k % 2] + d[k / 2 * 2 + 1] * e4[2 + k % 2]);
                double complex det = p[0] * p[3] - p[1] * p[2], b1 = (p[3] * q[0] - p[1] * q[1]) / det,
                               b2 = (p[0] * q[1] - p[2] * q[0]) / det;
                m[j] = e1[j] + e2[0] * b1 + e2[1] * b2;
                m[2 + j] = e1[2 + j] + e2[2] * b1 + e2[3] * b2;
        }
}
static struct raw_sweep sweep_of(struct bench *b, void (*device)(double hz, const void *what, double complex d[4]), const void *what)
{
        struct raw_sweep raw = bench_room(b);
        for (size_t i = 0; i < BENCH_POINTS; i++) {
                double complex d[4], m[4];
                device(b->hz[i], what, d);
                read_with_leakage(b->hz[i], d, m);
                bench_store(b, &raw, i, m);
        }
        return raw;
}

static double complex end_at(char end, double hz)
{
        double w = TWO_PI * hz;
        double complex y = CMPLX(0, w * -6.5e-15) * 50, z = end == 's' ? CMPLX(0, w * 4e-12) : CMPLX(50, w * 6e-12);
        return end == 'o' ? (1 - y) / (1 + y) : (z - 50) / (z + 50);
}
static void standard_device(double hz, const void *what, double complex d[4])
{
        const char *ends = what;
        bool thru = ends[0] == 't';
        d[0] = thru ? 0 : end_at(ends[0], hz);
        d[3] = thru ? 0 : end_at(ends[1], hz);
        d[1] = d[2] = thru ? cexp(CMPLX(0, -TWO_PI * hz * 1.45e-12)) : 0;
}
static void inductor_device(double hz, const void *what, double complex d[4]) { s_of(dut_chain(hz, what), d); }

static const char *const ends[STANDARDS] = {"tt", "os", "so", "ll", "ol"};
static void put_end(char end, int32_t *kind, struct standard_model *model)
{
        *kind = end == 't' ? STANDARD_THRU : end == 'o' ? STANDARD_OPEN : end == 's' ? STANDARD_SHORT : STANDARD_LOAD;
        *model = (struct standard_model){.z_ohm = 50};
        model->c_f[0] = end == 'o' ? -6.5e-15 : 0;
        model->l_h[0] = end == 's' ? 4e-12 : end == 'l' ? 6e-12 : 0;
        model->r_ohm = end == 'l' ? 50 : 0;
        model->delay_s = end == 't' ? 1.45e-12 : 0;
}
static struct bench *leaking_bench(struct standard_sweep of[STANDARDS], struct raw_sweep raw[STANDARDS], double u_c)
{
        struct bench *b = bench_new("sixteen_term");
        for (int k = 0; k < STANDARDS; k++) {
                struct standard *s = &b->standards[k];
                snprintf(s->name, sizeof s->name, "STD_%s", ends[k]);
                put_end(ends[k][0], &s->kind, &s->model);
                s->raised = false;
                s->has_port_2 = ends[k][0] != ends[k][1];
                if (s->has_port_2)
                        put_end(ends[k][1], &s->port_2.kind, &s->port_2.model);
                s->model.u_c_f = s->kind == STANDARD_OPEN ? u_c : 0;
                raw[k] = sweep_of(b, standard_device, ends[k]);
                of[k] = (struct standard_sweep){k, &raw[k]};
                strcpy(b->uses[k].standard, s->name);
        }
        b->recipe.calibration.standard_n = STANDARDS;
        return b;
}
static double far(struct bench *b, const struct calibration *c, const struct dut *d)
{
        struct raw_sweep raw = sweep_of(b, inductor_device, d);
        struct chain_question q = {.recipe = &b->recipe, .measure = &b->measures[0], .calibration = c, .raw = &raw};
        struct tp_error err = {0};
        double *re[4], *im[4], worst = 0;
        if (chain_network(&q, false, b->arena, re, im, &err))
                fail_msg("%s", err.text);
        for (size_t i = 0; i < BENCH_POINTS; i++) {
                double complex want[4];
                inductor_device(b->hz[i], d, want);
                for (int k = 0; k < 4; k++)
                        worst = fmax(worst, cabs(CMPLX(re[k][i], im[k][i]) - want[k]));
        }
        return worst;
}

static const struct dut inductor = {DUT_INDUCTOR, 1, 300e-12, 6e-15, NULL, false};

static void leakage_is_solved_stored_and_taken_out(void **state)
{
        (void)state;
        struct raw_sweep raw[STANDARDS];
        struct standard_sweep of[STANDARDS];
        struct bench *b = leaking_bench(of, raw, 0);
        struct calibration *c, *again;
        struct text diagnosis, bytes, twice;
        struct tp_error err = {0};
        text_init(&diagnosis, 0);
        text_init(&bytes, 0);
        text_init(&twice, 0);
        if (calibration_solve(&b->recipe, of, STANDARDS, b->arena, &c, &diagnosis, &err))
                fail_msg("%s", err.text);
        assert_string_equal(calibration_plane(c), "tip");
        assert_non_null(strstr(text_of(&diagnosis), "sixteen_term"));
        assert_non_null(strstr(text_of(&diagnosis), "\"leakage\""));
        double off = far(b, c, &inductor);
        if (!(off < 1e-11))
                fail_msg("the device comes out %.3g away", off);
        calibration_bytes(c, &bytes);
        if (calibration_read(bytes.at, bytes.n, b->arena, &again, &err))
                fail_msg("%s", err.text);
        calibration_bytes(again, &twice);
        assert_int_equal(bytes.n, twice.n);
        assert_memory_equal(bytes.at, twice.at, bytes.n);
        assert_true(far(b, again, &inductor) == off);
        /* a value with an interval, as for any other calibration */
        bench_ask(b, QUANTITY_L, 10e9);
        b->measures[0].deembed = DEEMBED_NONE;
        struct raw_sweep device = sweep_of(b, inductor_device, &inductor);
        struct chain_question q = {.recipe = &b->recipe, .measure = &b->measures[0], .calibration = again, .raw = &device};
        struct parameter_answer *a;
        size_t n;
        uint32_t flags;
        if (chain_run(&q, b->arena, &a, &n, &flags, &err))
                fail_msg("%s", err.text);
        assert_true(n == 1 && a[0].has_value && a[0].u95 > 0);
        text_done(&diagnosis);
        text_done(&bytes);
        text_done(&twice);
        bench_free(b);
}

static void what_a_recipe_may_get_wrong(void **state)
{
        (void)state;
        struct raw_sweep raw[STANDARDS];
        struct standard_sweep of[STANDARDS];
        struct bench *b = leaking_bench(of, raw, 0);
        struct calibration *c;
        struct tp_error err = {0};
        assert_int_equal(calibration_solve(&b->recipe, of, 4, b->arena, &c, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "needs 5"));
        of[4] = of[3]; /* loads twice instead of open with load */
        assert_int_equal(calibration_solve(&b->recipe, of, STANDARDS, b->arena, &c, NULL, &err), CODE_UNRESOLVABLE);
        assert_non_null(strstr(err.text, "; add "));
        bench_free(b);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(leakage_is_solved_stored_and_taken_out),
                                           cmocka_unit_test(what_a_recipe_may_get_wrong)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
