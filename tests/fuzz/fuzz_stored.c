/* fuzz_stored.c: the plan as a run file keeps it, from a file that somebody sent or that is damaged.  What is accepted is the plan of that
   very recipe: its digest is the stored one, and no thing is used less than never. */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_json.h"
#include "run/plan_stored.h"

static const char *const fuzz_words[] = {FUZZ_JSON_WORDS,    "\"can\":",  "\"things\":[",      "\"digest\":\"", "\"used\":",
                                         "\"kind\":\"tip\"", "\"part\":", "\"analyzer\":true", "\"axis_hz\":[", NULL};

static struct recipe *tiny(struct arena *arena)
{
        static char text[FUZZ_BYTES_MAX];
        struct recipe *recipe = NULL;
        struct tp_error err = {0};
        FILE *from = fopen("tests/nights/tiny.json", "rb");
        size_t n = from ? fread(text, 1, sizeof text, from) : 0;
        if (from)
                fclose(from);
        if (recipe_read(text, n, arena, &recipe, &err)) {
                fprintf(stderr, "fuzz: %s\n", err.text);
                exit(2);
        }
        return recipe;
}

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct arena *arena = arena_new(256u << 20);
        struct plan *plan = NULL;
        char *text = arena_take(arena, n + 1);
        memcpy(text, bytes, n);
        text[n] = 0;
        enum code code = plan_again(tiny(arena), "W1", text, arena, &plan, err);
        for (size_t i = 0; !code && i < plan->thing_n; i++)
                if (plan->things[i].used < 0)
                        fuzz_broken("a thing is used less than never");
        arena_free(arena);
        return code;
}
