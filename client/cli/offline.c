/* offline.c: bytes in and out, and what options say (offline.h). */
#include "cli/offline.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

bool offline_same_file(const char *a, const char *b)
{
        struct stat x, y;
        return strcmp(a, b) == 0 || (stat(a, &x) == 0 && stat(b, &y) == 0 && x.st_dev == y.st_dev && x.st_ino == y.st_ino);
}

enum code offline_bytes(struct cli *c, const char *path, const char **ret, size_t *ret_n, struct tp_error *err)
{
        struct text bytes;
        text_init(&bytes, FILE_BYTES_MAX);
        enum code code = c->world->file->read(c->world, path, FILE_BYTES_MAX, &bytes, err);
        char *copy = code ? NULL : arena_take(c->arena, bytes.n + 1);
        struct cli_read *read = arena_take(c->arena, sizeof *read);
        if (!code && (!copy || !read))
                code = tp_fail_memory(err);
        if (!code) {
                *read = (struct cli_read){path, c->read};
                c->read = read;
        }
        if (!code && bytes.n)
                memcpy(copy, text_of(&bytes), bytes.n);
        *ret = copy;
        *ret_n = bytes.n;
        text_done(&bytes);
        return code && !strstr(err->text, path) ? tp_where(err, "%s", path) : code;
}

const char *offline_beside(struct cli *c, const char *of, const char *path)
{
        const char *slash = strrchr(of, '/');
        size_t n = slash && path[0] != '/' ? (size_t)(slash - of) + 1 : 0;
        char *whole = arena_take(c->arena, n + strlen(path) + 1);
        if (whole) {
                memcpy(whole, of, n);
                memcpy(whole + n, path, strlen(path) + 1);
        }
        return whole;
}

enum code offline_words(struct cli *c, const char *option, const char **ret, size_t max, size_t *ret_n, struct tp_error *err)
{
        const char *given = cli_option(c, option);
        char *copy = given ? arena_text(c->arena, given) : NULL, *save = NULL;
        *ret_n = 0;
        if (given && !copy)
                return tp_fail_memory(err);
        for (char *w = copy ? strtok_r(copy, ",", &save) : NULL; w; w = strtok_r(NULL, ",", &save)) {
                if (*ret_n == max)
                        return tp_fail(err, CODE_BAD_INPUT, "--%s: more than %zu values, from \"%.40s\" on", option, max, w);
                ret[(*ret_n)++] = w;
        }
        return CODE_OK;
}

static enum code number_of(const char *option, const char *word, double *ret, struct tp_error *err)
{
        char *end;
        *ret = strtod(word, &end);
        if (end == word || *end || !isfinite(*ret))
                return tp_fail(err, CODE_BAD_INPUT, "--%s: \"%.40s\" is not a number", option, word);
        return CODE_OK;
}

enum code offline_numbers(struct cli *c, const char *option, double *ret, size_t max, size_t *ret_n, struct tp_error *err)
{
        const char **words = arena_take(c->arena, max * sizeof *words);
        if (!words)
                return tp_fail_memory(err);
        enum code code = offline_words(c, option, words, max, ret_n, err);
        for (size_t k = 0; k < *ret_n && !code; k++)
                code = number_of(option, words[k], &ret[k], err);
        return code;
}

enum code offline_number(struct cli *c, const char *option, double min, double max, double otherwise, double *ret, struct tp_error *err)
{
        const char *given = cli_option(c, option);
        *ret = otherwise;
        enum code code = given ? number_of(option, given, ret, err) : CODE_OK;
        if (!code && given && !(*ret >= min && *ret <= max))
                return tp_fail(err, CODE_BAD_INPUT, "--%s %.40s: it must lie between %g and %g", option, given, min, max);
        return code;
}

enum code offline_used(struct cli *c, const char *option, bool used, const char *of, struct tp_error *err)
{
        return used || !cli_has(c, option)
                       ? CODE_OK
                       : tp_fail(err, CODE_BAD_INPUT, "--%s is for %s, of which there is none here; leave it out", option, of);
}

enum code offline_write(struct cli *c, const char *to, const struct text *text, struct tp_error *err)
{
        for (const struct cli_read *r = c->read; r; r = r->before)
                if (offline_same_file(r->path, to))
                        return tp_fail(err, CODE_BAD_INPUT, "%s: the result would replace a file that it is made of; choose another path",
                                       to);
        enum code code = c->world->file->write(c->world, to, text_of(text), text->n, 0644, err);
        return code && !strstr(err->text, to) ? tp_where(err, "%s", to) : code;
}

enum code offline_out(struct cli *c, const struct text *text, struct tp_error *err)
{
        const char *to = cli_option(c, "out");
        if (!text_ok(text))
                return tp_fail_memory(err);
        if (!to || strcmp(to, "-") == 0) {
                text_bytes(&c->out, text_of(text), text->n);
                return CODE_OK;
        }
        enum code code = offline_write(c, to, text, err);
        c->is_answered = c->is_answered || !code;
        return code;
}
