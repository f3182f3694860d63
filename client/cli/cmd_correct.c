/* cmd_correct.c: raw files and error terms to corrected files, and what is not known exactly of them. */
#include "cli/correct.h"
#include "cli/solve.h"
#include "recipe/offline_solve.h"
#include "rf/correct/pick.h"
#include "rf/trust/outliers.h"
#include "rf/trust/reading_causes.h"
#include <math.h>
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

struct corrected {
        struct net2 net;
        struct net2_causes *causes; /* NULL: nothing is said of uncertainty */
};

/* What all raw files of the command are corrected with. */
struct with {
        const struct terms_json *t;
        const struct switch_terms *sw;     /* NULL: none */
        const struct terms_causes *causes; /* NULL: no uncertainty */
        struct reading_u each;             /* of every touch and reading */
        char digest[65];                   /* of the terms */
        char touch[65];                    /* of the touch that all files are of; "": each is of its own */
};

/* The causes of one corrected file that was read at `ports`; terms, sw: at its frequencies. */
static enum code causes_of(struct cli *c, const struct with *w, const char *from, unsigned ports, const struct offline_picked *picked,
                           const struct terms *terms, const struct switch_terms *sw, const struct net2 *raw, struct corrected *ret,
                           struct tp_error *err)
{
        char digest[65];
        struct port_drift drift;
        bool has_drift = false;
        enum code code = correct_drift_of(c, from, &drift, &has_drift, err);
        if (code)
                return code;
        struct corrected_reading r = {.terms = terms,
                                      .causes = w->causes,
                                      .at = picked->terms_at,
                                      .switch_terms = sw,
                                      .switch_is_read = w->sw != &w->t->sw,
                                      .raw = raw,
                                      .corrected = &ret->net,
                                      .ports = ports,
                                      .top_hz = w->t->axis.hz[w->t->axis.n - 1],
                                      .u = &w->each,
                                      .drift = has_drift ? &drift : NULL,
                                      .terms_id = w->digest,
                                      .reading_id = digest,
                                      .touch_id = w->touch[0] ? w->touch : NULL};
        code = offline_digest(c, from, digest, err);
        if (!code && !(ret->causes = arena_take(c->arena, sizeof *ret->causes)))
                code = tp_fail_memory(err);
        return code ? code : rf_reading_causes(&r, c->arena, ret->causes, err);
}

static enum code correct_one(struct cli *c, const struct with *w, const char *from, struct corrected *ret, struct tp_error *err)
{
        const struct terms_json *t = w->t;
        const struct switch_terms *sw = w->sw;
        struct net2 file, raw;
        struct offline_picked *picked = arena_take(c->arena, sizeof *picked); /* the network points into it */
        struct terms terms;
        struct switch_terms own;
        unsigned ports = touchstone_ports_of_name(from);
        double port;
        char why[300];
        enum code code = picked ? offline_number(c, "port", 1, 2, 1, &port, err) : tp_fail_memory(err);
        if (code)
                return code;
        code = ports == 1 ? offline_reflections(c, port < 1.5 ? from : NULL, port < 1.5 ? NULL : from, &file, err)
                          : offline_net2(c, from, PLANE_RECEIVER, &file, err);
        if (code)
                return code;
        if ((code = rf_values_check(file.axis, 2, file.re, file.im, true, err)))
                return tp_where(err, "%s", from);
        struct netn view = netn_of_two(&file);
        if (!rf_is_a_sweep(&file, why, sizeof why) || rf_stands_still(&view, why, sizeof why))
                cli_note(c, "%s: %s", from, why);
        if ((code = one_port_check(c, &t->terms, from, ports, port < 1.5 ? 1 : 2, err)))
                return code;
        if (t->terms.switch_removed && !sw)
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: these terms want the switch terms removed and the terms' file has none; give --switch-terms FILE",
                               from);
        if ((code = offline_calibrated(c, from, file.axis, &t->axis, picked, err)))
                return code;
        if (!offline_net2_new(c, &picked->axis, &raw) || !offline_net2_new(c, &picked->axis, &ret->net))
                return tp_fail_memory(err);
        rf_pick_net2(&file, picked->raw_at, &raw);
        code = terms_on(c, t, sw, picked, &terms, &own, err);
        if (!code)
                code = offline_correct(&terms, sw ? &own : NULL, &raw, &ret->net, err);
        if (!code && sw && ports == 2)
                solve_smooth(c, from, &raw, &own);
        if (!code && w->causes)
                code = causes_of(c, w, from, ports != 1 ? 3 : port < 1.5 ? 1 : 2, picked, &terms, sw ? &own : NULL, &raw, ret, err);
        return code ? tp_where(err, "%s", from) : CODE_OK;
}

enum code correct_write(struct cli *c, const struct correct_file *file, const struct text *text, struct tp_error *err)
{
        if (file->to)
                return offline_write(c, file->to, text, err);
        text_bytes(&c->out, text_of(text), text->n);
        return CODE_OK;
}

