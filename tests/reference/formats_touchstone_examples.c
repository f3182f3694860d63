/* Every worked example of the Touchstone File Format Specification 2.0 (IBIS Open Forum, 2009) and 2.1 (2024), which hold those of 1.0 and
   1.1 too: read, held against what the specification's rules make of the numbers, written as it stands and in the other versions, read
   again.
   Keywords and numbers: compared, example by example, with the copies in the tests of scikit-rf (skrf/io/tests/ts/ex_*.ts, 2.0),
   JosephsonCircuits.jl (test/touchstone.jl, 1.1 and 2.0) and TouchstoneParser.jl (Examples/Example*, 2.1); comments are ours.  Numbers of
   examples below are those of 2.1, with those of 2.0 behind a stroke.  Its examples 1 to 3 and 5/- are heads without data: 1 and 3 are
   those of 6 and 18, 2 that of 8, and 5 is here with the data of 6; the copy of 20 lacks [Two-Port Data Order], which is required.  From
   memory, with no copy found: the information block. */
#include "rf_check.h"
#include "formats/touchstone.h"

static double complex polar(double mag, double deg) { return mag * cexp(CMPLX(0, deg * RF_PI / 180)); }
static double complex at(const struct touchstone *f, unsigned row, unsigned column, size_t i)
{
        unsigned k = (row - 1) * f->ports + column - 1;
        return CMPLX(f->re[k][i], f->im[k][i]);
}
#define IS(row, column, i, want) check_close("example", f->axis.hz[i], at(f, row, column, i), want, 1e-15)

/* ---- what each example means -------------------------------------------------------------------------------------------------------- */

static void one_port_s(const struct touchstone *f)
{
        assert_true(f->axis.n == 1 && f->axis.hz[0] == 2e6 && f->r_ohm[0] == 50);
        IS(1, 1, 0, polar(0.894, -12.136));
}

/* normalised to 75 ohm in version 1, as it stands in version 2: the same impedances */
static void one_port_z(const struct touchstone *f)
{
        static const double ohm[5] = {74.25, 60, 53.025, 30, 0.75}, deg[5] = {-4, -22, -45, -62, -89};
        assert_true(f->axis.n == 5 && f->parameter == 'Z' && f->r_ohm[0] == (f->version < 20 ? 75 : 20));
        for (size_t i = 0; i < 5; i++) {
                assert_true(f->axis.hz[i] == (double)(i + 1) * 1e8);
                check_close("Z11", f->axis.hz[i], at(f, 1, 1, i), polar(ohm[i], deg[i]), 1e-15);
        }
}

static void two_port_h(const struct touchstone *f)
{
        assert_true(f->parameter == 'H' && f->axis.hz[0] == 2e3 && f->r_ohm[0] == 1);
        IS(1, 1, 0, polar(.95, -26));
        IS(2, 1, 0, polar(3.57, 157));
        IS(1, 2, 0, polar(.04, 76));
        IS(2, 2, 0, polar(.66, -14));
}

static void two_port_s(const struct touchstone *f)
{
        static const double hz[3] = {1e9, 2e9, 10e9};
        static const double complex s11[3] = {CMPLX(0.3926, -0.1211), CMPLX(0.3517, -0.3054), CMPLX(0.3419, 0.3336)},
                                    s21[3] = {CMPLX(-0.0003, -0.0021), CMPLX(-0.0096, -0.0298), CMPLX(-0.0134, 0.0379)};
        for (size_t i = 0; i < 3; i++) {
                assert_true(f->axis.hz[i] == hz[i] && f->r_ohm[0] == 50);
                IS(1, 1, i, s11[i]);
                IS(2, 2, i, s11[i]);
                IS(2, 1, i, s21[i]);
                IS(1, 2, i, s21[i]);
        }
}

