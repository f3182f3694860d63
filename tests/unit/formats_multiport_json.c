/* Error terms of three and four ports as JSON: bit for bit there and back, what is not written, the worked example of docs/terms.md.  What
   is refused when read: tests/station/offline_multiport.py, tests/fuzz/fuzz_terms.c. */
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
#include "formats/multiport_json.h"

enum { N = 5 };
static double draw(uint64_t *state)
{
        *state = *state * 6364136223846793005u + 1442695040888963407u;
        return (double)(int64_t)*state / 9.3e18;
}

struct set {
        double hz[N];
        struct axis axis;
        struct multiport_terms terms;
        struct port_switch sw;
        struct multiport_causes *causes; /* NULL until causes_new() */
        struct text text;
        struct tp_error err;
};
static struct set *set_new(unsigned ports, struct arena *arena)
{
        struct set *s = arena_take(arena, sizeof *s);
        uint64_t state = 11 + ports;
        for (int i = 0; i < N; i++)
                s->hz[i] = 1e9 / 7.1 * (i + 1);
        assert_int_equal(axis_of(N, s->hz, &s->axis, NULL), CODE_OK);
        s->terms = multiport_terms_at(arena_take(arena, multiport_terms_bytes(N, ports)), &s->axis, ports);
        s->terms.plane = PLANE_TIP;
        s->terms.switch_removed = true;
        for (unsigned p = 0; p < ports; p++) {
                double *const columns[] = {s->terms.port[p].ed_re, s->terms.port[p].ed_im, s->terms.port[p].es_re, s->terms.port[p].es_im,
                                           s->terms.port[p].er_re, s->terms.port[p].er_im, s->terms.port[p].k_re,  s->terms.port[p].k_im};
                s->sw.re[p] = arena_take(arena, N * sizeof(double));
                s->sw.im[p] = arena_take(arena, N * sizeof(double));
                for (int i = 0; i < N; i++) {
                        for (int k = 0; k < 8; k++)
                                columns[k][i] = p == 0 && k >= 6 ? k == 6 : draw(&state);
                        s->sw.re[p][i] = 1e-300 * draw(&state);
                        s->sw.im[p][i] = -0.0;
                }
        }
        for (int i = 0; i < N; i++) {
                s->terms.z_re[i] = 50;
                s->terms.z_im[i] = 0;
        }
        text_init(&s->text, 0);
        return s;
}

/* A cause that moves one term of the last port, and one of noise that moves all there is, switch terms too. */
static struct multiport_causes *causes_new(struct set *s, struct arena *arena, unsigned ports, bool has_switch)
{
        static const char *const not_counted[] = {"step 1,2: definition of load"};
        struct multiport_causes *c = s->causes = arena_take(arena, sizeof *c);
        uint64_t state = 77;
        c->of = arena_take(arena, 2 * sizeof *c->of);
        c->n = 2;
        c->of[0].about = (struct cause_about){"step 1,2: load: R, port 1", CAUSE_OF_STANDARD, INFINITY};
        c->of[1].about = (struct cause_about){"step 1,3: open: noise, S11", CAUSE_OF_NOISE, 6};
        c->reading = (struct reading_u){1e-5, 3e-4, 9, 0.005, 4e-13, 1, 6e-14, 0.02, 5.3};
        c->not_counted = arena_take(arena, sizeof not_counted);
        memcpy(c->not_counted, not_counted, sizeof not_counted);
        c->not_counted_n = 1;
        for (int m = 0; m < 2; m++)
                for (unsigned p = m ? 0 : ports - 1; p < ports; p++)
                        for (int k = 0; k <= MULTIPORT_TERM_COUNT; k++) {
                                bool sw = k == MULTIPORT_TERM_COUNT;
                                if (sw ? !m || !has_switch : (p == 0 && k == MULTIPORT_K) || (!m && k != MULTIPORT_ES))
                                        continue;
                                double **re = sw ? &c->of[m].switch_re[p] : &c->of[m].re[p][k],
                                       **im = sw ? &c->of[m].switch_im[p] : &c->of[m].im[p][k];
                                *re = arena_take(arena, N * sizeof(double));
                                *im = arena_take(arena, N * sizeof(double));
                                for (int i = 0; i < N; i++) {
                                        (*re)[i] = 1e-3 * draw(&state);
                                        (*im)[i] = i == 2 ? -0.0 : 1e-310 * draw(&state);
                                }
                        }
        return c;
}

static void same(const double *a, const double *b) { assert_memory_equal(a, b, N * sizeof(double)); }

