/* vectorfit.json: rational models with known poles, residues and passivity crossings (made by independent Python with mpmath, crossings by
   bisection on the largest singular value); extraction.csv: the pi model of an inductor. */
#include "rf_check.h"
#include "rf/models/circuit.h"
#include "rf/network/convert.h"
#include "rf/models/model.h"

struct example {
        struct arena *arena;
        struct axis axis;
        struct model_data data;
        double *re[4], *im[4];
        const cJSON *json;
};

/* Case A is an admittance, B and C are S. */
static struct example example_of(const cJSON *file, const char *name)
{
        struct example x = {.arena = arena_new(0), .json = check_at(file, name)};
        bool one = name[0] == 'A';
        const cJSON *f = check_at(x.json, "f_hz"), *values = check_at(x.json, one ? "Y" : "S");
        size_t n = (size_t)cJSON_GetArraySize(f), i = 0;
        double *hz = arena_take(x.arena, n * sizeof *hz);
        for (const cJSON *e = f->child; e; e = e->next)
                hz[i++] = e->valuedouble;
        assert_int_equal(axis_of(n, hz, &x.axis, NULL), CODE_OK);
        x.data = (struct model_data){.axis = NULL, .ports = one ? 1 : 2, .z_ohm = 50};
        for (int q = 0; q < 4; q++) {
                x.data.re[q] = x.re[q] = arena_take(x.arena, n * sizeof(double));
                x.data.im[q] = x.im[q] = arena_take(x.arena, n * sizeof(double));
        }
        i = 0;
        for (const cJSON *e = values->child; e; e = e->next, i++)
                for (int q = 0; q < (one ? 1 : 4); q++) {
                        double complex z = one ? check_complex(e) : check_m2(e).e[q];
                        x.re[q][i] = creal(z);
                        x.im[q][i] = cimag(z);
                }
        return x;
}

static void check_poles(const char *what, const cJSON *json, const struct rational *r, double tol)
{
        size_t n = 0;
        for (const cJSON *e = check_at(json, "poles")->child; e; e = e->next, n++) {
                double complex p = check_complex(e), near = 0;
                size_t at = 0;
                for (size_t i = 0; i < r->pole_n; i++)
                        if (i == 0 || cabs(r->pole[i] - p) < cabs(near - p)) {
                                near = r->pole[i];
                                at = i;
                        }
                check_relative(what, cimag(p) / RF_TWO_PI, near, p, tol);
                const cJSON *res = cJSON_GetArrayItem(check_at(json, "residues"), (int)n);
                if (r->element_n == 1)
                        check_relative("residue", cimag(p) / RF_TWO_PI, r->residue[0][at], check_complex(res), tol * 10);
                else
                        for (int q = 0; q < 4; q++)
                                check_relative("residue", cimag(p) / RF_TWO_PI, r->residue[q][at], check_m2(res).e[q], tol * 10);
        }
        assert_int_equal(n, r->pole_n);
}

/* Poles of A, B and C come back to 1e-9 (asked for: 1e-9; seen 1e-14), whether the order is given, grown, or far too high. */
static void poles_come_back(void **state)
{
        (void)state;
        cJSON *file = check_json("vectorfit.json");
        static const struct {
                const char *name;
                size_t order;
        } cases[] = {{"A_admittance_one_port", 6}, {"B_S_two_port_violating", 5}, {"C_S_two_port_passive", 5}};
        for (size_t c = 0; c < 3; c++) {
                struct example x = example_of(file, cases[c].name);
                size_t elements = c == 0 ? 1 : 4, orders[] = {cases[c].order, 0, 2 * cases[c].order, 3 * cases[c].order, 30, 40};
                struct fit_data d = {.n = x.axis.n, .hz = x.axis.hz, .element_n = elements};
                for (size_t q = 0; q < elements; q++) {
                        d.re[q] = x.re[q];
                        d.im[q] = x.im[q];
                }
                for (size_t k = 0; k < sizeof orders / sizeof orders[0]; k++) {
                        struct fit_options o = {
                                .order = orders[k], .proportional = c == 0, .weight = c == 0 ? FIT_WEIGHT_INVERSE : FIT_WEIGHT_ONE};
                        struct rational r;
                        struct fit_report report;
                        struct tp_error err = {0};
                        if (rf_vector_fit(&d, &o, arena_take(x.arena, rf_vector_fit_bytes(d.n, elements, 0)), &r, &report, &err))
                                fail_msg("%s", err.text);
                        assert_int_equal(report.order, cases[c].order);
                        assert_int_equal(rational_order(&r), cases[c].order);
                        check_poles(cases[c].name, x.json, &r, 1e-9);
                        assert_true(report.rms < 1e-12 * report.signal_rms);
                        if (c == 0) {
                                check_relative("d", 0, r.d[0], check_at(x.json, "d")->valuedouble, 1e-9);
                                check_relative("e", 0, r.e[0], check_at(x.json, "e")->valuedouble, 1e-9);
                        }
                }
                arena_free(x.arena);
        }
        cJSON_Delete(file);
}

