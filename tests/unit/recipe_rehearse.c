/* The calibration on paper: every good recipe solves, joined ones say where they hand over, and what no standard could solve is refused. */
#include "tests/unit/recipe_helper.h"
#include "recipe/rehearse.h"
#include <math.h>

static struct solved_calibration *rehearsed(const struct recipe *r, struct arena *a)
{
        struct solved_calibration *s = NULL;
        struct tp_error err = {0};
        double *hz;
        size_t n;
        assert_int_equal(sweep_axis(recipe_sweep(r, r->calibration.sweep), a, &hz, &n, &err), CODE_OK);
        if (calibration_rehearse(r, hz, n, a, &s, &err))
                fail_msg("%s", err.text);
        assert_true(s->axis.n <= REHEARSE_POINTS && s->axis.hz[0] == hz[0] && s->axis.hz[s->axis.n - 1] == hz[n - 1]);
        return s;
}

/* Two perfect solutions of one analyzer are one: the terms of the joined calibration are the paper's own everywhere. */
static void bands_agree_on_paper(void **state)
{
        (void)state;
        struct arena *a = arena_new(0);
        struct recipe *r = recipe_of_file("tests/unit/golden/bands.recipe.json", a);
        struct solved_calibration *s = rehearsed(r, a);
        assert_int_equal(s->band_n, 2);
        assert_string_equal(s->terms.method, "joined");
        assert_true(s->terms.plane == PLANE_TIP);
        for (size_t i = 0; i < s->axis.n; i++) {
                double complex want = 0.1 * cexp(CMPLX(0, -RF_TWO_PI * s->axis.hz[i] * 40e-12));
                if (!(cabs(CMPLX(s->terms.re[TERM_EDF][i], s->terms.im[TERM_EDF][i]) - want) < 1e-6))
                        fail_msg("directivity %g%+gj at %g Hz", s->terms.re[TERM_EDF][i], s->terms.im[TERM_EDF][i], s->axis.hz[i]);
        }
        assert_true(s->joints[0].kink < 1e-5 && s->joints[0].points >= 4);
        arena_free(a);
}

static enum code read_changed(const char *path, const char *from, const char *to, struct tp_error *err)
{
        size_t n = 0;
        char *text = file_text(path, &n), *changed = calloc(1, n + 4096), *at = strstr(text, from);
        struct arena *a = arena_new(0);
        struct recipe *r = NULL;
        if (!at)
                fail_msg("%s holds no %s", path, from);
        sprintf(changed, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
        enum code code = recipe_read(changed, strlen(changed), a, &r, err);
        arena_free(a);
        free(changed);
        free(text);
        return code;
}

static void what_perfect_standards_cannot_solve_is_refused(void **state)
{
        (void)state;
        struct tp_error err = {0};
        const struct {
                const char *path, *from, *to, *says;
        } rows[] = {
                {"simulators/demo/recipe.json", "\"method\": \"unknown_thru\"", "\"method\": \"sixteen_term\"",
                 "sixteen_term"}, /* four two-ports are too few */
                {"simulators/demo/recipe.json", "\"r_ohm\": 50, \"l_h\": [6e-12", "\"r_ohm\": 1e-9, \"l_h\": [4e-12",
                 "coincide"}, /* a load that is the short */
                {"simulators/demo/recipe.json", "\"thru_delay_s\": 1.45e-12", "\"thru_delay_s\": -1e-12", "delay"},
        };
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
                if (read_changed(rows[k].path, rows[k].from, rows[k].to, &err) != CODE_BAD_INPUT)
                        fail_msg("%s was read", rows[k].to);
                if (strcmp(err.pointer, "/calibration") != 0 || !strstr(err.text, "even with perfect standards") ||
                    !strstr(err.text, rows[k].says))
                        fail_msg("%s: %s", rows[k].to, err.text);
        }
        assert_int_equal(read_changed("simulators/demo/recipe.json", "\"tries_max\": 2", "\"tries_max\": 3", &err), CODE_OK);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(bands_agree_on_paper),
                                           cmocka_unit_test(what_perfect_standards_cannot_solve_is_refused)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
