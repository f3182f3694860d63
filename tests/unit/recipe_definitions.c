/* What a copy seems to be, by its corrected readings: numbers beside what was told, one port at a time. */
#include "tests/unit/recipe_helper.h"
#include "recipe/definition_solve.h"
#include <math.h>

#define N 101
struct readings {
        struct arena *a;
        double hz[N];
        struct axis axis;
        struct net2 net;
};
static struct readings *readings_new(const struct standard *is, double t_c)
{
        struct arena *a = arena_new(0);
        struct readings *r = arena_take(a, sizeof *r);
        r->a = a;
        for (size_t i = 0; i < N; i++)
                r->hz[i] = 1e9 * (double)(i + 1);
        axis_of(N, r->hz, &r->axis, NULL);
        r->net = net2_at(arena_take(a, net2_bytes(N)), &r->axis, PLANE_TIP);
        for (size_t i = 0; i < N; i++) {
                struct m2 s = standard_point(is, t_c, r->hz[i]);
                s.e[0] += 1e-4 * cos(3 * (double)i); /* some scatter, without direction */
                s.e[3] += CMPLX(0, 1e-4 * sin(5 * (double)i));
                net2_put(&r->net, i, s);
        }
        return r;
}
static const struct standard told = {
        .name = "LOAD_B", .kind = STANDARD_LOAD, .model = {.r_ohm = 50, .l_h = {6e-12}, .r_per_k = 80e-6, .t_ref_c = 25, .z_ohm = 50}};

static void a_load_is_found_at_both_ports(void **state)
{
        (void)state;
        struct standard is = told;
        struct solved_definition s;
        is.model.r_ohm = 50.15;
        is.model.l_h[0] = 9e-12;
        struct readings *r = readings_new(&is, 125);
        definition_solve(&told, 0, 125, &r->net, &s);
        for (int port = 0; port < 2; port++) {
                assert_true(s.has[port] && s.fit[port].fit.n == 2);
                assert_true(s.fit[port].fit.which[0] == STANDARD_L0 && s.fit[port].fit.which[1] == STANDARD_R);
                assert_true(fabs(s.fit[port].fit.value[0] - 9e-12) < 4 * s.fit[port].fit.u[0] && s.fit[port].fit.u[0] < 0.1e-12);
                assert_true(fabs(s.fit[port].fit.value[1] - 50.15) < 4 * s.fit[port].fit.u[1] &&
                            s.fit[port].fit.u[1] < 0.02); /* at 25 degrees, read at 125 */
                assert_true(s.told[port][0] == 6e-12 && s.told[port][1] == 50);
        }
        struct text t;
        text_init(&t, 0);
        solved_definition_words(&s, "LOAD_B", &t);
        assert_non_null(strstr(text_of(&t), "solved: LOAD_B at port 1: L0 9"));
        assert_non_null(strstr(text_of(&t), "pH (told 6), R 50.15"));
        text_clear(&t);
        struct json_out o = json_to(&t);
        solved_definition_json(&s, &o, NULL);
        assert_non_null(strstr(text_of(&t), "{\"port\":2,\"numbers\":[{\"name\":\"L0\""));
        text_done(&t);
        arena_free(r->a);
}

static void each_port_is_what_stands_there(void **state)
{
        (void)state;
        struct standard pair = {.name = "PAIR",
                                .kind = STANDARD_OPEN,
                                .model = {.c_f = {-6e-15, 1e-27}, .z_ohm = 50},
                                .has_port_2 = true,
                                .port_2 = {STANDARD_SHORT, {.l_h = {4e-12}, .z_ohm = 50}}};
        struct solved_definition s;
        struct readings *r = readings_new(&pair, 25);
        definition_solve(&pair, 3, 25, &r->net, &s);
        assert_true(s.has[0] && s.fit[0].fit.n == 2 && s.fit[0].fit.which[1] == STANDARD_C1); /* it has a C1, so that is sought too */
        assert_true(s.has[1] && s.fit[1].fit.n == 1 && s.fit[1].fit.which[0] == STANDARD_L0 && fabs(s.fit[1].fit.value[0] - 4e-12) < 1e-14);
        definition_solve(&pair, 2, 25, &r->net, &s);
        assert_true(!s.has[0] && !s.why_not[0][0] && s.has[1]);
        arena_free(r->a);
}

static void an_order_that_nobody_told_is_found_and_said(void **state)
{
        (void)state;
        struct standard only = {.name = "OPEN_B", .kind = STANDARD_OPEN, .model = {.c_f = {-6.5e-15}, .z_ohm = 50}}, is = only;
        struct solved_definition s;
        struct text t;
        is.model.c_f[0] = -5e-15;
        is.model.c_f[1] = 3e-26;
        struct readings *r = readings_new(&is, 25);
        definition_solve(&only, 1, 25, &r->net, &s);
        assert_true(s.has[0] && s.fit[0].fit.n == 2 && s.fit[0].freed == STANDARD_FIT(STANDARD_C1) && s.fit[0].describes);
        assert_true(fabs(s.fit[0].fit.value[0] + 5e-15) < 0.01e-15 && fabs(s.fit[0].fit.value[1] - 3e-26) < 2e-28);
        text_init(&t, 0);
        solved_definition_words(&s, "OPEN_B", &t);
        assert_non_null(strstr(text_of(&t), "C1 is found though none is told"));
        for (size_t i = 0; i < N / 4; i++) /* what no C gives, at some of the frequencies */
                r->net.re[0][i] += 0.01;
        definition_solve(&only, 1, 25, &r->net, &s);
        text_clear(&t);
        solved_definition_words(&s, "OPEN_B", &t);
        assert_non_null(strstr(text_of(&t), "these numbers do not describe the data"));
        text_clear(&t);
        struct json_out o = json_to(&t);
        solved_definition_json(&s, &o, NULL);
        assert_non_null(strstr(text_of(&t), "\"describes\":false"));
        text_done(&t);
        arena_free(r->a);
}

static void what_has_none_says_why_or_nothing(void **state)
{
        (void)state;
        struct solved_definition s;
        struct readings *r = readings_new(&told, 25);
        struct standard thru = {.name = "THRU", .kind = STANDARD_THRU};
        definition_solve(&thru, 0, 25, &r->net, &s);
        assert_true(!s.has[0] && !s.why_not[0][0]);
        r->net.plane = PLANE_LINE_MIDDLE;
        definition_solve(&told, 0, 25, &r->net, &s);
        assert_true(!s.has[0] && strstr(s.why_not[0], "at the tips"));
        r->net.plane = PLANE_TIP;
        r->net.re[0][7] = NAN;
        definition_solve(&told, 0, 25, &r->net, &s);
        assert_true(!s.has[0] && strstr(s.why_not[0], "nan") && s.has[1]);
        struct text t;
        text_init(&t, 0);
        struct json_out o = json_to(&t);
        solved_definition_json(&s, &o, NULL);
        assert_non_null(strstr(text_of(&t), "\"why_not\""));
        text_done(&t);
        arena_free(r->a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_load_is_found_at_both_ports), cmocka_unit_test(each_port_is_what_stands_there),
                cmocka_unit_test(an_order_that_nobody_told_is_found_and_said), cmocka_unit_test(what_has_none_says_why_or_nothing)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
