/* fuzz.h: one reader under input that nobody would write: the corpus as it stands, then mutations of it.
 * Claims      no input crashes (sanitizers look), every refusal has a code of the outside world and one printable sentence, and what is
 *             accepted keeps the promises of its reader (each program's own).
 * Corpus      files named good_* must be accepted, bad_* refused; any other name: either.
 * Repeat      input k of seed s depends on s + k alone: a failure prints the command for that one input.
 * usage       fuzz_X CORPUS_FOLDER ITERATIONS [SEED]
 * Guided      built with -DFUZZ_GUIDED (VARIANT=guided, guided.sh) the same claims are libFuzzer's target, and coverage leads the mutations. */
#ifndef TIPPLANE_TESTS_FUZZ_H
#define TIPPLANE_TESTS_FUZZ_H
#include <dirent.h>
#include <inttypes.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#include "base/error.h"
#include "base/utf8.h"

#define FUZZ_BYTES_MAX 65536
#define FUZZ_FILES_MAX 256

/* Each program defines these.  `bytes` holds exactly n bytes with nothing behind them.  The reader's own promises: fuzz_broken(). */
static enum code fuzz_one(const char *bytes, size_t n, struct tp_error *err);
static const char *const fuzz_words[]; /* what the grammar is made of; NULL ends */

static _Noreturn void fuzz_broken(const char *what)
{
        fprintf(stderr, "fuzz: %s\n", what);
        abort();
}

/* xoshiro256** (Blackman, Vigna 2018), seeded by splitmix64 */
struct fuzz_dice {
        uint64_t s[4];
};
static uint64_t fuzz_u64(struct fuzz_dice *d)
{
        uint64_t r = d->s[1] * 5, t = d->s[1] << 17;
        r = (r << 7 | r >> 57) * 9;
        d->s[2] ^= d->s[0];
        d->s[3] ^= d->s[1];
        d->s[1] ^= d->s[2];
        d->s[0] ^= d->s[3];
        d->s[2] ^= t;
        d->s[3] = d->s[3] << 45 | d->s[3] >> 19;
        return r;
}
static struct fuzz_dice fuzz_seeded(uint64_t seed)
{
        struct fuzz_dice d;
        for (int i = 0; i < 4; i++) {
                uint64_t z = seed += UINT64_C(0x9E3779B97F4A7C15);
                z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
                z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
                d.s[i] = z ^ z >> 31;
        }
        return d;
}
static size_t fuzz_n(struct fuzz_dice *d, size_t n) { return n ? (size_t)(fuzz_u64(d) % n) : 0; }

struct fuzz_file {
        char name[256];
        char *bytes;
        size_t n;
};
struct fuzz_corpus {
        struct fuzz_file files[FUZZ_FILES_MAX];
        size_t n;
};

static int fuzz_by_name(const void *a, const void *b)
{
        return strcmp(((const struct fuzz_file *)a)->name, ((const struct fuzz_file *)b)->name);
}
static void fuzz_load(struct fuzz_corpus *c, const char *folder)
{
        DIR *dir = opendir(folder);
        for (const struct dirent *e; dir && (e = readdir(dir)) && c->n < FUZZ_FILES_MAX;) {
                struct fuzz_file *f = &c->files[c->n];
                char path[1024];
                if (e->d_name[0] == '.')
                        continue;
                snprintf(path, sizeof path, "%s/%s", folder, e->d_name);
                snprintf(f->name, sizeof f->name, "%s", e->d_name);
                FILE *from = fopen(path, "rb");
                f->bytes = malloc(FUZZ_BYTES_MAX);
                if (!from || !f->bytes)
                        continue;
                f->n = fread(f->bytes, 1, FUZZ_BYTES_MAX, from);
                fclose(from);
                c->n++;
        }
        if (dir)
                closedir(dir);
        qsort(c->files, c->n, sizeof c->files[0], fuzz_by_name);
        if (!c->n) {
                fprintf(stderr, "fuzz: no corpus in %s\n", folder);
                exit(2);
        }
}