static void same_column(const double *a_re, const double *a_im, const double *b_re, const double *b_im)
{
        assert_true(!a_re == !b_re);
        if (a_re) {
                same(a_re, b_re);
                same(a_im, b_im);
        }
}
static void same_causes(const struct multiport_causes *a, const struct multiport_causes *b)
{
        assert_true(!a == !b);
        if (!a)
                return;
        assert_int_equal(b->n, 2);
        assert_memory_equal(&a->reading, &b->reading, sizeof a->reading);
        assert_int_equal(b->not_counted_n, 1);
        assert_string_equal(b->not_counted[0], a->not_counted[0]);
        for (int m = 0; m < 2; m++) {
                assert_string_equal(a->of[m].about.name, b->of[m].about.name);
                assert_true(a->of[m].about.kind == b->of[m].about.kind && a->of[m].about.freedom == b->of[m].about.freedom);
                for (int p = 0; p < RF_PORTS_MAX; p++) {
                        for (int k = 0; k < MULTIPORT_TERM_COUNT; k++)
                                same_column(a->of[m].re[p][k], a->of[m].im[p][k], b->of[m].re[p][k], b->of[m].im[p][k]);
                        same_column(a->of[m].switch_re[p], a->of[m].switch_im[p], b->of[m].switch_re[p], b->of[m].switch_im[p]);
                }
        }
}

static void all_ports_come_back_bit_for_bit(void **state)
{
        (void)state;
        static const struct terms_note notes[] = {{"made", "2026-03-01"}, {"by", "test"}};
        for (unsigned ports = 2; ports <= RF_PORTS_MAX; ports++)
                for (int kind = 0; kind < 3; kind++) { /* one z; a changing one and no switch terms; the line's own */
                        struct arena *arena = arena_new(0);
                        struct set *s = set_new(ports, arena);
                        struct multiport_json *back = NULL;
                        const struct multiport_causes *causes = kind == 2 ? NULL : causes_new(s, arena, ports, kind == 0);
                        if (kind == 1)
                                s->terms.z_im[2] = -3.1;
                        for (int i = 0; i < N && kind == 2; i++)
                                s->terms.z_re[i] = s->terms.z_im[i] = NAN;
                        if (multiport_json_write(&s->terms, kind == 1 ? NULL : &s->sw, notes, 2, causes, &s->text, &s->err) ||
                            multiport_json_read(text_of(&s->text), s->text.n, arena, &back, &s->err))
                                fail_msg("%u ports: %s", ports, s->err.text);
                        assert_true(multiport_json_is(text_of(&s->text), s->text.n));
                        assert_true(back->terms.ports == ports && back->terms.plane == PLANE_TIP && back->terms.switch_removed);
                        assert_true(back->has_sw == (kind != 1) && back->note_n == 2);
                        assert_string_equal(back->notes[1].value, "test");
                        same(back->axis.hz, s->hz);
                        same_causes(causes, back->causes);
                        for (int i = 0; i < N; i++)
                                assert_true(kind == 2 ? isnan(back->terms.z_re[i]) : back->terms.z_re[i] == 50);
                        if (kind == 1)
                                same(back->terms.z_im, s->terms.z_im);
                        for (unsigned p = 0; p < ports; p++) {
                                same(back->terms.port[p].ed_re, s->terms.port[p].ed_re);
                                same(back->terms.port[p].ed_im, s->terms.port[p].ed_im);
                                same(back->terms.port[p].es_re, s->terms.port[p].es_re);
                                same(back->terms.port[p].es_im, s->terms.port[p].es_im);
                                same(back->terms.port[p].er_re, s->terms.port[p].er_re);
                                same(back->terms.port[p].er_im, s->terms.port[p].er_im);
                                same(back->terms.port[p].k_re, s->terms.port[p].k_re);
                                same(back->terms.port[p].k_im, s->terms.port[p].k_im);
                                if (kind != 1) {
                                        same(back->sw.re[p], s->sw.re[p]);
                                        same(back->sw.im[p], s->sw.im[p]);
                                }
                        }
                        text_done(&s->text);
                        arena_free(arena);
                }
}

