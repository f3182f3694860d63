/* schema.h: the JSON Schemas of this room's documents, as committed in schema/. */
#ifndef TIPPLANE_RECIPE_SCHEMA_H
#define TIPPLANE_RECIPE_SCHEMA_H
#include "base/error.h"
#include "base/text.h"

/* `name` "recipe", "layout", "plan" or "limits"; indented, one newline at the end.  CODE_NOT_FOUND for another name. */
enum code schema_print(const char *name, struct text *to, struct tp_error *err);

#endif
