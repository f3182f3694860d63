/* cmd_correct.c: raw files and error terms to corrected files. */
#include "cli/correct.h"
#include "recipe/offline_solve.h"
#include "rf/correct/pick.h"
#include <stdio.h>
#include <string.h>

static const char *name_of(const char *path)
{
        const char *slash = strrchr(path, '/');
        return slash ? slash + 1 : path;
}

/* The terms, and the switch terms where they are needed, at the frequencies that are corrected. */
static enum code terms_on(struct cli *c, const struct terms_json *t, const struct switch_terms *sw, const struct offline_picked *picked,
                          struct terms *ret, struct switch_terms *ret_sw, struct tp_error *err)
{
        const struct axis *axis = &picked->axis;
        size_t *at = arena_take(c->arena, axis->n * sizeof *at);
        void *memory = arena_take(c->arena, terms_bytes(axis->n)), *switch_memory = arena_take(c->arena, switch_terms_bytes(axis->n));
        if (!at || !memory || !switch_memory)
                return tp_fail_memory(err);
        enum code code;
        *ret = terms_at(memory, axis);
        *ret_sw = switch_terms_at(switch_memory, axis);
        rf_pick_terms(&t->terms, picked->terms_at, ret);
        if (!sw)
                return CODE_OK;
        if ((code = rf_pick(sw->axis, axis, at, err)))
                return tp_where(err, "switch terms");
        rf_pick_switch_terms(sw, at, ret_sw);
        return CODE_OK;
}

/* What terms of reflections alone can do with a file. */
static enum code one_port_check(struct cli *c, const struct terms *t, const char *from, unsigned file_ports, unsigned port,
                                struct tp_error *err)
{
        unsigned has = terms_ports(t);
        if (t->model != TERMS_ONE_PORT)
                return file_ports != 1 ? CODE_OK
                                       : tp_fail(err, CODE_BAD_INPUT,
                                                 "%s: a one-port file and two-port terms (%s); the correction of S11 needs all four raw "
                                                 "ratios",
                                                 from, t->method);
        if (file_ports == 1 && !(has & port))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: read at port %u, and these terms are of port %u alone; give --port %u if it is that port's", from, port,
                               has, has);
        if (file_ports != 1 && has != 3)
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: two ports, and these terms are of port %u alone; give its reflection there as a .s1p with --port %u",
                               from, has, has);
        if (file_ports != 1)
                cli_note(c,
                         "%s: one-port terms (%s) correct S11 and S22, each as the reflection of a one-port; S21 and S12 are written as 0",
                         from, t->method);
        return CODE_OK;
}

static enum code correct_one(struct cli *c, const struct terms_json *t, const struct switch_terms *sw, const char *from, struct net2 *ret,
                             struct tp_error *err)
{
        struct net2 file, raw;
        struct offline_picked *picked = arena_take(c->arena, sizeof *picked); /* the network points into it */
        struct terms terms;
        struct switch_terms own;
        unsigned ports = touchstone_ports_of_name(from);
        double port;
        enum code code = picked ? offline_number(c, "port", 1, 2, 1, &port, err) : tp_fail_memory(err);
        if (code)
                return code;
        code = ports == 1 ? offline_reflections(c, port < 1.5 ? from : NULL, port < 1.5 ? NULL : from, &file, err)
                          : offline_net2(c, from, PLANE_RECEIVER, &file, err);
        if (code)
                return code;
        if ((code = one_port_check(c, &t->terms, from, ports, port < 1.5 ? 1 : 2, err)))
                return code;
        if (t->terms.switch_removed && !sw)
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: these terms want the switch terms removed and the terms' file has none; give --switch-terms FILE",
                               from);
        if ((code = offline_calibrated(c, from, file.axis, &t->axis, picked, err)))
                return code;
        if (!offline_net2_new(c, &picked->axis, &raw) || !offline_net2_new(c, &picked->axis, ret))
                return tp_fail_memory(err);
        rf_pick_net2(&file, picked->raw_at, &raw);
        code = terms_on(c, t, sw, picked, &terms, &own, err);
        if (!code)
                code = offline_correct(&terms, sw ? &own : NULL, &raw, ret, err);
        return code ? tp_where(err, "%s", from) : CODE_OK;
}

enum code correct_write(struct cli *c, const struct correct_file *file, const struct text *text, struct tp_error *err)
{
        if (file->to)
                return offline_write(c, file->to, text, err);
        text_bytes(&c->out, text_of(text), text->n);
        return CODE_OK;
}

static enum code write_one(struct cli *c, const struct correct_file *file, const struct net2 *net, const char *terms, struct tp_error *err)
{
        struct text text;
        char comment[1200];
        const char *port = cli_option(c, "port");
        int of_port = touchstone_ports_of_name(file->from) != 1 ? 0 : port && strcmp(port, "2") == 0 ? 2 : 1;
        snprintf(comment, sizeof comment, "corrected with %.500s from %.500s", terms, file->from);
        text_init(&text, FILE_BYTES_MAX);
        enum code code = offline_net2_text(net, of_port, comment, file->to, &text, err);
        if (!code)
                code = correct_write(c, file, &text, err);
        else if (!strstr(err->text, file->to ? file->to : file->from))
                tp_where(err, "%s", file->to ? file->to : file->from);
        text_done(&text);
        return code;
}

