/* Files in a directory of the test's own. */
#include "base/hash.h"
#include "host/host.h"
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

struct bench {
        struct world *w;
        char dir[64], path[192];
        struct tp_error err;
};

static int setup(void **state)
{
        struct bench *b = calloc(1, sizeof *b);
        b->w = host_world_new(NULL);
        snprintf(b->dir, sizeof b->dir, "/tmp/tipplane-file-XXXXXX");
        if (!mkdtemp(b->dir)) {
                host_world_free(b->w);
                free(b);
                return 1;
        }
        snprintf(b->path, sizeof b->path, "%s/a", b->dir);
        *state = b;
        return 0;
}

static int teardown(void **state)
{
        struct bench *b = *state;
        char command[256];
        snprintf(command, sizeof command, "rm -rf '%s'", b->dir);
        int status = system(command);
        host_world_free(b->w);
        free(b);
        return status;
}

static void a_busy_lock_names_the_pid_that_holds_it(void **state)
{
        struct bench *b = *state;
        struct file_lock *first = NULL, *second = NULL;
        char holder[160], pid[32];
        int ready[2], end[2];
        assert_int_equal(pipe(ready) | pipe(end), 0);
        pid_t child = fork(); /* another process holds it */
        if (child == 0) {
                char byte = b->w->file->lock(b->w, b->path, &first, holder, NULL) ? 'n' : 'y';
                ssize_t n = write(ready[1], &byte, 1);
                n += read(end[0], &byte, 1);
                _exit(n == 2 ? 0 : 1);
        }
        char byte = 0;
        assert_int_equal(read(ready[0], &byte, 1), 1);
        assert_int_equal(byte, 'y');
        assert_int_equal(b->w->file->lock(b->w, b->path, &first, holder, &b->err), CODE_BUSY);
        snprintf(pid, sizeof pid, "pid %ld, since 2", (long)child);
        assert_non_null(strstr(holder, pid));
        assert_non_null(strstr(b->err.text, pid));
        assert_non_null(strstr(b->err.text, b->path));
        kill(child, SIGKILL); /* the lock dies with its holder */
        waitpid(child, NULL, 0);
        assert_int_equal(b->w->file->lock(b->w, b->path, &first, holder, &b->err), CODE_OK);
        assert_int_equal(b->w->file->lock(b->w, b->path, &second, holder, &b->err), CODE_BUSY); /* also within one process */
        snprintf(pid, sizeof pid, "pid %ld,", (long)getpid());
        assert_non_null(strstr(holder, pid));
        b->w->file->unlock(b->w, first);
        assert_int_equal(b->w->file->lock(b->w, b->path, &second, holder, &b->err), CODE_OK);
        b->w->file->unlock(b->w, second);
        b->w->file->unlock(b->w, NULL);
        for (int i = 0; i < 2; i++)
                close(ready[i]), close(end[i]);
}

