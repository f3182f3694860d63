/* export_models.c: DIR/models: a SPICE subcircuit for the last good sweep of each device, and models.csv with what they are made of.
 * Choice      Coils, capacitors, resistors and lines get the circuit of their kind, each element with its u95; what that does not explain, and
 *             all other devices, get a rational model.  Passive devices are made passive, a transistor stays active.
 * Not here    the fits (rf/models/) and the text (formats/netlist.h): a file of `tipplane fit` of the same .s2p is the same. */
#include "cli/export.h"
#include "cli/offline.h"
#include "cli/show.h"
#include "formats/netlist.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

struct models_job {
        struct cli *c;
        const char *dir; /* of the Touchstone files */
        const cJSON *devices;
        struct text table;
        size_t circuits, rationals, failed;
        char why[600]; /* of the first that failed */
};

static enum circuit_kind kind_of(const char *word)
{
        for (int k = 1; word && k < CIRCUIT_COUNT; k++)
                if (strcmp(word, circuit_words[k]) == 0)
                        return (enum circuit_kind)k;
        return CIRCUIT_UNKNOWN;
}

static const cJSON *device_of(const struct models_job *j, const char *name)
{
        const cJSON *d;
        cJSON_ArrayForEach(d, j->devices) if (strcmp(have_text(d, "name"), name) == 0) return d;
        return NULL;
}

static void row(struct models_job *j, const struct sweep_name *s, const char *file, const char *model, const char *element, double value,
                double u95, const char *unit, const struct model_error *e)
{
        text_f(&j->table, "%s,%lld,%lld,%s,%lld,%s,%s,", file, s->x, s->y, s->device, s->condition, model, element);
        if (isfinite(value))
                text_f(&j->table, "%.9g", value);
        text_put(&j->table, ",");
        if (isfinite(u95))
                text_f(&j->table, "%.4g", u95);
        text_f(&j->table, ",%s,%.4g,%.4g,%.9g\n", unit, e->rms, e->worst, e->worst_hz);
}

/* The circuit of its kind; CODE_UNRESOLVABLE: it does not explain the data. */
static enum code circuit(struct models_job *j, enum circuit_kind kind, const struct model_data *data, double length_m,
                         const struct sweep_name *s, const char *file, const struct netlist_about *about, struct text *netlist,
                         struct tp_error *err)
{
        struct circuit *k = arena_take(j->c->arena, sizeof *k);
        struct netlist_lumping lumping;
        struct circuit_options how = {.skin = kind == CIRCUIT_INDUCTOR, .substrate = kind == CIRCUIT_CAPACITOR, .length_m = length_m};
        if (!k)
                return tp_fail_memory(err);
        enum code code = rf_fit_circuit(kind, data, &how, k, err);
        if (!code)
                code = netlist_write_circuit(k, about, netlist, &lumping, err);
        for (size_t i = 0; !code && i < k->element_n; i++)
                if (!k->element[i].dropped)
                        row(j, s, file, circuit_words[kind], k->element[i].name, k->element[i].value, 2 * k->element[i].u,
                            k->element[i].unit, &k->error);
        return code;
}

static enum code rational(struct models_job *j, const struct model_data *data, bool active, const struct sweep_name *s, const char *file,
                          const struct netlist_about *about, struct text *netlist, struct tp_error *err)
{
        struct arena *scratch = arena_new(0);
        struct model *m = scratch ? arena_take(scratch, sizeof *m) : NULL;
        struct model_report *r = scratch ? arena_take(scratch, sizeof *r) : NULL;
        void *workspace = scratch ? arena_take(scratch, rf_fit_vector_bytes(data->axis->n, data->ports, 0)) : NULL;
        struct model_options how = {.kind = MODEL_S, .keep_active = active};
        enum code code = m && r && workspace ? rf_fit_vector(data, &how, workspace, m, r, err) : tp_fail_memory(err);
        if (!code)
                code = netlist_write_model(m, &r->error, &r->after, about, netlist, err);
        if (!code)
                row(j, s, file, "vector", "order", (double)rational_order(&m->fit), NAN, "1", &r->error);
        arena_free(scratch);
        return code;
}