static struct model model_of(struct example *x, const struct model_options *o, struct model_report *r)
{
        static struct model m;
        struct tp_error err = {0};
        x->data.axis = &x->axis;
        if (rf_fit_vector(&x->data, o, arena_take(x->arena, rf_fit_vector_bytes(x->axis.n, x->data.ports, 0)), &m, r, &err))
                fail_msg("%s", err.text);
        return m;
}

/* Crossings to 1e-9, by half the Hamiltonian (reciprocal) and by the whole one; the larger singular values lie where the file says. */
static void crossings_are_found(void **state)
{
        (void)state;
        cJSON *file = check_json("vectorfit.json");
        for (int c = 0; c < 2; c++)
                for (int full = 0; full < 2; full++) {
                        struct example x = example_of(file, c ? "C_S_two_port_passive" : "B_S_two_port_violating");
                        struct model_report r;
                        struct model_options o = {.keep_active = true,
                                                  .reciprocity = full ? MODEL_NOT_RECIPROCAL : MODEL_RECIPROCAL_IF_SEEN};
                        struct model m = model_of(&x, &o, &r);
                        assert_int_equal(m.reciprocal, !full);
                        assert_int_equal(r.before.passive, c == 1);
                        size_t n = 0;
                        for (const cJSON *e = check_at(x.json, "sigma_max_equals_1_at_hz")->child; e; e = e->next, n++) {
                                assert_true(n < r.before.crossing_n);
                                check_relative("crossing", e->valuedouble, r.before.crossing_hz[n], e->valuedouble, 1e-9);
                        }
                        assert_int_equal(n, r.before.crossing_n);
                        assert_int_equal(r.before.band_n, n / 2);
                        const cJSON *most = check_at(x.json, "largest_sigma_on_100MHz_grid");
                        /* the file has the largest value on a grid of 100 MHz; the peak itself may stand above it */
                        assert_true(r.before.worst >= most->child->valuedouble * (1 - 1e-9) &&
                                    r.before.worst < most->child->valuedouble * 1.001);
                        assert_true(fabs(r.before.worst_hz - most->child->next->valuedouble) < 100e6);
                        arena_free(x.arena);
                }
        cJSON_Delete(file);
}

/* B becomes passive, in the band and far out of it; what that costs is said and bounded (the violation is 0.69, far more than a fit's). */
static void enforcement_makes_passive(void **state)
{
        (void)state;
        cJSON *file = check_json("vectorfit.json");
        for (int full = 0; full < 2; full++) {
                struct example x = example_of(file, "B_S_two_port_violating");
                struct model_report r;
                struct model_options o = {.reciprocity = full ? MODEL_NOT_RECIPROCAL : MODEL_RECIPROCAL};
                struct model m = model_of(&x, &o, &r);
                assert_true(r.after.passive && !r.before.passive);
                assert_int_equal(r.after.crossing_n, 0);
                assert_true(r.enforcement.rounds > 0 && r.enforcement.rounds < 60);
                assert_true(r.enforcement.dc <= 1e-4);
                assert_true(r.enforcement.rms < 0.12); /* the Python recipe: 0.08 on its own grid */
                assert_true(r.error.worst < 0.7);      /* 0.69 had to come off */
                for (int i = 0; i <= 4000; i++) {      /* 1 kHz … 10 THz, apart from the function under test */
                        double complex s[4];
                        double hz = 1e3 * pow(10, i / 400.0);
                        model_s_at(&m, hz, s);
                        double t = 0, d = cabs(s[0] * s[3] - s[1] * s[2]);
                        for (int q = 0; q < 4; q++)
                                t += creal(s[q] * conj(s[q]));
                        double sigma = sqrt((t + sqrt(fmax(0, t * t - 4 * d * d))) / 2);
                        if (!(sigma <= 1))
                                fail_msg("sigma %.12g at %g Hz", sigma, hz);
                }
                arena_free(x.arena);
        }
        cJSON_Delete(file);
}

