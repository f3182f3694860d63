/* ULIDs under a clock that the test sets. */
#include "base/world.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <string.h>

struct fake {
        int64_t wall_us;
        int random; /* every byte drawn */
};
static int64_t fake_wall(const struct world *w) { return ((const struct fake *)w->ctx)->wall_us; }
static void fake_random(const struct world *w, void *ret, size_t n) { memset(ret, ((const struct fake *)w->ctx)->random, n); }
static const struct clock_ops fake_clock = {.wall_us = fake_wall};
static const struct random_ops fake_bytes = {.bytes = fake_random};

static void the_text_is_that_of_the_specification(void **state)
{
        struct fake f = {.wall_us = INT64_C(1469918176385) * 1000, .random = 0}; /* the time in github.com/ulid/spec's README: 01ARYZ6S41 */
        struct world w = {.clock = &fake_clock, .random = &fake_bytes, .ctx = &f};
        struct ulid_maker m = {0};
        char id[27];
        (void)state;
        ulid_make(&w, &m, id);
        assert_string_equal(id, "01ARYZ6S410000000000000000");
        ulid_make(&w, &m, id);
        assert_string_equal(id, "01ARYZ6S410000000000000001");
        f.wall_us = ((INT64_C(1) << 48) - 1) * 1000;
        f.random = 0xFF;
        ulid_make(&w, &m, id);
        assert_string_equal(id, "7ZZZZZZZZZFZZZZZZZZZZZZZZZ");
}

static void ids_never_run_backwards_when_the_clock_does(void **state)
{
        struct fake f = {.wall_us = INT64_C(1700000000000000), .random = 0xFF};
        struct world w = {.clock = &fake_clock, .random = &fake_bytes, .ctx = &f};
        struct ulid_maker m = {0};
        char before[27] = "", id[27];
        (void)state;
        for (int i = 0; i < 100000; i++) {
                f.wall_us += i % 7 == 0 ? -3600000000 : i % 5 == 0 ? 2000 : i % 1000 == 1 ? 3600000000 * 150 : 0;
                ulid_make(&w, &m, id);
                assert_true(ulid_valid(id));
                assert_true(strcmp(before, id) < 0);
                memcpy(before, id, sizeof id);
        }
        memset(m.last, 0xFF, sizeof m.last); /* the counter overflows: the next millisecond is borrowed */
        f.wall_us = 0;
        ulid_make(&w, &m, id);
        assert_true(strcmp(before, id) < 0);
        f.wall_us = -1;
        m = (struct ulid_maker){0};
        ulid_make(&w, &m, id);
        assert_true(ulid_valid(id));
}

static void only_ulids_are_valid(void **state)
{
        (void)state;
        assert_true(ulid_valid("7ZZZZZZZZZZZZZZZZZZZZZZZZZ"));
        assert_false(ulid_valid("80000000000000000000000000"));
        assert_false(ulid_valid("01ARYZ6S41000000000000000"));
        assert_false(ulid_valid("01ARYZ6S4100000000000000000"));
        assert_false(ulid_valid("01ARYZ6S41000000000000000I"));
        assert_false(ulid_valid("01aryz6s410000000000000000"));
        assert_false(ulid_valid("../../../../../../etc/shad"));
        assert_false(ulid_valid(""));
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(the_text_is_that_of_the_specification),
                                           cmocka_unit_test(ids_never_run_backwards_when_the_clock_does),
                                           cmocka_unit_test(only_ulids_are_valid)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
