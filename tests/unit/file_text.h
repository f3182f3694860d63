/* file_text.h: a file of the repository as text, for tests that hold the program against it. */
#ifndef TIPPLANE_TESTS_FILE_TEXT_H
#define TIPPLANE_TESTS_FILE_TEXT_H
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>

/* Ends with a NUL; free().  ret_n may be NULL. */
static inline char *file_text(const char *path, size_t *ret_n)
{
        enum { MOST = 1 << 20 };
        FILE *f = fopen(path, "rb");
        char *text = calloc(1, MOST);
        if (!f || !text)
                fail_msg("%s cannot be opened: run the tests from the repository's root", path);
        size_t n = fread(text, 1, MOST - 1, f);
        fclose(f);
        assert_true(n > 0 && n < MOST - 1);
        if (ret_n)
                *ret_n = n;
        return text;
}

#endif
