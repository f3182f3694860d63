/* disk.c: files in memory with what was synced apart from what was only written. */
#include "simulators/world/own.h"
#include "base/hash.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct file_lock {
        struct file_lock *next;
        struct sim_process *owner;
        char path[256];
};

struct sim_file *file_find(struct sim *sim, const char *path, bool make)
{
        for (struct sim_file *f = sim->files; f; f = f->next)
                if (strcmp(f->path, path) == 0) {
                        if (make)
                                f->exists = true;
                        return f->exists ? f : NULL;
                }
        struct sim_file *f = make ? calloc(1, sizeof *f) : NULL;
        if (!f)
                return NULL;
        snprintf(f->path, sizeof f->path, "%s", path);
        f->exists = true;
        f->id = sim->files ? sim->files->id + 1 : 1;
        f->unsynced_end = &f->unsynced;
        f->next = sim->files;
        sim->files = f;
        return f;
}

static void put(uint8_t **at, size_t *n, size_t *room, int64_t offset, const void *bytes, size_t count)
{
        size_t end = (size_t)offset + count;
        if (end > *room) {
                size_t more = end * 2 < 4096 ? 4096 : end * 2;
                uint8_t *grown = realloc(*at, more);
                if (!grown)
                        abort();
                memset(grown + *room, 0, more - *room);
                *at = grown;
                *room = more;
        }
        if (count)
                memcpy(*at + offset, bytes, count);
        if (end > *n)
                *n = end;
}

static void remember(struct sim_file *f, int64_t at, const void *bytes, size_t n, bool truncate)
{
        struct write_done *w = calloc(1, sizeof *w);
        if (!w)
                abort();
        w->at = at;
        w->n = n;
        w->truncate = truncate;
        if (n) {
                w->bytes = malloc(n);
                if (!w->bytes)
                        abort();
                memcpy(w->bytes, bytes, n);
        }
        *f->unsynced_end = w;
        f->unsynced_end = &w->next;
}

void file_write(struct sim *sim, struct sim_file *f, int64_t at, const void *bytes, size_t n)
{
        (void)sim;
        f->changes++;
        put(&f->now, &f->now_n, &f->now_room, at, bytes, n);
        remember(f, at, bytes, n, false);
}

void file_truncate(struct sim *sim, struct sim_file *f, int64_t n)
{
        (void)sim;
        f->changes++;
        if ((size_t)n < f->now_n) {
                memset(f->now + n, 0, f->now_n - (size_t)n);
                f->now_n = (size_t)n;
        } else {
                put(&f->now, &f->now_n, &f->now_room, n, NULL, 0);
        }
        remember(f, n, NULL, 0, true);
}

static void forget_unsynced(struct sim_file *f)
{
        for (struct write_done *next, *w = f->unsynced; w; w = next) {
                next = w->next;
                free(w->bytes);
                free(w);
        }
        f->unsynced = NULL;
        f->unsynced_end = &f->unsynced;
}

/* Everything written so far reaches the durable image; costs what was written, not what the file holds. */
static void make_durable(struct sim_file *f)
{
        for (struct write_done *w = f->unsynced; w; w = w->next) {
                if (!w->truncate)
                        put(&f->durable, &f->durable_n, &f->durable_room, w->at, w->bytes, w->n);
                else if ((size_t)w->at < f->durable_n) {
                        memset(f->durable + w->at, 0, f->durable_n - (size_t)w->at);
                        f->durable_n = (size_t)w->at;
                } else {
                        put(&f->durable, &f->durable_n, &f->durable_room, w->at, NULL, 0);
                }
        }
        forget_unsynced(f);
}

enum code file_sync(struct sim *sim, struct sim_file *f)
{
        sim->syncs++;
        if (sim->disk.sync_fails_at > 0 && --sim->disk.sync_fails_at == 0)
                return CODE_DISK;
        if (sim->disk.sync_hangs_at > 0 && --sim->disk.sync_hangs_at == 0)
                fiber_wait(sim, sim->now_ns + sim->disk.hang_ns);
        if (!sim->disk.sync_lies)
                make_durable(f);
        return CODE_OK;
}

int64_t files_bytes(struct sim *sim)
{
        int64_t sum = 0;
        for (struct sim_file *f = sim->files; f; f = f->next)
                sum += f->exists ? (int64_t)f->now_n : 0;
        return sum;
}

/* Names are kept as they are (an ordered journal of the file system's own); of the contents, what was synced and a seeded part of the rest.
 */
