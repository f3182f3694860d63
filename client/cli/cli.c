/* cli.c: options asked for, output written, JSON read: what every command needs. */
#include "cli/cli.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

const char *cli_option(const struct cli *c, const char *name)
{
        for (size_t i = 0; global_options[i].name; i++)
                if (strcmp(global_options[i].name, name) == 0)
                        return c->global[i];
        for (size_t i = 0; c->row && i < CLI_OPTIONS_MAX && c->row->options[i].name; i++)
                if (strcmp(c->row->options[i].name, name) == 0)
                        return c->option[i];
        return NULL;
}

bool cli_takes(const struct cli *c, const char *name)
{
        for (size_t i = 0; c->row && i < CLI_OPTIONS_MAX && c->row->options[i].name; i++)
                if (strcmp(c->row->options[i].name, name) == 0)
                        return true;
        return false;
}

bool cli_json(const struct cli *c) { return cli_has(c, "json"); }

bool cli_flush(struct cli *c)
{
        bool ok = c->out.n == 0 || fwrite(c->out.at, 1, c->out.n, stdout) == c->out.n;
        text_clear(&c->out);
        return fflush(stdout) == 0 && ok;
}

void cli_say(const char *fmt, ...)
{
        va_list args;
        va_start(args, fmt);
        fputs("tipplane: ", stderr);
        vfprintf(stderr, fmt, args);
        fputc('\n', stderr);
        va_end(args);
}

void cli_note(struct cli *c, const char *fmt, ...)
{
        char line[600];
        va_list args;
        va_start(args, fmt);
        vsnprintf(line, sizeof line, fmt, args);
        va_end(args);
        const char *copy = c->note_n < CLI_NOTES_MAX ? arena_text(c->arena, line) : NULL;
        if (copy)
                c->note[c->note_n++] = copy;
}

void cli_notes_json(const struct cli *c, struct json_out *o)
{
        json_open(o, "notes", '[');
        for (size_t k = 0; k < c->note_n; k++)
                json_text(o, NULL, c->note[k]);
        json_close(o, ']');
}

const char *have_die(const cJSON *in, const char *key, char ret[32], const char *none)
{
        const cJSON *die = have(in, key);
        if (!cJSON_IsObject(die))
                return none;
        snprintf(ret, 32, "%lld,%lld", (long long)have_int(die, "x"), (long long)have_int(die, "y"));
        return ret;
}

enum code check_name(const char *what, const char *name, struct tp_error *err)
{
        static const char good[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._+-";
        size_t n = strlen(name);
        if (n >= 1 && n <= 39 && strspn(name, good) == n)
                return CODE_OK;
        return tp_fail(err, CODE_BAD_INPUT, "%s '%.60s': a name has 1 to 39 letters of A-Z a-z 0-9 . _ + -", what, name);
}

enum code check_run(const char *run, struct tp_error *err)
{
        if (ulid_valid(run))
                return CODE_OK;
        return tp_fail(err, CODE_NOT_FOUND, "there is no run '%.40s': a run's id has 26 characters; `tipplane runs` lists what there is",
                       run);
}
