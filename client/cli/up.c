/* up.c: `tipplane up` keeps both programs running, for people without a service manager.
 * Order     station first, daemon when its socket answers; daemon down first, then the station.
 * Dead      is started again at once; one that died before it ever answered, after 0.2 … 5 s.  A child that never came up and says "bad
 * file" or "another one runs" (exit 2 or 4) ends `up` with that child's last words: starting it again would not help. Hung      daemon:
 * five times in a row no 200 from /healthz within 3 s (a run that is stuck answers 503).  Station: three times in a row its socket does not
 * see us leave within 3 s; a stopped process still accepts through the kernel, so only its own answer counts.  Then SIGKILL: at most every
 * 10 s. Killed    if `up` itself is killed, both go on: the station must outlive everybody.  A later `up` is refused by the station's lock.
 * Rejected  PR_SET_PDEATHSIG: it would kill the station in contact because a terminal was closed. */
#include "cli/http.h"
#include "host/address.h"
#include "host/child.h"
#include "host/notify.h"
#include "host/signals.h"
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define TURN_NS (200 * NS_PER_MS)
#define PROBE_EVERY_NS (1 * NS_PER_S)
#define PROBE_MS 3000
#define GRACE_NS (60 * NS_PER_S)  /* a child that is opening large files need not answer yet */
#define STEADY_NS (10 * NS_PER_S) /* whoever lived this long is started again at once */
#define KILL_EVERY_NS (10 * NS_PER_S)
#define OWN_ANSWER_NS (500 * NS_PER_MS) /* before that the answer may be that of one who runs already */
#define BACKOFF_MIN_NS (200 * NS_PER_MS)
#define BACKOFF_MAX_NS (5 * NS_PER_S)
#define STATION_FIRST_NS (15 * NS_PER_S)
enum { SIGNAL_CAME = 1, WORDS = 20, TRIES_FIRST = 4 };

/* What a probe task tells the loop; it changes only under the lock. */
struct kept {
        const char *name;
        const char *argv[WORDS];
        struct child_plan plan;
        struct child *child;
        int64_t started_ns, again_ns, backoff_ns, killed_ns;
        int misses, misses_max;
        bool was_up, is_up;
        unsigned starts;
};
struct up {
        struct cli *c;
        const struct world *w;
        struct kept station, daemon;
        char here[400], data[300], socket[400], url[200];
        struct lock *lock;
        struct task *probe;
        bool end, station_alive, daemon_alive; /* under the lock */
        unsigned station_asked, daemon_asked;
        int daemon_status;
        int status; /* final; -1: go on */
        bool told;
};

/* ---- probes, on a task of their own, so that a hang does not delay a signal --------------------------------------------------------- */

/* Goes in, hangs up, and waits for the station to hang up too: that takes its accepting task, a reading task and its lock. */
static bool station_answers(const char *path, int timeout_ms)
{
        struct address at;
        struct tp_error err;
        char text[420], byte;
        snprintf(text, sizeof text, "unix:%s", path);
        if (address_read(text, &at, &err))
                return false;
        int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
        if (fd < 0)
                return false;
        bool ok = connect(fd, &at.at.any, at.n) == 0 && shutdown(fd, SHUT_WR) == 0;
        struct pollfd wait = {.fd = fd, .events = POLLIN};
        ok = ok && poll(&wait, 1, timeout_ms) == 1 && recv(fd, &byte, 1, 0) == 0;
        close(fd);
        return ok;
}

static void probe_run(void *arg)
{
        struct up *u = arg;
        const struct world *w = u->w;
        for (int64_t next = world_boot_ns(w);;) {
                w->task->lock(w, u->lock);
                bool end = u->end;
                w->task->unlock(w, u->lock);
                if (end)
                        return;
                if (world_boot_ns(w) >= next) {
                        int status = 0;
                        bool station = station_answers(u->socket, PROBE_MS), daemon = http_is_ok(u->url, PROBE_MS, &status);
                        w->task->lock(w, u->lock);
                        u->station_alive = station;
                        u->daemon_alive = daemon;
                        u->daemon_status = status;
                        u->station_asked++;
                        u->daemon_asked++;
                        w->task->unlock(w, u->lock);
                        next = world_boot_ns(w) + (station && daemon ? PROBE_EVERY_NS : TURN_NS);
                }
                w->task->sleep_until(w, world_boot_ns(w) + TURN_NS / 2);
        }
}

