/* json.h: strict reading of JSON (RFC 8259) over cJSON.  Refused, each with one sentence and its place: duplicate keys, bad UTF-8, a byte
   order mark, \u0000, raw control characters, `01`, `1.`, `1e400`, integers beyond 2^53, text after the value, depth over the limit. */
#ifndef TIPPLANE_BASE_JSON_H
#define TIPPLANE_BASE_JSON_H
#include "base/error.h"
#include <cjson/cJSON.h>
#include <stdbool.h>
#include <stdint.h>

#define JSON_DEPTH_MAX 32
/* The caller owns *ret (cJSON_Delete).  `text` need not be NUL-terminated. */
enum code json_read(const char *text, size_t n, unsigned depth_max, cJSON **ret, struct tp_error *err);

/* Reading an object that its maker is trusted to have made right (json_have.c).  A key that is absent or null, and one in NULL, gives "", NaN, 0,
   false; have() gives a null as it stands.  Texts live as long as the object. */
const cJSON *have(const cJSON *in, const char *key);
const char *have_text(const cJSON *in, const char *key);
double have_real(const cJSON *in, const char *key);
int64_t have_int(const cJSON *in, const char *key); /* 0 beyond 2^53 */
bool have_true(const cJSON *in, const char *key);

#endif
