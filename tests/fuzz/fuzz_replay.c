/* fuzz_replay.c: the settings of the driver that plays recorded files, and behind a line "---" what every one of these files holds.  What is
   accepted is a station that can be moved and that sweeps what it says it can. */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_files.h"
#include "tests/fuzz/fuzz_json.h"
#include "host/host.h"
#include "recipe/plan.h"
#include "station/driver_table.h"

static const char *const fuzz_words[] = {FUZZ_JSON_WORDS,
                                         "\"directory\":\"d\"",
                                         "\"file\":\"a.s2p\"",
                                         "\"place\":\"wafer\"",
                                         "\"switch_terms\":\"s.s2p\"",
                                         "\"switch_terms\":{\"forward\":\"f.s1p\",\"reverse\":\"r.s1p\"}",
                                         "\n---\n",
                                         "# GHz S RI R 50\n",
                                         "1 0 0 1 0 1 0 0 0\n",
                                         "0 0 0\n",
                                         "2 0 0 1 0 1 0 0 0\n",
                                         NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        static struct world *real;
        struct fuzz_files files;
        struct roles roles = {0};
        if (!real)
                real = host_world_new(NULL);
        fuzz_files_of(&files, real, bytes, &n);
        enum code code = replay_open(&files.world, bytes, n, "/data", &roles, err);
        if (code)
                return code;
        const struct capability_set *can = roles.can;
        if (!can->points_max || can->axis_n != (size_t)can->points_max || can->axis_hz[0] != can->freq_hz_min ||
            can->axis_hz[can->axis_n - 1] != can->freq_hz_max)
                fuzz_broken("an accepted replay does not say what it can");
        struct identity id;
        struct call call = {.err = err};
        if (roles.analyzer->base.identify(roles.analyzer_me, &id, &call))
                fuzz_broken("an accepted replay does not say who it is");
        roles.close(&roles);
        return CODE_OK;
}
