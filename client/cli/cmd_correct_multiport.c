/* cmd_correct_multiport.c: raw files of an analyzer of three or four ports to corrected files, and what is not known exactly of them. */
#include "cli/correct.h"
#include "rf/trust/outliers.h"
#include "rf/trust/reading_causes_ports.h"
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

struct corrected {
        struct netn net;
        struct netn_causes *causes; /* NULL: nothing is said of uncertainty */
};
/* What all raw files of the command are corrected with. */
struct with {
        const struct multiport_json *t;
        const struct multiport_causes *causes; /* NULL: no uncertainty */
        struct reading_u each;
        char digest[65], touch[65]; /* of the terms; of the touch that all files are of, "": each is of its own */
};

/* The causes of one corrected file; terms, sw: at its frequencies. */
static enum code causes_of(struct cli *c, const struct with *w, const char *path, const struct offline_picked *picked,
                           const struct multiport_terms *terms, const struct port_switch *sw, const struct netn *raw, struct corrected *ret,
                           struct tp_error *err)
{
        char digest[65];
        struct corrected_reading_ports r = {.terms = terms,
                                            .causes = w->causes,
                                            .at = picked->terms_at,
                                            .sw = sw,
                                            .raw = raw,
                                            .corrected = &ret->net,
                                            .top_hz = w->t->axis.hz[w->t->axis.n - 1],
                                            .u = &w->each,
                                            .terms_id = w->digest,
                                            .reading_id = digest,
                                            .touch_id = w->touch[0] ? w->touch : NULL};
        enum code code = offline_digest(c, path, digest, err);
        if (!code && !(ret->causes = arena_take(c->arena, sizeof *ret->causes)))
                code = tp_fail_memory(err);
        return code ? code : rf_reading_causes_ports(&r, c->arena, ret->causes, err);
}

static enum code correct_one(struct cli *c, const struct with *w, const char *path, struct corrected *got, struct tp_error *err)
{
        const struct multiport_json *t = w->t;
        struct netn *ret = &got->net;
        struct netn file, raw;
        struct offline_picked *picked = arena_take(c->arena, sizeof *picked); /* the network points into it */
        struct multiport_terms terms;
        struct port_switch sw;
        char why[300];
        enum code code = picked ? offline_netn(c, path, PLANE_RECEIVER, &file, err) : tp_fail_memory(err);
        if (code)
                return code;
        if ((code = rf_values_check(file.axis, file.ports, file.re, file.im, true, err)))
                return tp_where(err, "%s", path);
        if (!rf_is_a_sweep_ports(&file, why, sizeof why) || rf_stands_still(&file, why, sizeof why))
                cli_note(c, "%s: %s", path, why);
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
        if (!code)
                code = rf_multiport_correct(&terms, &raw, t->has_sw ? &sw : NULL, ret, err);
        if (!code && w->causes)
                code = causes_of(c, w, path, picked, &terms, t->has_sw ? &sw : NULL, &raw, got, err);
        return code && !strstr(err->text, path) ? tp_where(err, "%s", path) : code;
}

static void put_json(struct cli *c, const struct correct_file *files, const struct corrected *got, const struct text *documents,
                     const struct multiport_json *t)
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
                offline_netn_json(&o, &got[k].net);
                if (got[k].causes)
                        json_raw(&o, "uncertainty", text_of(&documents[k]));
                json_close(&o, '}');
        }
        json_close(&o, ']');
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

/* The corrected file and the document beside it. */
static enum code write_one(struct cli *c, const struct correct_file *file, const struct corrected *got, const char *terms,
                           struct text *document, struct tp_error *err)
{
        const char *path = file->to ? file->to : file->from;
        struct text text;
        char comment[1200];
        if (cli_json(c) && !file->to && !got->causes)
                return CODE_OK;
        snprintf(comment, sizeof comment, "corrected with %.500s from %.500s", terms, file->from);
        text_init(&text, FILE_BYTES_MAX);
        enum code code = offline_netn_text(&got->net, comment, file->to, &text, err);
        if (!code && got->causes && (file->to || cli_json(c)))
                code = offline_uncertainty_text_ports(&got->net, got->causes, path, &text, document, err);
        if (!code && (!cli_json(c) || file->to))
                code = correct_write(c, file, &text, err);
        if (!code && got->causes && file->to)
                code = offline_uncertainty_write(c, file->to, document, err);
        text_done(&text);
        return code && !strstr(err->text, path) ? tp_where(err, "%s", file->from) : code;
}

/* What is said of uncertainty, by the terms and by the options. */
static enum code with_of(struct cli *c, const struct correct_file *files, const char *path, struct with *w, struct tp_error *err)
{
        static const struct multiport_causes none = {.n = 0};
        const struct multiport_causes *stated = w->t->causes;
        bool wanted = false;
        enum code code = correct_uncertainty_used(c, err);
        if (!code)
                code = correct_each(c, stated ? &stated->reading : NULL, &w->each, &wanted, err);
        w->causes = !wanted ? NULL : stated ? stated : &none;
        if (!code)
                code = correct_touch(c, files, wanted, w->touch, err);
        if (!code && wanted)
                code = correct_documents_apart(c, files, err);
        return code ? code : offline_digest(c, path, w->digest, err);
}

enum code correct_multiport(struct cli *c, const struct correct_file *files, const char *path, const struct multiport_json *t,
                            struct tp_error *err)
{
        struct corrected *got = arena_take(c->arena, c->arg_n * sizeof *got);
        struct text *documents = arena_take(c->arena, c->arg_n * sizeof *documents);
        struct with *w = arena_take(c->arena, sizeof *w);
        if (!got || !documents || !w)
                return tp_fail_memory(err);
        w->t = t;
        enum code code = CODE_OK;
        if (cli_has(c, "switch-terms") || cli_has(c, "port"))
                code = tp_fail(err, CODE_BAD_INPUT, "--%s is for two-port terms; %s has %u ports and holds its switch terms",
                               cli_has(c, "port") ? "port" : "switch-terms", path, t->terms.ports);
        if (!code)
                code = with_of(c, files, path, w, err);
        for (size_t k = 0; k < c->arg_n && !code; k++) /* all before the first is written */
                if (!(code = correct_one(c, w, files[k].from, &got[k], err)))
                        code = offline_look_ports(c, files[k].from, &got[k].net, err);
        for (size_t k = 0; k < c->arg_n; k++)
                text_init(&documents[k], FILE_BYTES_MAX);
        for (size_t k = 0; k < c->arg_n && !code; k++)
                code = write_one(c, &files[k], &got[k], path, &documents[k], err);
        if (!code && cli_json(c))
                put_json(c, files, got, documents, t);
        else if (!code && w->causes)
                correct_say_lost(c, files);
        for (size_t k = 0; k < c->arg_n; k++)
                text_done(&documents[k]);
        return code;
}
