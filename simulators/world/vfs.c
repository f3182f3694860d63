/* vfs.c: the simulated disk as an SQLite VFS (sqlite.org/vfs.html), one per process, with locks and shared memory for WAL.
   A killed process's calls fail without effect; closing still gives back locks, as a kernel does. */
#include "simulators/world/own.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct vfs_file {
        sqlite3_file base;
        struct sim_process *process;
        struct sim_file *file;
        int level; /* SQLITE_LOCK_… held by this handle */
        bool uses_shm, delete_on_close;
        uint16_t shm_shared, shm_exclusive; /* bits held by this handle */
};

static bool dead(const struct vfs_file *f) { return f->process->dead; }

static int v_unlock(sqlite3_file *file, int level)
{
        struct vfs_file *f = (struct vfs_file *)file;
        struct sim_file *at = f->file;
        if (f->level <= level)
                return SQLITE_OK;
        if (f->level == SQLITE_LOCK_EXCLUSIVE)
                at->exclusive = false;
        if (f->level >= SQLITE_LOCK_PENDING)
                at->pending = false;
        if (f->level >= SQLITE_LOCK_RESERVED)
                at->reserved = false;
        if (level == SQLITE_LOCK_NONE)
                at->shared_n--;
        f->level = level;
        return SQLITE_OK;
}

static void shm_release(struct vfs_file *f)
{
        for (int i = 0; i < 8; i++) {
                if (f->shm_shared >> i & 1)
                        f->file->shm_shared[i]--;
                if (f->shm_exclusive >> i & 1)
                        f->file->shm_exclusive[i] = false;
        }
        f->shm_shared = f->shm_exclusive = 0;
}

static int v_shm_unmap(sqlite3_file *file, int delete_it)
{
        struct vfs_file *f = (struct vfs_file *)file;
        (void)delete_it;
        if (!f->uses_shm)
                return SQLITE_OK;
        shm_release(f);
        f->uses_shm = false;
        if (--f->file->shm_users == 0) {
                for (int i = 0; i < f->file->shm_n; i++)
                        free(f->file->shm[i]);
                free(f->file->shm);
                f->file->shm = NULL;
                f->file->shm_n = 0;
        }
        return SQLITE_OK;
}

static int v_close(sqlite3_file *file)
{
        struct vfs_file *f = (struct vfs_file *)file;
        v_unlock(file, SQLITE_LOCK_NONE);
        v_shm_unmap(file, 0);
        f->file->opens--;
        if (f->delete_on_close)
                f->file->exists = false;
        return SQLITE_OK;
}

static int v_read(sqlite3_file *file, void *ret, int n, sqlite3_int64 at)
{
        struct vfs_file *f = (struct vfs_file *)file;
        size_t have = (size_t)at < f->file->now_n ? f->file->now_n - (size_t)at : 0;
        if (dead(f))
                return SQLITE_IOERR_READ;
        if (have >= (size_t)n) {
                memcpy(ret, f->file->now + at, (size_t)n);
                return SQLITE_OK;
        }
        memset(ret, 0, (size_t)n);
        if (have)
                memcpy(ret, f->file->now + at, have);
        return SQLITE_IOERR_SHORT_READ;
}

static int v_write(sqlite3_file *file, const void *bytes, int n, sqlite3_int64 at)
{
        struct vfs_file *f = (struct vfs_file *)file;
        struct sim *sim = f->process->sim;
        if (dead(f))
                return SQLITE_IOERR_WRITE;
        if (sim->disk.quota_bytes && (size_t)at + (size_t)n > f->file->now_n &&
            files_bytes(sim) + (int64_t)((size_t)at + (size_t)n - f->file->now_n) > sim->disk.quota_bytes)
                return SQLITE_FULL;
        file_write(sim, f->file, at, bytes, (size_t)n);
        return SQLITE_OK;
}

static int v_truncate(sqlite3_file *file, sqlite3_int64 n)
{
        struct vfs_file *f = (struct vfs_file *)file;
        if (dead(f))
                return SQLITE_IOERR_TRUNCATE;
        file_truncate(f->process->sim, f->file, n);
        return SQLITE_OK;
}

static int v_sync(sqlite3_file *file, int flags)
{
        struct vfs_file *f = (struct vfs_file *)file;
        (void)flags;
        if (dead(f) || file_sync(f->process->sim, f->file) || dead(f))
                return SQLITE_IOERR_FSYNC;
        return SQLITE_OK;
}

