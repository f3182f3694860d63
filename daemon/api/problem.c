/* problem.c: what is wrong, as one sentence for people, one word for programs, and a way on. */
#include "api/problem.h"
#include "api/route.h"
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

struct words {
        const char *word;
        int status;
        const char *title, *what_to_do;
};
static const struct words by_code[CODE_COUNT] = {
        [CODE_OK] = {"ok", 200, "Nothing is wrong", "Nothing."},
        [CODE_BAD_INPUT] = {"bad_input", 422, "The request cannot be understood as it stands",
                            "Correct the value at the pointer and send it again."},
        [CODE_NOT_FOUND] = {"not_found", 404, "There is no such thing", "Ask the list above it for what there is."},
        [CODE_STATE] = {"state", 409, "Not possible in the present state",
                        "Read the run and the station, then ask for what fits their state."},
        [CODE_INTERLOCK] = {"interlock", 409, "An interlock refuses", "Look at the station; the sentence names what is open."},
        [CODE_FORBIDDEN] = {"forbidden", 403, "Not allowed", "Use a token of the role named here, or ask somebody who has one."},
        [CODE_UNAUTHENTICATED] = {"unauthenticated", 401, "A token is needed",
                                  "Send Authorization: Bearer TOKEN; the first token lies in the data directory, in the file token."},
        [CODE_TIMED_OUT] = {"timed_out", 504, "No answer in time", "Look whether it happened before asking again."},
        [CODE_CANCELLED] = {"cancelled", 503, "Cancelled", "Ask again when the daemon runs."},
        [CODE_LINK_DEAD] = {"link_dead", 502, "The station does not answer",
                            "Start tipplane-station or look at its log; the daemon connects by itself."},
        [CODE_BAD_REPLY] = {"bad_reply", 502, "An instrument answered what was not asked",
                            "Read the station's log; the sentence names the instrument."},
        [CODE_DISK_FULL] = {"disk_full", 507, "The disk is full",
                            "Make room on the disk of the data directory; the daemon goes on by itself."},
        [CODE_DISK] = {"disk", 500, "The disk failed", "Look at the disk, then start the daemon anew."},
        [CODE_DAMAGED] = {"damaged", 500, "A stored file is damaged",
                          "Take the copy from the backup; the damaged file is kept under another name."},
        [CODE_TOO_NEW] = {"too_new", 409, "Written by a newer version", "Use the version that wrote it, or a newer one."},
        [CODE_BUSY] = {"busy", 503, "Busy", "Ask again in a moment."},
        [CODE_MEMORY] = {"memory", 503, "Short of memory", "Ask for less at once, or again in a moment."},
        [CODE_UNRESOLVABLE] = {"unresolvable", 422, "The data cannot tell", "Read why; ask at another frequency or measure better."},
        [CODE_BUG] = {"bug", 500, "A mistake in the daemon",
                      "Report the sentence and the request's id; the run file has all that is needed."},
};
static const struct words by_problem[PROBLEM_COUNT] = {
        [PROBLEM_NONE] = {"none", 200, "Nothing is wrong", "Nothing."},
        [PROBLEM_NO_ROUTE] = {"no_route", 404, "There is no such address", "Read /openapi.yaml for the addresses there are."},
        [PROBLEM_METHOD] = {"method", 405, "This address does not do that", "Use one of the methods in Allow."},
        [PROBLEM_TOO_LONG] = {"too_long", 413, "The body is too long", "Send a shorter body."},
        [PROBLEM_MEDIA_TYPE] = {"media_type", 415, "The body must be JSON", "Send Content-Type: application/json."},
        [PROBLEM_KEY] = {"key_missing", 400, "An Idempotency-Key is needed",
                         "Send a fresh random Idempotency-Key of 8 to 64 letters, digits, - or _ with each new command."},
        [PROBLEM_HEADER] = {"header", 400, "The request's header is ambiguous",
                            "Send each of Host, Content-Length and Transfer-Encoding once and plainly."},
        [PROBLEM_STOPPING] = {"stopping", 503, "The daemon is stopping", "Ask again when it is up; reading still works."},
};

