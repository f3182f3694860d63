/* offline_uncertainty.c: what is not known exactly of a corrected network, in a document beside its file (offline.h).
 * Idea        The document names its file by SHA-256: a file that was made anew, or edited, has none, and is not believed to be as sure as
 *             it was before. */
#include "base/hash.h"
#include "cli/offline.h"
#include "formats/uncertainty_json.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static void digest_of(const void *bytes, size_t n, char ret[65])
{
        uint8_t sha256[32];
        sha256_of(bytes, n, sha256);
        hex_of(sha256, sizeof sha256, ret);
}

enum code offline_digest(struct cli *c, const char *path, char ret[65], struct tp_error *err)
{
        const char *bytes;
        size_t n;
        enum code code = offline_bytes(c, path, &bytes, &n, err);
        if (!code)
                digest_of(bytes, n, ret);
        return code;
}

const char *offline_uncertainty_path(struct cli *c, const char *path)
{
        const char *slash = strrchr(path, '/'), *dot = strrchr(slash ? slash : path, '.');
        size_t n = dot ? (size_t)(dot - path) : strlen(path);
        char *to = arena_take(c->arena, n + sizeof ".u.json");
        if (to) {
                memcpy(to, path, n);
                memcpy(to + n, ".u.json", sizeof ".u.json");
        }
        return to;
}

enum code offline_columns_check(size_t columns, size_t points, const char *option, struct tp_error *err)
{
        double bytes = 2.0 * 23 * (double)columns * (double)points; /* 17 digits, point, exponent, comma */
        return bytes <= (double)FILE_BYTES_MAX ? CODE_OK
                                               : tp_fail(err, CODE_BAD_INPUT,
                                                         "what is not known exactly are %zu columns of %zu frequencies, about %.0f MB of "
                                                         "JSON, and a document has at "
                                                         "most %zu; take fewer frequencies, or leave it out with --%s",
                                                         columns, points, bytes / 1e6, FILE_BYTES_MAX >> 20, option);
}

/* The one real reference of all ports and frequencies; NaN: there is none. */
static double one_z(const struct netn *net)
{
        double z = net->z_re[0][0];
        for (unsigned p = 0; p < net->ports; p++)
                for (size_t i = 0; i < net->axis->n; i++)
                        if (!(net->z_re[p][i] == z) || net->z_im[p][i] != 0)
                                return NAN;
        return z;
}

enum code offline_uncertainty_text_ports(const struct netn *net, const struct netn_causes *causes, const char *path,
                                         const struct text *text, struct text *to, struct tp_error *err)
{
        const char *slash = strrchr(path, '/');
        struct uncertainty_json u = {
                .of = slash ? slash + 1 : path, .plane = net->plane, .z_ref_ohm = one_z(net), .axis = *net->axis, .causes = *causes};
        size_t columns = 0;
        for (size_t k = 0; k < causes->n; k++)
                for (int e = 0; e < RF_ENTRIES_MAX; e++)
                        columns += causes->of[k].re[e] != NULL;
        enum code code = offline_columns_check(columns, net->axis->n, "no-uncertainty", err);
        digest_of(text_of(text), text->n, u.of_sha256);
        return code ? code : uncertainty_json_write(&u, to, err);
}

enum code offline_uncertainty_text(struct cli *c, const struct net2 *net, const struct net2_causes *causes, const char *path,
                                   const struct text *text, struct text *to, struct tp_error *err)
{
        struct netn view = netn_of_two(net);
        struct netn_causes all;
        enum code code = netn_causes_from_two(causes, c->arena, &all, err);
        return code ? code : offline_uncertainty_text_ports(&view, &all, path, text, to, err);
}

enum code offline_uncertainty_write(struct cli *c, const char *path, const struct text *document, struct tp_error *err)
{
        const char *to = offline_uncertainty_path(c, path);
        enum code code = to ? offline_write(c, to, document, err) : tp_fail_memory(err);
        return code && to && !strstr(err->text, to) ? tp_where(err, "%s", to) : code;
}

static enum code belongs(struct cli *c, const char *to, const char *path, const struct uncertainty_json *u, const char *digest,
                         const struct netn *net, struct tp_error *err)
{
        if (strcmp(u->of_sha256, digest) != 0)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s: it is of another file, or of an earlier state of %s (%.12s…, the file is %.12s…); make both anew, or say "
                        "--%s",
                        to, path, u->of_sha256, digest, cli_takes(c, "no-uncertainty") ? "no-uncertainty" : "no-causes");
        double z = one_z(net);
        if (!axis_equal(&u->axis, net->axis) || u->plane != net->plane || (isfinite(u->z_ref_ohm) && u->z_ref_ohm != z) ||
            u->causes.ports != net->ports)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "%s: its frequencies, plane (%s), reference (%.6g ohm) or ports (%u) are not those of %s (%s, %.6g ohm, %u); "
                        "make both anew",
                        to, plane_words[u->plane], u->z_ref_ohm, u->causes.ports, path, plane_words[net->plane], z, net->ports);
        return CODE_OK;
}

