/* The document of a network's uncertainty: bit for bit there and back; what is refused, and where the sentence points; the schema and the
   page say what the program does. */
#include "tests/unit/formats_document.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/json.h"
#include "formats/uncertainty_json.h"

enum { N = 5 };
struct set {
        struct arena *arena;
        double hz[N];
        struct uncertainty_json u;
        struct text text;
        struct tp_error err;
};
static double draw(uint64_t *state)
{
        *state = *state * 6364136223846793005u + 1442695040888963407u;
        return (double)(int64_t)*state / 9.3e18;
}
static struct set *set_new(unsigned ports)
{
        struct arena *arena = arena_new(0);
        struct set *s = arena_take(arena, sizeof *s);
        static const char *const not_counted[] = {"drift since the calibration", "Kürze"};
        uint64_t state = 5;
        s->arena = arena;
        for (int i = 0; i < N; i++)
                s->hz[i] = 70e3 + 1e9 / 3 * i;
        assert_int_equal(axis_of(N, s->hz, &s->u.axis, NULL), CODE_OK);
        s->u.of = "x0y0_L1.s2p";
        memset(s->u.of_sha256, 'a', 64);
        s->u.plane = PLANE_TIP;
        s->u.z_ref_ohm = 50;
        s->u.causes.axis = &s->u.axis;
        s->u.causes.ports = ports;
        s->u.causes.n = 3;
        s->u.causes.of = arena_take(arena, 3 * sizeof *s->u.causes.of);
        s->u.causes.not_counted = arena_take(arena, sizeof not_counted);
        memcpy(s->u.causes.not_counted, not_counted, sizeof not_counted);
        s->u.causes.not_counted_n = 2;
        for (int k = 0; k < 3; k++) {
                struct netn_cause *c = &s->u.causes.of[k];
                static const struct cause_about about[3] = {{"load: R, port 1", CAUSE_OF_STANDARD, INFINITY},
                                                            {"own: touch L, port 2", CAUSE_OF_CONTACT, INFINITY},
                                                            {"own: noise, S21", CAUSE_OF_NOISE, 3.5}};
                c->about = about[k];
                net2_cause_id("abc", about[k].name, c->id);
                for (unsigned e = 0; e < ports * ports; e++) {
                        if (k == 1 && e + 1 < ports * ports)
                                continue;
                        c->re[e] = arena_take(arena, N * sizeof(double));
                        c->im[e] = arena_take(arena, N * sizeof(double));
                        for (int i = 0; i < N; i++) {
                                c->re[e][i] = i == 1 ? -0.0 : 1e-3 * draw(&state);
                                c->im[e][i] = 1e-309 * draw(&state);
                        }
                }
        }
        text_init(&s->text, 0);
        if (uncertainty_json_write(&s->u, &s->text, &s->err))
                fail_msg("%s", s->err.text);
        return s;
}
static void set_free(struct set *s)
{
        text_done(&s->text);
        arena_free(s->arena);
}

static void comes_back(unsigned ports)
{
        struct set *s = set_new(ports);
        struct uncertainty_json *got = NULL;
        if (uncertainty_json_read(text_of(&s->text), s->text.n, s->arena, &got, &s->err))
                fail_msg("%s", s->err.text);
        assert_string_equal(got->of, s->u.of);
        assert_string_equal(got->of_sha256, s->u.of_sha256);
        assert_true(got->plane == PLANE_TIP && got->z_ref_ohm == 50 && got->causes.axis == &got->axis && got->causes.ports == ports);
        assert_true(!strstr(text_of(&s->text), "\"ports\"") == (ports == 2)); /* two ports are version 1, as ever */
        assert_memory_equal(got->axis.hz, s->hz, sizeof s->hz);
        assert_int_equal(got->causes.n, 3);
        assert_int_equal(got->causes.not_counted_n, 2);
        assert_string_equal(got->causes.not_counted[1], "Kürze");
        for (int k = 0; k < 3; k++) {
                const struct netn_cause *a = &s->u.causes.of[k], *b = &got->causes.of[k];
                assert_string_equal(a->id, b->id);
                assert_string_equal(a->about.name, b->about.name);
                assert_true(a->about.kind == b->about.kind && a->about.freedom == b->about.freedom);
                for (int e = 0; e < RF_ENTRIES_MAX; e++) {
                        assert_true(!a->re[e] == !b->re[e]);
                        if (a->re[e]) {
                                assert_memory_equal(a->re[e], b->re[e], N * sizeof(double));
                                assert_memory_equal(a->im[e], b->im[e], N * sizeof(double));
                        }
                }
        }
        struct text again;
        text_init(&again, 0);
        assert_int_equal(uncertainty_json_write(got, &again, NULL), CODE_OK);
        assert_string_equal(text_of(&again), text_of(&s->text));
        text_done(&again);
        set_free(s);
}

static void it_comes_back_bit_for_bit(void **state)
{
        (void)state;
        for (unsigned ports = 1; ports <= RF_PORTS_MAX; ports++)
                comes_back(ports);
}

/* An id is the digest that any program makes of the words: printf 'abc: load: R, port 1' | sha256sum. */
static void an_id_is_a_digest_of_words(void **state)
{
        (void)state;
        char id[65];
        net2_cause_id("abc", "load: R, port 1", id);
        assert_string_equal(id, "8d73019cd0b17d54c5e68935d4c74b64853aa426474e83bdd4425a602427d17d");
}