/* ---- children ----------------------------------------------------------------------------------------------------------------------- */

static void say_last_words(struct up *u, const struct kept *k)
{
        struct text t;
        text_init(&t, 64u << 20);
        if (k->plan.output && !u->w->file->read(u->w, k->plan.output, 64u << 20, &t, NULL)) {
                const char *all = text_of(&t), *from = all + t.n;
                for (int lines = 0; from > all && lines < 6; from--)
                        if (from[-1] == '\n' && from != all + t.n && ++lines == 6)
                                break;
                fputs(from, stderr);
        }
        text_done(&t);
}

static bool start(struct up *u, struct kept *k)
{
        struct tp_error err = {0};
        k->misses = 0;
        k->is_up = false;
        k->started_ns = world_boot_ns(u->w);
        if (child_start(&k->plan, &k->child, &err)) {
                cli_say("%s: %s", k->name, err.text);
                return false;
        }
        if (k->starts++)
                cli_say("%s started again, pid %lld", k->name, (long long)child_pid(k->child));
        return true;
}

/* It has ended: how, and when shall it be started again? */
static void on_end(struct up *u, struct kept *k, const struct child_end *end)
{
        int64_t now = world_boot_ns(u->w), lived = now - k->started_ns;
        child_free(k->child);
        k->child = NULL;
        bool is_first = k->starts == 1 && lived < STEADY_NS;  /* what answered may have been another one's */
        bool is_clear = end->number >= 2 && end->number <= 4; /* bad file, not there, another one runs */
        if ((is_first || !k->was_up) && !end->by_signal && (is_clear || k->starts >= TRIES_FIRST)) {
                say_last_words(u, k);
                cli_say("%s cannot start (exit %d); its words are above", k->name, end->number);
                u->status = end->number;
                return;
        }
        if (lived >= STEADY_NS || k->is_up) /* it answered in this life: the station's lease of 2.5 s is shorter than a long pause */
                k->backoff_ns = 0;
        k->again_ns = now + k->backoff_ns;
        cli_say("%s %s %d; starting it again%s", k->name, end->by_signal ? "was ended by signal" : "ended by itself with status",
                end->number, k->backoff_ns ? " in a moment" : "");
        int64_t more = k->backoff_ns * 2;
        k->backoff_ns = more < BACKOFF_MIN_NS ? BACKOFF_MIN_NS : more > BACKOFF_MAX_NS ? BACKOFF_MAX_NS : more;
}

static void watch(struct up *u, struct kept *k)
{
        struct child_end end;
        if (k->child && child_wait(u->w, k->child, 0, &end, NULL) == CODE_OK)
                on_end(u, k, &end);
        if (!k->child && u->status < 0 && world_boot_ns(u->w) >= k->again_ns && !start(u, k)) {
                k->backoff_ns = k->backoff_ns ? k->backoff_ns : BACKOFF_MIN_NS;
                k->again_ns = world_boot_ns(u->w) + k->backoff_ns;
        }
}

/* One answer of a probe, or its absence. */
static void judge(struct up *u, struct kept *k, bool alive, const char *what)
{
        int64_t now = world_boot_ns(u->w);
        if (!k->child || now - k->started_ns < OWN_ANSWER_NS)
                return;
        if (alive) {
                k->was_up = k->is_up = true;
                k->misses = 0;
                return;
        }
        if (!k->is_up && now - k->started_ns < GRACE_NS)
                return;
        if (++k->misses < k->misses_max || (k->killed_ns && now - k->killed_ns < KILL_EVERY_NS))
                return;
        cli_say("%s %s; killing it", k->name, what);
        child_signal(k->child, SIGKILL, NULL);
        k->killed_ns = now;
        k->misses = 0;
}

