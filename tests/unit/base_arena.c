#include "base/arena.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

static void memory_is_zeroed_aligned_and_apart(void **state)
{
        struct arena *a = arena_new(0);
        unsigned char *taken[300];
        (void)state;
        for (int round = 0; round < 3; round++) {
                size_t sum = 0;
                for (size_t i = 0; i < 300; i++) {
                        size_t n = i * 97 % 5000 + (i % 50 == 0 ? 70000 : 0);
                        taken[i] = arena_take(a, n);
                        assert_non_null(taken[i]);
                        assert_int_equal((uintptr_t)taken[i] % 64, 0);
                        for (size_t j = 0; j < n; j++)
                                assert_int_equal(taken[i][j], 0);
                        memset(taken[i], (int)i, n);
                        sum += n;
                }
                for (size_t i = 0; i < 300; i++)
                        if (i * 97 % 5000)
                                assert_int_equal(taken[i][0], i & 0xFF);
                assert_int_equal(arena_used(a), sum);
                arena_reset(a);
                assert_int_equal(arena_used(a), 0);
        }
        arena_free(a);
        arena_free(NULL);
}

static void the_limit_is_on_what_was_asked_for(void **state)
{
        struct arena *a = arena_new(100);
        (void)state;
        assert_null(arena_take(a, 101));
        assert_non_null(arena_take(a, 60));
        assert_null(arena_take(a, 41));
        assert_non_null(arena_take(a, 40)); /* padding does not count */
        assert_null(arena_take(a, 1));
        assert_null(arena_take(a, SIZE_MAX));
        arena_reset(a);
        char *copy = arena_text(a, "die");
        assert_string_equal(copy, "die");
        arena_free(a);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(memory_is_zeroed_aligned_and_apart),
                                           cmocka_unit_test(the_limit_is_on_what_was_asked_for)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
