/* Worked examples of the Touchstone File Format Specification 2.0 (IBIS Open Forum, 2009), written down from memory of the public text: the
   numbers are the specification's as remembered, what they must mean follows from its rules. */
#include "rf_check.h"
#include "formats/touchstone.h"

static struct touchstone read_text(const char *text, unsigned ports, struct arena *arena)
{
        struct touchstone f;
        struct tp_error err = {0};
        if (touchstone_read(text, strlen(text), ports, arena, &f, &err))
                fail_msg("%s in\n%s", err.text, text);
        return f;
}
static double complex polar(double mag, double deg) { return mag * cexp(CMPLX(0, deg * RF_PI / 180)); }
static double complex at(const struct touchstone *f, unsigned row, unsigned column, size_t i)
{
        unsigned k = (row - 1) * f->ports + column - 1;
        return CMPLX(f->re[k][i], f->im[k][i]);
}
#define IS(row, column, i, want) check_close("example", f.axis.hz[i], at(&f, row, column, i), want, 1e-15)

static void one_port_examples(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct touchstone f = read_text("!1-port S-parameter file, single frequency point\n# MHz S MA R 50\n!freq magS11 angS11\n"
                                        "2.000 0.894 -12.136\n",
                                        1, arena);
        assert_true(f.axis.n == 1 && f.axis.hz[0] == 2e6 && f.r_ohm[0] == 50);
        IS(1, 1, 0, polar(0.894, -12.136));
        /* normalised in version 1, as it stands in version 2: the same impedances */
        f = read_text(
                "!1-port Z-parameter file, multiple frequency points\n# MHz Z MA R 75\n!freq magZ11 angZ11\n100 0.99 -4\n200 0.80 -22\n"
                "300 0.707 -45\n400 0.40 -62\n500 0.01 -89\n",
                1, arena);
        IS(1, 1, 0, polar(74.25, -4));
        IS(1, 1, 4, polar(0.75, -89));
        f = read_text("!1-port Z-parameter file, multiple frequency points\n[Version] 2.0\n# MHz Z MA\n[Number of Ports] 1\n"
                      "[Number of Frequencies] 5\n[Reference] 20.0\n[Network Data]\n!freq magZ11 angZ11\n100 74.25 -4\n200 60 -22\n"
                      "300 53.025 -45\n400 30 -62\n500 0.75 -89\n[End]\n",
                      0, arena);
        assert_true(f.r_ohm[0] == 20 && f.parameter == 'Z' && f.axis.n == 5);
        IS(1, 1, 0, polar(74.25, -4));
        IS(1, 1, 2, polar(53.025, -45));
        arena_free(arena);
}

static void two_port_examples(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct touchstone f =
                read_text("!2-port H-parameter file, single frequency point\n# KHz H MA R 1\n"
                          "! freq magH11 angH11 magH21 angH21 magH12 angH12 magH22 angH22\n2 .95 -26 3.57 157 .04 76 .66 -14\n",
                          2, arena);
        assert_true(f.parameter == 'H' && f.axis.hz[0] == 2e3);
        IS(1, 1, 0, polar(.95, -26));
        IS(2, 1, 0, polar(3.57, 157));
        IS(1, 2, 0, polar(.04, 76));
#define DATA                                                                     \
        "1.0000 0.3926 -0.1211 -0.0003 -0.0021 -0.0003 -0.0021 0.3926 -0.1211\n" \
        "2.0000 0.3517 -0.3054 -0.0096 -0.0298 -0.0096 -0.0298 0.3517 -0.3054\n" \
        "10.000 0.3419 0.3336 -0.0134 0.0379 -0.0134 0.0379 0.3419 0.3336\n"
        f = read_text("!2-port S-parameter file, three frequency points\n# GHz S RI R 50.0\n" DATA, 2, arena);
        IS(1, 1, 2, CMPLX(0.3419, 0.3336));
        IS(2, 1, 1, CMPLX(-0.0096, -0.0298));
        f = read_text("!2-port S-parameter file, three frequency points\n[Version] 2.0\n# GHz S RI R 50.0\n[Number of Ports] 2\n"
                      "[Two-Port Data Order] 21_12\n[Number of Frequencies] 3\n[Reference] 50 50\n[Network Data]\n" DATA "[End]\n",
                      0, arena);
        IS(2, 2, 1, CMPLX(0.3517, -0.3054));
        arena_free(arena);
}