/* What is not known exactly of the file, which `text` holds; of_port 0: of both ports. */
static enum code document_of(struct cli *c, const struct corrected *got, int of_port, const char *path, const struct text *text,
                             struct text *document, struct tp_error *err)
{
        struct netn one = netn_of_two(&got->net);
        struct netn_causes causes;
        if (!of_port)
                return offline_uncertainty_text(c, &got->net, got->causes, path, text, document, err);
        one.ports = 1;
        one.re[0] = got->net.re[of_port == 1 ? 0 : 3];
        one.im[0] = got->net.im[of_port == 1 ? 0 : 3];
        enum code code = netn_causes_from_port(got->causes, (unsigned)of_port - 1, c->arena, &causes, err);
        return code ? code : offline_uncertainty_text_ports(&one, &causes, path, text, document, err);
}

static enum code write_one(struct cli *c, const struct correct_file *file, const struct corrected *got, const char *terms,
                           struct text *document, struct tp_error *err)
{
        struct text text;
        char comment[1200];
        const char *port = cli_option(c, "port"), *path = file->to ? file->to : file->from;
        int of_port = touchstone_ports_of_name(file->from) != 1 ? 0 : port && strcmp(port, "2") == 0 ? 2 : 1;
        snprintf(comment, sizeof comment, "corrected with %.500s from %.500s", terms, file->from);
        text_init(&text, FILE_BYTES_MAX);
        enum code code = offline_net2_text(&got->net, of_port, comment, file->to, &text, err);
        if (!code && got->causes && (file->to || cli_json(c)))
                code = document_of(c, got, of_port, path, &text, document, err);
        if (!code && (!cli_json(c) || file->to))
                code = correct_write(c, file, &text, err);
        if (!code && got->causes && file->to)
                code = offline_uncertainty_write(c, file->to, document, err);
        if (code && !strstr(err->text, path))
                tp_where(err, "%s", path);
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

static void put_json(struct cli *c, const struct correct_file *files, const struct corrected *got, const struct text *documents,
                     const struct terms_json *t)
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
                json_real(&o, "z_ref_ohm", net2_z_real(&got[k].net));
                offline_net2_json(&o, &got[k].net);
                if (got[k].causes)
                        json_raw(&o, "uncertainty", text_of(&documents[k]));
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

/* What the terms state, or the options alone. */
static enum code each_of(struct cli *c, struct with *w, struct tp_error *err)
{
        static const struct terms_causes none = {.n = 0};
        bool wanted = false;
        enum code code = correct_each(c, w->t->causes ? &w->t->causes->reading : NULL, &w->each, &wanted, err);
        w->causes = !wanted ? NULL : w->t->causes ? w->t->causes : &none;
        return code;
}

static enum code correct_two_ports(struct cli *c, const struct correct_file *files, const char *path, struct with *w, struct tp_error *err)
{
        const char *switch_path = cli_option(c, "switch-terms");
        struct corrected *got = arena_take(c->arena, c->arg_n * sizeof *got);
        struct text *documents = arena_take(c->arena, c->arg_n * sizeof *documents);
        struct switch_terms own = {NULL};
        size_t said = 0;
        enum code code = got && documents ? correct_uncertainty_used(c, err) : tp_fail_memory(err);
        if (!code)
                code = each_of(c, w, err);
        if (!code)
                code = correct_touch(c, files, w->causes != NULL, w->touch, err);
        if (!code && w->causes)
                code = correct_documents_apart(c, files, err);
        for (size_t k = 0; k < c->arg_n && cli_has(c, "port") && !code; k++)
                if (touchstone_ports_of_name(files[k].from) != 1)
                        code = tp_fail(err, CODE_BAD_INPUT, "--port says which port a .s1p was read at; %s has both: leave --port out",
                                       files[k].from);
        if (!code && switch_path && !w->t->terms.switch_removed)
                code = tp_fail(
                        err, CODE_BAD_INPUT,
                        "--switch-terms %s: these terms (%s) were solved without removing switch terms, so raw data keep theirs; leave "
                        "it out",
                        switch_path, w->t->terms.method);
        if (!code && switch_path)
                code = offline_switch_terms(c, switch_path, NULL, &own, err);
        w->sw = switch_path ? &own : w->t->has_sw ? &w->t->sw : NULL;
        for (size_t k = 0; k < c->arg_n && !code; k++) /* all before the first is written */
                if (!(code = correct_one(c, w, files[k].from, &got[k], err)))
                        code = offline_look(c, files[k].from, &got[k].net, &said, err);
        for (size_t k = 0; k < c->arg_n && documents; k++)
                text_init(&documents[k], FILE_BYTES_MAX);
        for (size_t k = 0; k < c->arg_n && !code; k++)
                code = write_one(c, &files[k], &got[k], path, &documents[k], err);
        if (!code && cli_json(c))
                put_json(c, files, got, documents, w->t);
        else if (!code && w->causes)
                correct_say_lost(c, files);
        for (size_t k = 0; k < c->arg_n && documents; k++)
                text_done(&documents[k]);
        return code;
}

enum code do_correct(struct cli *c, struct tp_error *err)
{
        const char *path = cli_option(c, "terms"), *bytes;
        struct correct_file *files = arena_take(c->arena, c->arg_n * sizeof *files);
        struct multiport_json *many = NULL;
        struct terms_json *two = NULL;
        struct with *w = arena_take(c->arena, sizeof *w);
        size_t n;
        if (!files || !w)
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
        if (is_many)
                return correct_multiport(c, files, path, many, err);
        w->t = two;
        code = offline_digest(c, path, w->digest, err);
        return code ? code : correct_two_ports(c, files, path, w, err);
}
