/* offline.c: files in, files out (offline.h). */
#include "cli/offline.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
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

enum code offline_net2(struct cli *c, const char *path, enum plane want, struct net2 *ret, struct tp_error *err)
{
        struct touchstone file;
        enum code code = offline_touchstone(c, path, &file, err);
        if (code)
                return code;
        enum plane said = touchstone_plane(&file);
        if (said && (said == PLANE_RECEIVER) != (want == PLANE_RECEIVER))
                return tp_fail(err, CODE_BAD_INPUT, "%s: the file says its reference plane is %s; %s are needed here", path,
                               plane_words[said], want == PLANE_RECEIVER ? "raw ratios (receiver)" : "corrected data");
        code = touchstone_net2(&file, said ? said : want, c->arena, ret, err);
        return code ? tp_where(err, "%s", path) : CODE_OK;
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

/* A one-port of S; its columns. */
static enum code one_port(struct cli *c, const char *path, struct touchstone *ret, struct tp_error *err)
{
        enum code code = offline_touchstone(c, path, ret, err);
        if (!code && (ret->ports != 1 || ret->parameter != 'S'))
                code = tp_fail(err, CODE_BAD_INPUT, "%s: the file holds %c of %u ports; S of 1 port (.s1p) is needed here", path,
                               ret->parameter, ret->ports);
        return code;
}

static enum code axes_check(const char *a, const struct axis *x, const char *b, const struct axis *y, struct tp_error *err)
{
        return axis_equal(x, y)
                       ? CODE_OK
                       : tp_fail(err, CODE_BAD_INPUT,
                                 "%s has %zu frequencies from %.9g to %.9g Hz, %s has %zu from %.9g to %.9g Hz; both must have the same "
                                 "list",
                                 b, y->n, y->hz[0], y->hz[y->n - 1], a, x->n, x->hz[0], x->hz[x->n - 1]);
}

enum code offline_reflections(struct cli *c, const char *port_1, const char *port_2, struct net2 *ret, struct tp_error *err)
{
        const char *paths[2] = {port_1, port_2};
        struct touchstone *files = arena_take(c->arena, 2 * sizeof *files);
        enum code code = files ? CODE_OK : tp_fail_memory(err);
        for (int k = 0; k < 2 && !code; k++)
                if (paths[k])
                        code = one_port(c, paths[k], &files[k], err);
        if (!code && port_1 && port_2)
                code = axes_check(port_1, &files[0].axis, port_2, &files[1].axis, err);
        if (!code && !offline_net2_new(c, &files[port_1 ? 0 : 1].axis, ret))
                code = tp_fail_memory(err);
        if (code)
                return code;
        ret->plane = PLANE_RECEIVER;
        for (int k = 0; k < 2; k++)
                if (paths[k]) {
                        memcpy(ret->re[3 * k], files[k].re[0], ret->axis->n * sizeof(double));
                        memcpy(ret->im[3 * k], files[k].im[0], ret->axis->n * sizeof(double));
                }
        return CODE_OK;
}

enum code offline_switch_terms(struct cli *c, const char *file, const char *reverse, struct switch_terms *ret, struct tp_error *err)
{
        struct net2 both;
        int f = 2, r = 1;
        enum code code;
        if (reverse) {
                code = offline_reflections(c, file, reverse, &both, err);
                f = 0;
                r = 3;
        } else {
                code = offline_net2(c, file, PLANE_RECEIVER, &both, err);
        }
        void *memory = code ? NULL : arena_take(c->arena, switch_terms_bytes(both.axis->n));
        if (code || !memory)
                return code ? code : tp_fail_memory(err);
        *ret = switch_terms_at(memory, both.axis);
        for (size_t i = 0; i < both.axis->n; i++) {
                ret->f_re[i] = both.re[f][i];
                ret->f_im[i] = both.im[f][i];
                ret->r_re[i] = both.re[r][i];
                ret->r_im[i] = both.im[r][i];
        }
        return CODE_OK;
}

enum code offline_terms(struct cli *c, const char *path, struct terms_json **ret, struct tp_error *err)
{
        const char *bytes;
        size_t n;
        enum code code = offline_bytes(c, path, &bytes, &n, err);
        if (!code && (code = terms_json_read(bytes, n, c->arena, ret, err)))
                tp_where(err, "%s", path);
        return code;
}

void offline_net2_json(struct json_out *o, const struct net2 *net)
{
        static const char *const names[4] = {"s11", "s12", "s21", "s22"};
        json_open(o, "freq_hz", '[');
        for (size_t i = 0; i < net->axis->n; i++)
                json_real(o, NULL, net->axis->hz[i]);
        json_close(o, ']');
        for (int k = 0; k < 4; k++) {
                json_open(o, names[k], '[');
                for (size_t i = 0; i < net->axis->n; i++) {
                        json_open(o, NULL, '[');
                        json_real(o, NULL, net->re[k][i]);
                        json_real(o, NULL, net->im[k][i]);
                        json_close(o, ']');
                }
                json_close(o, ']');
        }
}

bool offline_net2_new(struct cli *c, const struct axis *axis, struct net2 *ret)
{
        void *memory = arena_take(c->arena, net2_bytes(axis->n));
        if (memory)
                *ret = net2_at(memory, axis, PLANE_UNKNOWN);
        return memory != NULL;
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

static enum code version_2_text(const struct net2 *net, const char *comment, struct text *to, struct tp_error *err)
{
        struct net2 own = *net; /* its columns in Touchstone's own struct */
        double z = net2_z_real(net);
        struct touchstone file = {.version = 21, .ports = 2, .parameter = 'S', .axis = *net->axis, .re = own.re, .im = own.im};
        char comments[2000];
        if (!(z > 0))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the result is in the line's own impedance, which version 2 has no word for; name the file .s2p");
        file.r_ohm[0] = file.r_ohm[1] = z;
        snprintf(comments, sizeof comments, "%.1900s\nreference plane: %s", comment, plane_words[net->plane]);
        return touchstone_write(&file, &(struct touchstone_write){.comments = comments}, to, err);
}

enum code offline_net2_text(const struct net2 *net, int port, const char *comment, const char *path, struct text *to, struct tp_error *err)
{
        unsigned ports = 2;
        int k = port == 2 ? 3 : 0;
        struct touchstone_write how = {.comments = comment, .line_reference = true};
        bool touchstone = path && touchstone_name(path, &ports);
        if (touchstone && ports == 0)
                return version_2_text(net, comment, to, err);
        if (touchstone && ports != (port ? 1 : 2))
                return tp_fail(err, CODE_BAD_INPUT, "%s: the result has %d port%s; end its name in .s%dp", path, port ? 1 : 2,
                               port ? "" : "s", port ? 1 : 2);
        return port ? touchstone_write1(net->axis, net->re[k], net->im[k], net->z_re[0], &how, to, err)
                    : touchstone_write2(net, &how, to, err);
}

enum code offline_net2_out(struct cli *c, const struct net2 *net, const char *comment, struct tp_error *err)
{
        struct text text;
        text_init(&text, FILE_BYTES_MAX);
        enum code code = offline_net2_text(net, 0, comment, cli_option(c, "out"), &text, err);
        if (!code)
                code = offline_out(c, &text, err);
        text_done(&text);
        return code;
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
