/* plan_stored.c: see plan_stored.h. */
#include "run/plan_stored.h"
#include "base/fields.h"
#include "base/hash.h"
#include "station/protocol.h"
#include <string.h>

struct stored_used {
        const cJSON *things;
};
static int32_t used_then(void *ctx, const char *kind, const char *serial, const char *part)
{
        const struct stored_used *s = ctx;
        const cJSON *t;
        cJSON_ArrayForEach(t, s->things)
        {
                const cJSON *k = cJSON_GetObjectItemCaseSensitive(t, "kind"), *se = cJSON_GetObjectItemCaseSensitive(t, "serial"),
                            *p = cJSON_GetObjectItemCaseSensitive(t, "part");
                if (cJSON_IsString(k) && cJSON_IsString(se) && cJSON_IsString(p) && strcmp(k->valuestring, kind) == 0 &&
                    strcmp(se->valuestring, serial) == 0 && strcmp(p->valuestring, part) == 0) {
                        const cJSON *used = cJSON_GetObjectItemCaseSensitive(t, "used");
                        return cJSON_IsNumber(used) && used->valuedouble >= 0 && used->valuedouble <= INT32_MAX
                                       ? (int32_t)used->valuedouble
                                       : INT32_MAX; /* what cannot be read is spent */
                }
        }
        return 0;
}

enum code plan_again(const struct recipe *recipe, const char *wafer, const char *plan_json, struct arena *arena, struct plan **ret,
                     struct tp_error *err)
{
        cJSON *json = NULL;
        struct capability_set can;
        char hex[65];
        enum code code = json_read(plan_json, strlen(plan_json), JSON_DEPTH_MAX, &json, err);
        struct stored_used stored = {cJSON_GetObjectItemCaseSensitive(json, "things")};
        struct ledger_view ledger = {used_then, &stored};
        if (!code)
                code = fields_read(&capability_object, cJSON_GetObjectItemCaseSensitive(json, "can"), arena, &can, err);
        if (!code)
                code = plan_make(recipe, wafer, &can, &ledger, arena, ret, err);
        if (!code) {
                const cJSON *digest = cJSON_GetObjectItemCaseSensitive(json, "digest");
                hex_of((*ret)->digest, 32, hex);
                if (!cJSON_IsString(digest) || strcmp(digest->valuestring, hex) != 0)
                        code = tp_fail(err, CODE_DAMAGED,
                                       "this build plans the recipe in another way (plan %.12s…, stored %.12s…); finish the run with the "
                                       "build that began it",
                                       hex, cJSON_IsString(digest) ? digest->valuestring : "none");
        }
        cJSON_Delete(json);
        return code;
}

enum code plan_stored(struct view *view, const char *run, struct arena *arena, struct recipe **ret_recipe, struct plan **ret,
                      struct tp_error *err)
{
        const char *plan_json = NULL, *text = NULL;
        size_t n = 0;
        struct run_row row;
        enum code code = view_run(view, run, arena, &row, err);
        if (!code)
                code = view_plan(view, arena, &plan_json, &text, &n, err);
        if (!code)
                code = recipe_read(text, n, arena, ret_recipe, err);
        return code ? code : plan_again(*ret_recipe, row.wafer, plan_json, arena, ret, err);
}
