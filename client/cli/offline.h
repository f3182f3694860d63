/* offline.h: what the commands share that work on files and need no daemon.  Arithmetic is rf/'s, formats are formats/'s; here one reads,
   asks and writes. */
#ifndef TIPPLANE_CLI_OFFLINE_H
#define TIPPLANE_CLI_OFFLINE_H
#include "cli/cli.h"
#include "formats/touchstone.h"

#define FILE_BYTES_MAX ((size_t)256 << 20)

/* The file's bytes, in the arena and NUL-terminated; errors begin with the path. */
enum code offline_bytes(struct cli *c, const char *path, const char **ret, size_t *ret_n, struct tp_error *err);
/* A Touchstone file in the arena; errors begin with its path. */
enum code offline_touchstone(struct cli *c, const char *path, struct touchstone *ret, struct tp_error *err);
/* A two-port of single-ended S with one real reference; ret_file (may be NULL) holds its comments. */
enum code offline_net2(struct cli *c, const char *path, enum plane plane, struct net2 *ret, struct touchstone *ret_file,
                       struct tp_error *err);
/* `text` into the file of --out, whole or not at all, or to stdout when there is none or it is "-".  What is talk goes to stderr. */
enum code offline_out(struct cli *c, const struct text *text, struct tp_error *err);

#endif
