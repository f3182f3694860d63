/* bench_api.c: answers a second and their latency, of documents of a running daemon, against a bare libmicrohttpd with the same bytes.

   bench_api PORT PID VIEWERS PATH...    on 127.0.0.1; VIEWERS listen to the event stream meanwhile (bench_api.py starts the daemon)

   Prints one JSON object.  Daemon and control take turns within each round and are asked by the same loop: a few connections that stay
   open, each of which asks again as soon as it has its answer whole.  The ratio is of answers for each second of the server's own time on
   the processor, so that neighbours on this machine, and this loop, are not counted; rates and latencies are by the clock on the wall. */
#include <arpa/inet.h>
#include <errno.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { ASKING = 4, VIEWERS_MAX = 100, ROUNDS = 15, ANSWER_MAX = 4 << 20, LATENCIES_MAX = 1 << 20 };
#define ROUND_S 0.2

static _Noreturn void give_up(const char *what, const char *why)
{
        fprintf(stderr, "bench_api: %s: %s\n", what, why);
        exit(1);
}
static double now_s(void)
{
        struct timespec t;
        clock_gettime(CLOCK_MONOTONIC, &t);
        return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}
static int by_value(const void *a, const void *b)
{
        return (*(const double *)a > *(const double *)b) - (*(const double *)a < *(const double *)b);
}

/* ---- one connection ------------------------------------------------------------------------------------------------------------------ */

struct asker {
        int fd;
        char *got;       /* ANSWER_MAX + 1 */
        size_t n, whole; /* whole: head and body, 0: not known yet */
        double asked_s;
};

static int dial(int port)
{
        struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port), .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
        int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), one = 1;
        if (fd < 0 || connect(fd, (struct sockaddr *)&at, sizeof at))
                give_up("connect", strerror(errno));
        setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
        return fd;
}
static void ask(struct asker *a, const char *path)
{
        char request[400];
        int n = snprintf(request, sizeof request, "GET %s HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", path);
        a->n = a->whole = 0;
        a->asked_s = now_s();
        if (n >= (int)sizeof request || write(a->fd, request, (size_t)n) != n)
                give_up(path, "the request does not go out");
}
/* true: the answer is whole. */
static bool hear(struct asker *a, const char *path)
{
        ssize_t n = read(a->fd, a->got + a->n, ANSWER_MAX - a->n);
        if (n <= 0)
                give_up(path, n < 0 ? strerror(errno) : "the connection was closed");
        a->n += (size_t)n;
        a->got[a->n] = '\0';
        char *body = a->whole ? NULL : strstr(a->got, "\r\n\r\n");
        if (body) {
                char *length = strcasestr(a->got, "\r\nContent-Length:");
                if (!length || length > body)
                        give_up(path, "an answer without Content-Length");
                a->whole = (size_t)(body + 4 - a->got) + strtoul(length + 17, NULL, 10);
                if (a->whole > ANSWER_MAX)
                        give_up(path, "an answer too long for this bench");
        }
        return a->whole && a->n >= a->whole;
}

/* ---- a round ------------------------------------------------------------------------------------------------------------------------- */

struct tally {
        double rate[ROUNDS], *latency_s;
        size_t latency_n, refused;
};
struct server {
        int port;
        pid_t pid;
};