static void writing_replaces_the_whole_file_or_nothing(void **state)
{
        struct bench *b = *state;
        struct text t;
        struct stat st;
        text_init(&t, 0);
        assert_int_equal(b->w->file->write(b->w, b->path, "first", 5, 0600, &b->err), CODE_OK);
        assert_int_equal(b->w->file->write(b->w, b->path, "2nd", 3, 0640, &b->err), CODE_OK);
        assert_int_equal(b->w->file->read(b->w, b->path, 100, &t, &b->err), CODE_OK);
        assert_string_equal(text_of(&t), "2nd");
        assert_int_equal(stat(b->path, &st), 0);
        assert_int_equal(st.st_mode & 0777, 0640);
        char nowhere[160];
        snprintf(nowhere, sizeof nowhere, "%s/none/a", b->dir);
        assert_int_equal(b->w->file->write(b->w, nowhere, "x", 1, 0600, &b->err), CODE_NOT_FOUND);
        assert_non_null(strstr(b->err.text, nowhere));
        assert_int_equal(b->w->file->write(b->w, b->dir, "x", 1, 0600, &b->err), CODE_BAD_INPUT); /* a directory is not replaced */
        text_clear(&t);
        assert_int_equal(b->w->file->read(b->w, b->path, 2, &t, &b->err), CODE_BAD_INPUT);
        assert_non_null(strstr(b->err.text, "3 bytes; at most 2"));
        assert_int_equal(b->w->file->read(b->w, nowhere, 2, &t, &b->err), CODE_NOT_FOUND);
        assert_int_equal(b->w->file->read(b->w, b->dir, 2, &t, &b->err), CODE_BAD_INPUT);
        snprintf(nowhere, sizeof nowhere, "%s/pipe", b->dir);
        assert_int_equal(mkfifo(nowhere, 0600), 0);
        assert_int_equal(b->w->file->read(b->w, nowhere, 2, &t, &b->err), CODE_BAD_INPUT);         /* and does not hang */
        assert_int_equal(b->w->file->write(b->w, nowhere, "x", 1, 0600, &b->err), CODE_BAD_INPUT); /* nor is a pipe replaced */
        assert_non_null(strstr(b->err.text, "pipe"));
        assert_true(stat(nowhere, &st) == 0 && S_ISFIFO(st.st_mode));
        text_done(&t);
}

static void a_file_is_told_from_another_of_its_name(void **state)
{
        struct bench *b = *state;
        struct file_identity first, now;
        const struct file_ops *file = b->w->file;
        assert_int_equal(file->identity(b->w, b->path, &now, &b->err), CODE_NOT_FOUND);
        assert_int_equal(file->append(b->w, b->path, "one\n", 4, &b->err), CODE_OK);
        assert_int_equal(file->identity(b->w, b->path, &first, &b->err), CODE_OK);
        assert_int_equal(first.size, 4);
        assert_int_equal(file->identity(b->w, b->path, &now, &b->err), CODE_OK);
        assert_true(file_is(&now, &first));
        b->w->task->sleep_until(b->w, world_boot_ns(b->w) + 20 * NS_PER_MS); /* a file's time goes in steps of up to 10 ms */
        assert_int_equal(chmod(b->path, 0400), 0);
        assert_int_equal(file->identity(b->w, b->path, &now, &b->err), CODE_OK);
        assert_true(now.inode == first.inode && now.device == first.device && now.size == 4);
        assert_false(file_is(&now, &first));
        first = now;
        assert_int_equal(file->write(b->w, b->path, "two\n", 4, 0400, &b->err), CODE_OK); /* a new one under the name */
        assert_int_equal(file->identity(b->w, b->path, &now, &b->err), CODE_OK);
        assert_int_equal(now.size, 4);
        assert_false(file_is(&now, &first));
}

static void names(void *ctx, const char *name) { text_f(ctx, "%s,", name); }

static void directories_are_made_listed_and_emptied(void **state)
{
        struct bench *b = *state;
        struct text t;
        char deep[128], to[160];
        int64_t size = 0;
        text_init(&t, 0);
        snprintf(deep, sizeof deep, "%s/runs/2031/05", b->dir);
        assert_int_equal(b->w->file->make_dir(b->w, deep, &b->err), CODE_OK);
        assert_int_equal(b->w->file->make_dir(b->w, deep, &b->err), CODE_OK);
        assert_int_equal(b->w->file->append(b->w, b->path, "one\n", 4, &b->err), CODE_OK);
        assert_int_equal(b->w->file->append(b->w, b->path, "two\n", 4, &b->err), CODE_OK);
        assert_int_equal(b->w->file->size(b->w, b->path, &size, &b->err), CODE_OK);
        assert_int_equal(size, 8);
        assert_int_equal(b->w->file->make_dir(b->w, b->path, &b->err), CODE_BAD_INPUT);
        snprintf(to, sizeof to, "%s/moved", deep);
        assert_int_equal(b->w->file->rename(b->w, b->path, to, &b->err), CODE_OK);
        assert_int_equal(b->w->file->size(b->w, b->path, &size, &b->err), CODE_NOT_FOUND);
        snprintf(b->path, sizeof b->path, "%s/Zeta", deep);
        b->w->file->write(b->w, b->path, "", 0, 0600, &b->err);
        assert_int_equal(b->w->file->list(b->w, deep, names, &t, &b->err), CODE_OK);
        assert_string_equal(text_of(&t), "Zeta,moved,");
        assert_int_equal(b->w->file->remove(b->w, to, &b->err), CODE_OK);
        assert_int_equal(b->w->file->remove(b->w, to, &b->err), CODE_OK);
        assert_int_equal(b->w->file->list(b->w, to, names, &t, &b->err), CODE_NOT_FOUND);
        text_done(&t);
}

