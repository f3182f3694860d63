/* fuzz_entry.c: the bodies of journal entries, as a run file from elsewhere may hold them.  The first byte says the phase.  What is
   accepted is written and read again: the same, bit for bit. */
#include "tests/fuzz/fuzz.h"
#include "run/entry.h"

static const char *const fuzz_words[] = {"{",        "}",           "[",         "]",     ":",          ",",
                                         "\"",       "null",        "true",      "false", "\"state\":", "\"contact\":",
                                         "\"good\"", "\"target\":", "\"note\":", "-1",    NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct entry e, again;
        memset(&e, 0, sizeof e);
        e.phase = n ? (int32_t)((unsigned char)bytes[0] % 3) : 0;
        e.phase = e.phase == 0 ? PHASE_INTEND : e.phase == 1 ? PHASE_OUTCOME : PHASE_NOTE;
        again = e;
        enum code code = n ? entry_body_read(&e, bytes + 1, n - 1, err) : entry_body_read(&e, bytes, 0, err);
        if (!code) {
                struct tp_error other = {0};
                struct text t;
                text_init(&t, 0);
                entry_body_write(&e, &t);
                if (entry_body_read(&again, text_of(&t), t.n, &other) || memcmp(&e, &again, sizeof e) != 0)
                        fuzz_broken("an entry that was read, written and read again differs");
                text_done(&t);
        }
        return code;
}
