/* cmd_correct_multiport.c: raw files of an analyzer of three or four ports to corrected files. */
#include "cli/correct.h"
#include <stdio.h>
#include <string.h>

/* The columns of terms and switch terms at the frequencies that are corrected. */
static enum code terms_on(struct cli *c, const struct multiport_json *t, const struct offline_picked *picked, struct multiport_terms *ret,
                          struct port_switch *ret_sw, struct tp_error *err)
{
        unsigned ports = t->terms.ports;
        size_t n = picked->axis.n;
        void *memory = arena_take(c->arena, multiport_terms_bytes(n, ports));
        double *switches = arena_take(c->arena, 2 * ports * n * sizeof *switches);
        if (!memory || !switches)
                return tp_fail_memory(err);
        *ret = multiport_terms_at(memory, &picked->axis, ports);
        ret->plane = t->terms.plane;
        ret->switch_removed = t->terms.switch_removed;
        for (unsigned p = 0; p < ports; p++) {
                ret_sw->re[p] = switches + 2 * p * n;
                ret_sw->im[p] = switches + (2 * p + 1) * n;
        }
        for (size_t i = 0; i < n; i++) {
                size_t at = picked->terms_at[i];
                ret->z_re[i] = t->terms.z_re[at];
                ret->z_im[i] = t->terms.z_im[at];
                for (unsigned p = 0; p < ports; p++) {
                        ret->port[p].ed_re[i] = t->terms.port[p].ed_re[at];
                        ret->port[p].ed_im[i] = t->terms.port[p].ed_im[at];
                        ret->port[p].es_re[i] = t->terms.port[p].es_re[at];
                        ret->port[p].es_im[i] = t->terms.port[p].es_im[at];
                        ret->port[p].er_re[i] = t->terms.port[p].er_re[at];
                        ret->port[p].er_im[i] = t->terms.port[p].er_im[at];
                        ret->port[p].k_re[i] = t->terms.port[p].k_re[at];
                        ret->port[p].k_im[i] = t->terms.port[p].k_im[at];
                        if (t->has_sw) {
                                ret_sw->re[p][i] = t->sw.re[p][at];
                                ret_sw->im[p][i] = t->sw.im[p][at];
                        }
                }
        }
        return CODE_OK;
}

static enum code netn_new(struct cli *c, const struct axis *axis, unsigned ports, enum plane plane, struct netn *ret, struct tp_error *err)
{
        void *memory = arena_take(c->arena, netn_bytes(axis->n, ports));
        if (!memory)
                return tp_fail_memory(err);
        *ret = netn_at(memory, axis, ports, plane);
        return CODE_OK;
}

static enum code correct_one(struct cli *c, const struct multiport_json *t, const char *path, struct netn *ret, struct tp_error *err)
{
        struct netn file, raw;
        struct offline_picked *picked = arena_take(c->arena, sizeof *picked); /* the network points into it */
        struct multiport_terms terms;
        struct port_switch sw;
        enum code code = picked ? offline_netn(c, path, PLANE_RECEIVER, &file, err) : tp_fail_memory(err);
        if (code)
                return code;
        if (file.ports != t->terms.ports)
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: it has %u ports, the terms %u; all of an analyzer's ports are read together (.s%up)", path, file.ports,
                               t->terms.ports, t->terms.ports);
        if ((code = offline_calibrated(c, path, file.axis, &t->axis, picked, err)))
                return code;
        code = netn_new(c, &picked->axis, file.ports, PLANE_RECEIVER, &raw, err);
        if (!code)
                code = netn_new(c, &picked->axis, file.ports, PLANE_UNKNOWN, ret, err);
        if (!code)
                code = terms_on(c, t, picked, &terms, &sw, err);
        for (size_t i = 0; i < picked->axis.n && !code; i++) {
                double complex s[RF_ENTRIES_MAX];
                netn_get(&file, picked->raw_at[i], s);
                netn_put(&raw, i, s);
        }
        if (!code && (code = rf_multiport_correct(&terms, &raw, t->has_sw ? &sw : NULL, ret, err)))
                tp_where(err, "%s", path);
        return code;
}

static void put_json(struct cli *c, const struct correct_file *files, const struct netn *nets, const struct multiport_json *t)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_int(&o, "ports", t->terms.ports);
        json_text(&o, "plane", plane_words[t->terms.plane]);
        cli_notes_json(c, &o);
        json_open(&o, "files", '[');
        for (size_t k = 0; k < c->arg_n; k++) {
                json_open(&o, NULL, '{');
                json_text(&o, "raw", files[k].from);
                json_text(&o, "out", files[k].to);
                offline_netn_json(&o, &nets[k]);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

enum code correct_multiport(struct cli *c, const struct correct_file *files, const char *path, const struct multiport_json *t,
                            struct tp_error *err)
{
        struct netn *nets = arena_take(c->arena, c->arg_n * sizeof *nets);
        enum code code = nets ? CODE_OK : tp_fail_memory(err);
        if (!code && (cli_has(c, "switch-terms") || cli_has(c, "port")))
                code = tp_fail(err, CODE_BAD_INPUT, "--%s is for two-port terms; %s has %u ports and holds its switch terms",
                               cli_has(c, "port") ? "port" : "switch-terms", path, t->terms.ports);
        if (!code)
                code = offline_used(c, "one-touch", false, "the uncertainty of corrected one- and two-ports", err);
        if (!code)
                code = correct_uncertainty_used(c, false, err);
        for (size_t k = 0; k < c->arg_n && !code; k++) /* all before the first is written */
                if (!(code = correct_one(c, t, files[k].from, &nets[k], err)))
                        code = offline_look_ports(c, files[k].from, &nets[k], err);
        for (size_t k = 0; k < c->arg_n && !code; k++) {
                struct text text;
                char comment[1200];
                if (cli_json(c) && !files[k].to)
                        continue;
                snprintf(comment, sizeof comment, "corrected with %.500s from %.500s", path, files[k].from);
                text_init(&text, FILE_BYTES_MAX);
                code = offline_netn_text(&nets[k], comment, files[k].to, &text, err);
                code = code ? tp_where(err, "%s", files[k].from) : correct_write(c, &files[k], &text, err);
                text_done(&text);
        }
        if (!code && cli_json(c))
                put_json(c, files, nets, t);
        return code;
}
