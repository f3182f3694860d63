/* Touchstone: what is written comes back bit for bit; bad texts give one sentence with line and value. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>
#include "formats/touchstone.h"

static enum code try_read(const char *text, unsigned ports, struct arena *arena, struct touchstone *ret, struct tp_error *err)
{
        *err = (struct tp_error){0};
        return touchstone_read(text, strlen(text), ports, arena, ret, err);
}

static void what_is_written_comes_back_bit_for_bit(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        double hz[50];
        uint64_t x = 88172645463325252u;
        for (size_t i = 0; i < 50; i++)
                hz[i] = 70e3 * pow(1.37, (double)i);
        struct axis axis;
        assert_int_equal(axis_of(50, hz, &axis, NULL), CODE_OK);
        struct net2 net = net2_at(arena_take(arena, net2_bytes(50)), &axis, PLANE_TIP), back;
        for (size_t i = 0; i < 50; i++)
                for (int k = 0; k < 4; k++) {
                        x ^= x << 13, x ^= x >> 7, x ^= x << 17;
                        net.re[k][i] = (double)(int64_t)x / 9.3e18;
                        net.im[k][i] = (double)(int64_t)(x * 2654435761u) / 9.3e18 * 1e-7;
                }
        struct text text;
        text_init(&text, 0);
        struct touchstone_write how = {.comments = "run 01J\ncalibration \xc2\xb5 41"};
        assert_int_equal(touchstone_write2(&net, &how, &text, NULL), CODE_OK);
        assert_non_null(strstr(text_of(&text), "! run 01J\n! calibration ? 41\n! reference plane: tip\n# Hz S RI R 50\n"));
        struct touchstone file;
        struct tp_error err;
        assert_int_equal(try_read(text_of(&text), 2, arena, &file, &err), CODE_OK);
        assert_int_equal(touchstone_net2(&file, PLANE_TIP, arena, &back, &err), CODE_OK);
        assert_true(axis_equal(&axis, back.axis));
        for (int k = 0; k < 4; k++) {
                assert_memory_equal(net.re[k], back.re[k], 50 * sizeof(double));
                assert_memory_equal(net.im[k], back.im[k], 50 * sizeof(double));
        }
        assert_non_null(strstr(file.comments, " run 01J\n"));
        text_done(&text);
        arena_free(arena);
}

static void a_file_never_claims_an_impedance_it_does_not_have(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        double hz[] = {1e9, 2e9};
        struct axis axis;
        assert_int_equal(axis_of(2, hz, &axis, NULL), CODE_OK);
        struct net2 net = net2_at(arena_take(arena, net2_bytes(2)), &axis, PLANE_LINE_MIDDLE);
        struct text text;
        struct tp_error err = {0};
        text_init(&text, 0);
        net2_set_z(&net, 48, -3);
        assert_int_equal(touchstone_write2(&net, NULL, &text, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "renormalise"));
        net2_set_z(&net, NAN, NAN);
        assert_int_equal(touchstone_write2(&net, NULL, &text, &err), CODE_BAD_INPUT);
        assert_int_equal(text.n, 0);
        struct touchstone_write how = {.line_reference = true};
        assert_int_equal(touchstone_write2(&net, &how, &text, &err), CODE_OK);
        assert_non_null(strstr(text_of(&text), "R 1\n"));
        assert_non_null(strstr(text_of(&text), "the line's own"));
        struct touchstone file;
        struct net2 back;
        assert_int_equal(try_read(text_of(&text), 2, arena, &file, &err), CODE_OK);
        assert_int_equal(touchstone_plane(&file), PLANE_LINE_MIDDLE);
        assert_int_equal(touchstone_net2(&file, PLANE_LINE_MIDDLE, arena, &back, &err), CODE_OK);
        assert_true(isnan(back.z_re[1]) && isnan(net2_z_real(&back)));
        assert_int_equal(try_read("! reference plane: tipped\n# Hz S RI R 50\n1 0 0\n", 1, arena, &file, &err), CODE_OK);
        assert_int_equal(touchstone_plane(&file), PLANE_UNKNOWN);
        text_clear(&text);
        net2_set_z(&net, 50, 0);
        net.im[2][1] = NAN;
        assert_int_equal(touchstone_write2(&net, NULL, &text, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "S21 is"));
        assert_non_null(strstr(err.text, "2e+09") ? strstr(err.text, "2e+09") : strstr(err.text, "2000000000"));
        text_done(&text);
        arena_free(arena);
}

static void every_bad_text_gives_a_sentence_with_its_line_and_value(void **state)
{
        (void)state;
        static const struct {
                unsigned ports;
                const char *text, *say[2];
        } bad[] = {
                {2, "", {"the file is empty", "sweep"}},
                {2, "! only\n", {"line 1", "option line"}},
                {2, "# Hz S RI R 50\n", {"line 1", "without data"}},
                {2, "1 0 0 0 0 0 0 0 0\n", {"line 1", "option line"}},
                {2, "# Hz S RI R 50\n1 0 0 0 0 0 0 0\n", {"line 2", "8 numbers"}},
                {2, "# Hz S RI R 50\n1 0 0 0 0 0 0 0 0 0\n", {"line 2", "10 numbers"}},
                {1, "# Hz S RI R 50\n1 nan 0\n", {"line 2", "\"nan\""}},
                {1, "# Hz S RI R 50\n1 1e999 0\n", {"line 2", "\"1e999\""}},
                {1, "# Hz S DB R 50\n1 99999 0\n", {"line 2", "99999"}},
                {1, "# GHz S RI R 50\n1e305 0 0\n", {"line 2", "\"1e305\""}},
                {1, "# Hz S RI R 50\n1 0x10 0\n", {"line 2", "\"0x10\""}},
                {1, "# Hz S RI R 50\n1 1.5.2 0\n", {"line 2", "\"1.5.2\""}},
                {1, "# Hz S RI R 50\n1 - 0\n", {"line 2", "\"-\""}},
                {1, "# Hz S RI R 50\n2 0 0\n1 0 0\n", {"line 3", "must rise"}},
                {1, "# Hz S RI R 50\n2 0 0\n2 0 0\n", {"line 3", "must rise"}},
                {1, "# Hz S RI R 50\n-1 0 0\n", {"line 2", "negative"}},
                {1, "# Hz S MA R 50\n1 0.3 0\n2 -0.3 0.5\n", {"line 3", "RI"}},
                {2, "# GHz S MA R 50\n1 0.5 10 -0.2 3 0.2 3 0.5 10\n", {"line 2", "magnitude of -0.2"}},
                {1, "# Hz S RI R -50\n1 0 0\n", {"line 1", "-50"}},
                {1, "# Hz S RI R\n1 0 0\n", {"line 1", "after R"}},
                {2, "# Hz S RI R 50 60 70\n1 0 0 0 0 0 0 0 0\n", {"line 1", "2 ports"}},
                {1, "# Hz S XY R 50\n1 0 0\n", {"line 1", "\"XY\""}},
                {1, "# GHz S RI MHz R 50\n1 0 0\n", {"unit twice", "\"MHz\""}},
                {1, "# Hz S RI Y R 50\n1 0 0\n", {"parameter twice", "\"Y\""}},
                {1, "# Hz S RI R 50 MA\n1 0 0\n", {"form twice", "\"MA\""}},
                {1, "# Hz S RI R 50 R 75\n1 0 0\n", {"line 1", "reference twice"}},
                {3, "# Hz H RI R 50\n1 0 0 0 0 0 0\n0 0 0 0 0 0\n0 0 0 0 0 0\n", {"line 1", "kind H"}},
                {3, "# Hz G RI R 1\n1 0 0 0 0 0 0 0 0\n", {"line 1", "two-ports"}},
                {1, "# Hz S RI R 50+5j\n1 0 0\n", {"line 1", "complex"}},
                {2, "# Hz S RI R 50 (60,1)\n1 0 0\n", {"line 1", "complex"}},
                {2, "[Version] 2.0\n# Hz S RI R 50\n", {"line 2", "before [Network Data]"}},
                {3, "# Hz S RI R 50\n1 0 0 0 0 0 0\n0 0 0 0 0 0\n", {"line 3", "row 2"}},
                {3, "# Hz S RI R 50\n1 0 0 0 0 0 0\n0 0 0 0 0\n0 0 0 0 0 0\n", {"line 3", "5 numbers"}},
                {2, "# Hz S RI R 50\n5 0 0 0 0 0 0 0 0\n4 1 1 1 1\n3 1 1 1 1\n", {"line 4", "noise frequency"}},
                {1, "# Hz S RI R 50\n1 0 \x01\n", {"line 2", "0x01"}},
                {1, "# Hz S RI R 50\n1 0 \xc3\xa9\n", {"line 2", "0xc3"}},
                {100, "# Hz S RI R 50\n1 0 0\n", {"100 ports", "1 to 99"}},
                {0, "# Hz S RI R 50\n1 0 0\n", {"0 ports", "1 to 99"}},
        };
        for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
                struct arena *arena = arena_new(0);
                struct touchstone file;
                struct tp_error err;
                enum code code = try_read(bad[k].text, bad[k].ports, arena, &file, &err);
                if (code != CODE_BAD_INPUT || !strstr(err.text, bad[k].say[0]) || !strstr(err.text, bad[k].say[1]))
                        fail_msg("text %zu: code %d, \"%s\"; wanted \"%s\" and \"%s\"", k, (int)code, err.text, bad[k].say[0],
                                 bad[k].say[1]);
                arena_free(arena);
        }
}

static void ordinary_liberties_are_taken(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct touchstone file;
        struct tp_error err;
        /* CRLF, no blank after #, comment tails, no newline at the end, a second option line that does not count, dc */
        assert_int_equal(try_read("!a\r\n#kHz s ri\r\n0 .5 0 ! tail\r\n# GHz S MA R 75\r\n70 +5E-1 -1e-3", 1, arena, &file, &err), CODE_OK);
        assert_int_equal(file.axis.n, 2);
        assert_true(file.axis.hz[0] == 0 && file.axis.hz[1] == 70e3 && file.r_ohm[0] == 50 && file.im[0][1] == -1e-3);
        assert_string_equal(file.comments, "a\n");
        assert_int_equal(touchstone_ports_of_name("a/b.S2P"), 2);
        assert_int_equal(touchstone_ports_of_name("x.s4p"), 4);
        assert_int_equal(touchstone_ports_of_name("x.s16P"), 16);
        assert_int_equal(touchstone_ports_of_name("x.s0p"), 0);
        assert_int_equal(touchstone_ports_of_name("x.s100p"), 0);
        assert_int_equal(touchstone_ports_of_name("x.s2p.txt"), 0);
        assert_int_equal(touchstone_ports_of_name("s2p"), 0);
        unsigned ports = 9;
        assert_true(touchstone_name("a.TS", &ports) && ports == 0);
        assert_true(touchstone_name("a.s3p", &ports) && ports == 3);
        assert_false(touchstone_name("a.tsv", &ports));
        assert_false(touchstone_name("", &ports));
        assert_int_equal(touchstone_ports_of_name("x.ts"), 0);
        arena_free(arena);
}

