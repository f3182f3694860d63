/* cmd_fit.c: a model of a corrected network as a SPICE subcircuit: rational by vector fitting, or a circuit of the textbooks.  The fits are
 * rf/models/model.h's and rf/models/circuit.h's, the text is formats/netlist.h's. */
#include "cli/fit.h"
#include "cli/number.h"
#include "cli/offline.h"
#include "formats/netlist.h"
#include "rf/models/circuit_causes.h"
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

struct fit_job {
        struct cli *c;
        struct model_data data;
        char name[41], comments[1200];
        double u, length_um, order;
        struct net2_causes *causes; /* by the document beside the file; NULL: none, or --u */
        struct text netlist;
};

/* A subcircuit's name from the file's: letters, digits, underscores. */
static void name_from(const char *path, char ret[41])
{
        const char *slash = strrchr(path, '/'), *at = slash ? slash + 1 : path;
        size_t n = 0;
        if (!isalpha((unsigned char)*at))
                ret[n++] = 'm';
        for (; *at && *at != '.' && n < 40; at++)
                ret[n++] = isalnum((unsigned char)*at) ? (char)tolower((unsigned char)*at) : '_';
        ret[n] = '\0';
}

/* The document beside a file of one or two ports. */
static enum code causes_of(struct fit_job *j, const char *path, const struct netn *net, struct tp_error *err)
{
        struct netn_causes *all = NULL;
        enum code code = offline_uncertainty_of_ports(j->c, path, net, &all, err);
        if (code || !all)
                return code;
        if (!(j->causes = arena_take(j->c->arena, sizeof *j->causes)))
                return tp_fail_memory(err);
        return netn_causes_two(all, 0, net->ports - 1, j->c->arena, j->causes, err);
}

static enum code read_data(struct fit_job *j, const char *path, struct tp_error *err)
{
        struct netn net;
        struct net2 two;
        bool modes = cli_has(j->c, "modes");
        enum code code = modes ? offline_net2(j->c, path, PLANE_DEVICE, &two, err) : offline_netn(j->c, path, PLANE_DEVICE, &net, err);
        if (code)
                return code;
        if (modes)
                offline_look_read(j->c, path, &two);
        else
                offline_look_read_ports(j->c, path, &net);
        unsigned ports = modes ? 2 : net.ports;
        j->data = (struct model_data){.axis = modes ? two.axis : net.axis, .ports = ports, .z_ohm = modes ? two.z_re[0] : net.z_re[0][0]};
        if (!(j->data.z_ohm > 0))
                return tp_fail(err, CODE_BAD_INPUT, "%s: the data are in the line's own impedance, which has no ohms; renormalise them",
                               path);
        for (unsigned k = 0; k < ports * ports; k++) {
                j->data.re[k] = modes ? two.re[k] : net.re[k];
                j->data.im[k] = modes ? two.im[k] : net.im[k];
        }
        if (j->u > 0 || ports > 2)
                return CODE_OK;
        return modes ? offline_uncertainty_of(j->c, path, &two, &j->causes, err) : causes_of(j, path, &net, err);
}

void fit_error_json(struct json_out *o, const struct model_error *e)
{
        json_open(o, "error", '{');
        json_real(o, "rms", e->rms);
        json_real(o, "worst", e->worst);
        json_real(o, "worst_hz", e->worst_hz);
        json_open(o, "bands", '[');
        for (size_t k = 0; k < e->band_n; k++) {
                json_open(o, NULL, '{');
                json_real(o, "from_hz", e->band[k].hz_lo);
                json_real(o, "to_hz", e->band[k].hz_hi);
                json_int(o, "points", (int64_t)e->band[k].n);
                json_real(o, "rms", e->band[k].rms);
                json_real(o, "worst", e->band[k].worst);
                json_close(o, '}');
        }
        json_close(o, ']');
        json_close(o, '}');
}

void fit_error_words(struct text *to, const struct model_error *e)
{
        text_f(to, "error of S: rms %.3g, largest %.3g at ", e->rms, e->worst);
        put_hz(to, e->worst_hz);
        text_put(to, "\n");
}

