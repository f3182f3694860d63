/* recipe_rows.h: how the recipe's field tables spell their rows.  Only for recipe_fields*.c: their tables read better with one row per field,
   so clang-format stays off in them. */
#ifndef TIPPLANE_RECIPE_RECIPE_ROWS_H
#define TIPPLANE_RECIPE_RECIPE_ROWS_H
#include "recipe/recipe_own.h"

/* clang-format off: the line of a table's row that goes on */
#define COUNT_OF(a) (sizeof(a) / sizeof(a)[0])
#define AT(type, member) .offset = offsetof(type, member)
#define TEXT_AT(type, member) .offset = offsetof(type, member), .size = sizeof(((type *)0)->member)
#define LIST_AT(type, member, count) .offset = offsetof(type, member), .count_offset = offsetof(type, count)
#define OBJECT_OF(struct_type, word, table, words_for_people)                                                                    \
        {                                                                                                                        \
                .name = word, .say = words_for_people, .bytes = sizeof(struct_type), .fields = table, .field_n = COUNT_OF(table) \
        }

/* Tables that another file of recipe_fields*.c holds. */
extern const struct object sweep_object, setup_object, use_object;

#endif
