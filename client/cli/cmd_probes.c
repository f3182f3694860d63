/* cmd_probes.c: what the calibrations of many runs say of the probes and modules they were made with. */
#include "cli/http.h"
#include "cli/probes.h"
#include <stdlib.h>
#include <string.h>

enum code do_probes(struct cli *c, struct tp_error *err)
{
        const char *text = cli_option(c, "runs"), *serial = cli_option(c, "probe");
        char *end = NULL;
        long limit = text ? strtol(text, &end, 10) : 50;
        if (text && (end == text || *end || limit < 1 || limit > 1000))
                return tp_fail(err, CODE_BAD_INPUT, "--runs %.40s: a whole number from 1 to 1000", text);
        struct probes_history h = probes_history_of(c->arena);
        struct answer runs;
        const cJSON *r;
        enum code code = http_get(c, &runs, err, "/api/v1/runs?limit=%ld", limit);
        cJSON_ArrayForEach(r, have(code ? NULL : runs.json, "runs"))
        {
                struct answer part;
                const char *state = have_text(r, "state");
                if (code || h.n == PROBES_CALIBRATIONS_MAX || (strcmp(state, "open") != 0 && strcmp(state, "sealed") != 0))
                        continue; /* damaged, gone: there is no file to ask */
                code = http_get(c, &part, err, "/api/v1/runs/%s/calibrations", have_text(r, "id"));
                if (!code)
                        code = probes_take(&h, have_text(r, "id"), part.json, serial, err);
                answer_done(&part);
        }
        answer_done(&runs);
        if (!code)
                code = probes_judge(&h, serial, err);
        if (!code && cli_json(c))
                probes_show_json(&h, &c->out);
        else if (!code)
                probes_show(&h, &c->out);
        return code;
}
