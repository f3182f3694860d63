/* http_reply.c: a reply as bytes, as a file or as a stream of events, and the header fields that each carries (http_own.h). */
#include "api/http_own.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <sys/stat.h>
#include <unistd.h>

static void stream_wake(void *ctx) { MHD_resume_connection(((struct visit *)ctx)->connection); }
static void stream_sleep(void *ctx) { MHD_suspend_connection(((struct visit *)ctx)->connection); }

static ssize_t stream_bytes(void *cls, uint64_t position, char *buffer, size_t max)
{
        struct visit *v = cls;
        size_t n = 0;
        (void)position;
        switch (stream_read(v->stream, buffer, max, &n, stream_sleep)) {
        case STREAM_BYTES:
                return (ssize_t)n;
        case STREAM_SLEEPS:
                return 0;
        case STREAM_ENDED:
                break;
        }
        return MHD_CONTENT_READER_END_OF_STREAM;
}

static struct MHD_Response *file_response(struct visit *v)
{
        struct stat st;
        struct reply *r = &v->reply;
        int fd = open(r->file, O_RDONLY | O_CLOEXEC);
        if (r->file_is_copy)
                unlink(r->file);
        if (fd < 0)
                return NULL;
        struct MHD_Response *response = fstat(fd, &st) ? NULL : MHD_create_response_from_fd64((uint64_t)st.st_size, fd);
        if (!response)
                close(fd);
        return response;
}

static struct MHD_Response *make_response(struct visit *v)
{
        struct reply *r = &v->reply;
        if (r->stream) {
                v->stream = stream_new(v->http->streams, r, stream_wake, v);
                if (v->stream)
                        return MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, 4096, stream_bytes, v, NULL);
                problem_say(&v->request, r, PROBLEM_STOPPING, "no more event streams are taken: %d are open, or the daemon is stopping",
                            STREAMS_MAX);
        }
        if (r->file[0]) {
                struct MHD_Response *response = file_response(v);
                if (response)
                        return response;
                struct tp_error err;
                tp_fail_sys(&err, CODE_DISK, errno, "the run's file %s could not be opened; look at the data directory", r->file);
                problem_of_error(&v->request, r, &err);
        }
        if (r->still)
                return MHD_create_response_from_buffer(r->still_n, (void *)(uintptr_t)r->still, MHD_RESPMEM_PERSISTENT);
        if (!r->body.n)
                return MHD_create_response_from_buffer(0, (void *)(uintptr_t) "", MHD_RESPMEM_PERSISTENT);
        return MHD_create_response_from_buffer(r->body.n, r->body.at, MHD_RESPMEM_PERSISTENT); /* the visit outlives its response */
}

static void add(struct MHD_Response *response, const char *name, const char *value)
{
        if (value && value[0])
                MHD_add_response_header(response, name, value);
}

static void add_headers(struct MHD_Response *response, const struct visit *v)
{
        const struct reply *r = &v->reply;
        char number[24], save[120];
        add(response, "Content-Type", r->type);
        add(response, "ETag", r->etag);
        add(response, "Location", r->location);
        add(response, "Link", r->link);
        add(response, "Allow", r->allow);
        add(response, "X-Dtype", r->dtype);
        add(response, "X-Request-Id", v->request.id);
        add(response, "X-Content-Type-Options", "nosniff");
        add(response, "Referrer-Policy", "no-referrer");
        add(response, "Cross-Origin-Resource-Policy", "same-origin");
        add(response, "Cache-Control", r->stream ? "no-store" : "no-cache");
        if (r->stream)
                add(response, "X-Accel-Buffering", "no");
        if (r->is_page)
                add(response, "Content-Security-Policy",
                    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; base-uri 'none'; "
                    "form-action 'none'; frame-ancestors 'none'");
        if (r->status == 401)
                add(response, "WWW-Authenticate", "Bearer realm=\"tipplane\"");
        if (r->retry_after_s && r->status == 503) {
                snprintf(number, sizeof number, "%u", r->retry_after_s);
                add(response, "Retry-After", number);
        }
        if (r->save_as[0] && r->status == 200) {
                snprintf(save, sizeof save, "attachment; filename=\"%s\"", r->save_as);
                add(response, "Content-Disposition", save);
        }
}

enum MHD_Result visit_send_reply(struct visit *v)
{
        v->state = VISIT_DONE;
        struct MHD_Response *response = make_response(v);
        if (!response)
                return MHD_NO;
        add_headers(response, v);
        enum MHD_Result sent = MHD_queue_response(v->connection, (unsigned)v->reply.status, response);
        MHD_destroy_response(response);
        return sent;
}
