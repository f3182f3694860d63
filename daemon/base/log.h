/* log.h: one line per event on stderr, key=value, read by the journal.  run/, station/, store/ and api/ log; pure folders never do.
   Any thread.  The sink is set once, before tasks start; nights set a sink that keeps the last lines. */
#ifndef TIPPLANE_BASE_LOG_H
#define TIPPLANE_BASE_LOG_H

enum log_level { LOG_DEBUG, LOG_INFO, LOG_WARN, LOG_ERROR };
struct log {
        void (*line)(void *ctx, enum log_level, const char *line);
        void *ctx;
        enum log_level least;
};
/* event: "contact.lost"; fmt gives further key=value pairs and msg="…".  log may be NULL. */
void log_event(const struct log *log, enum log_level level, const char *event, const char *fmt, ...) __attribute__((format(printf, 4, 5)));
void log_to_stderr(void *ctx, enum log_level level, const char *line);

#endif
