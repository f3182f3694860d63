/* Touchstone 2 and many ports: heads right and wrong, matrices in halves, mixed modes, 16 ports in 1.0 and 99 in 2.1, large comments. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include "formats/touchstone.h"

#define HEAD "[Version] 2.0\n# Hz S RI R 50\n"
#define ONE HEAD "[Number of Ports] 1\n[Number of Frequencies] 1\n"
#define TWO HEAD "[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] 1\n"
#define DATA2 "[Network Data]\n1 0 0 0 0 0 0 0 0\n"

static enum code try_read(const char *text, unsigned ports, struct arena *arena, struct touchstone *ret, struct tp_error *err)
{
        *err = (struct tp_error){0};
        return touchstone_read(text, strlen(text), ports, arena, ret, err);
}

static void every_bad_head_gives_a_sentence_with_its_line_and_value(void **state)
{
        (void)state;
        static const struct {
                unsigned ports;
                const char *text, *say[2];
        } bad[] = {
                {0, "[Version] 3.0\n", {"line 1", "\"3.0\""}},
                {0, "[Version]\n", {"line 1", "0 words"}},
                {0, "[Version 2.0\n", {"line 1", "no ]"}},
                {0, "# Hz S RI R 50\n[Version] 2.0\n", {"line 1", "0 ports"}},
                {1, "# Hz S RI R 50\n[Version] 2.0\n", {"line 2", "[Version]"}},
                {0, "[Number of Ports] 1\n", {"line 1", "without a line"}},
                {0, HEAD "[Version] 2.0\n", {"line 3", "second time"}},
                {0, HEAD "[Number of Ports] 0\n", {"line 3", "\"0\""}},
                {0, HEAD "[Number of Ports] 100\n", {"line 3", "\"100\""}},
                {0, HEAD "[Number of Ports] 99999999999999999999999\n", {"line 3", "9999"}},
                {0, HEAD "[Number of Ports] -1\n", {"line 3", "\"-1\""}},
                {4, HEAD "[Number of Ports] 2\n", {"line 3", "name says 4"}},
                {0, HEAD "[Number of Ports] 1\n[Number of Ports] 1\n", {"line 4", "second time"}},
                {0, HEAD "[Number of Boats] 1\n", {"line 3", "Number of Boats"}},
                {0, HEAD "[Reference] 50\n", {"line 3", "before [Number of Ports]"}},
                {0, ONE "[Reference] 50 50\n", {"line 5", "1 ports"}},
                {0, ONE "[Reference]\n[Network Data]\n", {"line 6", "0 values"}},
                {0, TWO "[Reference] 50\n75\n60\n" DATA2 "[End]\n", {"line 8", "\"60\""}},
                {0, ONE "[Reference] -50\n", {"line 5", "-50"}},
                {0, ONE "[Reference] 50+1j\n", {"line 5", "complex"}},
                {0, ONE "[Reference] nan\n", {"line 5", "\"nan\""}},
                {0, "[Version] 2.0\n# Hz S RI R 50 75\n", {"line 2", "[Reference]"}},
                {0,
                 "[Version] 2.0\n[Number of Ports] 1\n[Number of Frequencies] 1\n[Network Data]\n1 0 0\n[End]\n",
                 {"line 4", "option line"}},
                {0, HEAD "[Number of Frequencies] 1\n[Network Data]\n1 0 0\n[End]\n", {"line 4", "[Number of Ports]"}},
                {0, HEAD "[Number of Ports] 1\n[Network Data]\n1 0 0\n[End]\n", {"line 4", "[Number of Frequencies]"}},
                {0, HEAD "[Number of Ports] 2\n[Number of Frequencies] 1\n" DATA2 "[End]\n", {"line 5", "21_12 or 12_21"}},
                {0, HEAD "[Number of Ports] 2\n[Two-Port Data Order] 11_22\n", {"line 4", "11_22"}},
                {0, ONE "[Two-Port Data Order] 12_21\n[Network Data]\n1 0 0\n[End]\n", {"line 6", "two-ports"}},
                {0, ONE "[Matrix Format] Half\n", {"line 5", "\"Half\""}},
                {0, ONE "[Network Data] 1\n", {"line 5", "\"1\""}},
                {0, ONE "[Network Data]\n1 0 0\n", {"line 6", "without [End]"}},
                {0, ONE "[Network Data]\n[End]\n", {"line 6", "0 frequencies"}},
                {0, ONE "[Network Data]\n1 0 0\n2 0 0\n[End]\n", {"line 8", "2 frequencies"}},
                {0, ONE "[Network Data]\n1 0 0 0\n[End]\n", {"line 6", "4 numbers"}},
                {0, ONE "[Network Data]\n1 0 0 0 0\n[End]\n", {"line 6", "5 numbers"}},
                {0, ONE "[Network Data]\n1\n[End]\n", {"line 6", "1 numbers"}},
                {0, ONE "[Network Data]\n1 0 inf\n[End]\n", {"line 6", "\"inf\""}},
                {0, ONE "[Network Data]\n1 0 0\n[End]\n2 0 0\n", {"line 8", "behind [End]"}},
                {0, ONE "[Network Data]\n1 0 0\n[Noise Data]\n[End]\n", {"line 7", "Noise Data"}},
                {0, TWO "[Network Data]\n1 0 0 0 0\n[End]\n", {"line 7", "within the frequency"}},
                {0, TWO "[Network Data]\n1 0 0 0 0\n2 0 0 0 0\n[End]\n", {"line 8", "5 numbers"}},
                {0, TWO DATA2 "[Noise Data]\n1 0 0 0 0\n[End]\n", {"line 10", "1 noise"}},
                {0, TWO "[Number of Noise Frequencies] 2\n" DATA2 "[Noise Data]\n1 0 0 0 0\n1 0 0 0 0\n[End]\n", {"line 11", "must rise"}},
                {0, TWO "[Number of Noise Frequencies] 1\n" DATA2 "[Noise Data]\n1 0 0 0\n[End]\n", {"line 10", "4 numbers"}},
                {0, TWO "[Mixed-Mode Order] D1,2\n" DATA2 "[End]\n", {"line 7", "1 values"}},
                {0, TWO "[Mixed-Mode Order] D1,2 D1,2\n" DATA2 "[End]\n", {"line 7", "port 1"}},
                {0, TWO "[Mixed-Mode Order] D1,1 C1,1\n", {"line 6", "\"D1,1\""}},
                {0, TWO "[Mixed-Mode Order] S1 S3\n", {"line 6", "\"S3\""}},
                {0, TWO "[Mixed-Mode Order] X1 S2\n", {"line 6", "\"X1\""}},
                {0, TWO "[Mixed-Mode Order] D1,2, C1,2\n", {"line 6", "\"D1,2,\""}},
                {0, ONE "[Begin Information]\nfree\n[Network Data]\n", {"line 7", "begun in line 5"}},
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

static void heads_take_their_liberties(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct touchstone f;
        struct tp_error err;
        /* keywords in any case, information and comments anywhere, references begun on the next line, lines broken between pairs, CRLF */
        static const char text[] = "! first\r\n[version] 2.1 ! tail\r\n#\r\n[Begin Information]\r\n[Manufacturer] nobody, "
                                   "\xc3\xa9t\xc3\xa9\r\n[end information]\r\n"
                                   "[NUMBER OF PORTS] 3\r\n[Mixed-Mode Order] D1,3\r\nC1,3 S2\r\n[Reference]\r\n50\r\n75 50\r\n"
                                   "[Number of Frequencies] 1\r\n[Matrix Format] upper\r\n[Network Data]\r\n"
                                   "0 1 0 2 0\r\n3 0 ! row 1\r\n4 0 5 0\r\n6 0\r\n[End]\r\n! after\r\n";
        assert_int_equal(try_read(text, 0, arena, &f, &err), CODE_OK);
        assert_int_equal(f.version, 21);
        assert_true(f.ports == 3 && f.r_ohm[1] == 75 && f.axis.hz[0] == 0);
        assert_true(f.mode[0].kind == 'D' && f.mode[0].other == 3 && f.mode[2].kind == 'S' && f.mode[2].port == 2);
        static const double want[9] = {1, 2, 3, 2, 4, 5, 3, 5, 6};
        for (int k = 0; k < 9; k++)
                assert_true(f.re[k][0] == want[k]);
        assert_string_equal(f.comments, " first\n");
        assert_non_null(strstr(f.information, "[Manufacturer] nobody"));
        /* a consumer that wants a single-ended two-port says so */
        static const char mixed[] = TWO "[Mixed-Mode Order] D1,2 C1,2\n" DATA2 "[End]\n";
        struct net2 net;
        assert_int_equal(try_read(mixed, 2, arena, &f, &err), CODE_OK);
        assert_int_equal(touchstone_net2(&f, PLANE_TIP, arena, &net, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "mixed modes"));
        /* G and H: as they stand in version 2, and with R 1 in version 1 */
        assert_int_equal(
                try_read("[Version] 2.0\n# Hz H RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n[Number of Frequencies] 1\n"
                         "[Network Data]\n1 1 0 2 0 3 0 4 0\n[End]\n",
                         0, arena, &f, &err),
                CODE_OK);
        assert_true(f.parameter == 'H' && f.re[0][0] == 1 && f.re[1][0] == 2 && f.re[2][0] == 3);
        arena_free(arena);
}