enum code offline_uncertainty_of_ports(struct cli *c, const char *path, const struct netn *net, struct netn_causes **ret,
                                       struct tp_error *err)
{
        const char *to = offline_uncertainty_path(c, path), *bytes;
        struct uncertainty_json *u = NULL;
        struct tp_error none = {0};
        char digest[65];
        size_t n;
        *ret = NULL;
        if (!to)
                return tp_fail_memory(err);
        if (cli_has(c, "no-uncertainty"))
                return CODE_OK;
        enum code code = offline_bytes(c, to, &bytes, &n, &none);
        if (code == CODE_NOT_FOUND)
                return CODE_OK;
        if (code) {
                *err = none;
                return code;
        }
        code = offline_digest(c, path, digest, err);
        if (!code && (code = uncertainty_json_read(bytes, n, c->arena, &u, err)))
                tp_where(err, "%s", to);
        if (!code)
                code = belongs(c, to, path, u, digest, net, err);
        if (!code)
                *ret = &u->causes;
        return code;
}

/* Is there a document of the file at all? */
static bool has_document(struct cli *c, const char *path)
{
        const char *to = offline_uncertainty_path(c, path);
        struct text bytes;
        text_init(&bytes, FILE_BYTES_MAX);
        bool has = to && !c->world->file->read(c->world, to, FILE_BYTES_MAX, &bytes, NULL);
        text_done(&bytes);
        return has;
}

/* Of a file of any ports of which the two-port is two modes. */
static enum code of_modes(struct cli *c, const char *path, enum plane plane, struct net2_causes **ret, struct tp_error *err)
{
        struct netn file;
        struct netn_causes *all = NULL;
        enum code code = offline_netn(c, path, plane, &file, err);
        if (!code)
                code = offline_uncertainty_of_ports(c, path, &file, &all, err);
        if (code || !all)
                return code;
        if (!(*ret = arena_take(c->arena, sizeof **ret)))
                return tp_fail_memory(err);
        return offline_modes_causes(c, path, &file, all, *ret, err);
}

enum code offline_uncertainty_of(struct cli *c, const char *path, const struct net2 *net, struct net2_causes **ret, struct tp_error *err)
{
        struct netn view = netn_of_two(net);
        struct netn_causes *all = NULL;
        *ret = NULL;
        if (cli_has(c, "modes"))
                return cli_has(c, "no-uncertainty") || !has_document(c, path) ? CODE_OK : of_modes(c, path, net->plane, ret, err);
        enum code code = offline_uncertainty_of_ports(c, path, &view, &all, err);
        if (code || !all)
                return code;
        if (!(*ret = arena_take(c->arena, sizeof **ret)))
                return tp_fail_memory(err);
        return netn_causes_two(all, 0, 1, c->arena, *ret, err);
}

enum code offline_uncertainty_beside(struct cli *c, const char *path, const struct net2 *net, double z_ohm, struct net2_causes **ret,
                                     struct tp_error *err)
{
        enum code code = offline_uncertainty_of(c, path, net, ret, err);
        double z = net2_z_real(net);
        if (!code && *ret && z != z_ohm && !(isnan(z) && isnan(z_ohm)))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: it is in %.6g ohm and the first file in %.6g ohm, and its uncertainty is not brought from one to the "
                               "other; correct both with one calibration, or say --no-uncertainty",
                               path, z, z_ohm);
        return code;
}

enum code offline_causes_on(struct cli *c, struct net2_causes *causes, const struct axis *axis, struct tp_error *err)
{
        const struct axis *from = causes->axis;
        if (from == axis || axis_equal(from, axis))
                return CODE_OK;
        size_t *at = arena_take(c->arena, axis->n * sizeof *at);
        double *share = arena_take(c->arena, axis->n * sizeof *share); /* of the next point */
        if (!at || !share)
                return tp_fail_memory(err);
        for (size_t i = 0, j = 0; i < axis->n; i++) {
                double hz = axis->hz[i];
                while (j + 1 < from->n && from->hz[j + 1] <= hz * (1 + 1e-9))
                        j++;
                at[i] = j;
                share[i] = j + 1 < from->n && hz > from->hz[j] * (1 + 1e-9) ? (hz - from->hz[j]) / (from->hz[j + 1] - from->hz[j]) : 0;
        }
        for (size_t k = 0; k < causes->n; k++)
                for (int e = 0; e < 4; e++) {
                        struct net2_cause *one = &causes->of[k];
                        double *re = one->re[e] ? arena_take(c->arena, axis->n * sizeof *re) : NULL,
                               *im = one->re[e] ? arena_take(c->arena, axis->n * sizeof *im) : NULL;
                        if (!one->re[e])
                                continue;
                        if (!re || !im)
                                return tp_fail_memory(err);
                        for (size_t i = 0; i < axis->n; i++) {
                                size_t j = at[i], next = share[i] > 0 ? j + 1 : j;
                                re[i] = (1 - share[i]) * one->re[e][j] + share[i] * one->re[e][next];
                                im[i] = (1 - share[i]) * one->im[e][j] + share[i] * one->im[e][next];
                        }
                        one->re[e] = re;
                        one->im[e] = im;
                }
        causes->axis = axis;
        return CODE_OK;
}
