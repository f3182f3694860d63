/* The strict reader: RFC 8259 and our limits.  Each refusal must say where and what. */
#include "base/json.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct refusal {
        const char *text, *place, *value; /* both must stand in the sentence */
        size_t n;                         /* 0: strlen */
};

static const struct refusal refusals[] = {
        {"", "line 1, column 1", "empty", 0},
        {" \n ", "line 2, column 2", "empty", 0},
        {"\xEF\xBB\xBF{}", "line 1, column 1", "byte order mark", 0},
        {"{\"a\":1,\"b\":2,\"a\":3}", "top level", "\"a\"", 0},
        {"{\"x\":[{\"a\":1,\"\\u0061\":2}]}", "/x/0", "\"a\"", 0}, /* the same key, written two ways */
        {"{\"a\":\n  \"\xFF\"}", "line 2, column 4", "0xff", 0},
        {"[\"\xC0\x80\"]", "column 3", "0xc0", 0},         /* overlong NUL */
        {"[\"\xED\xA0\x80\"]", "column 3", "0xed", 0},     /* surrogate in UTF-8 */
        {"[\"\xF4\x90\x80\x80\"]", "column 3", "0xf4", 0}, /* above U+10FFFF */
        {"[\"\xE2\x82\"]", "column 3", "0xe2", 0},         /* cut short */
        {"[\"a\\u0000b\"]", "column 4", "\\u0000", 0},
        {"[\"\\ud800\"]", "column 3", "\\ud800", 0},
        {"[\"\\udc00\\ud800\"]", "column 3", "\\udc00", 0},
        {"[\"\\ud800\\u0041\"]", "column 3", "\\ud800", 0},
        {"[\"\\ud83d\\ud83d\"]", "column 3", "\\ud83d", 0},
        {"[\"\\x41\"]", "column 3", "\\x41", 0},
        {"[\"\\u12g4\"]", "column 3", "\\u12g4", 0},
        {"[\"\\u12", "column 3", "\\u12", 0},
        {"[\"\\", "column 3", "no escape", 0},
        {"[\"a\tb\"]", "column 4", "0x09", 0},
        {"[\"a\nb\"]", "column 4", "0x0a", 0},
        {"[\"a\0b\"]", "column 4", "0x00", 7},
        {"[01]", "column 2", "01", 0},
        {"[-01]", "column 2", "zero", 0},
        {"[1.]", "column 4", "]", 0},
        {"[.5]", "column 2", ".5", 0},
        {"[+1]", "column 2", "+1", 0},
        {"[-]", "column 3", "]", 0},
        {"[1e]", "column 4", "]", 0},
        {"[1e+]", "column 5", "]", 0},
        {"[0x10]", "column 3", "x10", 0},
        {"[1e400]", "column 2", "1e400", 0},
        {"[-1e400]", "column 2", "-1e400", 0},
        {"[1e-400]", "column 2", "1e-400", 0},
        {"[9007199254740993]", "column 2", "9007199254740993", 0},
        {"[-9007199254740994]", "column 2", "-9007199254740994", 0},
        {"[123456789012345678901234567890]", "column 2", "123456789012345678901234567890", 0},
        {"[0.0000000000000000000000000000000000000000000000000000000000000001]", "column 2", "66 characters", 0}, /* cJSON would read 0 */
        {"NaN", "column 1", "NaN", 0},
        {"[Infinity]", "column 2", "Infinity", 0},
        {"[nul]", "column 2", "nul", 0},
        {"[True]", "column 2", "True", 0},
        {"[nullx]", "column 6", "x", 0},
        {"{} {}", "column 4", "{}", 0},
        {"{}x", "column 3", "x", 0},
        {"{}\0", "column 3", "\\x00", 3},
        {"1 2", "column 3", "2", 0},
        {"[1,]", "column 4", "]", 0},
        {"[,1]", "column 2", ",1", 0},
        {"[1 2]", "column 4", "2", 0},
        {"{\"a\":1,}", "column 8", "}", 0},
        {"{\"a\" 1}", "column 6", "1", 0},
        {"{a:1}", "column 2", "a:1", 0},
        {"{'a':1}", "column 2", "'a'", 0},
        {"{1:1}", "column 2", "1:1", 0},
        {"[1", "column 3", "ends here", 0},
        {"{\"a\":", "column 6", "ends here", 0},
        {"[\"abc", "column 2", "closing quote", 0},
        {"[1]]", "column 4", "]", 0},
        {"[1}", "column 3", "}", 0},
        {"// hello\n1", "column 1", "//", 0},
        {"[1,\x0c 2]", "column 4", "\\x0c", 0}, /* form feed is no JSON space */
        {"[\xC2\xA0]", "column 2", "should stand", 0},
};

