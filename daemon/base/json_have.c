/* json_have.c: what stands under a key of a JSON object that is known to be right. */
#include "base/json.h"
#include <math.h>

const cJSON *have(const cJSON *in, const char *key) { return in ? cJSON_GetObjectItemCaseSensitive(in, key) : NULL; }

const char *have_text(const cJSON *in, const char *key)
{
        const cJSON *at = have(in, key);
        return cJSON_IsString(at) && at->valuestring ? at->valuestring : "";
}

double have_real(const cJSON *in, const char *key)
{
        const cJSON *at = have(in, key);
        return cJSON_IsNumber(at) ? at->valuedouble : NAN;
}

int64_t have_int(const cJSON *in, const char *key)
{
        double v = have_real(in, key);
        return v >= -9007199254740992.0 && v <= 9007199254740992.0 ? (int64_t)v : 0;
}

bool have_true(const cJSON *in, const char *key) { return cJSON_IsTrue(have(in, key)); }