/* A as a Y model: passive, and its S error is nothing. */
static void admittance_model(void **state)
{
        (void)state;
        cJSON *file = check_json("vectorfit.json");
        struct example x = example_of(file, "A_admittance_one_port");
        for (size_t i = 0; i < x.axis.n; i++) {
                double complex y = CMPLX(x.re[0][i], x.im[0][i]), s = (1 - 50 * y) / (1 + 50 * y);
                x.re[0][i] = creal(s);
                x.im[0][i] = cimag(s);
        }
        struct model_report r;
        struct model_options o = {.kind = MODEL_Y};
        o.fit.proportional = true;
        struct model m = model_of(&x, &o, &r);
        check_poles("A through S", x.json, &m.fit, 1e-9);
        assert_true(r.after.passive && r.enforcement.rounds == 0);
        assert_true(r.error.worst < 1e-12);
        arena_free(x.arena);
        cJSON_Delete(file);
}

/* inductor_pi of extraction.csv: all nine elements to 1e-6 (asked for; seen 1e-14) from seven frequencies. */
static void inductor_comes_back(void **state)
{
        (void)state;
        size_t row_n, n = 0;
        char *text;
        struct check_row *rows = check_csv("extraction.csv", &row_n, &text);
        double hz[16], re[4][16], im[4][16];
        static const char *const names[4] = {"S11", "S12", "S21", "S22"};
        for (size_t r = 0; r < row_n; r++)
                for (int q = 0; q < 4; q++)
                        if (strcmp(rows[r].cell[0], "inductor_pi") == 0 && strcmp(rows[r].cell[2], names[q]) == 0) {
                                hz[n] = atof(rows[r].cell[1]);
                                re[q][n] = atof(rows[r].cell[3]);
                                im[q][n] = atof(rows[r].cell[4]);
                                n += q == 3;
                        }
        struct axis axis;
        assert_int_equal(axis_of(n, hz, &axis, NULL), CODE_OK);
        struct model_data d = {
                .axis = &axis, .ports = 2, .z_ohm = 50, .re = {re[0], re[1], re[2], re[3]}, .im = {im[0], im[1], im[2], im[3]}};
        struct circuit c;
        struct tp_error err = {0};
        if (rf_fit_circuit(CIRCUIT_INDUCTOR, &d, &(struct circuit_options){0}, &c, &err))
                fail_msg("%s", err.text);
        static const struct {
                const char *name, *row;
        } want[] = {{"ls", "true_Ls_henry"},     {"rs", "true_Rs_ohm"},        {"cp", "true_Cp_farad"},
                    {"cox1", "true_Cox1_farad"}, {"cox2", "true_Cox2_farad"},  {"rsub1", "true_Rsi1_ohm"},
                    {"rsub2", "true_Rsi2_ohm"},  {"csub1", "true_Csi1_farad"}, {"csub2", "true_Csi2_farad"}};
        size_t found = 0;
        for (size_t k = 0; k < 9; k++)
                for (size_t r = 0; r < row_n; r++)
                        if (strcmp(rows[r].cell[0], "inductor_pi") == 0 && strcmp(rows[r].cell[2], want[k].row) == 0) {
                                const struct circuit_element *e = circuit_element_of(&c, want[k].name);
                                assert_non_null(e);
                                check_relative(want[k].name, 0, e->value, atof(rows[r].cell[3]), 1e-6);
                                assert_true(!e->dropped && !e->undetermined && e->u < 1e-6 * e->value);
                                found++;
                        }
        assert_int_equal(found, 9);
        assert_int_equal(c.element_n, 9);
        free(rows);
        free(text);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(poles_come_back), cmocka_unit_test(crossings_are_found),
                                           cmocka_unit_test(enforcement_makes_passive), cmocka_unit_test(admittance_model),
                                           cmocka_unit_test(inductor_comes_back)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