static double processor_s(pid_t pid)
{
        clockid_t clock;
        struct timespec t;
        if (clock_getcpuclockid(pid, &clock) || clock_gettime(clock, &t))
                give_up("the server's time on the processor", strerror(errno));
        return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* viewers: connections that only listen; what they hear is thrown away.  Returns answers for each second of the server's time. */
static double round_of(struct server server, const char *path, const int *viewers, size_t viewer_n, struct asker askers[ASKING],
                       struct tally *t, double *ret_rate)
{
        struct pollfd p[ASKING + VIEWERS_MAX];
        char trash[65536];
        size_t answers = 0;
        for (size_t k = 0; k < ASKING; k++) {
                askers[k].fd = dial(server.port);
                p[k] = (struct pollfd){.fd = askers[k].fd, .events = POLLIN};
        }
        for (size_t k = 0; k < viewer_n; k++)
                p[ASKING + k] = (struct pollfd){.fd = viewers[k], .events = POLLIN};
        double begun = now_s(), end = begun + ROUND_S, spent = processor_s(server.pid);
        for (size_t k = 0; k < ASKING; k++)
                ask(&askers[k], path);
        while (now_s() < end) {
                if (poll(p, ASKING + viewer_n, 5000) <= 0)
                        give_up(path, "no answer within 5 s");
                for (size_t k = 0; k < ASKING; k++) {
                        if (!p[k].revents || !hear(&askers[k], path))
                                continue;
                        if (t->latency_n < LATENCIES_MAX)
                                t->latency_s[t->latency_n++] = now_s() - askers[k].asked_s;
                        t->refused += strncmp(askers[k].got, "HTTP/1.1 200 ", 13) != 0;
                        answers++;
                        ask(&askers[k], path);
                }
                for (size_t k = ASKING; k < ASKING + viewer_n; k++)
                        if (p[k].revents && read(p[k].fd, trash, sizeof trash) <= 0)
                                give_up("a viewer", "its stream was closed");
        }
        *ret_rate = (double)answers / (now_s() - begun);
        spent = processor_s(server.pid) - spent;
        for (size_t k = 0; k < ASKING; k++)
                close(askers[k].fd);
        return (double)answers / spent;
}

/* ---- the control --------------------------------------------------------------------------------------------------------------------- */

static enum MHD_Result answer(void *with, struct MHD_Connection *connection, const char *url, const char *method, const char *version,
                              const char *upload, size_t *upload_n, void **once)
{
        (void)url, (void)method, (void)version, (void)upload, (void)upload_n;
        if (!*once) { /* the head alone; the answer comes at the second call, as in any server of this library */
                *once = with;
                return MHD_YES;
        }
        return MHD_queue_response(connection, MHD_HTTP_OK, with);
}

/* A process of its own, as the daemon is, that gives exactly this body and type, and does nothing else.  It ends with the other end of
   its pipe. */
struct control {
        struct server server;
        int hold;
};
static struct control control_start(const char *body, size_t n, const char *type)
{
        int up[2], down[2], port = 0;
        if (pipe(up) || pipe(down))
                give_up("control", strerror(errno));
        pid_t pid = fork();
        if (pid < 0)
                give_up("control", strerror(errno));
        if (pid > 0) {
                close(up[1]);
                close(down[0]);
                if (read(up[0], &port, sizeof port) != sizeof port)
                        give_up("control", "it does not start");
                close(up[0]);
                return (struct control){{port, pid}, down[1]};
        }
        close(up[0]);
        close(down[1]);
        struct sockaddr_in at = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
        struct MHD_Response *response = MHD_create_response_from_buffer(n, (void *)(uintptr_t)body, MHD_RESPMEM_PERSISTENT);
        MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, type);
        struct MHD_Daemon *d =
                MHD_start_daemon(MHD_USE_EPOLL_INTERNAL_THREAD, 0, NULL, NULL, answer, response, MHD_OPTION_SOCK_ADDR, &at, MHD_OPTION_END);
        const union MHD_DaemonInfo *info = d ? MHD_get_daemon_info(d, MHD_DAEMON_INFO_BIND_PORT) : NULL;
        port = info ? info->port : 0;
        char nothing;
        if (port && write(up[1], &port, sizeof port) == sizeof port && read(down[0], &nothing, 1) != 0)
                _exit(1);
        _exit(port ? 0 : 1);
}
static void control_stop(struct control c)
{
        close(c.hold);
        waitpid(c.server.pid, NULL, 0);
}

/* ---- one document -------------------------------------------------------------------------------------------------------------------- */

static double middle(double x[ROUNDS], double *ret_spread)
{
        qsort(x, ROUNDS, sizeof *x, by_value);
        *ret_spread = (x[ROUNDS / 2 + 2] - x[ROUNDS / 2 - 2]) / 2;
        return x[ROUNDS / 2];
}
static double share_ms(struct tally *t, double share)
{
        qsort(t->latency_s, t->latency_n, sizeof *t->latency_s, by_value);
        return t->latency_n ? 1e3 * t->latency_s[(size_t)(share * (double)(t->latency_n - 1))] : -1;
}

