/* fuzz_calibration.c: the bytes of a stored calibration, from a run file that somebody sent.  What is accepted gives back the same bytes.
 */
#include "tests/fuzz/fuzz.h"
#include "evaluate/evaluate.h"

static const char *const fuzz_words[] = {"solt", "unknown_thru", "multiline_trl", "\xff\xff\xff\xff", "\x01", NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct arena *arena = arena_new(0);
        struct calibration *c = NULL;
        enum code code = calibration_read(bytes, n, arena, &c, err);
        if (!code) {
                struct text t;
                size_t points = 0;
                const double *hz = calibration_axis(c, &points);
                for (size_t i = 1; i < points; i++)
                        if (!(hz[i] > hz[i - 1]))
                                fuzz_broken("accepted frequencies do not rise");
                text_init(&t, 0);
                calibration_bytes(c, &t);
                if (t.n != n || memcmp(text_of(&t), bytes, n) != 0)
                        fuzz_broken("a calibration that was read is written otherwise");
                text_done(&t);
        }
        arena_free(arena);
        return code;
}
