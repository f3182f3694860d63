/* Networks of one to four ports: conversions between S, Z, Y, H and G, references, mixed modes; random networks against routes that share
   no formula with the code. */
#include "tests/unit/random_network.h"

/* Random networks of each size: S, Z and Y into each other, and new references by two routes. */
static void conversions(void **state)
{
        (void)state;
        random_state = 11;
        for (int k = 0; k < 3000; k++) {
                unsigned n = 1 + (unsigned)k % 4;
                enum wave kind = (enum wave)(k / 4 % 3), other = (enum wave)(k / 12 % 3);
                double complex s[16], z[16], y[16], one[16], two[16], zr[4], zt[4];
                draw_network(n, 0.6, s);
                for (unsigned p = 0; p < n; p++) {
                        zr[p] = draw_z(k % 2);
                        zt[p] = draw_z(k % 3);
                }
                assert_true(rfn_z_from_s(n, s, zr, kind, z) && rfn_y_from_s(n, s, zr, kind, y));
                rfn_multiply(n, z, y, one);
                for (unsigned e = 0; e < n * n; e++)
                        two[e] = e / n == e % n;
                close_to("Z Y = 1", n, one, two, 1e-10); /* Z and Y here have condition numbers of some hundreds at most */
                assert_true(rfn_s_from_z(n, z, zr, kind, one) && rfn_s_from_y(n, y, zr, kind, two));
                close_to("S by Z", n, one, s, 1e-11);
                close_to("S by Y", n, two, s, 1e-11);
                assert_true(rfn_renormalise(n, s, zr, kind, zt, other, one) && rfn_s_from_z(n, z, zt, other, two));
                close_to("new reference, straight and by Z", n, one, two, 1e-10);
                assert_true(rfn_renormalise(n, one, zt, other, zr, kind, one));
                close_to("and back", n, one, s, 1e-10);
                if (n != 2)
                        continue;
                struct m2 m = {{s[0], s[1], s[2], s[3]}}, got = rf_renormalise(m, zr, kind, zt, other);
                assert_true(rfn_renormalise(2, s, zr, kind, zt, other, one));
                close_to("two ports by the two-port code", 2, one, got.e, 1e-12);
                /* H by its definition out of Y, G as its inverse, and back to S in two unlike real references */
                const double real[2] = {creal(zr[0]), creal(zr[1])};
                const double complex real_z[2] = {real[0], real[1]};
                assert_true(rfn_y_from_s(2, s, real_z, WAVE_PSEUDO, y));
                struct m2 h = rf_h_from_y(m2_of(y[0], y[1], y[2], y[3]));
                if (cabs(y[0]) < 1e-4 || cabs(m2_det(h)) < 1e-4)
                        continue;
                close_to("S by H", 2, rf_s_from_h(h, real).e, s, 1e-10);
                close_to("S by G", 2, rf_s_from_g(m2_inv(h), real).e, s, 1e-10);
        }
        /* what has no Z or no Y */
        double complex open[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1}, x[16], fifty[4] = {50, 50, 50, 50}, ten[4] = {10, 20, 30, 40};
        assert_false(rfn_z_from_s(3, open, fifty, WAVE_PSEUDO, x));
        assert_true(isnan(creal(x[0])) && rfn_y_from_s(3, open, fifty, WAVE_PSEUDO, x) && x[0] == 0 && x[4] == 0);
        assert_true(rfn_renormalise(3, open, fifty, WAVE_PSEUDO, ten, WAVE_PSEUDO, x));
        close_to("three opens in any reference", 3, x, open, 1e-15);
        /* a node where three lines of 50 ohm meet: S_ii = -1/3, S_ij = 2/3 (by hand); it has neither Z nor Y */
        double complex node[9], third[9] = {-1. / 3, 2. / 3, 2. / 3, 2. / 3, -1. / 3, 2. / 3, 2. / 3, 2. / 3, -1. / 3};
        double complex unequal[4] = {50, 50, 25};
        assert_true(rfn_renormalise(3, third, fifty, WAVE_PSEUDO, unequal, WAVE_PSEUDO, node));
        /* port 1 sees 50 || 25: Gamma = (50/3 - 50)/(50/3 + 50) = -1/2; port 3 sees 25 into 25: 0 */
        assert_true(cabs(node[0] + 0.5) < 1e-14 && cabs(node[8]) < 1e-14);
        third[4] = CMPLX(NAN, 0);
        assert_false(rfn_renormalise(3, third, fifty, WAVE_PSEUDO, unequal, WAVE_PSEUDO, node));
}