static void document(struct server daemon, const char *path, const int *viewers, size_t viewer_n, struct asker askers[ASKING], bool last)
{
        struct tally t[2] = {{.latency_s = malloc(LATENCIES_MAX * sizeof(double))}, {.latency_s = malloc(LATENCIES_MAX * sizeof(double))}};
        char type[100] = "application/json";
        double ratio[ROUNDS], spread[3];
        if (!t[0].latency_s || !t[1].latency_s)
                give_up(path, "no memory");
        askers[0].fd = dial(daemon.port);
        ask(&askers[0], path);
        while (!hear(&askers[0], path))
                ;
        close(askers[0].fd);
        if (strncmp(askers[0].got, "HTTP/1.1 200 ", 13) != 0)
                give_up(path, askers[0].got);
        char *body = strstr(askers[0].got, "\r\n\r\n") + 4, *said = strcasestr(askers[0].got, "\r\nContent-Type:");
        if (said)
                sscanf(said + 15, " %99[^\r\n]", type);
        size_t bytes = askers[0].whole - (size_t)(body - askers[0].got);
        struct control control = control_start(body, bytes, type);
        for (int r = -1; r < ROUNDS; r++) { /* the first round warms up */
                double own_rate, bare_rate, own = round_of(daemon, path, viewers, viewer_n, askers, &t[0], &own_rate);
                double bare = round_of(control.server, path, viewers, viewer_n, askers, &t[1], &bare_rate);
                if (r < 0) {
                        t[0].latency_n = t[1].latency_n = 0;
                        continue;
                }
                t[0].rate[r] = own_rate;
                t[1].rate[r] = bare_rate;
                ratio[r] = own / bare;
        }
        control_stop(control);
        double own = middle(t[0].rate, &spread[0]), bare = middle(t[1].rate, &spread[1]), of = middle(ratio, &spread[2]);
        printf("{\"path\": \"%s\", \"bytes\": %zu, \"per_s\": %.0f, \"control_per_s\": %.0f, \"ratio\": %.3f, \"ratio_spread\": %.2g, "
               "\"p50_ms\": %.3f, \"p99_ms\": %.3f, \"control_p99_ms\": %.3f, \"refused\": %zu}%s",
               path, bytes, own, bare, of, spread[2], share_ms(&t[0], 0.5), share_ms(&t[0], 0.99), share_ms(&t[1], 0.99), t[0].refused,
               last ? "" : ", ");
        free(t[0].latency_s);
        free(t[1].latency_s);
}

int main(int argc, char **argv)
{
        static struct asker askers[ASKING];
        int viewers[VIEWERS_MAX], port = argc > 4 ? atoi(argv[1]) : 0;
        struct server daemon = {port, argc > 4 ? atoi(argv[2]) : 0};
        size_t viewer_n = argc > 4 ? strtoul(argv[3], NULL, 10) : 0;
        if (port <= 0 || port > 65535 || viewer_n > VIEWERS_MAX)
                give_up("usage", "bench_api PORT PID VIEWERS PATH...   (VIEWERS up to 100)");
        for (size_t k = 0; k < ASKING; k++)
                if (!(askers[k].got = malloc(ANSWER_MAX + 1)))
                        give_up("askers", "no memory");
        for (size_t k = 0; k < viewer_n; k++) {
                struct asker viewer = {.fd = dial(port)};
                ask(&viewer, "/api/v1/events");
                viewers[k] = viewer.fd;
        }
        printf("{\"viewers\": %zu, \"documents\": [", viewer_n);
        for (int k = 4; k < argc; k++)
                document(daemon, argv[k], viewers, viewer_n, askers, k == argc - 1);
        printf("]}\n");
        for (size_t k = 0; k < viewer_n; k++)
                close(viewers[k]);
        for (size_t k = 0; k < ASKING; k++)
                free(askers[k].got);
        return 0;
}