static void complex_json(struct json_out *o, double complex z)
{
        json_open(o, NULL, '[');
        json_real(o, NULL, creal(z));
        json_real(o, NULL, cimag(z));
        json_close(o, ']');
}

/* ---- rational ----------------------------------------------------------------------------------------------------------------------- */

static void model_json(struct json_out *o, const struct model *m, const struct model_report *r)
{
        json_text(o, "kind", model_kind_words[m->kind]);
        json_int(o, "ports", (int64_t)m->ports);
        json_real(o, "z_ohm", m->z_ohm);
        json_bool(o, "reciprocal", m->reciprocal);
        json_int(o, "order", (int64_t)rational_order(&m->fit));
        json_int(o, "poles_left_out", (int64_t)r->fit.dropped);
        json_text(o, "stopped_because", fit_stop_words[r->fit.stop]);
        json_open(o, "poles", '[');
        for (size_t k = 0; k < m->fit.pole_n; k++)
                complex_json(o, m->fit.pole[k]);
        json_close(o, ']');
        json_open(o, "elements", '[');
        for (size_t q = 0; q < m->fit.element_n; q++) {
                json_open(o, NULL, '{');
                json_open(o, "residues", '[');
                for (size_t k = 0; k < m->fit.pole_n; k++)
                        complex_json(o, m->fit.residue[q][k]);
                json_close(o, ']');
                json_real(o, "d", m->fit.d[q]);
                json_real(o, "e", m->fit.e[q]);
                json_close(o, '}');
        }
        json_close(o, ']');
        json_bool(o, "passive", r->after.passive);
        json_bool(o, "passive_before_enforcement", r->before.passive);
        json_real(o, "enforcement_changed_s_by", r->enforcement.worst);
        fit_error_json(o, &r->error);
}

#define ACTIVE 1.1    /* largest singular value of data: a bad calibration of a passive device does not come there */
#define MOVED_FAR 0.1 /* S moved by more is another device than the one that was measured */
#define ERROR_FAR 0.2 /* rms of S: a model that describes nothing */

/* A model that is not of what was measured is no answer. */
static enum code model_judge(const struct model_report *r, bool keep_active, struct tp_error *err)
{
        if (!keep_active && r->data_worst > ACTIVE)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "the data give out more than they get: the largest singular value of S is %.3g at %.4g GHz, and a model that "
                        "was made passive would not be of this device; fit an active one with --keep-active, which leaves it so",
                        r->data_worst, r->data_worst_hz / 1e9);
        if (!keep_active && r->enforcement.worst > MOVED_FAR)
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "making the model passive moved S by %.2g at %.4g GHz, more than %g (the data reach %.4g): fit another --order, "
                        "leave out where the data are not passive, or say --keep-active",
                        r->enforcement.worst, r->enforcement.worst_hz / 1e9, MOVED_FAR, r->data_worst);
        if (!keep_active && !(r->error.rms <= ERROR_FAR))
                return tp_fail(
                        err, CODE_UNRESOLVABLE,
                        "a model of order %zu differs from the data by %.2g rms, %.2g at %.4g GHz, and describes nothing (more than %g "
                        "rms); fit more poles, or look at the data",
                        r->fit.order, r->error.rms, r->error.worst, r->error.worst_hz / 1e9, ERROR_FAR);
        return CODE_OK;
}

static void model_words(struct text *to, const struct model *m, const struct model_report *r, size_t asked)
{
        size_t order = rational_order(&m->fit);
        text_f(to, "rational model of %s, %zu ports, order %zu (%s), %s\n", model_kind_words[m->kind], m->ports, order,
               fit_stop_words[r->fit.stop], m->reciprocal ? "reciprocal" : "not reciprocal");
        if (asked > order)
                text_f(to,
                       "order %zu of the %zu asked for: the other poles took nothing off the error (0.05 %% at most, or rounding), and "
                       "were left out\n",
                       order, asked);
        fit_error_words(to, &r->error);
        if (r->before.passive)
                text_put(to, "passive as fitted\n");
        else if (r->after.passive)
                text_f(to, "made passive in %u rounds, which moved S by at most %.3g\n", r->enforcement.rounds, r->enforcement.worst);
        else
                text_f(to, "not passive: up to %.6g at %.6g GHz\n", r->after.worst, r->after.worst_hz / 1e9);
}

