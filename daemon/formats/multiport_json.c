/* multiport_json.c: error terms of three and four ports out of and into JSON (multiport_json.h).
 * Trap        K of port 1 is 1 by its definition: it is not written, and a document that has it is refused. */
#include "formats/multiport_json_own.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

#define FORMAT "tipplane multiport error terms"
#define WORDS_N MULTIPORT_TERM_COUNT
const char *const multiport_term_words[MULTIPORT_TERM_COUNT] = {"ED", "ES", "ER", "K"};
const char *const multiport_port_words[RF_PORTS_MAX] = {"port_1", "port_2", "port_3", "port_4"};
_Static_assert(RF_PORTS_MAX == 4, "each port has its word");

struct port_column {
        double *re, *im;
};
static struct port_column column_of(const struct multiport_terms *t, unsigned port, int k)
{
        struct port_column c;
        multiport_column(t, port, (enum multiport_term)k, &c.re, &c.im);
        return c;
}
/* Of port 1 all but K. */
static int columns_n(unsigned port) { return port ? WORDS_N : WORDS_N - 1; }

/* ---- writing ----------------------------------------------------------------------------------------------------------------------------
 */

static enum code write_check(const struct multiport_terms *t, const struct port_switch *sw, const struct terms_note *notes, size_t note_n,
                             const struct multiport_causes *causes, struct tp_error *err)
{
        if (t->ports < 2 || t->ports > RF_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "error terms of %u ports cannot be written; 2 to %d ports can", t->ports, RF_PORTS_MAX);
        if (t->plane <= PLANE_UNKNOWN || t->plane >= PLANE_COUNT)
                return tp_fail(err, CODE_BAD_INPUT, "the error terms do not say their reference plane; set it before they are written");
        if (t->axis->n > TERMS_JSON_POINTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%zu frequencies are too many; at most %d are written", t->axis->n,
                               TERMS_JSON_POINTS_MAX);
        enum code code = CODE_OK;
        for (unsigned p = 0; p < t->ports && !code; p++) {
                for (int k = 0; k < columns_n(p) && !code; k++) {
                        struct port_column c = column_of(t, p, k);
                        char name[32];
                        snprintf(name, sizeof name, "%s of port %u", multiport_term_words[k], p + 1);
                        code = terms_column_check(name, t->axis, c.re, c.im, err);
                }
                if (!code && sw) {
                        char name[40];
                        snprintf(name, sizeof name, "the switch term of port %u", p + 1);
                        code = terms_column_check(name, t->axis, sw->re[p], sw->im[p], err);
                }
        }
        if (!code)
                code = terms_z_check(t->z_re, t->z_im, t->axis->n, err);
        if (!code)
                code = terms_notes_check(notes, note_n, err);
        return code || !causes ? code : multiport_causes_check(t, causes, err);
}

enum code multiport_json_write(const struct multiport_terms *t, const struct port_switch *sw, const struct terms_note *notes, size_t note_n,
                               const struct multiport_causes *causes, struct text *to, struct tp_error *err)
{
        enum code code = write_check(t, sw, notes, note_n, causes, err);
        size_t n = t->axis->n;
        if (code)
                return code;
        struct json_out o = json_to(to);
        json_open(&o, NULL, '{');
        json_text(&o, "format", FORMAT);
        json_int(&o, "version", MULTIPORT_JSON_VERSION);
        json_int(&o, "ports", t->ports);
        json_text(&o, "plane", plane_words[t->plane]);
        json_bool(&o, "switch_terms_removed", t->switch_removed);
        terms_notes_out(&o, notes, note_n);
        terms_reals_out(&o, "frequencies_hz", t->axis->hz, n);
        terms_z_out(&o, t->z_re, t->z_im, n);
        json_open(&o, "terms", '{');
        for (unsigned p = 0; p < t->ports; p++) {
                json_open(&o, multiport_port_words[p], '{');
                for (int k = 0; k < columns_n(p); k++)
                        terms_column_out(&o, multiport_term_words[k], column_of(t, p, k).re, column_of(t, p, k).im, n);
                json_close(&o, '}');
        }
        json_close(&o, '}');
        if (sw) {
                json_open(&o, "switch_terms", '{');
                for (unsigned p = 0; p < t->ports; p++)
                        terms_column_out(&o, multiport_port_words[p], sw->re[p], sw->im[p], n);
                json_close(&o, '}');
        }
        if (causes)
                multiport_causes_out(&o, t, causes);
        json_close(&o, '}');
        text_put(to, "\n");
        return text_ok(to) ? CODE_OK : tp_fail_memory(err);
}

/* ---- reading ----------------------------------------------------------------------------------------------------------------------------
 */

static enum code ports_in(const cJSON *json, unsigned *ret, struct tp_error *err)
{
        const cJSON *e;
        enum code code = terms_find(json, "", "ports", &e, err);
        if (code)
                return code;
        if (!cJSON_IsNumber(e) || !(e->valuedouble >= 2 && e->valuedouble <= RF_PORTS_MAX && e->valuedouble == floor(e->valuedouble)))
                return tp_fail_at(err, CODE_BAD_INPUT, "/ports", "/ports must be a whole number from 2 to %d", RF_PORTS_MAX);
        *ret = (unsigned)e->valuedouble;
        return CODE_OK;
}

