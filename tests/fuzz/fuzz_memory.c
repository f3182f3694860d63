/* fuzz_memory.c: the station's own log as a power cut or a hand may leave it.  It is never refused, for a station must start; what a line
   says of a step is said again, and boots and epochs go on from there. */
#include "tests/fuzz/fuzz.h"
#include "tests/fuzz/fuzz_files.h"
#include "tests/fuzz/fuzz_json.h"
#include "host/host.h"
#include "station/memory.h"

static const char *const fuzz_words[] = {FUZZ_JSON_WORDS,
                                         "\n",
                                         "\"begin\":\"",
                                         "\"done\":\"",
                                         "\"ack\":\"",
                                         "\"boot\":",
                                         "\"epoch\":",
                                         "\"latched\":true",
                                         "\"event\":{\"what\":\"",
                                         "18446744073709551616",
                                         "-1",
                                         NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        static struct world *real;
        struct fuzz_files files;
        struct memory *m = NULL;
        struct memory_start start;
        size_t none = 0;
        if (!real)
                real = host_world_new(NULL);
        fuzz_files_of(&files, real, "", &none);
        files.bytes = bytes;
        files.n = n;
        enum code code = memory_open(&files.world, "/station.log", "fuzz", NULL, &m, &start, err);
        if (code)
                fuzz_broken("a station does not start because of its log");
        if (!start.boot_count)
                fuzz_broken("a start that is not counted");
        for (size_t i = 0; i < start.unfinished_n; i++) {
                enum fate fate = memory_fate(m, start.unfinished[i]);
                if (fate != FATE_BEGUN && fate != FATE_DONE)
                        fuzz_broken("a step that was never finished is forgotten, or finished");
        }
        memory_close(m);
        return CODE_OK;
}