static void each_bad_text_is_refused_with_place_and_value(void **state)
{
        (void)state;
        for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
                const struct refusal *r = &refusals[i];
                struct tp_error err = {0};
                cJSON *json = NULL;
                size_t n = r->n ? r->n : strlen(r->text);
                char *exact = malloc(n + 1); /* no NUL behind it: a reader that runs over the end is found by the sanitizer */
                memcpy(exact, r->text, n);
                char *cut = realloc(exact, n ? n : 1);
                assert_non_null(cut);
                enum code code = json_read(cut, n, 0, &json, &err);
                free(cut);
                if (code != CODE_BAD_INPUT || json)
                        fail_msg("%zu: \"%s\" was taken (%s)", i, r->text, code_rows[code].word);
                if (!strstr(err.text, r->place) || !strstr(err.text, r->value))
                        fail_msg("%zu: \"%s\": the sentence lacks \"%s\" or \"%s\": %s", i, r->text, r->place, r->value, err.text);
        }
}

static void good_texts_are_taken(void **state)
{
        static const char *const good[] = {
                "{}",
                "[]",
                " [ ] ",
                "null",
                "true",
                "\t-0\r\n",
                "0.5",
                "-1.5e-3",
                "1E5",
                "\"\"",
                "9007199254740992",
                "-9007199254740992",
                "1e22",
                "9007199254740994.0",
                "4.9406564584124654e-324",
                "0e9",
                "0.000e-999",
                "\"\\ud83d\\ude00 \\\" \\\\ \\/ \\b\\f\\n\\r\\t\"",
                "\"\xF0\x9F\x98\x80 \x7F\"",
                "{\"a\":{\"b\":[1,2,{\"a\":null}]},\"A\":1}",
                "{\"\":0}",
        };
        (void)state;
        for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
                struct tp_error err;
                cJSON *json = NULL;
                if (json_read(good[i], strlen(good[i]), 0, &json, &err))
                        fail_msg("%s: %s", good[i], err.text);
                cJSON_Delete(json);
        }
}

static void depth_has_a_limit_on_both_sides_of_it(void **state)
{
        char text[600];
        struct tp_error err;
        cJSON *json = NULL;
        (void)state;
        for (size_t depth = 31; depth <= 34; depth++) {
                memset(text, '[', depth);
                memset(text + depth, ']', depth);
                enum code code = json_read(text, 2 * depth, 0, &json, &err);
                assert_int_equal(code, depth <= JSON_DEPTH_MAX ? CODE_OK : CODE_BAD_INPUT);
                if (!code)
                        cJSON_Delete(json);
                else
                        assert_non_null(strstr(err.text, "33"));
        }
        assert_int_equal(json_read("[[1]]", 5, 1, &json, &err), CODE_BAD_INPUT);
        size_t huge = (size_t)1 << 20; /* an unbounded recursion would end the program */
        char *brackets = malloc(huge);
        memset(brackets, '[', huge);
        assert_int_equal(json_read(brackets, huge, 1000000, &json, &err), CODE_BAD_INPUT);
        free(brackets);
}

/* Any cut and any changed byte of a good text is either refused or read; never a crash, never a read past the end. */
static void any_cut_or_changed_byte_is_harmless(void **state)
{
        static const char good[] = "{\"a\":[1,-2.5e3,\"x\\ud83d\\ude00\\n\",true,null],\"b\":{\"c\":\"\xC3\xA4\"}}";
        const size_t n = sizeof good - 1;
        (void)state;
        for (size_t i = 0; i < n; i++) {
                struct tp_error err;
                cJSON *json = NULL;
                char *cut = malloc(i ? i : 1);
                memcpy(cut, good, i);
                assert_int_equal(json_read(cut, i, 0, &json, &err), CODE_BAD_INPUT);
                free(cut);
                for (int byte = 0; byte < 256; byte++) {
                        char *changed = malloc(n);
                        memcpy(changed, good, n);
                        changed[i] = (char)byte;
                        if (json_read(changed, n, 0, &json, &err) == CODE_OK)
                                cJSON_Delete(json);
                        free(changed);
                }
        }
}

static void many_keys_are_checked_quickly(void **state)
{
        size_t n = 0, keys = 60000;
        char *text = malloc(keys * 16 + 16);
        struct tp_error err;
        cJSON *json = NULL;
        (void)state;
        text[n++] = '{';
        for (size_t i = 0; i < keys; i++)
                n += (size_t)sprintf(text + n, "%s\"k%zu\":0", i ? "," : "", i == keys - 1 ? 7 : i);
        text[n++] = '}';
        assert_int_equal(json_read(text, n, 0, &json, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "\"k7\""));
        free(text);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(each_bad_text_is_refused_with_place_and_value),
                cmocka_unit_test(good_texts_are_taken),
                cmocka_unit_test(depth_has_a_limit_on_both_sides_of_it),
                cmocka_unit_test(any_cut_or_changed_byte_is_harmless),
                cmocka_unit_test(many_keys_are_checked_quickly),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