static void refused(struct set *s, const char *from, const char *to, enum code want, const char *pointer, const char *piece)
{
        struct text changed = document_with(&s->text, from, to);
        struct uncertainty_json *got = NULL;
        struct tp_error err = {0};
        enum code code = uncertainty_json_read(text_of(&changed), changed.n, s->arena, &got, &err);
        assert_document_refused(code, got, &err, want, pointer, piece, from, to);
        text_done(&changed);
}
static void what_is_refused(void **state)
{
        (void)state;
        struct set *s = set_new(2);
        char id[65];
        net2_cause_id("abc", "load: R, port 1", id);
        refused(s, "tipplane uncertainty", "tipplane error terms", CODE_BAD_INPUT, "/format", "is not \"tipplane uncertainty\"");
        refused(s, "\"version\":1", "\"version\":3", CODE_TOO_NEW, "/version", "version 3");
        refused(s, "\"version\":1", "\"version\":2,\"ports\":5", CODE_BAD_INPUT, "/ports", "from 1 to 4");
        refused(s, "\"version\":1", "\"version\":2,\"ports\":1.5", CODE_BAD_INPUT, "/ports", "whole number");
        refused(s, "\"version\":1", "\"version\":2,\"ports\":1", CODE_BAD_INPUT, "/causes/0/s", "\"s12\"");
        refused(s, "\"of_sha256\":\"a", "\"of_sha256\":\"A", CODE_BAD_INPUT, "/of_sha256", "64 lower-case");
        refused(s, "\"of\":\"x0y0", "\"of\":\"\\u0007", CODE_BAD_INPUT, "/of", "printable");
        refused(s, "\"tip\"", "\"receiver\"", CODE_BAD_INPUT, "/plane", "raw data");
        refused(s, "\"z_ref_ohm\":50", "\"z_ref_ohm\":0", CODE_BAD_INPUT, "/z_ref_ohm", "positive");
        refused(s, "\"frequencies_hz\":[70000,", "\"frequencies_hz\":[7,70000,", CODE_BAD_INPUT, "/causes/0/s/s11/re", "has 5 numbers");
        refused(s, "\"causes\":[", "\"causes\":[[],", CODE_BAD_INPUT, "/causes/0", "must be an object");
        refused(s, "\"s11\"", "\"s13\"", CODE_BAD_INPUT, "/causes/0/s", "\"s13\"");
        refused(s, id, "0123", CODE_BAD_INPUT, "/causes/0/id", "64 lower-case");
        refused(s, "\"kind\":\"contact\"", "\"kind\":1", CODE_BAD_INPUT, "/causes/1", "/causes/1/kind");
        refused(s, "\"freedom\":3.5", "\"freedom\":\"many\"", CODE_BAD_INPUT, "/causes/2", "from 1 on");
        refused(s, "\"name\":\"load: R, port 1\",", "", CODE_BAD_INPUT, "/causes/0/name", "no \"name\"");
        refused(s, "\"not_counted\":[", "\"not_counted\":[\"\",", CODE_BAD_INPUT, "/not_counted", "/not_counted/0");
        refused(s, "{", "[", CODE_BAD_INPUT, "", "uncertainty");
        memcpy(s->u.causes.of[1].id, id, sizeof id); /* the first one's */
        text_clear(&s->text);
        assert_int_equal(uncertainty_json_write(&s->u, &s->text, &s->err), CODE_BAD_INPUT);
        assert_non_null(strstr(s->err.text, "have one id"));
        s->u.causes.n = 1;
        s->u.causes.of[0].im[2][4] = INFINITY;
        assert_int_equal(uncertainty_json_write(&s->u, &s->text, &s->err), CODE_BAD_INPUT);
        assert_non_null(strstr(s->err.text, "s21"));
        set_free(s);
}

static void schema_and_page_say_the_same(void **state)
{
        (void)state;
        struct set *s = set_new(3);
        char *text = file_text("schema/uncertainty.schema.json", NULL), *page = file_text("docs/uncertainty.md", NULL);
        cJSON *schema = json_of(text, strlen(text)), *json = json_of(text_of(&s->text), s->text.n);
        assert_keys_are_the_schemas(json, schema);
        for (const cJSON *e = json->child; e; e = e->next) {
                char key[48];
                snprintf(key, sizeof key, "`%s`", e->string);
                if (!strstr(page, key))
                        fail_msg("docs/uncertainty.md does not say %s", key);
        }
        const cJSON *cause = have(have(have(schema, "$defs"), "cause"), "properties");
        assert_words_are_the_schemas(have(have(cause, "kind"), "enum"), cause_kind_words);
        assert_non_null(have(have(have(cause, "s"), "properties"), "s33"));
        for (const cJSON *e = have(json, "causes")->child->child; e; e = e->next)
                assert_non_null(have(cause, e->string));
        /* the page's example is a document */
        size_t example_n;
        const char *example = page_example(page, &example_n);
        struct uncertainty_json *got = NULL;
        if (uncertainty_json_read(example, example_n, s->arena, &got, &s->err))
                fail_msg("%s", s->err.text);
        double u = sqrt(netn_causes_cov_difference(&got->causes, 0, NULL, 0, 0)
                                .re); /* real part of S11 at the first frequency, as the page has it */
        char said[32];
        snprintf(said, sizeof said, "u(Re S11) = %.5f", u);
        if (!strstr(page, said))
                fail_msg("docs/uncertainty.md does not say \"%s\"", said);
        cJSON_Delete(schema);
        cJSON_Delete(json);
        free(text);
        free(page);
        set_free(s);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(it_comes_back_bit_for_bit), cmocka_unit_test(an_id_is_a_digest_of_words),
                                           cmocka_unit_test(what_is_refused), cmocka_unit_test(schema_and_page_say_the_same)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