static int v_size(sqlite3_file *file, sqlite3_int64 *ret)
{
        *ret = (sqlite3_int64)((struct vfs_file *)file)->file->now_n;
        return SQLITE_OK;
}

static int v_lock(sqlite3_file *file, int level)
{
        struct vfs_file *f = (struct vfs_file *)file;
        struct sim_file *at = f->file;
        if (dead(f))
                return SQLITE_IOERR_LOCK;
        if (f->level >= level)
                return SQLITE_OK;
        switch (level) {
        case SQLITE_LOCK_SHARED:
                if (at->pending || at->exclusive)
                        return SQLITE_BUSY;
                at->shared_n++;
                break;
        case SQLITE_LOCK_RESERVED:
                if (at->reserved)
                        return SQLITE_BUSY;
                at->reserved = true;
                break;
        case SQLITE_LOCK_EXCLUSIVE:
                if (f->level < SQLITE_LOCK_RESERVED && at->reserved)
                        return SQLITE_BUSY;
                at->reserved = true;
                at->pending = true;
                if (at->shared_n > 1) {
                        f->level = SQLITE_LOCK_PENDING;
                        return SQLITE_BUSY;
                }
                at->exclusive = true;
                break;
        default:
                return SQLITE_MISUSE;
        }
        f->level = level;
        return SQLITE_OK;
}

static int v_check_reserved(sqlite3_file *file, int *ret)
{
        *ret = ((struct vfs_file *)file)->file->reserved;
        return SQLITE_OK;
}

static int v_control(sqlite3_file *file, int op, void *arg)
{
        (void)file;
        (void)op;
        (void)arg;
        return SQLITE_NOTFOUND;
}
static int v_sector(sqlite3_file *file)
{
        (void)file;
        return 512;
}
static int v_characteristics(sqlite3_file *file)
{
        (void)file;
        return 0;
}

static int v_shm_map(sqlite3_file *file, int page, int bytes, int extend, void volatile **ret)
{
        struct vfs_file *f = (struct vfs_file *)file;
        struct sim_file *at = f->file;
        if (!f->uses_shm) {
                f->uses_shm = true;
                at->shm_users++;
        }
        *ret = NULL;
        if (page >= at->shm_n) {
                if (!extend)
                        return SQLITE_OK;
                void **grown = realloc(at->shm, (size_t)(page + 1) * sizeof *grown);
                if (!grown)
                        return SQLITE_NOMEM;
                at->shm = grown;
                while (at->shm_n <= page) {
                        at->shm[at->shm_n] = calloc(1, (size_t)bytes);
                        if (!at->shm[at->shm_n])
                                return SQLITE_NOMEM;
                        at->shm_n++;
                }
        }
        *ret = at->shm[page];
        return SQLITE_OK;
}

static int v_shm_lock(sqlite3_file *file, int first, int n, int flags)
{
        struct vfs_file *f = (struct vfs_file *)file;
        struct sim_file *at = f->file;
        bool shared = flags & SQLITE_SHM_SHARED;
        for (int i = first; i < first + n; i++) {
                uint16_t bit = (uint16_t)(1u << i);
                if (flags & SQLITE_SHM_UNLOCK)
                        continue;
                if (at->shm_exclusive[i] && !(f->shm_exclusive & bit))
                        return SQLITE_BUSY;
                if (!shared && at->shm_shared[i] > ((f->shm_shared & bit) ? 1 : 0))
                        return SQLITE_BUSY;
        }
        for (int i = first; i < first + n; i++) {
                uint16_t bit = (uint16_t)(1u << i);
                if (flags & SQLITE_SHM_UNLOCK) {
                        if (shared && (f->shm_shared & bit)) {
                                at->shm_shared[i]--;
                                f->shm_shared = (uint16_t)(f->shm_shared & ~bit);
                        } else if (!shared && (f->shm_exclusive & bit)) {
                                at->shm_exclusive[i] = false;
                                f->shm_exclusive = (uint16_t)(f->shm_exclusive & ~bit);
                        }
                } else if (shared && !(f->shm_shared & bit)) {
                        at->shm_shared[i]++;
                        f->shm_shared |= bit;
                } else if (!shared && !(f->shm_exclusive & bit)) {
                        at->shm_exclusive[i] = true;
                        f->shm_exclusive |= bit;
                }
        }
        return SQLITE_OK;
}

static void v_shm_barrier(sqlite3_file *file) { (void)file; }

