/* file_own.h: what file.c and file_lock.c share.  Not for other rooms. */
#ifndef TIPPLANE_HOST_FILE_OWN_H
#define TIPPLANE_HOST_FILE_OWN_H
#include "base/world.h"

enum { FILE_PATH_ROOM = 4096 };
enum code file_code(int sys);                                                  /* errno of a file call */
enum code file_fail(struct tp_error *err, const char *path, const char *what); /* from errno */
enum code file_write_all(int fd, const void *bytes, size_t n, const char *path, struct tp_error *err);
enum code file_lock(const struct world *, const char *path, struct file_lock **ret, char holder[160], struct tp_error *);
void file_unlock(const struct world *, struct file_lock *);

#endif
