/* fuzz_terms.c: error terms as JSON, as somebody mailed them.  What is accepted is finite where its model says so, comes back from our
   writer bit for bit, and corrects without a fault. */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_json.h"
#include <math.h>
#include "formats/multiport_json.h"
#include "rf/correct/correct.h"

static const char *const fuzz_words[] = {FUZZ_JSON_WORDS,
                                         FUZZ_JSON_COLUMNS,
                                         "\"model\":\"sixteen\"",
                                         "\"model\":\"eight\"",
                                         "\"one_port\"",
                                         "\"twelve\"",
                                         "\"terms\":{",
                                         "\"T4_11\":",
                                         "\"ETF\":",
                                         "\"K\":{\"re\":[1],\"im\":[0]},",
                                         "\"switch_terms\":{",
                                         "\"forward\":",
                                         "\"z_ref_ohm\":null,",
                                         "\"notes\":{\"a\":\"b\"},",
                                         "\"causes\":[{\"name\":\"a\",\"kind\":\"noise\",\"terms\":{\"EDF\":",
                                         "\"each_reading\":{\"eps_eff\":2},",
                                         "\"drift_loss_db_u\":0.1,",
                                         "\"freedom\":4,",
                                         "\"ports\":3,",
                                         "\"port_3\":{",
                                         "\"tipplane multiport error terms\"",
                                         NULL};

static void same(const double *a, const double *b, size_t n)
{
        for (size_t i = 0; i < n; i++)
                if (memcmp(&a[i], &b[i], sizeof a[i]) != 0 && !(isnan(a[i]) && isnan(b[i])))
                        fuzz_broken("written and read again, a number differs");
}
static void same_causes(const struct terms_causes *a, const struct terms_causes *b, size_t n)
{
        if (!a != !b || (a && (a->n != b->n || a->not_counted_n != b->not_counted_n)))
                fuzz_broken("written and read again, causes are missing");
        for (size_t k = 0; a && k < a->n; k++)
                for (int m = 0; m < TERM_COUNT + FULL_COUNT + 2; m++) {
                        int f = m - TERM_COUNT, w = f - FULL_COUNT;
                        const double *x = f < 0   ? a->of[k].re[m]
                                          : w < 0 ? a->of[k].full_re[f]
                                                  : a->of[k].switch_re[w],
                                     *y = f < 0   ? b->of[k].re[m]
                                          : w < 0 ? b->of[k].full_re[f]
                                                  : b->of[k].switch_re[w];
                        if (!x != !y)
                                fuzz_broken("written and read again, a cause moves other terms");
                        if (x)
                                same(x, y, n);
                }
}
static void written_and_read(const struct terms_json *f, struct arena *arena)
{
        struct tp_error err = {0};
        struct terms_json *again = NULL;
        struct text t;
        text_init(&t, 0);
        if (terms_json_write(&f->terms, f->has_sw ? &f->sw : NULL, f->notes, f->note_n, f->causes, &t, &err)) {
                fprintf(stderr, "fuzz: %s\n", err.text);
                fuzz_broken("terms that were read cannot be written");
        }
        if (terms_json_read(text_of(&t), t.n, arena, &again, &err)) {
                fprintf(stderr, "fuzz: %s\n", err.text);
                fuzz_broken("what we wrote is refused");
        }
        size_t n = f->axis.n;
        if (again->axis.n != n || again->note_n != f->note_n || again->has_sw != f->has_sw || again->terms.model != f->terms.model)
                fuzz_broken("written and read again, something is missing");
        same(f->axis.hz, again->axis.hz, n);
        same(f->terms.z_re, again->terms.z_re, n);
        same(f->terms.z_im, again->terms.z_im, n);
        for (int k = 0; k < TERM_COUNT; k++) {
                same(f->terms.re[k], again->terms.re[k], n);
                same(f->terms.im[k], again->terms.im[k], n);
        }
        for (int k = 0; k < FULL_COUNT; k++) {
                same(f->terms.full_re[k], again->terms.full_re[k], n);
                same(f->terms.full_im[k], again->terms.full_im[k], n);
        }
        same(f->sw.f_re, again->sw.f_re, n);
        same(f->sw.r_im, again->sw.r_im, n);
        same_causes(f->causes, again->causes, n);
        text_done(&t);
}

