/* tipplane.c: argv to one command, its output to stdout, its error to stderr, its status to the shell. */
#include "cli/http.h"
#include "cli/parse.h"
#include "host/host.h"
#include <curl/curl.h>
#include <stdio.h>
#include <string.h>

#ifndef TIPPLANE_VERSION
#define TIPPLANE_VERSION "unknown"
#endif

static enum code obey(struct cli *c, struct tp_error *err)
{
        if (cli_has(c, "version")) {
                text_put(&c->out, "tipplane " TIPPLANE_VERSION "\n");
                return CODE_OK;
        }
        if (!c->row || cli_has(c, "help")) {
                if (c->row)
                        help_of(c->row, &c->out);
                else
                        help_all(&c->out);
                return CODE_OK;
        }
        return c->row->run(c, err);
}

int main(int argc, char **argv)
{
        struct tp_error err = {0};
        struct world *world = host_world_new(&err);
        struct cli c = {.world = world, .arena = arena_new(0)};
        text_init(&c.out, (size_t)1 << 31);
        enum code code = world && c.arena ? parse_line(&c, argc, argv, &err) : tp_fail_memory(&err);
        if (!code && curl_global_init(CURL_GLOBAL_DEFAULT))
                code = tp_fail(&err, CODE_BUG, "libcurl cannot be started");
        if (!code)
                code = obey(&c, &err);
        if (!text_ok(&c.out))
                code = tp_fail_memory(&err);
        bool is_answered = c.is_answered || c.out.n > 0;
        cli_flush(&c); /* what was found before a failure is worth seeing */
        /* Notes say why data give no answer, too.  With --json they are in the answer, where there is one. */
        bool say_notes = code ? code == CODE_UNRESOLVABLE && !(cli_json(&c) && is_answered) : !cli_json(&c);
        for (size_t k = 0; k < c.note_n && say_notes; k++)
                cli_say("%s", c.note[k]);
        if (code)
                fprintf(stderr, "tipplane: %s\n", err.text);
        if (c.curl)
                curl_easy_cleanup(c.curl);
        curl_global_cleanup();
        text_done(&c.out);
        arena_free(c.arena);
        host_world_free(world);
        return code ? code_rows[code].exit : c.status;
}