/* The outside judge of the digest is sha256sum(1) of coreutils. */
static void a_seal_agrees_with_sha256sum_and_takes_the_write_bits(void **state)
{
        struct bench *b = *state;
        uint8_t digest[32];
        char hex[65], command[256], judged[65] = "", *bytes = malloc(100001);
        struct stat st;
        for (size_t i = 0; i < 100001; i++)
                bytes[i] = (char)(i * 31 >> 3);
        assert_int_equal(b->w->file->write(b->w, b->path, bytes, 100001, 0640, &b->err), CODE_OK);
        assert_int_equal(b->w->file->seal(b->w, b->path, digest, &b->err), CODE_OK);
        hex_of(digest, 32, hex);
        snprintf(command, sizeof command, "sha256sum '%s'", b->path);
        FILE *judge = popen(command, "r");
        assert_int_equal(fread(judged, 1, 64, judge), 64);
        pclose(judge);
        assert_string_equal(hex, judged);
        assert_int_equal(stat(b->path, &st), 0);
        assert_int_equal(st.st_mode & 0777, 0444);
        strcat(b->path, "x");
        assert_int_equal(b->w->file->seal(b->w, b->path, digest, &b->err), CODE_NOT_FOUND);
        free(bytes);
}

static void a_reserve_takes_its_blocks_and_says_when_it_cannot(void **state)
{
        struct bench *b = *state;
        struct stat st;
        assert_int_equal(b->w->file->reserve(b->w, b->path, 1 << 20, &b->err), CODE_OK);
        assert_int_equal(stat(b->path, &st), 0);
        assert_int_equal(st.st_size, 1 << 20);
        assert_true(st.st_blocks * 512 >= 1 << 20); /* really there, not a hole */
        int64_t left = b->w->file->free_bytes(b->w, b->dir);
        assert_true(left > 0);
        assert_int_equal(b->w->file->free_bytes(b->w, "/nowhere/at/all"), -1);
        struct stat before = st;
        enum code code = b->w->file->reserve(b->w, b->path, INT64_MAX / 2, &b->err);
        assert_true(code == CODE_DISK_FULL || code == CODE_DISK);
        assert_non_null(strstr(b->err.text, b->path));
        assert_int_equal(stat(b->path, &st), 0);
        assert_int_equal(st.st_size, before.st_size);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test_setup_teardown(a_busy_lock_names_the_pid_that_holds_it, setup, teardown),
                cmocka_unit_test_setup_teardown(writing_replaces_the_whole_file_or_nothing, setup, teardown),
                cmocka_unit_test_setup_teardown(a_file_is_told_from_another_of_its_name, setup, teardown),
                cmocka_unit_test_setup_teardown(directories_are_made_listed_and_emptied, setup, teardown),
                cmocka_unit_test_setup_teardown(a_seal_agrees_with_sha256sum_and_takes_the_write_bits, setup, teardown),
                cmocka_unit_test_setup_teardown(a_reserve_takes_its_blocks_and_says_when_it_cannot, setup, teardown),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
