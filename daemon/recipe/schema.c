/* schema.c: the field tables as indented JSON Schema. */
#include "recipe/schema.h"
#include "recipe/extract_limits.h"
#include "recipe/offline_plan.h"
#include <stdlib.h>
#include <string.h>

/* The table writes one line; people read and compare this, so it gets line breaks.  Inside texts nothing is touched. */
static void indent(const char *json, struct text *to)
{
        unsigned depth = 0;
        bool in_text = false;
        for (const char *c = json; *c; c++) {
                bool opens = *c == '{' || *c == '[', closes = *c == '}' || *c == ']';
                if (in_text) {
                        text_bytes(to, c, 1);
                        if (*c == '\\' && c[1])
                                text_bytes(to, ++c, 1);
                        else if (*c == '"')
                                in_text = false;
                        continue;
                }
                if (*c == '\n' || *c == ' ')
                        continue;
                bool is_empty = (opens && (c[1] == '}' || c[1] == ']'));
                if (closes && !(c > json && (c[-1] == '{' || c[-1] == '['))) {
                        depth--;
                        text_put(to, "\n");
                        for (unsigned i = 0; i < depth; i++)
                                text_put(to, "  ");
                } else if (closes)
                        depth--;
                text_bytes(to, c, 1);
                in_text = *c == '"';
                if (*c == ':')
                        text_put(to, " ");
                if (opens)
                        depth++;
                if ((opens && !is_empty) || *c == ',') {
                        text_put(to, "\n");
                        for (unsigned i = 0; i < depth; i++)
                                text_put(to, "  ");
                }
        }
        text_put(to, "\n");
}

enum code schema_print(const char *name, struct text *to, struct tp_error *err)
{
        struct offline_plan_tables plan;
        const struct object *object = strcmp(name, "recipe") == 0   ? &recipe_object
                                      : strcmp(name, "layout") == 0 ? &layout_object
                                      : strcmp(name, "plan") == 0   ? offline_plan_object(&plan)
                                      : strcmp(name, "limits") == 0 ? &extract_limits_object
                                                                    : NULL;
        if (!object)
                return tp_fail(err, CODE_NOT_FOUND, "there is no schema \"%.40s\"; there are recipe, layout, plan and limits", name);
        struct text line;
        text_init(&line, 0);
        fields_schema(object, &line);
        indent(text_of(&line), to);
        bool ok = text_ok(&line) && text_ok(to);
        text_done(&line);
        return ok ? CODE_OK : tp_fail_memory(err);
}