void files_power_cut(struct sim *sim)
{
        for (struct sim_file *f = sim->files; f; f = f->next) {
                size_t room;
                uint8_t *image = NULL;
                size_t n = 0;
                room = 0;
                put(&image, &n, &room, 0, f->durable, f->durable_n);
                for (struct write_done *w = f->unsynced; w; w = w->next) {
                        double kept = draw_share(&sim->disk_draws);
                        if (kept < 0.5) {
                                sim->lost_writes++;
                                continue;
                        }
                        if (w->truncate) {
                                if ((size_t)w->at < n) {
                                        memset(image + w->at, 0, n - (size_t)w->at);
                                        n = (size_t)w->at;
                                }
                                continue;
                        }
                        size_t part = w->n;
                        if (kept < 0.7 && w->n > 512) { /* torn at a sector */
                                part = draw(&sim->disk_draws) % (w->n / 512) * 512;
                                sim->lost_writes++;
                        }
                        if (part)
                                put(&image, &n, &room, w->at, w->bytes, part);
                }
                forget_unsynced(f);
                free(f->now);
                f->now = image;
                f->now_n = n;
                f->now_room = room;
                f->durable_n = 0;
                put(&f->durable, &f->durable_n, &f->durable_room, 0, image, n);
        }
}

void files_free(struct sim *sim)
{
        for (struct sim_file *next, *f = sim->files; f; f = next) {
                next = f->next;
                forget_unsynced(f);
                free(f->now);
                free(f->durable);
                for (int i = 0; i < f->shm_n; i++)
                        free(f->shm[i]);
                free(f->shm);
                free(f);
        }
        sim->files = NULL;
}

/* ---- whole small files -------------------------------------------------------------------------------------------------------------- */
static enum code alive(const struct world *w, const char *path, struct tp_error *err)
{
        return process_of(w)->dead ? tp_fail(err, CODE_DISK, "%s: this process was killed", path) : CODE_OK;
}

static enum code sim_file_lock(const struct world *w, const char *path, struct file_lock **ret, char holder[160], struct tp_error *err)
{
        struct sim_process *me = process_of(w);
        if (alive(w, path, err))
                return CODE_DISK;
        for (struct sim_process *p = me->sim->processes; p; p = p->next)
                for (struct file_lock *l = p->locks; l && !p->dead; l = l->next)
                        if (strcmp(l->path, path) == 0) {
                                snprintf(holder, 160, "process %s of the simulated world", p->name);
                                return tp_fail(err, CODE_BUSY, "%s is held by %s", path, holder);
                        }
        struct file_lock *l = calloc(1, sizeof *l);
        if (!l)
                return tp_fail_memory(err);
        snprintf(l->path, sizeof l->path, "%s", path);
        l->owner = me;
        l->next = me->locks;
        me->locks = l;
        *ret = l;
        return CODE_OK;
}

static void sim_file_unlock(const struct world *w, struct file_lock *l)
{
        for (struct file_lock **at = &process_of(w)->locks; l && *at; at = &(*at)->next)
                if (*at == l) {
                        *at = l->next;
                        free(l);
                        return;
                }
}

static enum code sim_make_dir(const struct world *w, const char *path, struct tp_error *err) { return alive(w, path, err); }

static enum code sim_list(const struct world *w, const char *dir, void (*each)(void *ctx, const char *name), void *ctx,
                          struct tp_error *err)
{
        char seen[256] = "";
        size_t n = strlen(dir);
        if (alive(w, dir, err))
                return CODE_DISK;
        for (struct sim_file *f = process_of(w)->sim->files; f; f = f->next) {
                if (!f->exists || strncmp(f->path, dir, n) != 0 || f->path[n] != '/')
                        continue;
                char name[256];
                snprintf(name, sizeof name, "%s", f->path + n + 1);
                char *slash = strchr(name, '/');
                bool sub = slash != NULL;
                if (sub)
                        *slash = 0;
                if (sub && strcmp(seen, name) == 0)
                        continue; /* a folder is told once where its files stand together */
                if (sub)
                        snprintf(seen, sizeof seen, "%s", name);
                each(ctx, name);
        }
        return CODE_OK;
}

static enum code sim_read_file(const struct world *w, const char *path, size_t max, struct text *ret, struct tp_error *err)
{
        if (alive(w, path, err))
                return CODE_DISK;
        struct sim_file *f = file_find(process_of(w)->sim, path, false);
        if (!f)
                return tp_fail(err, CODE_NOT_FOUND, "%s is not there", path);
        if (f->now_n > max)
                return tp_fail(err, CODE_BAD_INPUT, "%s has %zu bytes, more than the %zu allowed", path, f->now_n, max);
        text_bytes(ret, f->now, f->now_n);
        return text_ok(ret) ? CODE_OK : tp_fail_memory(err);
}

static bool over_quota(struct sim *sim, size_t more)
{
        return sim->disk.quota_bytes && files_bytes(sim) + (int64_t)more > sim->disk.quota_bytes;
}