/* Where each result goes: DIR/name, --out, or stdout for one file. */
static enum code places(struct cli *c, struct correct_file *all, struct tp_error *err)
{
        const char *dir = cli_option(c, "to"), *out = cli_option(c, "out");
        if (dir && out)
                return tp_fail(err, CODE_BAD_INPUT, "give --to DIR or --out FILE, not both");
        if (c->arg_n > 1 && !dir && !cli_json(c))
                return tp_fail(err, CODE_BAD_INPUT, "%zu raw files; say with --to DIR where the corrected ones go", c->arg_n);
        for (size_t k = 0; k < c->arg_n; k++) {
                all[k].from = c->args[k];
                all[k].to = out && strcmp(out, "-") != 0 ? out : NULL;
                if (!dir)
                        continue;
                size_t room = strlen(dir) + strlen(c->args[k]) + 2;
                char *to = arena_take(c->arena, room);
                if (!to)
                        return tp_fail_memory(err);
                snprintf(to, room, "%s/%s", dir, name_of(c->args[k]));
                all[k].to = to;
                for (size_t j = 0; j < c->arg_n; j++) /* before the first is written */
                        if (offline_same_file(to, c->args[j]))
                                return tp_fail(err, CODE_BAD_INPUT, "%s: the corrected file would replace a raw one; choose another --to",
                                               to);
                for (size_t j = 0; j < k; j++)
                        if (strcmp(all[j].to, to) == 0)
                                return tp_fail(err, CODE_BAD_INPUT, "%s and %s would both become %s; correct them into two folders",
                                               c->args[j], c->args[k], to);
        }
        return dir ? c->world->file->make_dir(c->world, dir, err) : CODE_OK;
}

static void put_json(struct cli *c, const struct correct_file *files, const struct net2 *nets, const struct terms_json *t)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_text(&o, "method", t->terms.method);
        json_text(&o, "model", terms_model_words[t->terms.model]);
        json_text(&o, "plane", plane_words[t->terms.plane]);
        cli_notes_json(c, &o);
        json_open(&o, "files", '[');
        for (size_t k = 0; k < c->arg_n; k++) {
                json_open(&o, NULL, '{');
                json_text(&o, "raw", files[k].from);
                json_text(&o, "out", files[k].to);
                json_real(&o, "z_ref_ohm", net2_z_real(&nets[k]));
                offline_net2_json(&o, &nets[k]);
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

static enum code correct_two_ports(struct cli *c, const struct correct_file *files, const char *path, const struct terms_json *t,
                                   struct tp_error *err)
{
        const char *switch_path = cli_option(c, "switch-terms");
        struct net2 *nets = arena_take(c->arena, c->arg_n * sizeof *nets);
        struct switch_terms own = {NULL};
        enum code code = nets ? CODE_OK : tp_fail_memory(err);
        for (size_t k = 0; k < c->arg_n && cli_has(c, "port") && !code; k++)
                if (touchstone_ports_of_name(files[k].from) != 1)
                        code = tp_fail(err, CODE_BAD_INPUT, "--port says which port a .s1p was read at; %s has both: leave --port out",
                                       files[k].from);
        if (!code && switch_path && !t->terms.switch_removed)
                code = tp_fail(
                        err, CODE_BAD_INPUT,
                        "--switch-terms %s: these terms (%s) were solved without removing switch terms, so raw data keep theirs; leave "
                        "it out",
                        switch_path, t->terms.method);
        if (!code && switch_path)
                code = offline_switch_terms(c, switch_path, NULL, &own, err);
        const struct switch_terms *sw = switch_path ? &own : t->has_sw ? &t->sw : NULL;
        for (size_t k = 0; k < c->arg_n && !code; k++) /* all before the first is written */
                code = correct_one(c, t, sw, files[k].from, &nets[k], err);
        for (size_t k = 0; k < c->arg_n && !code; k++)
                if (!cli_json(c) || files[k].to)
                        code = write_one(c, &files[k], &nets[k], path, err);
        if (!code && cli_json(c))
                put_json(c, files, nets, t);
        return code;
}

enum code do_correct(struct cli *c, struct tp_error *err)
{
        const char *path = cli_option(c, "terms"), *bytes;
        struct correct_file *files = arena_take(c->arena, c->arg_n * sizeof *files);
        struct multiport_json *many = NULL;
        struct terms_json *two = NULL;
        size_t n;
        if (!files)
                return tp_fail_memory(err);
        if (!path)
                return tp_fail(err, CODE_BAD_INPUT, "`tipplane correct` needs --terms FILE; `tipplane solve` makes it");
        enum code code = places(c, files, err);
        if (!code)
                code = offline_bytes(c, path, &bytes, &n, err);
        if (code)
                return code;
        bool is_many = multiport_json_is(bytes, n);
        code = is_many ? multiport_json_read(bytes, n, c->arena, &many, err) : terms_json_read(bytes, n, c->arena, &two, err);
        if (code)
                return tp_where(err, "%s", path);
        return is_many ? correct_multiport(c, files, path, many, err) : correct_two_ports(c, files, path, two, err);
}
