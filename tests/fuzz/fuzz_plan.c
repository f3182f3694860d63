/* fuzz_plan.c: plans of files, and limits of numbers.  What is accepted is written by the same table, read again and written again: the two texts must be one; and
   each of its standards either has a definition or says why not. */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_json.h"
#include <string.h>
#include "recipe/extract_limits.h"
#include "recipe/offline_solve.h"

static const char *const fuzz_words[] = {FUZZ_JSON_WORDS,
                                         "-1e-9",
                                         "\"kind\":\"known\"",
                                         "\"kind\":\"line\"",
                                         "\"kind\":\"reflect\"",
                                         "\"file_1\":\"a.s1p\"",
                                         "\"ideal\":\"i.s2p\"",
                                         "\"data_u\":0.01",
                                         "\"drift_delay_s_u\":1e-13",
                                         "\"port_2\":{\"kind\":\"short\"}",
                                         "\"data\":[{\"hz\":1e9,\"s11\":[0,0]}]",
                                         "\"switch_terms\":{\"file\":\"s.s2p\"}",
                                         "\"bands\":[]",
                                         "\"method\":\"solt\"",
                                         "\"verify\":[]",
                                         "\"ports\":3",
                                         "\"ports\":4",
                                         "\"steps\":[{\"port_1\":1,\"port_2\":2,\"plan\":\"a.json\"}]",
                                         "\"terms\":\"t.json\"",
                                         "\"port_2\":3",
                                         "\"standards\":[]",
                                         "\"model\":{}",
                                         "{\"parameters\":[{\"quantity\":\"Lser\",\"freq_hz\":1e9,\"low\":0}]}",
                                         NULL};

/* Limits of numbers of files, from the same bytes: refused in words, or each with a limit and a frequency where it needs one. */
static void limits_are_read_or_refused(const char *bytes, size_t n, struct arena *arena)
{
        struct extract_limits *limits = NULL;
        struct tp_error err = {0};
        if (extract_limits_read(bytes, n, arena, &limits, &err)) {
                if (!err.text[0])
                        fuzz_broken("limits refused without a sentence");
                return;
        }
        for (size_t k = 0; k < limits->parameter_n; k++)
                if (!limits->parameters[k].has_low && !limits->parameters[k].has_high)
                        fuzz_broken("a parameter without limits was read");
}

static void written(const struct offline_plan *plan, struct text *to)
{
        struct offline_plan_tables tables;
        struct json_out o = json_to(to);
        text_init(to, 0);
        o = json_to(to);
        fields_write(offline_plan_object(&tables), plan, &o, NULL);
}

static void each_has_a_definition_or_says_why_not(const struct offline_plan *plan, struct arena *arena)
{
        static const double hz[] = {1e9, 10e9};
        struct axis axis;
        if (axis_of(2, hz, &axis, NULL))
                fuzz_broken("two frequencies are no axis");
        for (size_t k = 0; k < plan->standard_n; k++) {
                struct tp_error err = {0};
                struct net2 net = net2_at(arena_take(arena, net2_bytes(2)), &axis, PLANE_TIP);
                if (plan->standards[k].kind != OFFLINE_KNOWN && standard_ideal(&plan->standards[k].standard, 25, arena, &net, &err) &&
                    !err.text[0])
                        fuzz_broken("a standard without a definition and without a sentence");
        }
}

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct arena *arena = arena_new(256u << 20);
        struct offline_plan *plan = NULL, *again = NULL;
        enum code code = offline_plan_read(bytes, n, arena, &plan, err);
        limits_are_read_or_refused(bytes, n, arena);
        if (!code) {
                struct tp_error other = {0};
                struct text one, two;
                written(plan, &one);
                if (offline_plan_read(text_of(&one), one.n, arena, &again, &other))
                        fuzz_broken("a plan that was read and written is refused");
                written(again, &two);
                if (one.n != two.n || memcmp(text_of(&one), text_of(&two), one.n) != 0)
                        fuzz_broken("written and read again, a plan differs");
                each_has_a_definition_or_says_why_not(plan, arena);
                text_done(&one);
                text_done(&two);
        }
        arena_free(arena);
        return code;
}