/* 19 and 20 ohm: as 0.38 and 0.40 of 50 ohm in version 1, as they are in version 2 */
static void noise_examples(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct touchstone v1 = read_text("!2-port network, S-parameter and noise data\n# GHZ S MA R 50\n! NETWORK PARAMETERS\n"
                                         "2 .95 -26 3.57 157 .04 76 .66 -14\n22 .60 -144 1.30 40 .14 40 .56 -85\n! NOISE PARAMETERS\n"
                                         "4 .7 .64 69 .38\n18 2.7 .46 -33 .40\n",
                                         2, arena);
        struct touchstone v2 =
                read_text("!2-port network, S-parameter and noise data\n[Version] 2.0\n# GHz S MA R 50\n[Number of Ports] 2\n"
                          "[Two-Port Data Order] 21_12\n[Number of Frequencies] 2\n[Number of Noise Frequencies] 2\n"
                          "[Reference] 50 25.0\n[Network Data]\n! NETWORK PARAMETERS\n2 .95 -26 3.57 157 .04 76 .66 -14\n"
                          "22 .60 -144 1.30 40 .14 40 .56 -85\n[Noise Data]\n! NOISE PARAMETERS\n4 .7 .64 69 19\n"
                          "18 2.7 .46 -33 20\n[End]\n",
                          0, arena);
        assert_true(v1.noise_n == 2 && v2.noise_n == 2 && v2.r_ohm[1] == 25);
        for (size_t i = 0; i < 2; i++) {
                check_relative("Rn", v1.noise[i].hz, v1.noise[i].rn_ohm, i ? 20 : 19, 2e-16);
                check_relative("Rn", v2.noise[i].hz, v2.noise[i].rn_ohm, i ? 20 : 19, 0);
                assert_true(v1.noise[i].hz == (i ? 18e9 : 4e9) && v1.noise[i].fmin_db == v2.noise[i].fmin_db);
                assert_true(v1.noise[i].opt_mag == v2.noise[i].opt_mag && v1.noise[i].opt_deg == v2.noise[i].opt_deg);
        }
        arena_free(arena);
}

