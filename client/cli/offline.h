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
/* A two-port of single-ended S with one real reference.  `want` PLANE_RECEIVER: raw ratios; a file that says it is corrected is refused.
   Else a corrected one: its plane is what the file says, or `want` where it says nothing; a file that says it is raw is refused. */
enum code offline_net2(struct cli *c, const char *path, enum plane want, struct net2 *ret, struct tp_error *err);
/* Memory for a network on `axis`, in the arena; false: none. */
bool offline_net2_new(struct cli *c, const struct axis *axis, struct net2 *ret);
/* "1e9,2.5e9": at most `max` numbers; errors name the option and the word. */
enum code offline_numbers(struct cli *c, const char *option, double *ret, size_t max, size_t *ret_n, struct tp_error *err);
/* "a,b,c" split in the arena. */
enum code offline_words(struct cli *c, const char *option, const char **ret, size_t max, size_t *ret_n, struct tp_error *err);
/* One number of an option, or `otherwise` when it is not there. */
enum code offline_number(struct cli *c, const char *option, double min, double max, double otherwise, double *ret, struct tp_error *err);
/* A .s2p of the network with a comment, to --out. */
enum code offline_net2_out(struct cli *c, const struct net2 *net, const char *comment, struct tp_error *err);
/* `text` into the file of --out, whole or not at all, or to stdout when there is none or it is "-".  What is talk goes to stderr. */
enum code offline_out(struct cli *c, const struct text *text, struct tp_error *err);

#endif