/* The object at `key`, with an entry for each port and no other. */
static enum code by_port(const cJSON *json, const char *key, unsigned ports, const cJSON **ret, struct tp_error *err)
{
        char pointer[40];
        enum code code = terms_find(json, "", key, ret, err);
        if (code)
                return code;
        snprintf(pointer, sizeof pointer, "/%s", key);
        if (!cJSON_IsObject(*ret))
                return tp_fail_at(err, CODE_BAD_INPUT, pointer, "%s must be an object with an entry for each port, port_1 to port_%u",
                                  pointer, ports);
        return terms_only(*ret, pointer, multiport_port_words, ports, err);
}

static enum code terms_in(const cJSON *json, struct multiport_terms *t, struct tp_error *err)
{
        const cJSON *all, *port, *column;
        enum code code = by_port(json, "terms", t->ports, &all, err);
        for (unsigned p = 0; p < t->ports && !code; p++) {
                char at[24], below[32];
                snprintf(at, sizeof at, "/terms/%s", multiport_port_words[p]);
                code = terms_find(all, "/terms", multiport_port_words[p], &port, err);
                if (!code && !cJSON_IsObject(port))
                        code = tp_fail_at(err, CODE_BAD_INPUT, at, "%s must be an object with a column for each term", at);
                if (!code)
                        code = terms_only(port, at, multiport_term_words, (size_t)columns_n(p), err);
                for (int k = 0; k < columns_n(p) && !code; k++) {
                        struct port_column c = column_of(t, p, k);
                        snprintf(below, sizeof below, "%s/%s", at, multiport_term_words[k]);
                        if (!(code = terms_find(port, at, multiport_term_words[k], &column, err)))
                                code = terms_column_in(column, below, t->axis->n, c.re, c.im, err);
                }
        }
        for (size_t i = 0; i < t->axis->n && !code; i++) {
                t->port[0].k_re[i] = 1;
                t->port[0].k_im[i] = 0;
        }
        return code;
}

static enum code switch_in(const cJSON *json, struct arena *arena, struct multiport_json *f, struct tp_error *err)
{
        const cJSON *all, *column;
        if (!cJSON_GetObjectItemCaseSensitive(json, "switch_terms"))
                return CODE_OK;
        enum code code = by_port(json, "switch_terms", f->terms.ports, &all, err);
        for (unsigned p = 0; p < f->terms.ports && !code; p++) {
                char at[32];
                snprintf(at, sizeof at, "/switch_terms/%s", multiport_port_words[p]);
                if (!(f->sw.re[p] = arena_take(arena, f->axis.n * sizeof(double))) ||
                    !(f->sw.im[p] = arena_take(arena, f->axis.n * sizeof(double))))
                        return tp_fail_memory(err);
                if (!(code = terms_find(all, "/switch_terms", multiport_port_words[p], &column, err)))
                        code = terms_column_in(column, at, f->axis.n, f->sw.re[p], f->sw.im[p], err);
        }
        f->has_sw = !code;
        return code;
}

static enum code all_in(const cJSON *json, struct arena *arena, struct multiport_json *f, struct tp_error *err)
{
        static const char *const keys[] = {"format", "version",        "ports",      "plane", "switch_terms_removed",
                                           "notes",  "frequencies_hz", "z_ref_ohm",  "terms", "switch_terms",
                                           "causes", "each_reading",   "not_counted"};
        unsigned ports = 0;
        int plane = 0;
        enum code code = terms_head_in(json, FORMAT, MULTIPORT_JSON_VERSION, keys, COUNT_OF(keys), err);
        if (code || (code = ports_in(json, &ports, err)) || (code = terms_word_in(json, "plane", plane_words, &plane, err)) ||
            (code = terms_axis_in(json, arena, &f->axis, err)))
                return code;
        void *memory = arena_take(arena, multiport_terms_bytes(f->axis.n, ports));
        if (!memory)
                return tp_fail_memory(err);
        f->terms = multiport_terms_at(memory, &f->axis, ports);
        f->terms.plane = (enum plane)plane;
        if ((code = terms_bool_in(json, "switch_terms_removed", &f->terms.switch_removed, err)) ||
            (code = terms_z_in(json, &f->axis, f->terms.z_re, f->terms.z_im, err)) || (code = terms_in(json, &f->terms, err)) ||
            (code = terms_notes_in(json, arena, &f->notes, &f->note_n, err)))
                return code;
        code = switch_in(json, arena, f, err);
        return code ? code : multiport_causes_in(json, &f->terms, f->has_sw, arena, &f->causes, err);
}

enum code multiport_json_read(const char *bytes, size_t n, struct arena *arena, struct multiport_json **ret, struct tp_error *err)
{
        cJSON *json = NULL;
        struct multiport_json *f = arena_take(arena, sizeof *f);
        if (!f)
                return tp_fail_memory(err);
        enum code code = json_read(bytes, n, 8, &json, err);
        if (code)
                return tp_where(err, "error terms");
        code = all_in(json, arena, f, err);
        cJSON_Delete(json);
        if (!code)
                *ret = f;
        return code;
}

bool multiport_json_is(const char *bytes, size_t n)
{
        cJSON *json = NULL;
        if (json_read(bytes, n, 8, &json, NULL))
                return false;
        const cJSON *format = cJSON_IsObject(json) ? cJSON_GetObjectItemCaseSensitive(json, "format") : NULL;
        bool is = cJSON_IsString(format) && strcmp(format->valuestring, FORMAT) == 0;
        cJSON_Delete(json);
        return is;
}
