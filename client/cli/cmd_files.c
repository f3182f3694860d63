/* cmd_files.c: a Touchstone file looked at, or written as another version, without a daemon. */
#include "cli/number.h"
#include "cli/offline.h"
#include <string.h>

static const char *version_of(const struct touchstone *f)
{
        return f->version == 10 ? "1.0" : f->version == 11 ? "1.1" : f->version == 20 ? "2.0" : "2.1";
}

static void put_json(struct cli *c, const struct touchstone *f)
{
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_text(&o, "version", version_of(f));
        json_int(&o, "ports", f->ports);
        json_int(&o, "points", (int64_t)f->axis.n);
        json_text(&o, "parameter", (const char[]){f->parameter, 0});
        json_real(&o, "freq_hz_min", f->axis.n ? f->axis.hz[0] : 0);
        json_real(&o, "freq_hz_max", f->axis.n ? f->axis.hz[f->axis.n - 1] : 0);
        json_open(&o, "r_ohm", '[');
        for (unsigned i = 0; i < f->ports; i++)
                json_real(&o, NULL, f->r_ohm[i]);
        json_close(&o, ']');
        if (f->mode) {
                json_open(&o, "mixed_mode_order", '[');
                for (unsigned i = 0; i < f->ports; i++) {
                        struct text word;
                        text_init(&word, 0);
                        text_f(&word, f->mode[i].other ? "%c%u,%u" : "%c%u", f->mode[i].kind, f->mode[i].port, f->mode[i].other);
                        json_text(&o, NULL, text_of(&word));
                        text_done(&word);
                }
                json_close(&o, ']');
        }
        json_text(&o, "matrix_format", f->matrix == 'L' ? "lower" : f->matrix == 'U' ? "upper" : "full");
        if (f->ports == 2)
                json_text(&o, "two_port_data_order", f->order_12_21 ? "12_21" : "21_12");
        json_int(&o, "noise_points", (int64_t)f->noise_n);
        cli_notes_json(c, &o);
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

static void put_words(struct cli *c, const char *path, const struct touchstone *f)
{
        text_f(&c->out, "%s: %c of ", path, f->parameter);
        put_count(&c->out, f->ports, "port", "ports");
        text_put(&c->out, ", ");
        put_count(&c->out, (long long)f->axis.n, "point", "points");
        if (f->axis.n) {
                text_put(&c->out, " from ");
                put_hz(&c->out, f->axis.hz[0]);
                text_put(&c->out, " to ");
                put_hz(&c->out, f->axis.hz[f->axis.n - 1]);
        }
        text_f(&c->out, ", R %g ohm", f->r_ohm[0]);
        for (unsigned i = 1; i < f->ports; i++)
                if (f->r_ohm[i] < f->r_ohm[0] || f->r_ohm[i] > f->r_ohm[0])
                        text_f(&c->out, ", %g ohm at port %u", f->r_ohm[i], i + 1);
        if (f->mode)
                text_put(&c->out, ", mixed modes");
        if (f->noise_n) {
                text_put(&c->out, ", ");
                put_count(&c->out, (long long)f->noise_n, "noise point", "noise points");
        }
        if (f->version > 10)
                text_f(&c->out, ", Touchstone %s", version_of(f));
        text_put(&c->out, "\n");
}

static enum code write_as(struct cli *c, struct touchstone *f, const char *as, struct tp_error *err)
{
        static const struct {
                const char *word;
                unsigned version;
        } versions[] = {{"1.0", 10}, {"1.1", 11}, {"2.0", 20}, {"2.1", 21}};
        struct text text;
        size_t k = 0;
        while (k < 4 && strcmp(as, versions[k].word) != 0)
                k++;
        if (k == 4)
                return tp_fail(err, CODE_BAD_INPUT, "--as '%.40s': there are 1.0, 1.1, 2.0 and 2.1", as);
        f->version = versions[k].version;
        text_init(&text, FILE_BYTES_MAX);
        enum code code = touchstone_write(f, &(struct touchstone_write){.comments = f->comments}, &text, err);
        if (!code)
                code = offline_out(c, &text, err);
        text_done(&text);
        return code;
}

enum code do_touchstone(struct cli *c, struct tp_error *err)
{
        struct touchstone f;
        const char *as = cli_option(c, "as");
        enum code code = offline_touchstone(c, c->args[0], &f, err);
        if (code)
                return code;
        if (cli_has(c, "out") && !as)
                return tp_fail(err, CODE_BAD_INPUT, "--out needs --as VERSION: what to write");
        if (as && (cli_json(c) || cli_has(c, "check")))
                return tp_fail(err, CODE_BAD_INPUT, "--as writes the file anew, --%s says what is in it; one at a time",
                               cli_json(c) ? "json" : "check");
        if (as)
                return write_as(c, &f, as, err) ? tp_where(err, "%s", c->args[0]) : CODE_OK;
        if (cli_json(c))
                put_json(c, &f);
        else
                put_words(c, c->args[0], &f);
        return CODE_OK;
}