/* The four-port of one point: the mirrored elements are equal, so all three matrix formats hold it. */
static void four_port(const struct touchstone *f)
{
        static const double mag[4][4] = {{.60, .40, .42, .53}, {.40, .60, .53, .42}, {.42, .53, .60, .40}, {.53, .42, .40, .60}};
        static const double deg[4][4] = {{161.24, -42.20, -66.58, -79.34},
                                         {-42.20, 161.20, -79.34, -66.58},
                                         {-66.58, -79.34, 161.24, -42.20},
                                         {-79.34, -66.58, -42.20, 161.24}};
        assert_true(f->axis.hz[0] == 5e9 && f->ports == 4);
        for (unsigned row = 0; row < 4; row++)
                for (unsigned k = 0; k < 4; k++)
                        IS(row + 1, k + 1, 0, polar(mag[row][k], deg[row][k]));
}
static void four_port_references(const struct touchstone *f)
{
        static const double ohm[4] = {50, 75, 0.01, 0.01};
        four_port(f);
        for (unsigned p = 0; p < 4; p++)
                assert_true(f->r_ohm[p] == ohm[p]);
}
static void four_port_option_line(const struct touchstone *f)
{
        static const double ohm[4] = {0.01, 0.01, 50, 50};
        four_port(f);
        for (unsigned p = 0; p < 4; p++)
                assert_true(f->r_ohm[p] == ohm[p] && f->version != 10);
}
static void four_port_sweep(const struct touchstone *f)
{
        assert_true(f->axis.n == 3 && f->r_ohm[3] == 50 && f->axis.hz[2] == 7e9);
        four_port(f);
        IS(1, 1, 1, polar(0.57, 150.37));
        IS(2, 3, 1, polar(0.57, -95.77));
        IS(3, 4, 2, polar(0.45, -46.41));
        IS(4, 1, 2, polar(0.62, -114.19));
}

static void mixed_modes(const struct touchstone *f)
{
        static const struct touchstone_mode want[6] = {{'D', 2, 3}, {'D', 6, 5}, {'C', 2, 3}, {'C', 6, 5}, {'S', 4, 0}, {'S', 1, 0}};
        static const double ohm[6] = {50, 75, 75, 50, 0.01, 0.01};
        assert_true(f->parameter == 'Y' && f->axis.hz[0] == 5e6);
        for (unsigned p = 0; p < 6; p++) {
                assert_true(f->mode[p].kind == want[p].kind && f->mode[p].port == want[p].port && f->mode[p].other == want[p].other);
                assert_true(f->r_ohm[p] == ohm[p]);
        }
        IS(1, 1, 0, CMPLX(8.0, 9.0));
        IS(1, 6, 0, CMPLX(0.2, -0.2));
        IS(6, 1, 0, CMPLX(0.2, -0.2));
        IS(2, 3, 0, CMPLX(1.8, -2.0));
        IS(3, 4, 0, CMPLX(1.2, 0.8));
        IS(4, 5, 0, CMPLX(2.0, -0.5));
        IS(5, 6, 0, CMPLX(-1.0, 2.0));
        IS(6, 6, 0, CMPLX(5.5, -7.0));
}

static void amplifier(const struct touchstone *f)
{
        assert_true(f->axis.n == 2 && f->axis.hz[0] == 2e9 && f->axis.hz[1] == 22e9 && f->r_ohm[1] == (f->version < 20 ? 50 : 25));
        IS(1, 1, 0, polar(.95, -26));
        IS(2, 2, 1, polar(.56, -85));
}
/* 21_12: the second pair is S21 */
static void forward_first(const struct touchstone *f)
{
        amplifier(f);
        IS(2, 1, 0, polar(3.57, 157));
        IS(1, 2, 1, polar(.14, 40));
}
static void reverse_first(const struct touchstone *f)
{
        amplifier(f);
        assert_int_equal(f->noise_n, 0);
        IS(1, 2, 0, polar(3.57, 157));
        IS(2, 1, 1, polar(.14, 40));
}
/* 19 and 20 ohm: as 0.38 and 0.40 of 50 ohm in version 1, as they are in version 2 */
static void noisy_amplifier(const struct touchstone *f)
{
        static const double fmin_db[2] = {.7, 2.7}, mag[2] = {.64, .46}, deg[2] = {69, -33};
        forward_first(f);
        assert_int_equal(f->noise_n, 2);
        for (size_t i = 0; i < 2; i++) {
                check_relative("Rn", f->noise[i].hz, f->noise[i].rn_ohm, i ? 20 : 19, 2e-16);
                assert_true(f->noise[i].hz == (i ? 18e9 : 4e9) && f->noise[i].fmin_db == fmin_db[i]);
                assert_true(f->noise[i].opt_mag == mag[i] && f->noise[i].opt_deg == deg[i]);
        }
}

