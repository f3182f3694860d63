/* fuzz_scenario.c: what a simulated station is made of, and behind a line "---" the documents that it names. */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_files.h"
#include "tests/fuzz/fuzz_json.h"
#include <math.h>
#include "simulators/scenario.h"

static const char *const fuzz_words[] = {FUZZ_JSON_WORDS,
                                         "\"scenario\":\"s.json\"",
                                         "\"layout\":\"l.json\"",
                                         "\"recipe\":\"r.json\"",
                                         "\"faults\":[",
                                         "{\"what\":\"drift_step\",\"at_s\":1}",
                                         "{\"what\":\"open_contact\",\"device\":\"L1\"}",
                                         "\"seed\":",
                                         "\n---\n",
                                         NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        static const struct world none;
        struct fuzz_files files;
        struct scenario s;
        struct layout layout;
        struct arena *arena = arena_new(256u << 20);
        fuzz_files_of(&files, &none, bytes, &n);
        enum code code = scenario_read(&files.world, bytes, n, "/scenarios", arena, &s, err);
        for (size_t i = 0; !code && i < s.fault_n; i++)
                if (!s.faults[i].what)
                        fuzz_broken("an accepted fault is of no kind");
        if (!code)
                code = scenario_layout(&files.world, &s, arena, &layout, err);
        arena_free(arena);
        return code;
}
