/* json.h: strict reading of JSON (RFC 8259) over cJSON.  Refused, each with one sentence and its place: duplicate keys, bad UTF-8, a byte
   order mark, \u0000, raw control characters, `01`, `1.`, `1e400`, integers beyond 2^53, text after the value, depth over the limit. */
#ifndef TIPPLANE_BASE_JSON_H
#define TIPPLANE_BASE_JSON_H
#include "base/error.h"
#include <cjson/cJSON.h>

#define JSON_DEPTH_MAX 32
/* The caller owns *ret (cJSON_Delete).  `text` need not be NUL-terminated. */
enum code json_read(const char *text, size_t n, unsigned depth_max, cJSON **ret, struct tp_error *err);

#endif