static enum code fit_model(struct fit_job *j, struct json_out *o, struct text *words, struct tp_error *err)
{
        const char *form = cli_option(j->c, "form");
        struct model *m = arena_take(j->c->arena, sizeof *m);
        struct model_report *r = arena_take(j->c->arena, sizeof *r);
        void *workspace = arena_take(j->c->arena, rf_fit_vector_bytes(j->data.axis->n, j->data.ports, (size_t)j->order));
        struct model_options how = {
                .kind = MODEL_S,
                .fit = {.order = (size_t)j->order, .noise = (j->causes ? rf_causes_noise(j->causes, j->data.ports) : j->u) * sqrt(2)},
                .keep_active = cli_has(j->c, "keep-active")};
        if (!m || !r || !workspace)
                return tp_fail_memory(err);
        if (form && strcmp(form, "S") != 0 && strcmp(form, "Y") != 0)
                return tp_fail(err, CODE_BAD_INPUT, "--form '%.20s': there are S and Y", form);
        if (form && form[0] == 'Y')
                how.kind = MODEL_Y;
        enum code code = rf_fit_vector(&j->data, &how, workspace, m, r, err);
        if (!code || code == CODE_UNRESOLVABLE) { /* why it could not be made passive is rather said by the data */
                struct tp_error why = {0};
                enum code judged = code && !(r->data_worst > ACTIVE) ? CODE_OK : model_judge(r, how.keep_active, &why);
                if (judged) {
                        code = judged;
                        *err = why;
                }
        }
        struct netlist_about about = {.name = j->name, .comments = j->comments};
        if (!code)
                code = netlist_write_model(m, &r->error, &r->after, &about, &j->netlist, err);
        if (code)
                return code;
        model_json(o, m, r);
        model_words(words, m, r, (size_t)j->order);
        return CODE_OK;
}

/* ---- circuits ----------------------------------------------------------------------------------------------------------------------- */

/* The largest parts of an element's variance by causes; what the fit's own residual adds is the rest. */
static void element_budget(struct json_out *o, const struct circuit_causes *by, const struct net2_causes *causes, size_t e, double u)
{
        double each[CAUSES_MAX], sum = 0;
        struct cause_share share[3];
        for (size_t m = 0; m < causes->n; m++) {
                each[m] = by->change[m][e];
                sum += each[m] * each[m];
        }
        size_t n = sum > 0 ? net2_causes_shares(causes, each, share, 3) : 0;
        json_open(o, "budget", '[');
        for (size_t m = 0; m < n; m++) {
                json_open(o, NULL, '{');
                json_text(o, "cause", share[m].name);
                json_real(o, "percent", 100 * share[m].share * sum / (u * u));
                json_close(o, '}');
        }
        json_close(o, ']');
}

static void circuit_out(struct json_out *o, struct text *words, const struct circuit *k, const struct netlist_lumping *lumping,
                        const struct circuit_causes *by, const struct net2_causes *causes)
{
        json_int(o, "ports", (int64_t)k->ports);
        json_open(o, "elements", '[');
        text_f(words, "%s, %zu port%s\n", circuit_words[k->kind], k->ports, k->ports == 1 ? "" : "s");
        for (size_t i = 0; i < k->element_n; i++) {
                const struct circuit_element *e = &k->element[i];
                json_open(o, NULL, '{');
                json_text(o, "name", e->name);
                json_text(o, "unit", e->unit);
                json_real(o, "value", e->dropped ? NAN : e->value);
                json_real(o, "u", e->u);
                json_bool(o, "dropped", e->dropped);
                json_bool(o, "undetermined", e->undetermined);
                if (causes)
                        element_budget(o, by, causes, i, e->u);
                json_close(o, '}');
                text_f(words, "  %-8s ", e->name);
                if (e->dropped)
                        text_put(words, "left out: the data say nothing about it");
                else
                        put_quantity(words, e->value, 2 * e->u, e->unit);
                text_put(words, e->undetermined ? " (hardly determined)\n" : "\n");
        }
        json_close(o, ']');
        json_real(o, "scaled_rms", k->rms);
        json_real(o, "misfit", k->misfit);
        json_real(o, "condition", k->condition);
        json_int(o, "sections", lumping->sections);
        json_real(o, "lumping_worst", lumping->worst);
        fit_error_json(o, &k->error);
        fit_error_words(words, &k->error);
        if (lumping->worst > 0)
                text_f(words, "as lumped elements: largest further error %.3g at %.6g GHz\n", lumping->worst, lumping->worst_hz / 1e9);
}