/* ---- mutations ---- */
struct fuzz_text {
        char bytes[FUZZ_BYTES_MAX];
        size_t n;
};
static void fuzz_replace(struct fuzz_text *t, size_t at, size_t gone, const char *with, size_t n)
{
        if (t->n - gone + n > FUZZ_BYTES_MAX)
                return;
        memmove(t->bytes + at + n, t->bytes + at + gone, t->n - at - gone);
        memmove(t->bytes + at, with, n);
        t->n += n - gone;
}
static bool fuzz_is_number(char c) { return (c >= '0' && c <= '9') || c == '-' || c == '+' || c == '.' || c == 'e' || c == 'E'; }
static void fuzz_number(struct fuzz_text *t, struct fuzz_dice *d) /* a number of the text becomes one that hurts */
{
        static const char *const numbers[] = {"0",          "-0",         "-1",          "1e400",
                                              "1e-400",     "NaN",        "inf",         "-inf",
                                              "01",         "1.",         ".5",          "9007199254740993",
                                              "4294967296", "2147483648", "-2147483649", "18446744073709551616",
                                              "1e308",      "-1e308",     "1e-300",      "0x10",
                                              "1e",         "1 2",        "65536",       "1000000000",
                                              "255",        "3"};
        size_t from = fuzz_n(d, t->n);
        while (from < t->n && !(t->bytes[from] >= '0' && t->bytes[from] <= '9'))
                from++;
        size_t to = from;
        while (to < t->n && fuzz_is_number(t->bytes[to]))
                to++;
        const char *with = numbers[fuzz_n(d, sizeof numbers / sizeof numbers[0])];
        if (to > from)
                fuzz_replace(t, from, to - from, with, strlen(with));
}
static void fuzz_mutate(struct fuzz_text *t, const struct fuzz_corpus *c, struct fuzz_dice *d)
{
        size_t words = 0, at = fuzz_n(d, t->n + 1), some = fuzz_n(d, t->n - at + 1);
        char byte = (char)fuzz_u64(d);
        while (fuzz_words[words])
                words++;
        const char *word = words ? fuzz_words[fuzz_n(d, words)] : "";
        const struct fuzz_file *other = &c->files[fuzz_n(d, c->n)];
        size_t from = fuzz_n(d, other->n + 1), piece = fuzz_n(d, 64);
        switch (fuzz_n(d, 12)) {
        case 0: /* a bit */
                if (at < t->n)
                        t->bytes[at] = (char)(t->bytes[at] ^ (1 << fuzz_n(d, 8)));
                break;
        case 1: /* a byte */
                if (at < t->n)
                        t->bytes[at] = byte;
                break;
        case 2:
                fuzz_replace(t, at, 0, &byte, 1);
                break;
        case 3: /* some are gone */
                fuzz_replace(t, at, some < 40 ? some : some % 40, "", 0);
                break;
        case 4: /* cut short */
                if (fuzz_n(d, 4) == 0)
                        t->n = at;
                break;
        case 5: /* said twice */
                some = some < 200 ? some : some % 200;
                if (at + some <= t->n && t->n + some <= FUZZ_BYTES_MAX) {
                        memmove(t->bytes + at + some, t->bytes + at, t->n - at);
                        t->n += some;
                }
                break;
        case 6: /* a piece of another */
                if (from + piece <= other->n)
                        fuzz_replace(t, at, 0, other->bytes + from, piece);
                break;
        case 7: /* a word */
        case 8:
                fuzz_replace(t, at, 0, word, strlen(word));
                break;
        default:
                fuzz_number(t, d);
                break;
        }
}

/* ---- the run ---- */
static bool fuzz_printable(const char *text)
{
        size_t n = strlen(text);
        for (size_t i = 0, k; i < n; i += k) {
                uint32_t point = 0;
                k = utf8_step(text + i, n - i, &point);
                if (!k || point < 0x20 || (point >= 0x7f && point < 0xa0))
                        return false;
        }
        return true;
}
static enum code fuzz_ask(const char *bytes, size_t n)
{
        struct tp_error err = {0};
        char *exact = malloc(n ? n : 1);
        if (!exact)
                exit(2);
        memcpy(exact, bytes, n);
        char *cut = n ? exact : exact + 1; /* nothing may be read at all */
        enum code code = fuzz_one(cut, n, &err);
        free(exact);
        if (code && (code != err.code || code == CODE_BUG))
                fuzz_broken("a refusal whose code is not the error's, or says that we have a bug");
        if (code && strlen(err.text) < 12)
                fuzz_broken("a refusal without a sentence");
        if (code && !fuzz_printable(err.text)) {
                fprintf(stderr, "fuzz: %s\n", err.text);
                fuzz_broken("a sentence with bytes in it that no terminal should see");
        }
        return code;
}

