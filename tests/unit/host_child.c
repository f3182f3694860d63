/* Child processes, signals as messages, and the service manager's datagram. */
#include "host/child.h"
#include "host/host.h"
#include "host/notify.h"
#include "host/signals.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

static int setup(void **state)
{
        *state = host_world_new(NULL);
        return *state == NULL;
}

static int teardown(void **state)
{
        host_world_free(*state);
        return 0;
}

static int64_t in_ms(const struct world *w, int64_t ms) { return world_boot_ns(w) + ms * NS_PER_MS; }

static void a_child_gets_its_environment_and_its_status_comes_back(void **state)
{
        const struct world *w = *state;
        const char *const argv[] = {"sh", "-c", "echo \"$TIPPLANE_TEST $HOME\"; echo err >&2; exit 7", NULL};
        const char *const env[] = {"TIPPLANE_TEST=yes", "HOME=/nowhere", NULL};
        char path[64] = "/tmp/tipplane-child-XXXXXX";
        struct child *c = NULL;
        struct child_end end;
        struct tp_error err;
        struct text t;
        int fd = mkstemp(path);
        assert_true(fd >= 0);
        close(fd);
        text_init(&t, 0);
        assert_int_equal(child_start(&(struct child_plan){.argv = argv, .env = env, .output = path}, &c, &err), CODE_OK);
        assert_int_equal(child_wait(w, c, in_ms(w, 20000), &end, &err), CODE_OK);
        assert_false(end.by_signal);
        assert_int_equal(end.number, 7);
        assert_int_equal(child_wait(w, c, 0, &end, &err), CODE_OK); /* asking again */
        assert_int_equal(end.number, 7);
        assert_int_equal(child_signal(c, SIGTERM, &err), CODE_NOT_FOUND);
        child_free(c);
        w->file->read(w, path, 1000, &t, &err);
        assert_string_equal(text_of(&t), "yes /nowhere\nerr\n");
        text_done(&t);
        unlink(path);
}

static void a_child_is_waited_for_and_killed(void **state)
{
        const struct world *w = *state;
        const char *const argv[] = {"sleep", "600", NULL};
        struct child *c = NULL;
        struct child_end end;
        struct tp_error err;
        assert_int_equal(child_start(&(struct child_plan){.argv = argv}, &c, &err), CODE_OK);
        assert_true(child_pid(c) > 1);
        assert_int_equal(getpgid((pid_t)child_pid(c)), child_pid(c)); /* a group of its own: Ctrl-C is for us */
        assert_int_equal(child_wait(w, c, in_ms(w, 30), &end, &err), CODE_TIMED_OUT);
        assert_int_equal(child_signal(c, SIGKILL, &err), CODE_OK);
        assert_int_equal(child_wait(w, c, in_ms(w, 20000), &end, &err), CODE_OK);
        assert_true(end.by_signal);
        assert_int_equal(end.number, SIGKILL);
        child_free(c);
        child_free(NULL);
}

static void a_program_that_is_not_there_is_named(void **state)
{
        const char *const argv[] = {"/nowhere/tipplaned", NULL};
        struct child *c = NULL;
        struct tp_error err;
        (void)state;
        assert_int_equal(child_start(&(struct child_plan){.argv = argv}, &c, &err), CODE_NOT_FOUND);
        assert_non_null(strstr(err.text, "/nowhere/tipplaned"));
        assert_null(c);
}

static void a_child_starts_with_clean_signals(void **state)
{
        const struct world *w = *state;
        const char *const argv[] = {"sh", "-c", "kill -TERM $$; exit 3", NULL}; /* a blocked or ignored SIGTERM would let it exit 3 */
        struct child *c = NULL;
        struct child_end end;
        struct tp_error err;
        sigset_t term, before;
        sigemptyset(&term);
        sigaddset(&term, SIGTERM);
        pthread_sigmask(SIG_BLOCK, &term, &before);
        assert_int_equal(child_start(&(struct child_plan){.argv = argv}, &c, &err), CODE_OK);
        pthread_sigmask(SIG_SETMASK, &before, NULL);
        assert_int_equal(child_wait(w, c, in_ms(w, 20000), &end, &err), CODE_OK);
        assert_true(end.by_signal && end.number == SIGTERM);
        child_free(c);
}

static void a_signal_becomes_a_message(void **state)
{
        const struct world *w = *state;
        struct inbox *box = w->task->inbox_new(w, 1);
        struct signals *s = NULL;
        struct tp_error err;
        struct message filler = {.kind = 1};
        assert_int_equal(signals_start(w, box, 42, &s, &err), CODE_OK);
        w->task->post(w, box, &filler); /* the inbox is full: the signal waits, it is not lost */
        kill(getpid(), SIGTERM);
        w->task->sleep_until(w, in_ms(w, 30));
        assert_ptr_equal(w->task->take(w, box, 0), &filler);
        struct signal_message *m = (struct signal_message *)w->task->take(w, box, in_ms(w, 20000));
        assert_non_null(m);
        assert_int_equal(m->message.kind, 42);
        assert_int_equal(m->signal, SIGTERM);
        m->message.free(&m->message);
        kill(getpid(), SIGHUP);
        m = (struct signal_message *)w->task->take(w, box, in_ms(w, 20000));
        assert_non_null(m);
        assert_int_equal(m->signal, SIGHUP);
        m->message.free(&m->message);
        signals_stop(s);
        signals_stop(NULL);
        sigset_t now;
        pthread_sigmask(SIG_BLOCK, NULL, &now);
        assert_false(sigismember(&now, SIGTERM));
        w->task->inbox_free(w, box);
}

static void ready_reaches_the_service_manager(void **state)
{
        char dir[] = "/tmp/tipplane-notify-XXXXXX", got[64] = "";
        struct sockaddr_un at = {.sun_family = AF_UNIX};
        (void)state;
        unsetenv("NOTIFY_SOCKET");
        assert_false(notify_send("READY=1"));
        assert_non_null(mkdtemp(dir));
        snprintf(at.sun_path, sizeof at.sun_path, "%s/s", dir);
        int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
        assert_int_equal(bind(fd, (struct sockaddr *)&at, sizeof at), 0);
        setenv("NOTIFY_SOCKET", at.sun_path, 1);
        assert_true(notify_send("READY=1\nSTATUS=idle"));
        assert_int_equal(recv(fd, got, sizeof got, 0), 19);
        assert_string_equal(got, "READY=1\nSTATUS=idle");
        close(fd);
        unlink(at.sun_path);
        rmdir(dir);
        assert_false(notify_send("READY=1"));
        unsetenv("NOTIFY_SOCKET");
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(a_child_gets_its_environment_and_its_status_comes_back, setup, teardown),
                cmocka_unit_test_setup_teardown(a_child_is_waited_for_and_killed, setup, teardown),
                cmocka_unit_test(a_program_that_is_not_there_is_named),
                cmocka_unit_test_setup_teardown(a_child_starts_with_clean_signals, setup, teardown),
                cmocka_unit_test_setup_teardown(a_signal_becomes_a_message, setup, teardown),
                cmocka_unit_test(ready_reaches_the_service_manager),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
