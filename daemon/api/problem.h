/* problem.h: RFC 9457 problems.  One table of words, shared with /problems/{word}. */
#ifndef TIPPLANE_API_PROBLEM_H
#define TIPPLANE_API_PROBLEM_H
#include "api/api.h"

/* What only HTTP can get wrong, beside the words of code_rows. */
enum problem {
        PROBLEM_NONE,
        PROBLEM_NO_ROUTE,
        PROBLEM_METHOD,
        PROBLEM_TOO_LONG,
        PROBLEM_MEDIA_TYPE,
        PROBLEM_KEY,
        PROBLEM_HEADER,
        PROBLEM_STOPPING,
        PROBLEM_COUNT
};
/* The reply becomes a problem; status and word from err->code. */
void problem_of_error(const struct request *, struct reply *, const struct tp_error *);
void problem_say(const struct request *, struct reply *, enum problem, const char *fmt, ...) __attribute__((format(printf, 4, 5)));
/* The JSON alone, as kept for repeated commands. */
void problem_body(const struct tp_error *, const char *instance, struct text *to);

#endif
