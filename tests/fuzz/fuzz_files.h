/* fuzz_files.h: a world whose every file holds the same bytes, the input's second part; what is written goes nowhere. */
#ifndef TIPPLANE_TESTS_FUZZ_FILES_H
#define TIPPLANE_TESTS_FUZZ_FILES_H
#include "base/world.h"

struct fuzz_files {
        struct world world; /* a copy of the real one, but for its files */
        struct file_ops ops;
        const char *bytes;
        size_t n;
};
static enum code fuzz_file_read(const struct world *w, const char *path, size_t max, struct text *ret, struct tp_error *err)
{
        const struct fuzz_files *f = (const struct fuzz_files *)(const void *)w;
        if (!f->bytes)
                return tp_fail(err, CODE_NOT_FOUND, "%s does not exist", path);
        if (f->n > max)
                return tp_fail(err, CODE_BAD_INPUT, "%s is longer than %zu bytes", path, max);
        text_bytes(ret, f->bytes, f->n);
        return CODE_OK;
}
static enum code fuzz_file_append(const struct world *w, const char *path, const void *bytes, size_t n, struct tp_error *err)
{
        (void)w, (void)path, (void)bytes, (void)n, (void)err;
        return CODE_OK;
}
/* The bytes behind a first line "---" are the files'; without such a line there is none.  *n becomes the length before it. */
static void fuzz_files_of(struct fuzz_files *f, const struct world *real, const char *bytes, size_t *n)
{
        static const char mark[] = "\n---\n";
        const char *at = *n ? memmem(bytes, *n, mark, sizeof mark - 1) : NULL;
        *f = (struct fuzz_files){.world = *real, .ops = {.read = fuzz_file_read, .append = fuzz_file_append}};
        f->world.file = &f->ops;
        if (at) {
                f->bytes = at + sizeof mark - 1;
                f->n = *n - (size_t)(f->bytes - bytes);
                *n = (size_t)(at - bytes);
        }
}
#endif
