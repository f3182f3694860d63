/* fuzz_stdf.c: STDF files of other programs.  What is accepted is written record by record: a little-endian file comes back byte for byte but
   for the records that nobody here knows; a big-endian one has the same records and lengths. */
#include "tests/fuzz/fuzz.h"
#include "formats/stdf.h"

static const char *const fuzz_words[] = {"\x01\x0a", "\x02\x14", "\x0f\x0a", "\x05\x14", "\xff\xff\xff\xff", "\x32\x1e", "\x05", "H", NULL};

static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err)
{
        struct stdf_reader s;
        struct text t;
        size_t from = 0;
        bool has = true;
        enum code code = stdf_open(bytes, n, &s, err);
        text_init(&t, 0);
        while (!code && has) {
                struct stdf_record r;
                size_t skipped = s.unknown_n;
                code = stdf_next(&s, &r, &has, err);
                if (code || !has)
                        break;
                text_clear(&t);
                if (stdf_write(&r, &t, NULL) || !text_ok(&t))
                        fuzz_broken("a record that was read cannot be written");
                if (t.n > s.at - from || (t.n != s.at - from && s.unknown_n == skipped))
                        fuzz_broken("a record that was read is written with another length");
                if (!s.is_big_endian && memcmp(t.at, bytes + s.at - t.n, t.n) != 0)
                        fuzz_broken("read and written again, a record differs");
                from = s.at;
        }
        if (!code && s.at != n)
                fuzz_broken("accepted, but not to its end");
        text_done(&t);
        return code;
}