/* Every cut of a good text and every single changed byte is read or refused with a sentence; ASan and UBSan watch. */
static void cut_and_spoilt_texts_never_crash(void **state)
{
        (void)state;
        static const char good[] = "! c\n# MHz S DB R 50\n100 -1 2 -3 4 -5 6 -7 8\n200 -1 2 -3 4 -5 6 -7 8\n100 1 2 3 4\n";
        size_t n = sizeof good - 1;
        for (size_t cut = 0; cut <= n; cut++)
                for (int spoil = 0; spoil < 4; spoil++) {
                        char text[sizeof good];
                        memcpy(text, good, sizeof good);
                        if (cut < n)
                                text[cut] = "\0#e\xff"[spoil];
                        struct arena *arena = arena_new(0);
                        struct touchstone file;
                        struct tp_error err = {0};
                        enum code code = touchstone_read(text, spoil == 0 ? cut : n, 2, arena, &file, &err);
                        assert_true(code == CODE_OK || (code == CODE_BAD_INPUT && err.text[0]));
                        arena_free(arena);
                }
        /* short of memory: a clean error */
        struct arena *small = arena_new(512);
        struct touchstone file;
        struct tp_error err = {0};
        assert_int_equal(touchstone_read(good, n, 2, small, &file, &err), CODE_MEMORY);
        arena_free(small);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(what_is_written_comes_back_bit_for_bit),
                cmocka_unit_test(a_file_never_claims_an_impedance_it_does_not_have),
                cmocka_unit_test(every_bad_text_gives_a_sentence_with_its_line_and_value),
                cmocka_unit_test(ordinary_liberties_are_taken),
                cmocka_unit_test(cut_and_spoilt_texts_never_crash),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