static enum code one(struct models_job *j, const struct sweep_name *s, struct tp_error *err)
{
        char s2p[200], path[1000], name[41], file[210], comments[400];
        struct net2 net;
        struct text netlist;
        const cJSON *device = device_of(j, s->device);
        const char *kind = device ? have_text(device, "kind") : "";
        double length_um = device ? have_real(device, "length_um") : NAN;
        sweep_file_name(s, s2p, sizeof s2p);
        snprintf(path, sizeof path, "%s/%s", j->dir, s2p);
        enum code code = offline_net2(j->c, path, PLANE_DEVICE, &net, err);
        if (code)
                return code;
        if (!(net2_z_real(&net) > 0))
                return tp_fail(err, CODE_UNRESOLVABLE, "%s: the data are in the line's own impedance, which has no ohms", s2p);
        struct model_data data = {.axis = net.axis, .ports = 2, .z_ohm = net2_z_real(&net)};
        for (int k = 0; k < 4; k++) {
                data.re[k] = net.re[k];
                data.im[k] = net.im[k];
        }
        s2p[strlen(s2p) - 4] = '\0';
        snprintf(file, sizeof file, "%s.cir", s2p);
        snprintf(name, sizeof name, "%.40s", s2p);
        for (char *at = name; *at; at++)
                *at = (char)((*at >= 'A' && *at <= 'Z') ? *at - 'A' + 'a' : strchr("-+.", *at) ? '_' : *at);
        snprintf(comments, sizeof comments, "fitted to %s.s2p, a %s", s2p, kind);
        struct netlist_about about = {.name = name, .comments = comments};
        enum circuit_kind of = kind_of(kind);
        text_init(&netlist, FILE_BYTES_MAX);
        code = CODE_UNRESOLVABLE;
        if (of != CIRCUIT_UNKNOWN && (of != CIRCUIT_LINE || length_um > 0))
                code = circuit(j, of, &data, length_um * 1e-6, s, file, &about, &netlist, err);
        j->circuits += !code;
        if (code == CODE_UNRESOLVABLE) {
                text_clear(&netlist);
                code = rational(j, &data, strcmp(kind, "transistor") == 0, s, file, &about, &netlist, err);
                j->rationals += !code;
        }
        snprintf(path, sizeof path, "%s/models/%s", j->dir, file);
        if (!code)
                code = text_ok(&netlist) ? j->c->world->file->write(j->c->world, path, text_of(&netlist), netlist.n, 0644, err)
                                         : tp_fail_memory(err);
        text_done(&netlist);
        return code;
}

enum code export_models(struct cli *c, const char *run, const char *dir, const struct sweep_name *names, size_t n, struct tp_error *err)
{
        struct models_job j = {.c = c, .dir = dir};
        struct answer a;
        char path[1000];
        enum code code = http_get(c, &a, err, "/api/v1/runs/%s/devices", run);
        text_init(&j.table, FILE_BYTES_MAX);
        text_put(&j.table, "file,die_x,die_y,device,condition,model,element,value,u95,unit,s_rms,s_worst,s_worst_hz\n");
        j.devices = code ? NULL : have(a.json, "devices");
        snprintf(path, sizeof path, "%s/models", dir);
        if (!code)
                code = c->world->file->make_dir(c->world, path, err);
        for (size_t i = 0; !code && i < n; i++) {
                const cJSON *device = device_of(&j, names[i].device);
                if (!names[i].is_last || names[i].refused || (device && have_true(device, "dummy")))
                        continue;
                enum code fitted = one(&j, &names[i], err);
                if (fitted == CODE_DISK || fitted == CODE_DISK_FULL || fitted == CODE_MEMORY)
                        code = fitted;
                if (fitted && !j.failed++)
                        snprintf(j.why, sizeof j.why, "die %lld,%lld %s: %s", names[i].x, names[i].y, names[i].device, err->text);
        }
        snprintf(path, sizeof path, "%s/models/models.csv", dir);
        if (!code)
                code = text_ok(&j.table) ? c->world->file->write(c->world, path, text_of(&j.table), j.table.n, 0644, err)
                                         : tp_fail_memory(err);
        if (!code)
                text_f(&c->out, "%zu circuits and %zu rational models as subcircuits, and models.csv, in %s/models\n", j.circuits,
                       j.rationals, dir);
        if (!code && j.failed)
                cli_say("%zu devices have no model; the first: %s", j.failed, j.why);
        text_done(&j.table);
        answer_done(&a);
        return code;
}
