/* log.c: one event, one line: "level=warn event=contact.lost run=12 msg=\"…\"".  No time stamp: the journal puts its own. */
#include "base/log.h"
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { LINE_ROOM = 1024 };

/* A line stays one line whatever it carries: text from outside must not be able to forge the next one. */
static void keep_one_line(char *line)
{
        for (char *c = line; *c; c++)
                if ((unsigned char)*c < 0x20 || *c == 0x7F)
                        *c = ' ';
}

void log_event(const struct log *log, enum log_level level, const char *event, const char *fmt, ...)
{
        static const char *const words[] = {[LOG_DEBUG] = "debug", [LOG_INFO] = "info", [LOG_WARN] = "warn", [LOG_ERROR] = "error"};
        char line[LINE_ROOM];
        if (!log || !log->line || level < log->least)
                return;
        int n = snprintf(line, sizeof line, "level=%s event=%s ", words[level], event);
        if (n > 0 && (size_t)n < sizeof line) {
                va_list args;
                va_start(args, fmt);
                vsnprintf(line + n, sizeof line - (size_t)n, fmt, args);
                va_end(args);
        }
        keep_one_line(line);
        log->line(log->ctx, level, line);
}

void log_to_stderr(void *ctx, enum log_level level, const char *line)
{
        char whole[LINE_ROOM + 2];
        (void)ctx;
        (void)level;
        int n = snprintf(whole, sizeof whole, "%s\n", line);
        size_t bytes = n < 0 ? 0 : (size_t)n < sizeof whole ? (size_t)n : sizeof whole - 1;
        ssize_t done = write(STDERR_FILENO, whole, bytes); /* one write, so that the lines of several tasks do not mix */
        (void)done;                                        /* a full or closed stderr must never stop the work */
}