static void judge_both(struct up *u, unsigned *seen)
{
        const struct world *w = u->w;
        w->task->lock(w, u->lock);
        unsigned asked = u->station_asked;
        bool station = u->station_alive, daemon = u->daemon_alive;
        int status = u->daemon_status;
        w->task->unlock(w, u->lock);
        if (asked == *seen)
                return;
        *seen = asked;
        judge(u, &u->station, station, "does not answer at its socket");
        judge(u, &u->daemon, daemon,
              status == 503 ? "says five times that it is not well (503 from /healthz)" : "does not answer /healthz");
        if (u->daemon.is_up && !u->told) {
                u->told = true;
                printf("The page: %.*s/\n", (int)(strlen(u->url) - strlen("/healthz")), u->url);
                printf("Token:    %s/token\n", u->data);
                if (u->station.plan.output)
                        printf("Logs:     %s, %s\n", u->station.plan.output, u->daemon.plan.output);
                fflush(stdout);
                notify_send("READY=1");
        }
}

/* SIGTERM, then patience.  `then_kill`: what is still there at the end is killed; a station never is, since it may hold the probes down. */
static bool stop(struct up *u, struct kept *k, int patience_s, bool then_kill)
{
        struct child_end end;
        struct tp_error err;
        if (k->child && child_wait(u->w, k->child, 0, &end, &err) == CODE_OK) { /* it had died before: nothing to stop */
                child_free(k->child);
                k->child = NULL;
        }
        if (!k->child)
                return true;
        child_signal(k->child, SIGTERM, &err);
        enum code code = child_wait(u->w, k->child, world_boot_ns(u->w) + patience_s * NS_PER_S, &end, &err);
        if (code == CODE_TIMED_OUT && then_kill) {
                cli_say("%s has not stopped within %d s; killing it: the station makes itself safe", k->name, patience_s);
                child_signal(k->child, SIGKILL, &err);
                code = child_wait(u->w, k->child, world_boot_ns(u->w) + 5 * NS_PER_S, &end, &err);
        } else if (code == CODE_TIMED_OUT) {
                cli_say("%s (pid %lld) has not stopped within %d s; it is left alone, look at the probes and at its log", k->name,
                        (long long)child_pid(k->child), patience_s);
        }
        child_free(k->child);
        k->child = NULL;
        return !code && !(end.by_signal && end.number == SIGKILL);
}

/* ---- the whole ---------------------------------------------------------------------------------------------------------------------- */

static enum code find_here(char *ret, size_t room, struct tp_error *err)
{
        ssize_t n = readlink("/proc/self/exe", ret, room - 1);
        if (n <= 0 || (size_t)n >= room - 1)
                return tp_fail(err, CODE_BUG, "/proc/self/exe cannot be read; is /proc mounted?");
        ret[n] = 0;
        char *slash = strrchr(ret, '/');
        if (slash)
                *slash = 0;
        return CODE_OK;
}

static void fill_argv(struct kept *k, struct cli *c, const char *const *words)
{
        size_t n = 0;
        for (; words[n]; n++)
                k->argv[n] = arena_text(c->arena, words[n]);
        k->argv[n] = NULL;
        k->plan.argv = k->argv;
}

