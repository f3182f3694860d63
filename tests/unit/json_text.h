/* json_text.h: JSON as a test writes it down. */
#ifndef TIPPLANE_TESTS_JSON_TEXT_H
#define TIPPLANE_TESTS_JSON_TEXT_H
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>
#include "base/json.h"

/* cJSON_Delete() */
static inline cJSON *json(const char *text)
{
        cJSON *j = NULL;
        struct tp_error err = {0};
        if (json_read(text, strlen(text), JSON_DEPTH_MAX, &j, &err))
                fail_msg("%s", err.text);
        return j;
}

#endif