static void many_written_and_read(const struct multiport_json *f, struct arena *arena)
{
        struct tp_error err = {0};
        struct multiport_json *again = NULL;
        struct text t;
        size_t n = f->axis.n;
        text_init(&t, 0);
        if (multiport_json_write(&f->terms, f->has_sw ? &f->sw : NULL, f->notes, f->note_n, f->causes, &t, &err) ||
            multiport_json_read(text_of(&t), t.n, arena, &again, &err)) {
                fprintf(stderr, "fuzz: %s\n", err.text);
                fuzz_broken("terms of several ports that were read cannot be written and read again");
        }
        if (again->axis.n != n || again->terms.ports != f->terms.ports || again->has_sw != f->has_sw || again->note_n != f->note_n)
                fuzz_broken("written and read again, something is missing");
        if (!f->causes != !again->causes || (f->causes && f->causes->n != again->causes->n))
                fuzz_broken("written and read again, a cause is missing");
        for (size_t m = 0; f->causes && m < f->causes->n; m++)
                for (unsigned p = 0; p < f->terms.ports; p++)
                        for (int k = 0; k < MULTIPORT_TERM_COUNT; k++) {
                                const double *a = f->causes->of[m].re[p][k], *b = again->causes->of[m].re[p][k];
                                if (!a != !b)
                                        fuzz_broken("written and read again, a column of a cause is missing");
                                if (a)
                                        same(a, b, n);
                        }
        same(f->terms.z_re, again->terms.z_re, n);
        for (unsigned p = 0; p < f->terms.ports; p++) {
                for (size_t i = 0; i < n; i++)
                        if (!isfinite(f->terms.port[p].ed_re[i]) || !isfinite(f->terms.port[p].k_im[i]))
                                fuzz_broken("an accepted term is not finite");
                same(f->terms.port[p].ed_re, again->terms.port[p].ed_re, n);
                same(f->terms.port[p].es_im, again->terms.port[p].es_im, n);
                same(f->terms.port[p].er_re, again->terms.port[p].er_re, n);
                same(f->terms.port[p].k_re, again->terms.port[p].k_re, n);
                if (f->has_sw)
                        same(f->sw.im[p], again->sw.im[p], n);
        }
        text_done(&t);
}

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct arena *arena = arena_new(0);
        struct terms_json *f = NULL;
        struct multiport_json *many = NULL;
        if (multiport_json_is(bytes, n)) {
                enum code code = multiport_json_read(bytes, n, arena, &many, err);
                if (!code)
                        many_written_and_read(many, arena);
                arena_free(arena);
                return code;
        }
        enum code code = terms_json_read(bytes, n, arena, &f, err);
        if (!code) {
                for (size_t i = 0; i < f->axis.n; i++) {
                        if (!(f->axis.hz[i] >= 0 && (i == 0 || f->axis.hz[i] > f->axis.hz[i - 1])))
                                fuzz_broken("accepted frequencies do not rise");
                        for (int k = 0; k < TERM_COUNT && f->terms.model != TERMS_ONE_PORT; k++)
                                if (!isfinite(f->terms.re[k][i]) || !isfinite(f->terms.im[k][i]))
                                        fuzz_broken("an accepted term is not finite");
                        if (f->terms.model != TERMS_ONE_PORT)
                                rf_correct2_point(&f->terms, i, m2_of(0.1, 0.5, 0.5, 0.1));
                }
                written_and_read(f, arena);
        }
        arena_free(arena);
        return code;
}