/* ---- the examples ------------------------------------------------------------------------------------------------------------------- */

#define V(n) "[Version] " n "\n"
#define Z20(n)                                                                                                                \
        V(n)                                                                                                                  \
        "# MHz Z MA\n[Number of Ports] 1\n[Number of Frequencies] 5\n[Reference] 20.0\n[Network Data]\n!freq magZ11 angZ11\n" \
        "100 74.25 -4\n200 60 -22\n300 53.025 -45\n400 30 -62\n500 0.75 -89\n[End]\n"
#define H_LINE "! freq magH11 angH11 magH21 angH21 magH12 angH12 magH22 angH22\n2 .95 -26 3.57 157 .04 76 .66 -14\n"
#define H(n)                                                                                                                           \
        V(n)                                                                                                                           \
        "# kHz H MA R 1\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] 1\n[Matrix Format] Full\n[Network " \
        "Data]\n" H_LINE "[End]\n"
#define THREE                                                                    \
        "1.0000 0.3926 -0.1211 -0.0003 -0.0021 -0.0003 -0.0021 0.3926 -0.1211\n" \
        "2.0000 0.3517 -0.3054 -0.0096 -0.0298 -0.0096 -0.0298 0.3517 -0.3054\n" \
        "10.000 0.3419 0.3336 -0.0134 0.0379 -0.0134 0.0379 0.3419 0.3336\n"
#define FOUR                                                               \
        "5.00000 0.60 161.24 0.40 -42.20 0.42 -66.58 0.53 -79.34 !row 1\n" \
        " 0.40 -42.20 0.60 161.20 0.53 -79.34 0.42 -66.58 !row 2\n"        \
        " 0.42 -66.58 0.53 -79.34 0.60 161.24 0.40 -42.20 !row 3\n"        \
        " 0.53 -79.34 0.42 -66.58 0.40 -42.20 0.60 161.24 !row 4\n"
#define FOUR_LOWER                                                      \
        "5.00000 0.60 161.24 !row 1\n 0.40 -42.20 0.60 161.20 !row 2\n" \
        " 0.42 -66.58 0.53 -79.34 0.60 161.24 !row 3\n"                 \
        " 0.53 -79.34 0.42 -66.58 0.40 -42.20 0.60 161.24 !row 4\n"
#define FOUR_UPPER                                                         \
        "5.00000 0.60 161.24 0.40 -42.20 0.42 -66.58 0.53 -79.34 !row 1\n" \
        " 0.60 161.20 0.53 -79.34 0.42 -66.58 !row 2\n"                    \
        " 0.60 161.24 0.40 -42.20 !row 3\n 0.60 161.24 !row 4\n"
#define FOUR_SWEEP                                                        \
        FOUR "6.00000 0.57 150.37 0.40 -44.34 0.41 -81.24 0.57 -95.77\n"  \
             "0.40 -44.34 0.57 150.37 0.57 -95.77 0.41 -81.24\n"          \
             "0.41 -81.24 0.57 -95.77 0.57 150.37 0.40 -44.34\n"          \
             "0.57 -95.77 0.41 -81.24 0.40 -44.34 0.57 150.37\n"          \
             "7.00000 0.50 136.69 0.45 -46.41 0.37 -99.09 0.62 -114.19\n" \
             "0.45 -46.41 0.50 136.69 0.62 -114.19 0.37 -99.09\n"         \
             "0.37 -99.09 0.62 -114.19 0.50 136.69 0.45 -46.41\n"         \
             "0.62 -114.19 0.37 -99.09 0.45 -46.41 0.50 136.69\n"
#define FOUR_HEAD(n) V(n) "# GHz S MA R 50\n[Number of Ports] 4\n"
#define MIXED(n, again)                                                                                                     \
        V(n)                                                                                                                \
        "# MHz Y RI R 50\n[Number of Ports] 6\n[Number of Frequencies] 1\n[Reference] 50 75 75 50 0.01 0.01\n" again        \
        "[Mixed-Mode Order] D2,3 D6,5 C2,3 C6,5 S4 S1\n[Network Data]\n"                                                    \
        "5.00 8.0 9.0 2.0 -1.0 3.0 -2.0 1.0 3.0 1.0 0.1 0.2 -0.2\n 2.0 -1.0 7.0 7.0 1.8 -2.0 -1.0 -1.0 -0.5 0.5 0.2 -0.1\n" \
        " 3.0 -2.0 1.8 -2.0 5.8 6.0 1.2 0.8 0.9 0.7 0.3 -0.5\n 1.0 3.0 -1.0 -1.0 1.2 0.8 6.3 8.0 2.0 -0.5 1.5 0.6\n"        \
        " 1.0 0.1 -0.5 0.5 0.9 0.7 2.0 -0.5 4.7 -6.0 -1.0 2.0\n 0.2 -0.2 0.2 -0.1 0.3 -0.5 1.5 0.6 -1.0 2.0 5.5 -7.0\n[End]\n"