static enum code prepare(struct up *u, struct tp_error *err)
{
        struct cli *c = u->c;
        const char *config = cli_option(c, "station-config"), *data = cli_option(c, "data"), *listen = cli_option(c, "listen"),
                   *name = cli_option(c, "name");
        char station[420], daemon[420], address[420], log[400], world[400], out[400];
        listen = listen ? listen : "127.0.0.1:8080";
        if (!config)
                return tp_fail(err, CODE_BAD_INPUT,
                               "`tipplane up` needs --station-config FILE; simulators/demo/station.json is one for the simulator");
        if (strlen(listen) > 100 || strlen(data ? data : "") > 280)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "--listen or --data is too long; give an address like 127.0.0.1:8080 and a folder of at most 280 characters");
        snprintf(u->data, sizeof u->data, "%s", data ? data : "tipplane-data");
        enum code code = find_here(u->here, sizeof u->here, err);
        if (!code)
                code = c->world->file->make_dir(c->world, u->data, err);
        if (code)
                return code;
        char *whole = realpath(u->data, NULL); /* a socket's address is a whole path, whatever folder somebody stands in */
        if (!whole || strlen(whole) > 280) {
                free(whole);
                return tp_fail(err, CODE_BAD_INPUT,
                               "--data %s: its whole path cannot be found or has more than 280 characters; choose another folder", u->data);
        }
        snprintf(u->data, sizeof u->data, "%s", whole);
        free(whole);
        snprintf(station, sizeof station, "%s/tipplane-station", u->here);
        snprintf(daemon, sizeof daemon, "%s/tipplaned", u->here);
        if (access(station, X_OK) || access(daemon, X_OK))
                return tp_fail(err, CODE_NOT_FOUND,
                               "%s: tipplaned and tipplane-station must lie beside this program; build or install them there", u->here);
        snprintf(u->socket, sizeof u->socket, "%s/station.sock", u->data);
        snprintf(u->url, sizeof u->url, "http://%s/healthz", listen);
        snprintf(address, sizeof address, "unix:%s", u->socket);
        snprintf(log, sizeof log, "%s/station.log", u->data);
        snprintf(world, sizeof world, "%s/world", u->data);
        struct address at;
        if ((code = address_read(address, &at, err)))
                return tp_where(err, "--data %s", u->data);
        fill_argv(&u->station, c,
                  (const char *const[]){station, "--config", config, "--socket", u->socket, "--log", log, "--world", world, NULL});
        fill_argv(&u->daemon, c,
                  (const char *const[]){daemon, "--data", u->data, "--station", address, "--listen", listen, name ? "--name" : NULL, name,
                                        NULL});
        if (!cli_has(c, "foreground")) {
                snprintf(out, sizeof out, "%s/station.out", u->data);
                u->station.plan.output = arena_text(c->arena, out);
                snprintf(out, sizeof out, "%s/daemon.out", u->data);
                u->daemon.plan.output = arena_text(c->arena, out);
        }
        u->station.name = "the station";
        u->daemon.name = "the daemon";
        u->station.misses_max = 3;
        u->daemon.misses_max = 5;
        return CODE_OK;
}

/* Until a signal comes, or a child says that starting it is no use. */
static void keep(struct up *u, struct inbox *inbox)
{
        unsigned seen = 0;
        int64_t begin = world_boot_ns(u->w);
        while (u->status < 0) {
                watch(u, &u->station);
                if (u->status < 0 && (u->station.was_up || world_boot_ns(u->w) - begin > STATION_FIRST_NS))
                        watch(u, &u->daemon);
                judge_both(u, &seen);
                struct message *m = u->w->task->take(u->w, inbox, world_boot_ns(u->w) + TURN_NS);
                if (m) {
                        m->free(m);
                        u->status = 0;
                }
        }
}

static void stop_both(struct up *u)
{
        const struct world *w = u->w;
        w->task->lock(w, u->lock);
        u->end = true;
        w->task->unlock(w, u->lock);
        notify_send("STOPPING=1");
        bool begun = u->station.child || u->daemon.child;
        if (u->daemon.child && u->told)
                cli_say("stopping: the probes go up and the bias off first");
        bool daemon = stop(u, &u->daemon, 90, true), station = stop(u, &u->station, 120, false);
        if (u->status == 0 && !(daemon && station))
                u->status = 1;
        if (begun && u->told)
                cli_say(daemon && station ? "both stopped in order" : "not everything stopped in order; see above");
}

enum code do_up(struct cli *c, struct tp_error *err)
{
        struct up u = {.c = c, .w = c->world, .status = -1};
        struct signals *signals = NULL;
        const struct world *w = c->world;
        enum code code = prepare(&u, err);
        if (code)
                return code;
        struct inbox *inbox = w->task->inbox_new(w, 16);
        u.lock = w->task->lock_new(w);
        code = inbox && u.lock ? signals_start(w, inbox, SIGNAL_CAME, &signals, err) : tp_fail_memory(err);
        if (!code && !(u.probe = w->task->start(w, "probe", probe_run, &u)))
                code = tp_fail_memory(err);
        if (!code) {
                keep(&u, inbox);
                stop_both(&u);
                w->task->join(w, u.probe);
        }
        signals_stop(signals);
        if (u.lock)
                w->task->lock_free(w, u.lock);
        if (inbox)
                w->task->inbox_free(w, inbox);
        c->status = u.status > 0 ? u.status : 0;
        return code;
}
