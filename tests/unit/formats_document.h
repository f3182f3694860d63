/* formats_document.h: what the tests of JSON documents of formats/ share: a document with one piece of it otherwise, keys against the schema,
   the example of a page. */
#ifndef TIPPLANE_TESTS_FORMATS_DOCUMENT_H
#define TIPPLANE_TESTS_FORMATS_DOCUMENT_H
#include "tests/unit/file_text.h"
#include <string.h>
#include "base/json.h"
#include "base/text.h"

/* The first `from` of the document replaced by `to`; text_done(). */
static inline struct text document_with(const struct text *document, const char *from, const char *to)
{
        const char *text = text_of(document), *at = strstr(text, from);
        struct text changed;
        if (!at)
                fail_msg("\"%s\" is not in the document", from);
        text_init(&changed, 0);
        text_bytes(&changed, text, (size_t)(at - text));
        text_put(&changed, to);
        text_put(&changed, at + strlen(from));
        return changed;
}

/* What a reader made of it: `got` NULL, for it is refused, at that place and in those words. */
static inline void assert_document_refused(enum code is, const void *got, const struct tp_error *err, enum code want, const char *pointer,
                                           const char *piece, const char *from, const char *to)
{
        if (is != want || got || strcmp(err->pointer, pointer) != 0 || !strstr(err->text, piece))
                fail_msg("%s -> %s: code %d (wanted %d) at \"%s\" (wanted \"%s\"): \"%s\" (wanted \"%s\")", from, to, is, want,
                         err->pointer, pointer, err->text, piece);
}

static inline cJSON *json_of(const char *text, size_t n)
{
        cJSON *json = NULL;
        struct tp_error err = {0};
        if (json_read(text, n, JSON_DEPTH_MAX, &json, &err))
                fail_msg("%s", err.text);
        return json;
}

/* Every key that is written is in the schema, and what the schema wants is written. */
static inline void assert_keys_are_the_schemas(const cJSON *json, const cJSON *schema)
{
        for (const cJSON *e = json->child; e; e = e->next)
                if (!cJSON_GetObjectItem(cJSON_GetObjectItem(schema, "properties"), e->string))
                        fail_msg("\"%s\" is not in the schema", e->string);
        for (const cJSON *e = cJSON_GetObjectItem(schema, "required")->child; e; e = e->next)
                if (!cJSON_GetObjectItem(json, e->valuestring))
                        fail_msg("\"%s\" is not written", e->valuestring);
}

/* The words of a schema's enumeration are those of the program, without its first ("unknown"). */
static inline void assert_words_are_the_schemas(const cJSON *enumeration, const char *const *words)
{
        int n = 0;
        for (const cJSON *e = enumeration->child; e; e = e->next)
                assert_string_equal(e->valuestring, words[++n]);
        assert_null(words[n + 1]);
}

/* The first example of a page, a document: where it begins; *ret_n: its bytes. */
static inline const char *page_example(const char *page, size_t *ret_n)
{
        const char *from = strstr(page, "```json\n"), *to = from ? strstr(from + 8, "```") : NULL;
        assert_non_null(to);
        *ret_n = (size_t)(to - from - 8);
        return from + 8;
}

#endif