static struct touchstone made(unsigned ports, size_t n, bool symmetric, struct arena *arena)
{
        uint64_t x = 88172645463325252u + ports;
        double *hz = arena_take(arena, n * sizeof *hz);
        struct touchstone f = {.version = 10, .ports = ports, .parameter = 'S', .comments = "", .information = ""};
        for (size_t i = 0; i < n; i++)
                hz[i] = 70e3 * pow(1.7, (double)i);
        assert_int_equal(axis_of(n, hz, &f.axis, NULL), CODE_OK);
        f.re = arena_take(arena, ports * ports * sizeof *f.re);
        f.im = arena_take(arena, ports * ports * sizeof *f.im);
        for (unsigned k = 0; k < ports * ports; k++) {
                f.re[k] = arena_take(arena, n * sizeof(double));
                f.im[k] = arena_take(arena, n * sizeof(double));
                for (size_t i = 0; i < n; i++) {
                        x ^= x << 13, x ^= x >> 7, x ^= x << 17;
                        f.re[k][i] = (double)(int64_t)x / 9.3e18;
                        f.im[k][i] = (double)(int64_t)(x * 2654435761u) / 9.3e18 * 1e-7;
                }
        }
        for (unsigned k = 0; k < ports * ports && symmetric; k++) {
                f.re[k] = f.re[k / ports < k % ports ? k : k % ports * ports + k / ports];
                f.im[k] = f.im[k / ports < k % ports ? k : k % ports * ports + k / ports];
        }
        for (unsigned p = 0; p < ports; p++)
                f.r_ohm[p] = 50;
        return f;
}