#define AMPLIFIER "2 .95 -26 3.57 157 .04 76 .66 -14\n22 .60 -144 1.30 40 .14 40 .56 -85\n"
#define NOISY(n, more)                                                                                                           \
        V(n)                                                                                                                     \
        "#\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] 2\n[Number of Noise Frequencies] 2\n" more \
        "[Reference] 50 25.0\n[Network Data]\n" AMPLIFIER "[Noise Data]\n4 .7 .64 69 19\n18 2.7 .46 -33 20\n[End]\n"

static const struct {
        const char *name;
        unsigned ports; /* 0: the text says it */
        void (*check)(const struct touchstone *);
        char matrix;
        bool order_12_21;
        const char *text;
} examples[] = {
        {"4/4", 0, four_port_references, 'F', false,
         FOUR_HEAD("2.1") "[Reference]\n50 75 0.01 0.01\n[Number of Frequencies] 1\n[Network Data]\n" FOUR "[End]\n"},
        {"5/-", 4, four_port_option_line, 0, false, "# GHz S MA R 0.01 0.01 50.0 50.0\n" FOUR},
        {"6/5", 0, four_port_references, 'F', false,
         FOUR_HEAD("2.1") "[Number of Frequencies] 1\n[Reference] 50 75 0.01 0.01\n[Matrix Format] Full\n[Network Data]\n" FOUR "[End]\n"},
        {"7/6", 0, four_port_references, 'L', false,
         FOUR_HEAD("2.1") "[Number of Frequencies] 1\n[Reference] 50 75\n0.01 0.01\n[Matrix Format] Lower\n[Network Data]\n" FOUR_LOWER
                          "[End]\n"},
        {"7/6 as Upper (ours)", 0, four_port_references, 'U', false,
         FOUR_HEAD("2.1") "[Number of Frequencies] 1\n[Reference] 50 75\n0.01 0.01\n[Matrix Format] Upper\n[Network Data]\n" FOUR_UPPER
                          "[End]\n"},
        {"8/7, 11/10", 0, one_port_z, 'F', false, Z20("2.1")},
        {"-/10", 0, one_port_z, 'F', false, Z20("2.0")},
        {"9/8", 1, one_port_s, 0, false, "# MHz S MA R 50\n!freq magS11 angS11\n2.000 0.894 -12.136\n"},
        {"10/9", 1, one_port_z, 0, false,
         "# MHz Z MA R 75\n!freq magZ11 angZ11\n100 0.99 -4\n200 0.80 -22\n300 0.707 -45\n400 0.40 -62\n500 0.01 -89\n"},
        {"12/11", 2, two_port_h, 0, false, "# kHz H MA R 1\n" H_LINE},
        {"13/-", 0, two_port_h, 'F', false, H("2.1")},
        {"-/12", 0, two_port_h, 'F', false, H("2.0")},
        {"14/13", 2, two_port_s, 0, false, "# GHz S RI R 50.0\n!freq ReS11 ImS11 ReS21 ImS21 ReS12 ImS12 ReS22 ImS22\n" THREE},
        {"15/14", 4, four_port_sweep, 0, false, "# GHz S MA R 50\n" FOUR_SWEEP},
        /* in 2.1 the option line stands twice; only the first counts */
        {"17/-", 0, mixed_modes, 'F', false, MIXED("2.1", "# MHz Y RI R 50\n")},
        {"-/16", 0, mixed_modes, 'F', false, MIXED("2.0", "")},
        {"18/17, 20/19", 0, noisy_amplifier, 'F', false, NOISY("2.1", "")},
        {"-/19", 0, noisy_amplifier, 'F', false, NOISY("2.0", "")},
        {"19/18", 2, noisy_amplifier, 0, false,
         "#\n! NETWORK PARAMETERS\n" AMPLIFIER "! NOISE PARAMETERS\n4 .7 .64 69 .38\n18 2.7 .46 -33 .40\n"},
        {"21/20", 0, reverse_first, 'F', true,
         V("2.1") "#\n[Number of Ports] 2\n[Number of Frequencies] 2\n[Reference] 50 25.0\n[Two-Port Data Order] 12_21\n[Network "
                  "Data]\n" AMPLIFIER "[End]\n"},
        {"information (from memory)", 0, noisy_amplifier, 'F', false,
         NOISY("2.1", "[Begin Information]\n[Manufacturer] none\n[Date] May 1, 2024\nfree text\n[End Information]\n")},
};

