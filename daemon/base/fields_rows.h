/* fields_rows.h: short rows for tables (fields.h) of what programs write for each other: journal rows, frames.  Every field may be absent,
   none has a range; what people write (recipes, plans, configurations) wants its ranges and sentences and spells its rows out.  Only for .c
   files that are such tables. */
#ifndef TIPPLANE_BASE_FIELDS_ROWS_H
#define TIPPLANE_BASE_FIELDS_ROWS_H
#include "base/fields.h"
#include <math.h>

#define REAL(s, name, member, u)                                                                                   \
        {                                                                                                          \
                .key = name, .type = FIELD_REAL, .offset = offsetof(s, member), .standard = (double)NAN, .unit = u \
        }
#define INT(s, name, member)                                                  \
        {                                                                     \
                .key = name, .type = FIELD_I32, .offset = offsetof(s, member) \
        }
#define LONG(s, name, member)                                                 \
        {                                                                     \
                .key = name, .type = FIELD_I64, .offset = offsetof(s, member) \
        }
#define BOOL(s, name, member)                                                  \
        {                                                                      \
                .key = name, .type = FIELD_BOOL, .offset = offsetof(s, member) \
        }
#define WORD(s, name, member, list)                                                             \
        {                                                                                       \
                .key = name, .type = FIELD_CHOICE, .offset = offsetof(s, member), .words = list \
        }
#define TEXT(s, name, member)                                                                                  \
        {                                                                                                      \
                .key = name, .type = FIELD_TEXT, .offset = offsetof(s, member), .size = sizeof((s *)0)->member \
        }
#define OBJECT(s, name, member, what)                                                             \
        {                                                                                         \
                .key = name, .type = FIELD_OBJECT, .offset = offsetof(s, member), .object = &what \
        }

#endif