static const sqlite3_io_methods methods = {2,
                                           v_close,
                                           v_read,
                                           v_write,
                                           v_truncate,
                                           v_sync,
                                           v_size,
                                           v_lock,
                                           v_unlock,
                                           v_check_reserved,
                                           v_control,
                                           v_sector,
                                           v_characteristics,
                                           v_shm_map,
                                           v_shm_lock,
                                           v_shm_barrier,
                                           v_shm_unmap,
                                           NULL,
                                           NULL};

static int v_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *file, int flags, int *ret_flags)
{
        struct vfs_file *f = (struct vfs_file *)file;
        struct sim_process *p = vfs->pAppData;
        char made[64];
        memset(f, 0, sizeof *f);
        if (p->dead)
                return SQLITE_CANTOPEN;
        if (!name) {
                snprintf(made, sizeof made, "(temporary %llu)", (unsigned long long)draw(&p->random));
                name = made;
        }
        f->file = file_find(p->sim, name, (flags & SQLITE_OPEN_CREATE) != 0);
        if (!f->file)
                return SQLITE_CANTOPEN;
        f->process = p;
        f->delete_on_close = (flags & SQLITE_OPEN_DELETEONCLOSE) != 0;
        f->file->opens++;
        f->base.pMethods = &methods;
        if (ret_flags)
                *ret_flags = flags;
        return SQLITE_OK;
}

static int v_delete(sqlite3_vfs *vfs, const char *name, int sync_dir)
{
        struct sim_process *p = vfs->pAppData;
        (void)sync_dir;
        if (p->dead)
                return SQLITE_IOERR_DELETE;
        struct sim_file *f = file_find(p->sim, name, false);
        if (!f)
                return SQLITE_IOERR_DELETE_NOENT;
        file_truncate(p->sim, f, 0);
        f->exists = false;
        return SQLITE_OK;
}

static int v_access(sqlite3_vfs *vfs, const char *name, int flags, int *ret)
{
        struct sim_process *p = vfs->pAppData;
        struct sim_file *f = file_find(p->sim, name, false);
        *ret = f != NULL && !(flags == SQLITE_ACCESS_EXISTS && f->now_n == 0 && strstr(name, "-wal"));
        return p->dead ? SQLITE_IOERR_ACCESS : SQLITE_OK;
}

static int v_full_path(sqlite3_vfs *vfs, const char *name, int n, char *ret)
{
        (void)vfs;
        snprintf(ret, (size_t)n, "%s", name);
        return SQLITE_OK;
}

static int v_randomness(sqlite3_vfs *vfs, int n, char *ret)
{
        struct sim_process *p = vfs->pAppData;
        for (int i = 0; i < n; i++)
                ret[i] = (char)draw(&p->random);
        return n;
}

static int v_sleep(sqlite3_vfs *vfs, int us)
{
        struct sim_process *p = vfs->pAppData;
        fiber_wait(p->sim, p->sim->now_ns + (int64_t)us * 1000);
        return us;
}

static int v_time64(sqlite3_vfs *vfs, sqlite3_int64 *ret)
{
        struct sim_process *p = vfs->pAppData;
        *ret = INT64_C(210866760000000) + (p->sim->wall_offset_us + p->sim->now_ns / 1000) / 1000;
        return SQLITE_OK;
}

static int v_time(sqlite3_vfs *vfs, double *ret)
{
        sqlite3_int64 ms;
        v_time64(vfs, &ms);
        *ret = (double)ms / 86400000.0;
        return SQLITE_OK;
}

static int v_last_error(sqlite3_vfs *vfs, int n, char *ret)
{
        (void)vfs;
        (void)n;
        (void)ret;
        return 0;
}

bool vfs_register(struct sim_process *p)
{
        p->vfs = (sqlite3_vfs){.iVersion = 2,
                               .szOsFile = sizeof(struct vfs_file),
                               .mxPathname = 255,
                               .zName = p->vfs_name,
                               .pAppData = p,
                               .xOpen = v_open,
                               .xDelete = v_delete,
                               .xAccess = v_access,
                               .xFullPathname = v_full_path,
                               .xRandomness = v_randomness,
                               .xSleep = v_sleep,
                               .xCurrentTime = v_time,
                               .xGetLastError = v_last_error,
                               .xCurrentTimeInt64 = v_time64};
        return sqlite3_vfs_register(&p->vfs, 0) == SQLITE_OK;
}

void vfs_unregister(struct sim_process *p) { sqlite3_vfs_unregister(&p->vfs); }
