/* Text and the JSON writer; what is written must be readable, doubles to the last bit. */
#include "base/json.h"
#include "base/text.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <cmocka.h>
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static void a_full_text_breaks_and_stays_broken(void **state)
{
        struct text t;
        (void)state;
        text_init(&t, 10);
        assert_string_equal(text_of(&t), "");
        text_put(&t, "12345");
        text_f(&t, "%d", 67890);
        assert_true(text_ok(&t));
        assert_string_equal(text_of(&t), "1234567890");
        text_put(&t, "x");
        assert_false(text_ok(&t));
        text_put(&t, "");
        assert_false(text_ok(&t));
        assert_string_equal(text_of(&t), "1234567890");
        text_clear(&t);
        assert_true(text_ok(&t));
        text_f(&t, "%0300d", 1);
        assert_false(text_ok(&t));
        text_done(&t);
        text_init(&t, 0);
        text_f(&t, "%0300d", 1);
        assert_int_equal(t.n, 300);
        size_t n;
        char *taken = text_take(&t, &n);
        assert_int_equal(n, 300);
        free(taken);
        taken = text_take(&t, &n);
        assert_string_equal(taken, "");
        free(taken);
        text_done(&t);
}

static void json_gets_its_commas_and_escapes(void **state)
{
        struct text t;
        (void)state;
        text_init(&t, 0);
        struct json_out o = json_to(&t);
        json_open(&o, NULL, '{');
        json_text(&o, "a\"", "q\\ \n \x01 \xC3\xA4 \xFF \xED\xA0\x80");
        json_open(&o, "l", '[');
        json_int(&o, NULL, INT64_MIN);
        json_bool(&o, NULL, true);
        json_real(&o, NULL, NAN);
        json_real(&o, NULL, -INFINITY);
        json_open(&o, NULL, '{');
        json_close(&o, '}');
        json_close(&o, ']');
        json_text(&o, "n", NULL);
        json_raw(&o, "r", "[1]");
        json_null(&o, "z");
        json_real(&o, "big", 9007199254740994.0);
        json_real(&o, "half", 0.5);
        json_close(&o, '}');
        assert_true(text_ok(&t));
        assert_string_equal(text_of(&t), "{\"a\\\"\":\"q\\\\ \\n \\u0001 \xC3\xA4 \xEF\xBF\xBD \xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD\","
                                         "\"l\":[-9223372036854775808,true,null,null,{}],\"n\":null,\"r\":[1],\"z\":null,"
                                         "\"big\":9007199254740994.0,\"half\":0.5}");
        text_done(&t);
}

static void too_many_brackets_break_the_text(void **state)
{
        struct text t;
        (void)state;
        text_init(&t, 0);
        struct json_out o = json_to(&t);
        for (int i = 0; i < 62; i++)
                json_open(&o, NULL, '[');
        assert_true(text_ok(&t));
        for (int i = 0; i < 4; i++)
                json_open(&o, NULL, '[');
        assert_false(text_ok(&t));
        text_done(&t);
        text_init(&t, 0);
        o = json_to(&t);
        json_close(&o, ']');
        assert_false(text_ok(&t));
        text_done(&t);
}

static uint64_t draw(uint64_t *s) /* splitmix64, Steele, Lea, Flood 2014 */
{
        uint64_t z = *s += UINT64_C(0x9E3779B97F4A7C15);
        z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
        z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
        return z ^ z >> 31;
}

/* Written by us, scanned by us, read by cJSON: a thousand lists of a thousand doubles. */
static void a_million_random_doubles_survive(void **state)
{
        enum { LISTS = 1000, EACH = 1000 };
        const char *given = getenv("TIPPLANE_SEED");
        uint64_t seed = given ? strtoull(given, NULL, 0) : 20260101, s = seed;
        double *sent = calloc(EACH, sizeof *sent);
        struct text t;
        struct tp_error err;
        (void)state;
        text_init(&t, 0);
        for (int list = 0; list < LISTS; list++) {
                text_clear(&t);
                struct json_out o = json_to(&t);
                json_open(&o, NULL, '[');
                for (int i = 0; i < EACH; i++) {
                        uint64_t bits = draw(&s);
                        if (i % 4 == 1) /* as measured: some decimals of a large or small unit */
                                sent[i] = (double)(int64_t)(bits >> 20) / 1e4;
                        else if (i % 4 == 2) /* whole numbers around and beyond 2^53 */
                                sent[i] = (double)(bits >> (i % 16));
                        else
                                memcpy(&sent[i], &bits, sizeof bits);
                        if (!isfinite(sent[i]))
                                sent[i] = i % 2 ? -0.0 : 4.9406564584124654e-324;
                        json_real(&o, NULL, sent[i]);
                }
                json_close(&o, ']');
                cJSON *json = NULL;
                if (json_read(text_of(&t), t.n, 0, &json, &err))
                        fail_msg("TIPPLANE_SEED=%" PRIu64 ", list %d: %s", seed, list, err.text);
                int i = 0;
                for (const cJSON *c = json->child; c; c = c->next, i++)
                        if (memcmp(&c->valuedouble, &sent[i], sizeof(double)) != 0)
                                fail_msg("TIPPLANE_SEED=%" PRIu64 ", list %d, %d: %a came back as %a", seed, list, i, sent[i],
                                         c->valuedouble);
                assert_int_equal(i, EACH);
                cJSON_Delete(json);
        }
        text_done(&t);
        free(sent);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(a_full_text_breaks_and_stays_broken),
                cmocka_unit_test(json_gets_its_commas_and_escapes),
                cmocka_unit_test(too_many_brackets_break_the_text),
                cmocka_unit_test(a_million_random_doubles_survive),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