static void same(const struct touchstone *a, const struct touchstone *b)
{
        assert_int_equal(a->ports, b->ports);
        assert_true(axis_equal(&a->axis, &b->axis));
        for (unsigned p = 0; p < a->ports; p++)
                assert_true(a->r_ohm[p] == b->r_ohm[p]);
        for (unsigned k = 0; k < a->ports * a->ports; k++) {
                assert_memory_equal(a->re[k], b->re[k], a->axis.n * sizeof(double));
                assert_memory_equal(a->im[k], b->im[k], a->axis.n * sizeof(double));
        }
}

static void many_ports_come_back_bit_for_bit_in_every_version_and_format(void **state)
{
        (void)state;
        static const unsigned ports[] = {1, 2, 3, 4, 5, 8, 9, 16, 99};
        for (size_t p = 0; p < sizeof ports / sizeof ports[0]; p++)
                for (unsigned version = 10; version <= 21; version += version == 11 ? 9 : 1)
                        for (int m = 0; m < 3; m++) {
                                struct arena *arena = arena_new(0);
                                struct touchstone f = made(ports[p], ports[p] == 99 ? 2 : 7, m > 0, arena), back;
                                struct touchstone_write how = {.comments = "made by a test", .matrix = "FLU"[m]};
                                struct tp_error err = {0};
                                struct text text;
                                f.version = version;
                                if (version > 10)
                                        f.r_ohm[ports[p] - 1] = 75;
                                text_init(&text, 0);
                                if (touchstone_write(&f, &how, &text, &err) ||
                                    touchstone_read(text_of(&text), text.n, version < 20 ? ports[p] : 0, arena, &back, &err))
                                        fail_msg("%u ports, version %u, %c: %s", ports[p], version, "FLU"[m], err.text);
                                same(&f, &back);
                                assert_int_equal(back.version, ports[p] == 1 && version == 11 ? 10 : version);
                                for (const char *line = text_of(&text); version < 20 && line && *line;
                                     line = strchr(line, '\n') ? strchr(line, '\n') + 1 : NULL) {
                                        unsigned words = 0; /* at most four pairs and the frequency */
                                        for (const char *c = line; *c && *c != '\n'; c++)
                                                words += *c != ' ' && (c == line || c[-1] == ' ');
                                        assert_true(*line == '!' || *line == '#' || words <= 9);
                                }
                                text_done(&text);
                                arena_free(arena);
                        }
}

