/* refuse.h: one sentence about one place of a document, in the manner of fields_read(): "/devices/2/x_um: 9000 um is outside the die; …".
   Used by wafer/ and recipe/ for what a field table cannot check. */
#ifndef TIPPLANE_WAFER_REFUSE_H
#define TIPPLANE_WAFER_REFUSE_H
#include "base/error.h"

/* A JSON pointer built piece by piece: pointer_at(p, "%s/devices/%zu", prefix, i). */
struct pointer {
        char at[160];
};
struct pointer pointer_at(const char *fmt, ...) __attribute__((format(printf, 1, 2)));
/* CODE_BAD_INPUT; the sentence begins with the pointer. */
enum code refuse_at(struct tp_error *err, struct pointer where, const char *fmt, ...) __attribute__((format(printf, 3, 4)));

#endif