static void mixed_modes(void **state)
{
        (void)state;
        random_state = 12;
        const struct mode two[2] = {{MODE_DIFFERENTIAL, 0, 1}, {MODE_COMMON, 0, 1}};
        const struct mode four[4] = {{MODE_DIFFERENTIAL, 0, 2}, {MODE_DIFFERENTIAL, 1, 3}, {MODE_COMMON, 0, 2}, {MODE_COMMON, 1, 3}};
        const struct mode three[3] = {{MODE_SINGLE, 1, 0}, {MODE_DIFFERENTIAL, 2, 0}, {MODE_COMMON, 0, 2}};
        for (int k = 0; k < 200; k++) {
                double complex s[16], m[16], back[16];
                draw_network(2, 1, s);
                rfn_mixed_mode(2, s, two, m);
                struct m2 want = rf_mixed_mode((struct m2){{s[0], s[1], s[2], s[3]}});
                close_to("dd dc cd cc", 2, m, want.e, 1e-15);
                draw_network(4, 1, s);
                rfn_mixed_mode(4, s, four, m);
                rfn_single_ended(4, m, four, back);
                close_to("mixed and back", 4, back, s, 1e-14);
                /* by voltages: drive the difference of ports 1 and 3 with 1: a = (1, 0, -1, 0)/sqrt 2 */
                double complex b1 = (s[0] - s[2]) / sqrt(2), b3 = (s[8] - s[10]) / sqrt(2);
                assert_true(cabs(m[0] - (b1 - b3) / sqrt(2)) < 1e-14 && cabs(m[8] - (b1 + b3) / sqrt(2)) < 1e-14);
                draw_network(3, 1, s);
                rfn_mixed_mode(3, s, three, m);
                rfn_single_ended(3, m, three, back);
                close_to("one pair and a single port", 3, back, s, 1e-14);
                assert_true(m[0] == s[4]);
        }
        /* the reference of a mode: a floating 80 ohm between two ports of 50 ohm is 80 ohm against 100 in the difference */
        double complex y[4] = {1. / 80, -1. / 80, -1. / 80, 1. / 80}, fifty[2] = {50, 50}, s[4], m[4];
        assert_true(rfn_s_from_y(2, y, fifty, WAVE_PSEUDO, s));
        rfn_mixed_mode(2, s, two, m);
        assert_true(cabs(m[0] - (80. - 100) / (80 + 100)) < 1e-15 && cabs(m[3] - 1) < 1e-15 && cabs(m[1]) < 1e-15);

        struct arena *arena = arena_new(0);
        double hz[2] = {1e9, 2e9};
        struct axis axis;
        struct tp_error err = {0};
        assert_int_equal(axis_of(2, hz, &axis, NULL), CODE_OK);
        struct netn net = netn_at(arena_take(arena, netn_bytes(2, 4)), &axis, 4, PLANE_TIP), out = net;
        assert_int_equal(rfn_mixed_mode_net(&net, four, &out, NULL), CODE_OK); /* in place */
        assert_true(out.z_re[0][1] == 100 && out.z_re[1][0] == 100 && out.z_re[2][0] == 25 && out.z_re[3][1] == 25);
        assert_int_equal(rfn_mixed_mode_net(&net, four, &out, &err), CODE_BAD_INPUT); /* differences of differences: 100 and 25 ohm */
        assert_non_null(strstr(err.text, "renormalise first"));
        static const struct {
                struct mode modes[3];
                const char *word;
        } bad[] = {{{{MODE_SINGLE, 0, 0}, {MODE_SINGLE, 0, 0}, {MODE_SINGLE, 2, 0}}, "port 1 must stand"},
                   {{{MODE_SINGLE, 0, 0}, {MODE_DIFFERENTIAL, 1, 1}, {MODE_COMMON, 1, 2}}, "a pair has two"},
                   {{{MODE_SINGLE, 0, 0}, {MODE_SINGLE, 1, 0}, {MODE_SINGLE, 3, 0}}, "names ports 4"},
                   {{{MODE_DIFFERENTIAL, 0, 1}, {MODE_COMMON, 0, 2}, {MODE_SINGLE, 1, 0}}, "port 2 must stand"}};
        for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
                assert_int_equal(rfn_modes_check(3, bad[k].modes, &err), CODE_BAD_INPUT);
                if (!strstr(err.text, bad[k].word))
                        fail_msg("\"%s\" does not say \"%s\"", err.text, bad[k].word);
        }
        const struct mode crossed[4] = {{MODE_DIFFERENTIAL, 0, 1}, {MODE_DIFFERENTIAL, 2, 3}, {MODE_COMMON, 0, 2}, {MODE_COMMON, 1, 3}};
        assert_int_equal(rfn_modes_check(4, crossed, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "the sum of ports 1 and 3"));
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(conversions), cmocka_unit_test(mixed_modes)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
