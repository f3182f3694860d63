/* offline.c: files in, files out (offline.h). */
#include "cli/offline.h"
#include <string.h>

enum code offline_bytes(struct cli *c, const char *path, const char **ret, size_t *ret_n, struct tp_error *err)
{
        struct text bytes;
        text_init(&bytes, FILE_BYTES_MAX);
        enum code code = c->world->file->read(c->world, path, FILE_BYTES_MAX, &bytes, err);
        char *copy = code ? NULL : arena_take(c->arena, bytes.n + 1);
        if (!code && !copy)
                code = tp_fail_memory(err);
        if (!code && bytes.n)
                memcpy(copy, text_of(&bytes), bytes.n);
        *ret = copy;
        *ret_n = bytes.n;
        text_done(&bytes);
        return code && !strstr(err->text, path) ? tp_where(err, "%s", path) : code;
}

enum code offline_touchstone(struct cli *c, const char *path, struct touchstone *ret, struct tp_error *err)
{
        unsigned ports;
        const char *bytes;
        size_t n;
        if (!touchstone_name(path, &ports))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: a Touchstone file's name ends in .s1p to .s%dp, which says its ports, or in .ts (version 2)", path,
                               TOUCHSTONE_PORTS_MAX);
        enum code code = offline_bytes(c, path, &bytes, &n, err);
        if (!code && (code = touchstone_read(bytes, n, ports, c->arena, ret, err)))
                tp_where(err, "%s", path);
        return code;
}

enum code offline_net2(struct cli *c, const char *path, enum plane plane, struct net2 *ret, struct touchstone *ret_file,
                       struct tp_error *err)
{
        struct touchstone own;
        enum code code = offline_touchstone(c, path, &own, err);
        if (code)
                return code;
        if (ret_file)
                *ret_file = own;
        code = touchstone_net2(&own, plane, c->arena, ret, err);
        return code ? tp_where(err, "%s", path) : CODE_OK;
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
        enum code code = c->world->file->write(c->world, to, text_of(text), text->n, 0644, err);
        return code && !strstr(err->text, to) ? tp_where(err, "%s", to) : code;
}
