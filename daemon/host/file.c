/* file.c: whole small files, made durable.
 * Durable     a file's bytes are on disk after fsync(file), its name after fsync(directory): both are needed, and both are done.
 * Whole       write() goes to a temporary name beside the file and renames: readers see the old file or the new one, never a part.
 * Closing     what close() says is not asked: after a successful fsync() nothing is left that it could lose.
 * Not here    the lock (file_lock.c); databases, which go through SQLite. */
#include "base/hash.h"
#include "host/file_own.h"
#include "host/host_own.h"
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

enum { DIRECTORY_MODE = 0750, FILE_MODE = 0640 };

enum code file_code(int sys)
{
        switch (sys) {
        case ENOENT:
        case ENOTDIR:
                return CODE_NOT_FOUND;
        case EACCES:
        case EPERM:
        case EROFS:
                return CODE_FORBIDDEN;
        case ENOSPC:
        case EDQUOT:
                return CODE_DISK_FULL;
        case ENOMEM:
                return CODE_MEMORY;
        case ENAMETOOLONG:
        case EISDIR:
        case ELOOP:
                return CODE_BAD_INPUT;
        default:
                return CODE_DISK;
        }
}

enum code file_fail(struct tp_error *err, const char *path, const char *what)
{
        int sys = errno;
        return tp_fail_sys(err, file_code(sys), sys, "%s: %s", path, what);
}

static void directory_of(const char *path, char ret[FILE_PATH_ROOM])
{
        const char *slash = strrchr(path, '/');
        size_t n = slash ? (size_t)(slash - path) : 0;
        if (!slash)
                snprintf(ret, FILE_PATH_ROOM, ".");
        else
                snprintf(ret, FILE_PATH_ROOM, "%.*s", n ? (int)n : 1, path);
}

static enum code sync_directory_of(const char *path, struct tp_error *err)
{
        char dir[FILE_PATH_ROOM];
        directory_of(path, dir);
        int fd = open(dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
        if (fd < 0)
                return file_fail(err, dir, "cannot open the directory to sync it");
        enum code code = fsync(fd) ? file_fail(err, dir, "cannot sync the directory") : CODE_OK;
        close(fd);
        return code;
}

enum code file_write_all(int fd, const void *bytes, size_t n, const char *path, struct tp_error *err)
{
        const char *at = bytes;
        while (n > 0) {
                ssize_t put = write(fd, at, n);
                if (put < 0 && errno == EINTR)
                        continue;
                if (put < 0)
                        return file_fail(err, path, "cannot be written");
                at += put;
                n -= (size_t)put;
        }
        return CODE_OK;
}

static enum code make_dir(const struct world *w, const char *path, struct tp_error *err)
{
        char part[FILE_PATH_ROOM];
        struct stat st;
        (void)w;
        size_t n = strlen(path);
        if (n == 0 || n >= sizeof part)
                return tp_fail(err, CODE_BAD_INPUT, "the path \"%.60s\" has %zu bytes; 1 to %zu are allowed", path, n, sizeof part - 1);
        for (size_t i = 1; i <= n; i++) {
                if (path[i] != '/' && path[i] != 0)
                        continue;
                memcpy(part, path, i);
                part[i] = 0;
                if (mkdir(part, DIRECTORY_MODE) == 0) {
                        enum code code = sync_directory_of(part, err);
                        if (code)
                                return code;
                } else if (errno != EEXIST)
                        return file_fail(err, part, "cannot make the directory");
        }
        if (stat(path, &st) || !S_ISDIR(st.st_mode))
                return tp_fail(err, CODE_BAD_INPUT, "%s: is there, but is no directory; move it, or choose another path", path);
        return CODE_OK;
}

static int name_order(const void *a, const void *b)
{
        return strcmp((*(const struct dirent *const *)a)->d_name, (*(const struct dirent *const *)b)->d_name);
}

/* In the order of strcmp(), after the directory is closed: `each` may remove what it is told. */
static enum code list(const struct world *w, const char *dir, void (*each)(void *ctx, const char *name), void *ctx, struct tp_error *err)
{
        struct dirent **found = NULL;
        (void)w;
        int n = scandir(dir, &found, NULL, NULL);
        if (n < 0)
                return file_fail(err, dir, "cannot list the directory");
        qsort(found, (size_t)n, sizeof(struct dirent *), name_order);
        for (int i = 0; i < n; i++) {
                if (strcmp(found[i]->d_name, ".") != 0 && strcmp(found[i]->d_name, "..") != 0)
                        each(ctx, found[i]->d_name);
                free(found[i]);
        }
        free(found);
        return CODE_OK;
}

static enum code read_whole(const struct world *w, const char *path, size_t max, struct text *ret, struct tp_error *err)
{
        struct stat st;
        char piece[16384];
        enum code code = CODE_OK;
        (void)w;
        int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK); /* a named pipe must not hang us */
        if (fd < 0)
                return file_fail(err, path, "cannot be opened");
        if (fstat(fd, &st) || !S_ISREG(st.st_mode)) {
                code = tp_fail(err, CODE_BAD_INPUT, "%s: is %s, not a plain file; name a file", path,
                               S_ISDIR(st.st_mode) ? "a directory" : "a device or a pipe");
                goto done;
        }
        for (size_t total = 0;;) {
                ssize_t got = read(fd, piece, sizeof piece);
                if (got < 0 && errno == EINTR)
                        continue;
                if (got < 0)
                        code = file_fail(err, path, "cannot be read");
                if (got <= 0)
                        break;
                total += (size_t)got;
                if (total > max) {
                        code = tp_fail(err, CODE_BAD_INPUT, "%s: has %lld bytes; at most %zu are read", path, (long long)st.st_size, max);
                        break;
                }
                text_bytes(ret, piece, (size_t)got);
                if (!text_ok(ret)) {
                        code = tp_fail_memory(err);
                        break;
                }
        }
done:
        close(fd);
        return code;
}

