/* file_lock.c: one program per data directory.
   An open-file-description lock (fcntl(2), F_OFD_SETLK): it dies with its holder, also with kill -9, and belongs to this opening, so that a
   second world in the same process is refused too.  The file tells people who holds it; the lock itself decides. */
#include "host/file_own.h"
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

struct file_lock {
        int fd;
};

/* "pid 4711, since 2031-05-01T22:13:05Z" */
static void holder_sentence(const struct world *w, char ret[160])
{
        struct tm utc;
        char when[40] = "?";
        time_t now_s = (time_t)(world_wall_us(w) / 1000000);
        if (gmtime_r(&now_s, &utc))
                strftime(when, sizeof when, "%Y-%m-%dT%H:%M:%SZ", &utc);
        snprintf(ret, 160, "pid %ld, since %s", (long)getpid(), when);
}

static void holder_read(int fd, char ret[160])
{
        ssize_t n = pread(fd, ret, 159, 0);
        ret[n > 0 ? n : 0] = 0;
        ret[strcspn(ret, "\n")] = 0;
        for (char *c = ret; *c; c++)
                if ((unsigned char)*c < 0x20 || (unsigned char)*c >= 0x7F)
                        *c = '?';
        if (!ret[0])
                snprintf(ret, 160, "a program that has not yet said who it is");
}

enum code file_lock(const struct world *w, const char *path, struct file_lock **ret, char holder[160], struct tp_error *err)
{
        struct flock whole = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
        char line[164];
        struct file_lock *l = calloc(1, sizeof *l);
        if (!l)
                return tp_fail_memory(err);
        enum code code = CODE_OK;
        l->fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0640);
        if (l->fd < 0) {
                code = file_fail(err, path, "cannot be opened");
                goto failed;
        }
        if (fcntl(l->fd, F_OFD_SETLK, &whole)) {
                if (errno != EAGAIN && errno != EACCES) {
                        code = file_fail(err, path, "cannot be locked");
                        goto failed;
                }
                holder_read(l->fd, holder);
                code = tp_fail(err, CODE_BUSY, "%s: held by %s; stop it first, or use another directory", path, holder);
                goto failed;
        }
        holder_sentence(w, holder);
        int n = snprintf(line, sizeof line, "%s\n", holder);
        if (ftruncate(l->fd, 0) || fsync(l->fd))
                code = file_fail(err, path, "cannot be written");
        else
                code = file_write_all(l->fd, line, (size_t)n, path, err);
        if (code)
                goto failed;
        *ret = l;
        return CODE_OK;
failed:
        if (l->fd >= 0)
                close(l->fd);
        free(l);
        return code;
}

void file_unlock(const struct world *w, struct file_lock *l)
{
        (void)w;
        if (!l)
                return;
        if (ftruncate(l->fd, 0)) {
                /* the old sentence stays; nobody reads it while the lock is free */
        }
        close(l->fd);
        free(l);
}
