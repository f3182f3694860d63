/* store_vfs.h: the system's VFS with a disk that can be full, and a sync that can fail. */
#ifndef TIPPLANE_TESTS_STORE_VFS_H
#define TIPPLANE_TESTS_STORE_VFS_H
#include <sqlite3.h>
#include <stdatomic.h>
#include <string.h>

struct bad_disk {
        sqlite3_vfs vfs;
        sqlite3_vfs *real;
        atomic_int full;       /* writes that would grow a file get SQLITE_FULL */
        atomic_int sync_fails; /* so many syncs to come fail, after the write */
        atomic_int syncs;
        atomic_long grown; /* with `full`: bytes that still fit */
};
struct bad_file {
        sqlite3_file base;
        struct bad_disk *disk;
        sqlite3_io_methods methods;
        sqlite3_file *real; /* behind this struct */
};

static int bad_write(sqlite3_file *f, const void *bytes, int n, sqlite3_int64 at)
{
        struct bad_file *b = (struct bad_file *)(void *)f;
        sqlite3_int64 size = 0;
        b->real->pMethods->xFileSize(b->real, &size);
        if (atomic_load(&b->disk->full) && at + n > size && atomic_fetch_sub(&b->disk->grown, n) < n)
                return SQLITE_FULL;
        return b->real->pMethods->xWrite(b->real, bytes, n, at);
}
static int bad_sync(sqlite3_file *f, int flags)
{
        struct bad_file *b = (struct bad_file *)(void *)f;
        atomic_fetch_add(&b->disk->syncs, 1);
        if (atomic_load(&b->disk->sync_fails) > 0 && atomic_fetch_sub(&b->disk->sync_fails, 1) > 0)
                return SQLITE_IOERR_FSYNC;
        return b->real->pMethods->xSync(b->real, flags);
}
#define BAD_REAL(f) (((struct bad_file *)(void *)(f))->real)
#define BAD_PASS(f, name, ...) BAD_REAL(f)->pMethods->name(BAD_REAL(f), ##__VA_ARGS__)
static int bad_close(sqlite3_file *f) { return BAD_PASS(f, xClose); }
static int bad_read(sqlite3_file *f, void *to, int n, sqlite3_int64 at) { return BAD_PASS(f, xRead, to, n, at); }
static int bad_truncate(sqlite3_file *f, sqlite3_int64 n) { return BAD_PASS(f, xTruncate, n); }
static int bad_size(sqlite3_file *f, sqlite3_int64 *ret) { return BAD_PASS(f, xFileSize, ret); }
static int bad_lock(sqlite3_file *f, int l) { return BAD_PASS(f, xLock, l); }
static int bad_unlock(sqlite3_file *f, int l) { return BAD_PASS(f, xUnlock, l); }
static int bad_reserved(sqlite3_file *f, int *ret) { return BAD_PASS(f, xCheckReservedLock, ret); }
static int bad_control(sqlite3_file *f, int op, void *arg) { return BAD_PASS(f, xFileControl, op, arg); }
static int bad_sector(sqlite3_file *f) { return BAD_PASS(f, xSectorSize); }
static int bad_traits(sqlite3_file *f) { return BAD_PASS(f, xDeviceCharacteristics); }
static int bad_shm_map(sqlite3_file *f, int i, int n, int extend, void volatile **ret) { return BAD_PASS(f, xShmMap, i, n, extend, ret); }
static int bad_shm_lock(sqlite3_file *f, int at, int n, int flags) { return BAD_PASS(f, xShmLock, at, n, flags); }
static void bad_shm_barrier(sqlite3_file *f) { BAD_PASS(f, xShmBarrier); }
static int bad_shm_unmap(sqlite3_file *f, int gone) { return BAD_PASS(f, xShmUnmap, gone); }

static int bad_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *f, int flags, int *ret_flags)
{
        struct bad_disk *d = vfs->pAppData;
        struct bad_file *b = (struct bad_file *)(void *)f;
        b->base.pMethods = NULL;
        b->disk = d;
        b->real = (sqlite3_file *)(void *)(b + 1);
        int rc = d->real->xOpen(d->real, name, b->real, flags, ret_flags);
        if (!b->real->pMethods)
                return rc;
        b->methods = (sqlite3_io_methods){.iVersion = 2,
                                          .xClose = bad_close,
                                          .xRead = bad_read,
                                          .xWrite = bad_write,
                                          .xTruncate = bad_truncate,
                                          .xSync = bad_sync,
                                          .xFileSize = bad_size,
                                          .xLock = bad_lock,
                                          .xUnlock = bad_unlock,
                                          .xCheckReservedLock = bad_reserved,
                                          .xFileControl = bad_control,
                                          .xSectorSize = bad_sector,
                                          .xDeviceCharacteristics = bad_traits,
                                          .xShmMap = bad_shm_map,
                                          .xShmLock = bad_shm_lock,
                                          .xShmBarrier = bad_shm_barrier,
                                          .xShmUnmap = bad_shm_unmap};
        b->base.pMethods = &b->methods;
        return rc;
}

static void bad_disk_register(struct bad_disk *d)
{
        d->real = sqlite3_vfs_find(NULL);
        d->vfs = *d->real;
        d->vfs.pNext = NULL;
        d->vfs.zName = "bad-disk";
        d->vfs.pAppData = d;
        d->vfs.szOsFile = (int)sizeof(struct bad_file) + d->real->szOsFile;
        d->vfs.xOpen = bad_open;
        sqlite3_vfs_register(&d->vfs, 0);
}

#endif