static struct touchstone read_text(const char *name, const char *text, unsigned ports, struct arena *arena)
{
        struct touchstone f;
        struct tp_error err = {0};
        if (touchstone_read(text, strlen(text), ports, arena, &f, &err))
                fail_msg("%s: %s in\n%s", name, err.text, text);
        return f;
}

static void all_are_read(void **state)
{
        (void)state;
        for (size_t k = 0; k < sizeof examples / sizeof examples[0]; k++) {
                struct arena *arena = arena_new(0);
                struct touchstone f = read_text(examples[k].name, examples[k].text, examples[k].ports, arena);
                assert_true(f.matrix == examples[k].matrix && f.order_12_21 == examples[k].order_12_21);
                examples[k].check(&f);
                arena_free(arena);
        }
}

static bool stands(const char *text, const char *line)
{
        const char *at = strstr(text, line);
        return at && (at == text || at[-1] == '\n');
}

/* Written as it stands: every keyword that was there is there again, with its values. */
static void all_are_written_with_their_keywords(void **state)
{
        (void)state;
        for (size_t k = 0; k < sizeof examples / sizeof examples[0]; k++) {
                struct arena *arena = arena_new(0);
                struct touchstone f = read_text(examples[k].name, examples[k].text, examples[k].ports, arena), back;
                struct text text;
                struct tp_error err = {0};
                text_init(&text, 0);
                if (touchstone_write(&f, NULL, &text, &err))
                        fail_msg("%s: %s", examples[k].name, err.text);
                const char *out = text_of(&text), *in = examples[k].text;
                back = read_text(examples[k].name, out, examples[k].ports, arena);
                examples[k].check(&back);
                assert_true(back.version == f.version && back.matrix == f.matrix && back.order_12_21 == f.order_12_21);
                assert_true(back.noise_n == f.noise_n && (back.mode != NULL) == (f.mode != NULL));
                assert_string_equal(back.information, f.information);
                static const char *const keywords[] = {
                        "[Version] 2.0\n",
                        "[Version] 2.1\n",
                        "[Number of Ports] ",
                        "[Two-Port Data Order] 21_12\n",
                        "[Two-Port Data Order] 12_21\n",
                        "[Number of Frequencies] ",
                        "[Number of Noise Frequencies] ",
                        "[Matrix Format] Lower\n",
                        "[Matrix Format] Upper\n",
                        "[Mixed-Mode Order] D2,3 D6,5 C2,3 C6,5 S4 S1\n",
                        "[Begin Information]\n[Manufacturer] none\n[Date] May 1, 2024\nfree text\n[End Information]\n",
                        "[Network Data]\n",
                        "[Noise Data]\n",
                        "[End]\n"};
                for (size_t w = 0; w < sizeof keywords / sizeof keywords[0]; w++)
                        if (stands(in, keywords[w]) && !stands(out, keywords[w]))
                                fail_msg("%s: \"%s\" is not written again in\n%s", examples[k].name, keywords[w], out);
                assert_int_equal(stands(out, "[Reference]"), stands(in, "[Reference]") && f.ports > 1);
                text_done(&text);
                arena_free(arena);
        }
}