static enum code write_whole(const struct world *w, const char *path, const void *bytes, size_t n, unsigned mode, struct tp_error *err)
{
        char temporary[FILE_PATH_ROOM + 32];
        struct stat st;
        uint64_t number;
        if (stat(path, &st) == 0 && !S_ISREG(st.st_mode)) /* a rename would put a file in the place of /dev/null */
                return tp_fail(err, CODE_BAD_INPUT, "%s: is %s, which no file may replace; choose another path", path,
                               S_ISDIR(st.st_mode) ? "a directory" : "a device or a pipe");
        world_random(w, &number, sizeof number);
        snprintf(temporary, sizeof temporary, "%s.new-%016llx", path, (unsigned long long)number);
        int fd = open(temporary, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
        if (fd < 0)
                return file_fail(err, path, "cannot be written");
        enum code code = file_write_all(fd, bytes, n, path, err);
        if (!code && fchmod(fd, mode))
                code = file_fail(err, path, "cannot set its mode");
        if (!code && fsync(fd))
                code = file_fail(err, path, "cannot be synced");
        close(fd);
        if (!code && rename(temporary, path))
                code = file_fail(err, path, "cannot be replaced");
        if (code)
                unlink(temporary);
        return code ? code : sync_directory_of(path, err);
}

static enum code append(const struct world *w, const char *path, const void *bytes, size_t n, struct tp_error *err)
{
        struct stat st;
        (void)w;
        bool is_new = access(path, F_OK) != 0;
        int fd = open(path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, FILE_MODE);
        if (fd < 0)
                return file_fail(err, path, "cannot be opened");
        enum code code = fstat(fd, &st) ? file_fail(err, path, "cannot be looked at") : CODE_OK;
        if (!code) {
                code = file_write_all(fd, bytes, n, path, err);
                if (code && ftruncate(fd, st.st_size)) /* half a line is worse than none; when even this fails, say so */
                        tp_where(err, "%s now ends in a part of a line", path);
        }
        if (!code && fsync(fd))
                code = file_fail(err, path, "cannot be synced");
        close(fd);
        return !code && is_new ? sync_directory_of(path, err) : code;
}

static enum code rename_durably(const struct world *w, const char *from, const char *to, struct tp_error *err)
{
        char a[FILE_PATH_ROOM], b[FILE_PATH_ROOM];
        (void)w;
        if (rename(from, to)) {
                int sys = errno;
                return tp_fail_sys(err, file_code(sys), sys, "%s: cannot be renamed to %s", from, to);
        }
        directory_of(from, a);
        directory_of(to, b);
        enum code code = sync_directory_of(to, err);
        return !code && strcmp(a, b) != 0 ? sync_directory_of(from, err) : code;
}

static enum code remove_file(const struct world *w, const char *path, struct tp_error *err)
{
        (void)w;
        if (unlink(path) == 0)
                return sync_directory_of(path, err);
        return errno == ENOENT ? CODE_OK : file_fail(err, path, "cannot be removed");
}

static enum code size_of(const struct world *w, const char *path, int64_t *ret, struct tp_error *err)
{
        struct stat st;
        (void)w;
        if (stat(path, &st))
                return file_fail(err, path, "cannot be looked at");
        *ret = st.st_size;
        return CODE_OK;
}

static enum code identity_of(const struct world *w, const char *path, struct file_identity *ret, struct tp_error *err)
{
        struct stat st;
        (void)w;
        if (stat(path, &st))
                return file_fail(err, path, "cannot be looked at");
        *ret = (struct file_identity){st.st_dev, st.st_ino, st.st_size, (int64_t)st.st_ctim.tv_sec * NS_PER_S + st.st_ctim.tv_nsec};
        return CODE_OK;
}

static enum code digest_of(int fd, const char *path, uint8_t ret[32], struct tp_error *err)
{
        struct sha256 sum;
        char piece[16384];
        sha256_init(&sum);
        for (;;) {
                ssize_t got = read(fd, piece, sizeof piece);
                if (got < 0 && errno == EINTR)
                        continue;
                if (got < 0)
                        return file_fail(err, path, "cannot be read");
                if (got == 0)
                        break;
                sha256_add(&sum, piece, (size_t)got);
        }
        sha256_end(&sum, ret);
        return CODE_OK;
}

static enum code seal(const struct world *w, const char *path, uint8_t ret_sha256[32], struct tp_error *err)
{
        uint8_t digest[32];
        (void)w;
        int fd = open(path, O_RDONLY | O_CLOEXEC);
        if (fd < 0)
                return file_fail(err, path, "cannot be opened");
        enum code code = fchmod(fd, 0444) ? file_fail(err, path, "cannot be made read-only") : CODE_OK;
        if (!code && fsync(fd)) /* bytes and mode */
                code = file_fail(err, path, "cannot be synced");
        if (!code)
                code = digest_of(fd, path, digest, err);
        close(fd);
        if (!code)
                code = sync_directory_of(path, err);
        if (!code)
                memcpy(ret_sha256, digest, sizeof digest);
        return code;
}

static int64_t free_bytes(const struct world *w, const char *dir)
{
        struct statvfs fs;
        (void)w;
        if (statvfs(dir, &fs))
                return -1;
        return (int64_t)fs.f_bavail * (int64_t)fs.f_frsize; /* what this user may fill, not what root may */
}

/* Where the file system cannot set blocks aside, glibc writes them one by one: never begun when they cannot fit. */
static int allocate(int fd, const char *path, int64_t bytes)
{
        int sys;
        do
                sys = fallocate(fd, 0, 0, bytes) ? errno : 0;
        while (sys == EINTR);
        if (sys != EOPNOTSUPP)
                return sys;
        return free_bytes(NULL, path) < bytes ? ENOSPC : posix_fallocate(fd, 0, bytes);
}

static enum code reserve(const struct world *w, const char *path, int64_t bytes, struct tp_error *err)
{
        (void)w;
        int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, FILE_MODE);
        if (fd < 0)
                return file_fail(err, path, "cannot be opened");
        int sys = allocate(fd, path, bytes);
        enum code code = CODE_OK;
        if (sys)
                code = tp_fail_sys(err, file_code(sys), sys, "%s: cannot set %lld bytes aside", path, (long long)bytes);
        else if (fsync(fd))
                code = file_fail(err, path, "cannot be synced");
        close(fd);
        return code ? code : sync_directory_of(path, err);
}

const struct file_ops host_files = {
        .lock = file_lock,
        .unlock = file_unlock,
        .make_dir = make_dir,
        .list = list,
        .read = read_whole,
        .write = write_whole,
        .append = append,
        .rename = rename_durably,
        .remove = remove_file,
        .size = size_of,
        .identity = identity_of,
        .seal = seal,
        .reserve = reserve,
        .free_bytes = free_bytes,
};