static void write_body(struct text *to, const struct words *w, const char *detail, const char *pointer, const char *instance,
                       const char *request_id, const char *role)
{
        char type[48];
        struct json_out o = json_to(to);
        snprintf(type, sizeof type, "/problems/%s", w->word);
        json_open(&o, NULL, '{');
        json_text(&o, "type", type);
        json_text(&o, "title", w->title);
        json_int(&o, "status", w->status);
        json_text(&o, "code", w->word);
        json_text(&o, "detail", detail);
        json_text(&o, "what_to_do", w->what_to_do);
        if (pointer && pointer[0])
                json_text(&o, "pointer", pointer);
        if (instance)
                json_text(&o, "instance", instance);
        if (request_id && request_id[0])
                json_text(&o, "request_id", request_id);
        if (role)
                json_text(&o, "role", role);
        json_close(&o, '}');
}

void problem_body(const struct tp_error *err, const char *instance, struct text *to)
{
        write_body(to, &by_code[err->code < CODE_COUNT ? err->code : CODE_BUG], err->text, err->pointer, instance, NULL, NULL);
}

static void reply_problem(const struct request *q, struct reply *r, const struct words *w, const char *detail, const char *pointer)
{
        bool about_role = w == &by_code[CODE_FORBIDDEN] || w == &by_code[CODE_UNAUTHENTICATED];
        text_clear(&r->body);
        r->still = NULL;
        r->file[0] = r->etag[0] = 0;
        r->stream = false;
        write_body(&r->body, w, detail, pointer, q->path ? q->path : q->target, q->id,
                   about_role && q->route ? role_words[q->route->role] : NULL);
        r->status = w->status;
        r->type = "application/problem+json";
        if (w->status == 503 && !r->retry_after_s)
                r->retry_after_s = w == &by_problem[PROBLEM_STOPPING] ? 30 : 1;
        if (w->status >= 500)
                log_event(q->api->log, w->status == 503 ? LOG_INFO : LOG_WARN, "request.failed", "request=%s path=%s status=%d msg=\"%s\"",
                          q->id, q->path ? q->path : "?", w->status, detail);
}

void problem_of_error(const struct request *q, struct reply *r, const struct tp_error *err)
{
        reply_problem(q, r, &by_code[err->code > CODE_OK && err->code < CODE_COUNT ? err->code : CODE_BUG], err->text, err->pointer);
}

void problem_say(const struct request *q, struct reply *r, enum problem problem, const char *fmt, ...)
{
        char detail[440];
        struct tp_error plain = {0}; /* what was asked is repeated in it: no control of a terminal may be */
        va_list args;
        va_start(args, fmt);
        vsnprintf(detail, sizeof detail, fmt, args);
        va_end(args);
        tp_fail(&plain, CODE_BAD_INPUT, "%s", detail);
        reply_problem(q, r, &by_problem[problem], plain.text, NULL);
}

static const struct words *words_of(const char *word)
{
        for (size_t i = 1; i < CODE_COUNT; i++)
                if (strcmp(by_code[i].word, word) == 0)
                        return &by_code[i];
        for (size_t i = 1; i < PROBLEM_COUNT; i++)
                if (strcmp(by_problem[i].word, word) == 0)
                        return &by_problem[i];
        return NULL;
}

bool problem_page_now(struct request *q, struct reply *r)
{
        const struct words *w = words_of(q->param[0]);
        if (!w) {
                problem_say(q, r, PROBLEM_NO_ROUTE, "'%.40s' is not the word of a problem; the word is the field code of the answer",
                            q->param[0]);
                return true;
        }
        text_f(&r->body,
               "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><title>%s</title><h1>%s</h1><p>Word <code>%s</code>, HTTP status "
               "%d.</p><p>%s</p></html>\n",
               w->title, w->title, w->word, w->status, w->what_to_do);
        r->status = 200;
        r->type = "text/html; charset=utf-8";
        r->is_page = true;
        return true;
}
