/* fuzz_uncertainty.c: a document of a file's uncertainty, as somebody mailed it.  What is accepted comes back from our writer byte for byte
   and gives uncertainties that are numbers. */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_json.h"
#include <math.h>
#include "formats/uncertainty_json.h"

static const char *const fuzz_words[] = {FUZZ_JSON_WORDS,
                                         FUZZ_JSON_COLUMNS,
                                         "\"format\":\"tipplane uncertainty\"",
                                         "\"version\":1,",
                                         "\"causes\":[",
                                         "{\"id\":\"0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef\",",
                                         "\"name\":\"a\",",
                                         "\"kind\":\"noise\",",
                                         "\"kind\":\"drift\",",
                                         "\"ports\":1,",
                                         "\"ports\":4,",
                                         "\"s44\":",
                                         "\"kind\":\"standard\",",
                                         "\"freedom\":4,",
                                         "\"s\":{\"s11\":",
                                         "\"s21\":",
                                         "\"not_counted\":[\"b\"],",
                                         "\"z_ref_ohm\":null,",
                                         "\"plane\":\"device\",",
                                         NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct arena *arena = arena_new(0);
        struct uncertainty_json *u = NULL, *again = NULL;
        struct text t, twice;
        struct tp_error own = {0};
        text_init(&t, 0);
        text_init(&twice, 0);
        enum code code = uncertainty_json_read(bytes, n, arena, &u, err);
        if (!code) {
                if (uncertainty_json_write(u, &t, &own) || uncertainty_json_read(text_of(&t), t.n, arena, &again, &own) ||
                    uncertainty_json_write(again, &twice, &own)) {
                        fprintf(stderr, "fuzz: %s\n", own.text);
                        fuzz_broken("a document that was read cannot be written and read again");
                }
                if (t.n != twice.n || memcmp(text_of(&t), text_of(&twice), t.n) != 0)
                        fuzz_broken("written and read again, something differs");
                for (size_t i = 0; i < u->axis.n; i++)
                        for (unsigned e = 0; e < u->causes.ports * u->causes.ports; e++) {
                                struct complex_cov c = netn_causes_cov_difference(&u->causes, i, NULL, 0, e);
                                if (isnan(c.re) || isnan(c.im) || c.re < 0 || c.im < 0)
                                        fuzz_broken("an accepted document gives an uncertainty that is no number");
                        }
                if (u->causes.n && netn_cause_find(&u->causes, u->causes.of[0].id) != &u->causes.of[0])
                        fuzz_broken("a cause is not found by its id");
        }
        text_done(&t);
        text_done(&twice);
        arena_free(arena);
        return code;
}