static enum code sim_write_file(const struct world *w, const char *path, const void *bytes, size_t n, unsigned mode, struct tp_error *err)
{
        struct sim *sim = process_of(w)->sim;
        (void)mode;
        if (alive(w, path, err))
                return CODE_DISK;
        if (over_quota(sim, n))
                return tp_fail(err, CODE_DISK_FULL, "%s: the disk is full", path);
        struct sim_file *f = file_find(sim, path, true);
        if (!f)
                return tp_fail_memory(err);
        file_truncate(sim, f, 0); /* atomic: written beside, synced, renamed */
        file_write(sim, f, 0, bytes, n);
        make_durable(f);
        return CODE_OK;
}

static enum code sim_append(const struct world *w, const char *path, const void *bytes, size_t n, struct tp_error *err)
{
        struct sim *sim = process_of(w)->sim;
        if (alive(w, path, err))
                return CODE_DISK;
        if (over_quota(sim, n))
                return tp_fail(err, CODE_DISK_FULL, "%s: the disk is full", path);
        struct sim_file *f = file_find(sim, path, true);
        if (!f)
                return tp_fail_memory(err);
        file_write(sim, f, (int64_t)f->now_n, bytes, n);
        make_durable(f);
        return CODE_OK;
}

static enum code sim_rename(const struct world *w, const char *from, const char *to, struct tp_error *err)
{
        struct sim *sim = process_of(w)->sim;
        if (alive(w, from, err))
                return CODE_DISK;
        struct sim_file *f = file_find(sim, from, false), *old = file_find(sim, to, false);
        if (!f)
                return tp_fail(err, CODE_NOT_FOUND, "%s is not there", from);
        if (old && old != f) {
                old->exists = false;
                snprintf(old->path, sizeof old->path, "(gone)");
        }
        snprintf(f->path, sizeof f->path, "%s", to);
        return CODE_OK;
}

static enum code sim_remove(const struct world *w, const char *path, struct tp_error *err)
{
        if (alive(w, path, err))
                return CODE_DISK;
        struct sim_file *f = file_find(process_of(w)->sim, path, false);
        if (f) {
                file_truncate(process_of(w)->sim, f, 0);
                make_durable(f);
                f->exists = false;
        }
        return CODE_OK;
}

static enum code sim_size(const struct world *w, const char *path, int64_t *ret, struct tp_error *err)
{
        struct sim_file *f = file_find(process_of(w)->sim, path, false);
        if (!f)
                return tp_fail(err, CODE_NOT_FOUND, "%s is not there", path);
        *ret = (int64_t)f->now_n;
        return CODE_OK;
}

static enum code sim_identity(const struct world *w, const char *path, struct file_identity *ret, struct tp_error *err)
{
        struct sim_file *f = file_find(process_of(w)->sim, path, false);
        if (!f)
                return tp_fail(err, CODE_NOT_FOUND, "%s is not there", path);
        *ret = (struct file_identity){0, f->id, (int64_t)f->now_n, (int64_t)f->changes};
        return CODE_OK;
}

static enum code sim_seal(const struct world *w, const char *path, uint8_t ret_sha256[32], struct tp_error *err)
{
        if (alive(w, path, err))
                return CODE_DISK;
        struct sim_file *f = file_find(process_of(w)->sim, path, false);
        if (!f)
                return tp_fail(err, CODE_NOT_FOUND, "%s is not there", path);
        if (file_sync(process_of(w)->sim, f))
                return tp_fail(err, CODE_DISK, "%s could not be synced", path);
        sha256_of(f->now, f->now_n, ret_sha256);
        return CODE_OK;
}

static enum code sim_reserve(const struct world *w, const char *path, int64_t bytes, struct tp_error *err)
{
        struct sim *sim = process_of(w)->sim;
        if (alive(w, path, err))
                return CODE_DISK;
        if (over_quota(sim, (size_t)bytes))
                return tp_fail(err, CODE_DISK_FULL, "%s: the disk is full", path);
        struct sim_file *f = file_find(sim, path, true);
        if (!f)
                return tp_fail_memory(err);
        file_truncate(sim, f, bytes);
        make_durable(f);
        return CODE_OK;
}

static int64_t sim_free_bytes(const struct world *w, const char *dir)
{
        struct sim *sim = process_of(w)->sim;
        (void)dir;
        return sim->disk.quota_bytes ? sim->disk.quota_bytes - files_bytes(sim) : INT64_C(1) << 40;
}

const struct file_ops sim_file_ops = {sim_file_lock,  sim_file_unlock, sim_make_dir, sim_list,      sim_read_file,
                                      sim_write_file, sim_append,      sim_rename,   sim_remove,    sim_size,
                                      sim_identity,   sim_seal,        sim_reserve,  sim_free_bytes};