/* As every other version that can hold it, and back: the same elements, or the sentence why not. */
static void all_are_written_as_other_versions(void **state)
{
        (void)state;
        static const unsigned versions[] = {10, 11, 20, 21};
        for (size_t k = 0; k < sizeof examples / sizeof examples[0]; k++)
                for (size_t v = 0; v < 4; v++) {
                        struct arena *arena = arena_new(0);
                        struct touchstone f = read_text(examples[k].name, examples[k].text, examples[k].ports, arena), other = f, back;
                        struct text text;
                        struct tp_error err = {0};
                        bool one = true;
                        for (unsigned p = 1; p < f.ports; p++)
                                one = one && f.r_ohm[p] == f.r_ohm[0];
                        other.version = versions[v];
                        text_init(&text, 0);
                        enum code code = touchstone_write(&other, NULL, &text, &err);
                        if ((versions[v] == 10 && !one) || (versions[v] < 20 && f.mode)) {
                                assert_int_equal(code, CODE_BAD_INPUT);
                                assert_non_null(strstr(err.text, versions[v] == 10 && !one ? "ohm" : "mixed modes"));
                        } else {
                                if (code)
                                        fail_msg("%s as %u: %s", examples[k].name, versions[v], err.text);
                                back = read_text(examples[k].name, text_of(&text), f.ports, arena);
                                for (size_t i = 0; i < f.axis.n; i++)
                                        for (unsigned row = 1; row <= f.ports; row++)
                                                for (unsigned c = 1; c <= f.ports; c++)
                                                        check_close(examples[k].name, f.axis.hz[i], at(&back, row, c, i), at(&f, row, c, i),
                                                                    3e-16);
                                for (size_t i = 0; i < f.noise_n; i++)
                                        check_relative("Rn", f.noise[i].hz, back.noise[i].rn_ohm, f.noise[i].rn_ohm, 4e-16);
                                assert_int_equal(back.noise_n, f.noise_n);
                        }
                        text_done(&text);
                        arena_free(arena);
                }
}

/* H and G in 50 ohm, and with a reference per port: what version 1 normalises comes out in ohm and siemens; the same device as S by hand.
 */
static void hybrid_parameters_are_normalised_in_version_1(void **state)
{
        (void)state;
        static const struct {
                char parameter;
                double r[2], want[4]; /* of the normalised 2 3 5 7 (11 12 21 22) */
        } cases[] = {
                {'H', {50, 50}, {100, 3, 5, 7.0 / 50}},   {'G', {50, 50}, {2.0 / 50, 3, 5, 350}},
                {'H', {100, 25}, {200, 6, 10, 7.0 / 25}}, {'G', {100, 25}, {2.0 / 100, 1.5, 2.5, 175}},
                {'Z', {100, 25}, {200, 150, 250, 175}},   {'Y', {100, 25}, {0.02, 0.06, 0.1, 0.28}},
        };
        for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
                struct arena *arena = arena_new(0);
                struct text text;
                text_init(&text, 0);
                text_f(&text, "# Hz %c RI R %g %g\n1 2 0 5 0 3 0 7 0\n", cases[k].parameter, cases[k].r[0], cases[k].r[1]);
                struct touchstone f = read_text("normalised", text_of(&text), 2, arena);
                struct netn net;
                struct tp_error err = {0};
                for (int e = 0; e < 4; e++)
                        check_relative("element", e, f.re[e][0], cases[k].want[e], 3e-16);
                /* S = s (1 + X)^{-1} (X - 1), s = 1 where the row is a voltage, -1 where a current; X the normalised matrix */
                const double det = 3 * 8 - 3 * 5,
                             sign[2] = {strchr("ZH", cases[k].parameter) ? 1 : -1, strchr("ZG", cases[k].parameter) ? 1 : -1};
                const double s[4] = {sign[0] * (8 * 1 - 3 * 5) / det, sign[0] * (8 * 3 - 3 * 6) / det, sign[1] * (-5 * 1 + 3 * 5) / det,
                                     sign[1] * (-5 * 3 + 3 * 6) / det};
                assert_int_equal(touchstone_netn(&f, PLANE_TIP, arena, &net, &err), CODE_OK);
                for (int e = 0; e < 4; e++)
                        check_close("S", e, CMPLX(net.re[e][0], net.im[e][0]), s[e], 2e-15);
                assert_true(net.z_re[0][0] == cases[k].r[0] && net.z_re[1][0] == cases[k].r[1]);
                text_done(&text);
                arena_free(arena);
        }
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(all_are_read), cmocka_unit_test(all_are_written_with_their_keywords),
                                           cmocka_unit_test(all_are_written_as_other_versions),
                                           cmocka_unit_test(hybrid_parameters_are_normalised_in_version_1)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