static void refused(struct set *s, const char *piece)
{
        if (multiport_json_write(&s->terms, &s->sw, NULL, 0, s->causes, &s->text, &s->err) != CODE_BAD_INPUT || !strstr(s->err.text, piece))
                fail_msg("\"%s\" does not say \"%s\"", s->err.text, piece);
        assert_int_equal(s->text.n, 0);
}
static void what_is_not_written(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        struct set *s = set_new(3, arena);
        s->terms.port[2].es_im[3] = NAN;
        refused(s, "ES of port 3");
        s->terms.port[2].es_im[3] = 0;
        s->sw.re[1][0] = INFINITY;
        refused(s, "the switch term of port 2");
        s->sw.re[1][0] = 0;
        s->terms.z_re[4] = NAN;
        refused(s, "reference impedance");
        s->terms.z_re[4] = 50;
        s->terms.plane = PLANE_UNKNOWN;
        refused(s, "plane");
        s->terms.plane = PLANE_TIP;
        struct multiport_causes *c = causes_new(s, arena, 3, true);
        c->of[1].im[1][MULTIPORT_K][3] = NAN;
        refused(s, "K is");
        c->of[1].im[1][MULTIPORT_K][3] = 0;
        c->of[0].re[2][MULTIPORT_ES] = NULL;
        refused(s, "moves no term");
        c->n = 0;
        c->reading.contact_h = -1;
        refused(s, "of each reading");
        s->terms.ports = 5;
        refused(s, "5 ports");
        arena_free(arena);
}

static void schema_and_page_say_the_same(void **state)
{
        (void)state;
        char *text = file_text("schema/multiport.schema.json", NULL), *page = file_text("docs/terms.md", NULL), said[64];
        struct arena *arena = arena_new(0);
        struct set *s = set_new(4, arena);
        cJSON *schema = json_of(text, strlen(text));
        const cJSON *properties = cJSON_GetObjectItem(schema, "properties");
        assert_int_equal(multiport_json_write(&s->terms, &s->sw, NULL, 0, causes_new(s, arena, 4, true), &s->text, NULL), CODE_OK);
        cJSON *json = json_of(text_of(&s->text), s->text.n);
        assert_keys_are_the_schemas(json, schema);
        for (const cJSON *port = cJSON_GetObjectItem(json, "terms")->child; port; port = port->next) {
                const cJSON *of =
                        cJSON_GetObjectItem(cJSON_GetObjectItem(cJSON_GetObjectItem(properties, "terms"), "properties"), port->string);
                for (const cJSON *e = port->child; e; e = e->next)
                        assert_non_null(cJSON_GetObjectItem(cJSON_GetObjectItem(of, "properties"), e->string));
                assert_int_equal(cJSON_GetArraySize(port), cJSON_GetArraySize(cJSON_GetObjectItem(of, "required")));
        }
        /* the page's example corrects as the page says */
        char *from = strstr(page, "tipplane multiport error terms\",");
        while (from && *from != '`')
                from--;
        assert_non_null(from);
        char *end = strstr(from, "\n```");
        assert_non_null(end);
        from = strchr(from, '\n');
        struct multiport_json *f = NULL;
        struct tp_error err = {0};
        if (multiport_json_read(from, (size_t)(end - from), arena, &f, &err))
                fail_msg("docs/terms.md: %s", err.text);
        static const double complex m[9] = {CMPLX(0.31, 0.05),  CMPLX(0.52, -0.33), CMPLX(0.2, 0.1),
                                            CMPLX(0.51, -0.34), CMPLX(0.29, 0.02),  CMPLX(0.19, -0.12),
                                            CMPLX(0.21, 0.1),   CMPLX(0.18, -0.11), CMPLX(0.4, -0.05)};
        struct netn raw = netn_at(arena_take(arena, netn_bytes(1, 3)), &f->axis, 3, PLANE_RECEIVER),
                    got = netn_at(arena_take(arena, netn_bytes(1, 3)), &f->axis, 3, PLANE_UNKNOWN);
        netn_put(&raw, 0, m);
        assert_int_equal(rf_multiport_correct(&f->terms, &raw, &f->sw, &got, &err), CODE_OK);
        snprintf(said, sizeof said, "S11 = %.6f%+.6fj", got.re[0][0], got.im[0][0]);
        if (!strstr(page, said))
                fail_msg("docs/terms.md does not say \"%s\"", said);
        snprintf(said, sizeof said, "S32 = %.6f%+.6fj", got.re[7][0], got.im[7][0]);
        if (!strstr(page, said))
                fail_msg("docs/terms.md does not say \"%s\"", said);
        cJSON_Delete(json);
        cJSON_Delete(schema);
        text_done(&s->text);
        arena_free(arena);
        free(text);
        free(page);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(all_ports_come_back_bit_for_bit), cmocka_unit_test(what_is_not_written),
                                           cmocka_unit_test(schema_and_page_say_the_same)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
