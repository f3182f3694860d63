#include "base/log.h"
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

struct last {
        char line[2048];
        int n;
};

static void keep(void *ctx, enum log_level level, const char *line)
{
        struct last *l = ctx;
        (void)level;
        l->n++;
        snprintf(l->line, sizeof l->line, "%s", line);
}

static void one_event_is_one_line(void **state)
{
        struct last last = {.n = 0};
        struct log log = {.line = keep, .ctx = &last, .least = LOG_INFO};
        char longest[3000];
        (void)state;
        log_event(&log, LOG_WARN, "contact.lost", "run=%d die=%d,%d msg=\"%s\"", 12, 4, -3, "moved 0.4 dB");
        assert_string_equal(last.line, "level=warn event=contact.lost run=12 die=4,-3 msg=\"moved 0.4 dB\"");
        log_event(&log, LOG_DEBUG, "loop.turn", "n=%d", 1);
        assert_int_equal(last.n, 1);
        log_event(&log, LOG_ERROR, "x", "msg=\"%s\"", "a\nlevel=info event=forged\r\x1b[2J");
        assert_string_equal(last.line, "level=error event=x msg=\"a level=info event=forged  [2J\"");
        memset(longest, 'x', sizeof longest);
        longest[sizeof longest - 1] = 0;
        log_event(&log, LOG_ERROR, "x", "%s", longest);
        assert_true(strlen(last.line) < 1100);
        log_event(NULL, LOG_ERROR, "x", "%d", 1);
        assert_int_equal(last.n, 3);
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(one_event_is_one_line)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