static void what_no_version_can_say_is_not_written(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct touchstone f = made(3, 2, false, arena);
        struct touchstone_noise noise = {1e9, 1, 0.5, 10, 20};
        static const struct touchstone_mode modes[3] = {{'D', 1, 2}, {'C', 1, 2}, {'S', 3, 0}};
        struct tp_error err;
        struct text t;
        text_init(&t, 0);
#define REFUSED(words, ...)                                                               \
        do {                                                                              \
                struct touchstone bad = f;                                                \
                struct touchstone_write how = {0};                                        \
                __VA_ARGS__;                                                              \
                assert_int_equal(touchstone_write(&bad, &how, &t, &err), CODE_BAD_INPUT); \
                if (!strstr(err.text, words))                                             \
                        fail_msg("\"%s\" does not say %s", err.text, words);              \
                assert_int_equal(t.n, 0);                                                 \
        } while (0)
        REFUSED("-3 ohm at port 2", bad.r_ohm[1] = -3);
        REFUSED("nan ohm", bad.r_ohm[0] = NAN);
        REFUSED("1.1 or 2.0", bad.r_ohm[2] = 75);
        REFUSED("mixed modes", bad.mode = modes);
        REFUSED("two-ports", bad.noise_n = 1, bad.noise = &noise);
        REFUSED("kind H", bad.parameter = 'H');
        REFUSED("0 ports", bad.ports = 0);
        REFUSED("S1,2 and S2,1 differ", bad.version = 20, how.matrix = 'L');
        struct touchstone two = made(2, 2, false, arena);
        f = two;
        f.noise_n = 1;
        f.noise = &noise;
        REFUSED("above the last frequency", (void)bad);
        REFUSED("not finite", noise.rn_ohm = INFINITY);
        f = two;
        f.re[2][1] = NAN;
        REFUSED("S2,1 is nan", (void)bad);
        text_done(&t);
        arena_free(arena);
}

static void a_large_comment_is_cut_with_a_sentence_and_large_words_are_refused(void **state)
{
        (void)state;
        size_t n = (size_t)4 << 20;
        char *text = malloc(n + 100);
        struct arena *arena = arena_new((size_t)64 << 20);
        struct touchstone f;
        struct tp_error err;
        memset(text, 'x', n);
        text[0] = '!';
        memcpy(text + n, "\n# Hz S RI R 50\n1 0 0\n", 23);
        assert_int_equal(try_read(text, 1, arena, &f, &err), CODE_OK);
        assert_true(strlen(f.comments) < 70000);
        assert_non_null(strstr(f.comments, "left out"));
        assert_int_equal(f.left_out_bytes, n - 1 - TOUCHSTONE_COMMENT_MAX);
        text[0] = '1'; /* the same as one word of data */
        assert_int_equal(try_read(text, 1, arena, &f, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "line 1"));
        memcpy(text, "# Hz S RI R 50\n1 0 ", 19);
        assert_int_equal(try_read(text, 1, arena, &f, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "line 2"));
        for (size_t k = 19; k < n; k++)
                text[k] = k % 2 ? '0' : ' ';
        assert_int_equal(try_read(text, 1, arena, &f, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "2048 words"));
        arena_free(arena);
        free(text);
}

/* Every cut of a good text and every single changed byte is read or refused with a sentence; ASan and UBSan watch. */
static void cut_and_spoilt_texts_never_crash(void **state)
{
        (void)state;
        static const char good[] =
                "! c\n[Version] 2.0\n# MHz S DB R 50\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n[Number of Frequencies] 1\n"
                "[Number of Noise Frequencies] 1\n[Reference]\n50 75\n[Matrix Format] Lower\n[Mixed-Mode Order] D1,2 C1,2\n"
                "[Begin Information]\nx\n[End Information]\n[Network Data]\n100 -1 2 -3 4\n5 6\n[Noise Data]\n9 1 2 3 4\n[End]\n";
        size_t n = sizeof good - 1, accepted = 0;
        for (size_t cut = 0; cut <= n; cut++)
                for (int spoil = 0; spoil < 6; spoil++) {
                        char text[sizeof good];
                        memcpy(text, good, sizeof good);
                        if (cut < n)
                                text[cut] = "\0#]\xff,9"[spoil];
                        struct arena *arena = arena_new(0);
                        struct touchstone file;
                        struct tp_error err = {0};
                        enum code code = touchstone_read(text, spoil == 0 ? cut : n, 0, arena, &file, &err);
                        assert_true(code == CODE_OK || (code == CODE_BAD_INPUT && strncmp(err.text, "line ", 5) == 0));
                        accepted += code == CODE_OK;
                        arena_free(arena);
                }
        assert_true(accepted > 6 && accepted < n * 2);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(every_bad_head_gives_a_sentence_with_its_line_and_value),
                cmocka_unit_test(heads_take_their_liberties),
                cmocka_unit_test(many_ports_come_back_bit_for_bit_in_every_version_and_format),
                cmocka_unit_test(what_no_version_can_say_is_not_written),
                cmocka_unit_test(a_large_comment_is_cut_with_a_sentence_and_large_words_are_refused),
                cmocka_unit_test(cut_and_spoilt_texts_never_crash),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
