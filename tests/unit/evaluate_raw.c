/* Traces as instruments give them: types, byte orders, lengths, what is refused. */
#include "evaluate_bench.h"

static const double hz[3] = {1e9, 2e9, 3e9};
static const float values[6] = {0.5f, -0.25f, 1.0f, 0.0f, -2.0f, 3.5f}; /* exact in float and double */

static void turn(uint8_t *at, size_t size, size_t n)
{
        for (size_t k = 0; k < n; k++)
                for (size_t b = 0; b < size / 2; b++) {
                        uint8_t t = at[k * size + b];
                        at[k * size + b] = at[k * size + size - 1 - b];
                        at[k * size + size - 1 - b] = t;
                }
}

struct bytes {
        uint8_t c64le[24], c64be[24], c128le[48], c128be[48];
};
static void encode(struct bytes *b)
{
        double wide[6];
        memcpy(b->c64le, values, 24); /* the tests run on a little-endian machine, as Debian's amd64 and arm64 are */
        memcpy(b->c64be, values, 24);
        turn(b->c64be, 4, 6);
        for (int k = 0; k < 6; k++)
                wide[k] = (double)values[k];
        memcpy(b->c128le, wide, 48);
        memcpy(b->c128be, wide, 48);
        turn(b->c128be, 8, 6);
}

static void all_four_types_read_the_same_numbers(void **state)
{
        (void)state;
        struct bytes b;
        struct arena *arena = arena_new(0);
        struct tp_error err = {0};
        struct raw_sweep raw;
        encode(&b);
        struct raw_trace t[] = {{"S11", "c64le", b.c64le, 24},
                                {"S22", "c128be", b.c128be, 48},
                                {"S21", "c64be", b.c64be, 24},
                                {"S12", "c128le", b.c128le, 48}};
        assert_int_equal(raw_from_traces(t, 4, hz, 3, arena, &raw, &err), CODE_OK);
        assert_ptr_equal(raw.hz, hz);
        assert_null(raw.gf_re);
        for (int k = 0; k < 4; k++)
                for (size_t i = 0; i < 3; i++) {
                        assert_true(raw.re[k][i] == (double)values[2 * i]);
                        assert_true(raw.im[k][i] == (double)values[2 * i + 1]);
                }
        arena_free(arena);
}

static void refused(const struct raw_trace *t, size_t n, const char *word1, const char *word2)
{
        struct arena *arena = arena_new(0);
        struct tp_error err = {0};
        struct raw_sweep raw;
        assert_int_equal(raw_from_traces(t, n, hz, 3, arena, &raw, &err), CODE_BAD_INPUT);
        if (!strstr(err.text, word1) || !strstr(err.text, word2))
                fail_msg("\"%s\" lacks \"%s\" or \"%s\"", err.text, word1, word2);
        arena_free(arena);
}

static void wrong_traces_are_refused_by_name(void **state)
{
        (void)state;
        struct bytes b;
        encode(&b);
        struct raw_trace good[6] = {{"S11", "c64le", b.c64le, 24}, {"S12", "c64le", b.c64le, 24}, {"S21", "c64le", b.c64le, 24},
                                    {"S22", "c64le", b.c64le, 24}, {"GF", "c64le", b.c64le, 24},  {"GR", "c64le", b.c64le, 24}},
                         t[6];
        refused(good, 3, "S22", "missing");
        refused(good, 5, "GR", "missing");
        memcpy(t, good, sizeof t);
        t[2].byte_n = 16;
        refused(t, 4, "S21", "16 bytes");
        memcpy(t, good, sizeof t);
        t[1].name = "S11";
        refused(t, 4, "S11", "twice");
        memcpy(t, good, sizeof t);
        t[0].name = "S31";
        refused(t, 4, "S31", "not known");
        memcpy(t, good, sizeof t);
        t[3].dtype = "f32";
        refused(t, 4, "S22", "f32");
}

static void a_number_that_is_none_is_refused_with_trace_and_point(void **state)
{
        (void)state;
        struct bytes b;
        encode(&b);
        uint8_t bad[24];
        float nan = NAN, inf = INFINITY;
        struct raw_trace t[] = {
                {"S11", "c64le", b.c64le, 24}, {"S12", "c64le", bad, 24}, {"S21", "c64le", b.c64le, 24}, {"S22", "c64le", b.c64le, 24}};
        memcpy(bad, b.c64le, 24);
        memcpy(bad + 20, &nan, 4);
        refused(t, 4, "S12 point 2", "nan");
        memcpy(bad, b.c64le, 24);
        memcpy(bad + 8, &inf, 4);
        refused(t, 4, "S12 point 1", "inf");
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(all_four_types_read_the_same_numbers),
                                           cmocka_unit_test(wrong_traces_are_refused_by_name),
                                           cmocka_unit_test(a_number_that_is_none_is_refused_with_trace_and_point)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