static enum code fit_circuit(struct fit_job *j, enum circuit_kind kind, struct json_out *o, struct text *words, struct tp_error *err)
{
        struct circuit *k = arena_take(j->c->arena, sizeof *k);
        struct netlist_lumping lumping = {0};
        struct circuit_options how = {.skin = cli_has(j->c, "skin"),
                                      .substrate = cli_has(j->c, "substrate"),
                                      .differential = cli_has(j->c, "differential"),
                                      .length_m = j->length_um * 1e-6,
                                      .u = j->u};
        if (!k)
                return tp_fail_memory(err);
        struct circuit_causes by = {NULL};
        enum code code = j->causes ? rf_fit_circuit_by_causes(kind, &j->data, &how, j->causes, j->c->arena, k, &by, err)
                                   : rf_fit_circuit(kind, &j->data, &how, k, err);
        struct netlist_about about = {.name = j->name, .comments = j->comments};
        if (!code)
                code = netlist_write_circuit(k, &about, &j->netlist, &lumping, err);
        if (!code && kind == CIRCUIT_LINE)
                offline_length_look(j->c, j->c->args[0], j->length_um * 1e-6,
                                    circuit_element_of(k, "l")->value * circuit_element_of(k, "c")->value * RF_C0_M_S * RF_C0_M_S);
        if (!code)
                circuit_out(o, words, k, &lumping, &by, j->causes);
        return code;
}

/* ---- the command -------------------------------------------------------------------------------------------------------------------- */

static enum circuit_kind circuit_of(const char *word)
{
        for (int k = 1; k < CIRCUIT_COUNT; k++)
                if (strcmp(word, circuit_words[k]) == 0)
                        return (enum circuit_kind)k;
        return CIRCUIT_UNKNOWN;
}

static bool is_of_varactor(const char *option) { return strcmp(option, "reverse") == 0 || strcmp(option, "substrate") == 0; }

/* Options that belong to some models only. */
static enum code options_used(struct cli *c, enum circuit_kind kind, bool varactor, struct tp_error *err)
{
        const struct {
                const char *option, *of;
                bool used;
        } rows[] = {{"form", "--model vector", kind == CIRCUIT_UNKNOWN},
                    {"order", "--model vector", kind == CIRCUIT_UNKNOWN},
                    {"keep-active", "--model vector", kind == CIRCUIT_UNKNOWN},
                    {"skin", "inductors and resistors", kind == CIRCUIT_INDUCTOR || kind == CIRCUIT_RESISTOR},
                    {"substrate", "capacitors", kind == CIRCUIT_CAPACITOR},
                    {"differential", "inductors of one port", kind == CIRCUIT_INDUCTOR},
                    {"length-um", "lines", kind == CIRCUIT_LINE},
                    {"reverse", "--model varactor", false}};
        enum code code = CODE_OK;
        for (size_t k = 0; k < sizeof rows / sizeof rows[0] && !code; k++)
                code = offline_used(c, rows[k].option, rows[k].used || (varactor && is_of_varactor(rows[k].option)), rows[k].of, err);
        if (!code && varactor && (cli_has(c, "form") || cli_has(c, "order") || cli_has(c, "keep-active") || cli_has(c, "modes")))
                code = tp_fail(err, CODE_BAD_INPUT, "--form, --order, --keep-active and --modes are not for --model varactor");
        if (!code && !varactor && c->arg_n > 1)
                code = tp_fail(err, CODE_BAD_INPUT, "`tipplane fit` takes one FILE; several, one a voltage, are for --model varactor");
        return code;
}

