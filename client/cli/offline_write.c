/* offline_write.c: networks as Touchstone and as JSON (offline.h). */
#include "cli/offline.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

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

void offline_netn_json(struct json_out *o, const struct netn *net)
{
        json_open(o, "freq_hz", '[');
        for (size_t i = 0; i < net->axis->n; i++)
                json_real(o, NULL, net->axis->hz[i]);
        json_close(o, ']');
        json_real(o, "z_ref_ohm", net->z_re[0][0]);
        for (unsigned k = 0; k < net->ports * net->ports; k++) {
                json_open(o, (const char[]){'s', (char)('1' + k / net->ports), (char)('1' + k % net->ports), 0}, '[');
                for (size_t i = 0; i < net->axis->n; i++) {
                        json_open(o, NULL, '[');
                        json_real(o, NULL, net->re[k][i]);
                        json_real(o, NULL, net->im[k][i]);
                        json_close(o, ']');
                }
                json_close(o, ']');
        }
}

enum code offline_netn_text(const struct netn *net, const char *comment, const char *path, struct text *to, struct tp_error *err)
{
        struct netn own = *net; /* its columns in Touchstone's own struct */
        unsigned ports = net->ports;
        struct touchstone file = {.version = 10, .ports = ports, .parameter = 'S', .axis = *net->axis, .re = own.re, .im = own.im};
        char comments[2200];
        double z = net->z_re[0][0];
        bool touchstone = path && touchstone_name(path, &ports), line = isnan(z);
        for (size_t i = 0; i < net->axis->n && !line; i++)
                if (!(net->z_re[0][i] == z) || !(net->z_im[0][i] == 0))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "the result has a complex or changing reference impedance (%.6g%+.6gj ohm at %.9g Hz); Touchstone has "
                                "only one real number per port",
                                net->z_re[0][i], net->z_im[0][i], net->axis->hz[i]);
        if (touchstone && ports == 0 && line)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the result is in the line's own impedance, which version 2 has no word for; name the file .s%up",
                               net->ports);
        if (touchstone && ports != 0 && ports != net->ports)
                return tp_fail(err, CODE_BAD_INPUT, "%s: the result has %u ports; end its name in .s%up", path, net->ports, net->ports);
        if (touchstone && ports == 0)
                file.version = 21;
        for (unsigned p = 0; p < net->ports; p++)
                file.r_ohm[p] = line ? 1 : z;
        snprintf(comments, sizeof comments, "%.1900s\nreference plane: %s%s", comment, plane_words[net->plane],
                 line ? "\n" TOUCHSTONE_LINE_REFERENCE ", its value in ohm is not known; R 1 stands for it" : "");
        return touchstone_write(&file, &(struct touchstone_write){.comments = comments}, to, err);
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
        if (!port)
                return touchstone_write2(net, &how, to, err);
        char comments[2000]; /* a one-port's columns do not know their plane */
        snprintf(comments, sizeof comments, "%.1900s\nreference plane: %s", comment, plane_words[net->plane]);
        how.comments = comments;
        return touchstone_write1(net->axis, net->re[k], net->im[k], net->z_re[0], &how, to, err);
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
