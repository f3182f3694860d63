/* cmd_files.c: files looked at without a daemon. */
#include "cli/cli.h"
#include "cli/number.h"
#include "formats/touchstone.h"

#define FILE_MAX ((size_t)256 << 20)

enum code do_touchstone(struct cli *c, struct tp_error *err)
{
        const char *path = c->args[0];
        unsigned ports = touchstone_ports_of_name(path);
        struct touchstone f;
        struct text bytes;
        if (!ports)
                return tp_fail(err, CODE_BAD_INPUT, "%s: the number of ports is in the name's ending, .s1p to .s4p, and is not there",
                               path);
        text_init(&bytes, FILE_MAX);
        enum code code = c->world->file->read(c->world, path, FILE_MAX, &bytes, err);
        if (!code && (code = touchstone_read(text_of(&bytes), bytes.n, ports, c->arena, &f, err)))
                tp_where(err, "%s", path);
        if (!code && cli_json(c)) {
                struct json_out o = json_to(&c->out);
                json_open(&o, NULL, '{');
                json_int(&o, "ports", f.ports);
                json_int(&o, "points", (int64_t)f.axis.n);
                json_text(&o, "parameter", (const char[]){f.parameter, 0});
                json_real(&o, "freq_hz_min", f.axis.n ? f.axis.hz[0] : 0);
                json_real(&o, "freq_hz_max", f.axis.n ? f.axis.hz[f.axis.n - 1] : 0);
                json_open(&o, "r_ohm", '[');
                for (unsigned i = 0; i < f.ports; i++)
                        json_real(&o, NULL, f.r_ohm[i]);
                json_close(&o, ']');
                json_int(&o, "noise_points", (int64_t)f.noise_n);
                json_close(&o, '}');
                text_put(&c->out, "\n");
        } else if (!code) {
                text_f(&c->out, "%s: %c of ", path, f.parameter);
                put_count(&c->out, f.ports, "port", "ports");
                text_put(&c->out, ", ");
                put_count(&c->out, (long long)f.axis.n, "point", "points");
                if (f.axis.n) {
                        text_put(&c->out, " from ");
                        put_hz(&c->out, f.axis.hz[0]);
                        text_put(&c->out, " to ");
                        put_hz(&c->out, f.axis.hz[f.axis.n - 1]);
                }
                text_f(&c->out, ", R %g ohm", f.r_ohm[0]);
                for (unsigned i = 1; i < f.ports; i++)
                        if (f.r_ohm[i] < f.r_ohm[0] || f.r_ohm[i] > f.r_ohm[0])
                                text_f(&c->out, ", %g ohm", f.r_ohm[i]);
                if (f.noise_n) {
                        text_put(&c->out, ", ");
                        put_count(&c->out, (long long)f.noise_n, "noise point", "noise points");
                }
                text_put(&c->out, "\n");
        }
        text_done(&bytes);
        return code;
}