static void four_port_examples(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        static const double mag[4][4] = {{.60, .40, .42, .53}, {.40, .60, .53, .42}, {.42, .53, .60, .40}, {.53, .42, .40, .60}};
        static const double deg[4][4] = {{161.24, -42.20, -66.58, -79.34},
                                         {-42.20, 161.20, -79.34, -66.58},
                                         {-66.58, -79.34, 161.24, -42.20},
                                         {-79.34, -66.58, -42.20, 161.24}};
#define HEAD "[Version] 2.0\n# GHz S MA R 50\n[Number of Ports] 4\n[Reference]\n50 75 0.01 0.01\n[Number of Frequencies] 1\n"
        static const struct {
                unsigned ports;
                const char *text;
        } texts[] = {
                {4,
                 "! 4-port S-parameter data, taken at three frequency points\n# GHz S MA R 50\n"
                 "5.00000 0.60 161.24 0.40 -42.20 0.42 -66.58 0.53 -79.34 !row 1\n 0.40 -42.20 0.60 161.20 0.53 -79.34 0.42 -66.58 !row 2\n"
                 " 0.42 -66.58 0.53 -79.34 0.60 161.24 0.40 -42.20 !row 3\n 0.53 -79.34 0.42 -66.58 0.40 -42.20 0.60 161.24 !row 4\n"
                 "6.00000 0.57 150.37 0.40 -44.34 0.41 -81.24 0.57 -95.77 !row 1\n 0.40 -44.34 0.57 150.37 0.57 -95.77 0.41 -81.24 !row 2\n"
                 " 0.41 -81.24 0.57 -95.77 0.57 150.37 0.40 -44.34 !row 3\n 0.57 -95.77 0.41 -81.24 0.40 -44.34 0.57 150.37 !row 4\n"
                 "7.00000 0.50 136.69 0.45 -46.41 0.37 -99.09 0.62 -114.19 !row 1\n"
                 " 0.45 -46.41 0.50 136.69 0.62 -114.19 0.37 -99.09 !row 2\n 0.37 -99.09 0.62 -114.19 0.50 136.69 0.45 -46.41 !row 3\n"
                 " 0.62 -114.19 0.37 -99.09 0.45 -46.41 0.50 136.69 !row 4\n"},
                {0,
                 HEAD "[Network Data]\n5.00000 0.60 161.24 0.40 -42.20 0.42 -66.58 0.53 -79.34 !row 1\n"
                      " 0.40 -42.20 0.60 161.20 0.53 -79.34 0.42 -66.58 !row 2\n 0.42 -66.58 0.53 -79.34 0.60 161.24 0.40 -42.20 !row 3\n"
                      " 0.53 -79.34 0.42 -66.58 0.40 -42.20 0.60 161.24 !row 4\n[End]\n"},
                {0, HEAD "[Matrix Format] Lower\n[Network Data]\n5.00000 0.60 161.24 !row 1\n 0.40 -42.20 0.60 161.20 !row 2\n"
                         " 0.42 -66.58 0.53 -79.34 0.60 161.24 !row 3\n 0.53 -79.34 0.42 -66.58 0.40 -42.20 0.60 161.24 !row 4\n[End]\n"},
                {0, HEAD "[Matrix Format] Upper\n[Network Data]\n5.00000 0.60 161.24 0.40 -42.20 0.42 -66.58 0.53 -79.34 !row 1\n"
                         " 0.60 161.20 0.53 -79.34 0.42 -66.58 !row 2\n 0.60 161.24 0.40 -42.20 !row 3\n 0.60 161.24 !row 4\n[End]\n"},
        };
        for (size_t t = 0; t < sizeof texts / sizeof texts[0]; t++) {
                struct touchstone f = read_text(texts[t].text, texts[t].ports, arena);
                assert_true(f.axis.hz[0] == 5e9 && f.r_ohm[1] == (t ? 75 : 50) && f.r_ohm[3] == (t ? 0.01 : 50));
                for (unsigned row = 0; row < 4; row++)
                        for (unsigned k = 0; k < 4; k++)
                                IS(row + 1, k + 1, 0, polar(mag[row][k], deg[row][k]));
                if (t == 0)
                        IS(4, 3, 2, polar(0.45, -46.41));
        }
        arena_free(arena);
}

static void a_mixed_mode_example(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct touchstone f =
                read_text("! 6-port component shown; note that all six ports are used in some relationship\n[Version] 2.0\n"
                          "# MHz Y RI R 50\n[Number of Ports] 6\n[Number of Frequencies] 1\n[Reference] 50 75 75 50 0.01 0.01\n"
                          "[Mixed-Mode Order] D2,3 D6,5 C2,3 C6,5 S4 S1\n[Matrix Format] Upper\n[Network Data]\n"
                          "5.00 8.0 9.0 2.0 -1.0 3.0 -2.0 1.0 3.0 1.0 0.1 0.2 -0.2\n2.0 7.0 7.0 1.8 -2.0 -1.0 -1.0 0.5 0.2 -0.1\n"
                          "3.0 2.0 5.8 6.0 1.2 0.8 0.9 0.7\n1.0 2.0 0.3 -0.5 6.3 8.0\n2.0 3.0 4.7 -6.0\n-5.0 0.3\n[End]\n",
                          0, arena);
        static const struct touchstone_mode want[6] = {{'D', 2, 3}, {'D', 6, 5}, {'C', 2, 3}, {'C', 6, 5}, {'S', 4, 0}, {'S', 1, 0}};
        for (unsigned p = 0; p < 6; p++)
                assert_true(f.mode[p].kind == want[p].kind && f.mode[p].port == want[p].port && f.mode[p].other == want[p].other);
        IS(1, 1, 0, CMPLX(8.0, 9.0));
        IS(6, 1, 0, CMPLX(0.2, -0.2));
        IS(3, 4, 0, CMPLX(5.8, 6.0));
        IS(6, 6, 0, CMPLX(-5.0, 0.3));
        assert_true(f.r_ohm[1] == 75 && f.r_ohm[5] == 0.01);
        arena_free(arena);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(one_port_examples), cmocka_unit_test(two_port_examples),
                                           cmocka_unit_test(noise_examples), cmocka_unit_test(four_port_examples),
                                           cmocka_unit_test(a_mixed_mode_example)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