#ifdef FUZZ_GUIDED
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n);
size_t LLVMFuzzerCustomMutator(uint8_t *bytes, size_t n, size_t max, unsigned seed);
size_t LLVMFuzzerMutate(uint8_t *bytes, size_t n, size_t max); /* libFuzzer's own */

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
        if (n <= FUZZ_BYTES_MAX)
                fuzz_ask((const char *)bytes, n);
        return 0;
}
/* One in four is ours: it knows the words of the grammar and numbers that hurt. */
size_t LLVMFuzzerCustomMutator(uint8_t *bytes, size_t n, size_t max, unsigned seed)
{
        static struct fuzz_text text;
        static struct fuzz_corpus self = {.n = 1};
        struct fuzz_dice d = fuzz_seeded(seed);
        if (n > FUZZ_BYTES_MAX || fuzz_n(&d, 4))
                return LLVMFuzzerMutate(bytes, n, max);
        memcpy(text.bytes, bytes, n);
        text.n = n;
        self.files[0].bytes = (char *)bytes;
        self.files[0].n = n;
        fuzz_mutate(&text, &self, &d);
        n = text.n < max ? text.n : max;
        memcpy(bytes, text.bytes, n);
        return n;
}
#else
/* What the handler of a crash prints: set before each input. */
static char fuzz_repeat[1200];
static void fuzz_died(int sig)
{
        ssize_t gone = write(2, fuzz_repeat, strlen(fuzz_repeat));
        (void)gone;
        signal(sig, SIG_DFL);
        raise(sig);
}

int main(int argc, char **argv)
{
        static struct fuzz_corpus corpus;
        static struct fuzz_text text;
        uint64_t seed = argc > 3 ? strtoull(argv[3], NULL, 10) : 1, refused = 0;
        size_t failed = 0, passed = 0;
        if (argc < 3) {
                fprintf(stderr, "usage: %s CORPUS_FOLDER ITERATIONS [SEED]\n", argv[0]);
                return 2;
        }
        const int deadly[] = {SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGABRT};
        for (size_t i = 0; i < sizeof deadly / sizeof deadly[0]; i++)
                signal(deadly[i], fuzz_died);
        fuzz_load(&corpus, argv[1]);
        for (size_t i = 0; i < corpus.n; i++) {
                const struct fuzz_file *f = &corpus.files[i];
                snprintf(fuzz_repeat, sizeof fuzz_repeat, "fuzz: died of %s/%s\n", argv[1], f->name);
                enum code code = fuzz_ask(f->bytes, f->n);
                bool ok = strncmp(f->name, "good_", 5) == 0 ? !code : strncmp(f->name, "bad_", 4) == 0 ? code : true;
                passed += ok;
                failed += !ok;
                if (!ok)
                        printf("%s/%s was %s\n", argv[1], f->name, code ? "refused" : "accepted");
        }
        uint64_t n = strtoull(argv[2], NULL, 10);
        for (uint64_t k = 0; k < n; k++) {
                struct fuzz_dice d = fuzz_seeded(seed + k);
                const struct fuzz_file *f = &corpus.files[fuzz_n(&d, corpus.n)];
                snprintf(fuzz_repeat, sizeof fuzz_repeat, "fuzz: repeat: %s %s 1 %" PRIu64 "\n", argv[0], argv[1], seed + k);
                memcpy(text.bytes, f->bytes, f->n);
                text.n = f->n;
                for (size_t m = 1 + fuzz_n(&d, 4); m > 0; m--)
                        fuzz_mutate(&text, &corpus, &d);
                refused += fuzz_ask(text.bytes, text.n) != CODE_OK;
        }
        printf("%s: %zu files, %" PRIu64 " mutations, %" PRIu64 " refused, %" PRIu64 " accepted\n", argv[1], corpus.n, n, refused,
               n - refused);
        printf("%zu passed, %zu failed\n", passed + (n > 0), failed);
        for (size_t i = 0; i < corpus.n; i++)
                free(corpus.files[i].bytes);
        return failed ? 1 : 0;
}

#endif
#endif