static enum code options(struct fit_job *j, const char *word, struct tp_error *err)
{
        const char *given = cli_option(j->c, "name");
        enum code code = CODE_OK;
        if (!word)
                return tp_fail(err, CODE_BAD_INPUT,
                               "`tipplane fit` needs --model: vector, inductor, capacitor, resistor, line or varactor");
        bool varactor = strcmp(word, "varactor") == 0;
        if (strcmp(word, "vector") != 0 && !varactor && circuit_of(word) == CIRCUIT_UNKNOWN)
                return tp_fail(err, CODE_BAD_INPUT, "--model '%.40s': there are vector, inductor, capacitor, resistor, line and varactor",
                               word);
        code = options_used(j->c, circuit_of(word), varactor, err);
        if (!code)
                code = offline_number(j->c, "u", 1e-12, 1, 0, &j->u, err);
        if (!code)
                code = offline_number(j->c, "length-um", 1e-3, 999999, 0, &j->length_um, err);
        if (!code)
                code = offline_number(j->c, "order", 1, RF_FIT_ORDER_MAX, 0, &j->order, err);
        if (given && strlen(given) > 40)
                return tp_fail(err, CODE_BAD_INPUT, "--name %.60s: a subcircuit's name has at most 40 letters", given);
        if (!code && circuit_of(word) == CIRCUIT_LINE && !(j->length_um > 0))
                return tp_fail(err, CODE_BAD_INPUT, "%s: a line needs its length; give --length-um L", j->c->args[0]);
        name_from(given ? given : j->c->args[0], j->name);
        snprintf(j->comments, sizeof j->comments, "fitted to %.600s, model %s", j->c->args[0], word);
        return code;
}

/* The netlist to --out; without it, it is the data and the rest is talk. */
static enum code put(struct fit_job *j, const struct text *json, const struct text *words, struct tp_error *err)
{
        struct cli *c = j->c;
        if (cli_json(c)) {
                text_bytes(&c->out, text_of(json), json->n);
                return cli_has(c, "out") ? offline_out(c, &j->netlist, err) : CODE_OK;
        }
        if (cli_has(c, "out"))
                text_bytes(&c->out, text_of(words), words->n);
        else
                fputs(text_of(words), stderr);
        return offline_out(c, &j->netlist, err);
}

enum code do_fit(struct cli *c, struct tp_error *err)
{
        const char *word = cli_option(c, "model");
        struct fit_job *j = arena_take(c->arena, sizeof *j);
        struct text json, words;
        if (!j)
                return tp_fail_memory(err);
        j->c = c;
        text_init(&json, FILE_BYTES_MAX);
        text_init(&words, 0);
        text_init(&j->netlist, FILE_BYTES_MAX);
        struct json_out o = json_to(&json);
        json_open(&o, NULL, '{');
        json_text(&o, "model", word);
        json_text(&o, "file", c->args[0]);
        enum code code = options(j, word, err);
        bool varactor = !code && strcmp(word, "varactor") == 0;
        if (varactor)
                code = fit_varactor(c, &(struct netlist_about){.name = j->name, .comments = j->comments}, j->u, &o, &words, &j->netlist,
                                    err);
        if (!code && !varactor)
                code = read_data(j, c->args[0], err);
        if (!code && !varactor &&
            (code = circuit_of(word) ? fit_circuit(j, circuit_of(word), &o, &words, err) : fit_model(j, &o, &words, err)))
                tp_where(err, "%s", c->args[0]);
        if (!code) {
                if (cli_has(c, "out"))
                        json_text(&o, "netlist_file", cli_option(c, "out"));
                else
                        json_text(&o, "netlist", text_of(&j->netlist));
                cli_notes_json(c, &o);
                json_close(&o, '}');
                text_put(&json, "\n");
                code = put(j, &json, &words, err);
        }
        text_done(&json);
        text_done(&words);
        text_done(&j->netlist);
        return code;
}
