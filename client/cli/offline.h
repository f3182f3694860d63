/* offline.h: what the commands share that work on files and need no daemon.  Arithmetic is rf/'s, formats are formats/'s; here one reads,
   asks and writes. */
#ifndef TIPPLANE_CLI_OFFLINE_H
#define TIPPLANE_CLI_OFFLINE_H
#include "cli/cli.h"
#include "formats/terms_json.h"
#include "rf/network/netn_causes.h"
#include "formats/touchstone.h"

#define OFFLINE_WITHOUT_CDS "Cds is not in it" /* in a comment of `extrinsic`: `extract` refuses it then */
/* In a comment of a raw file: each port's drift when it was read, one standard deviation of delay and of loss at the highest frequency. */
#define RAW_DRIFT_COMMENT "drift since the calibration: "
#define RAW_DRIFT_FORMAT "port 1 %.9g s %.9g dB, port 2 %.9g s %.9g dB"
#define FILE_BYTES_MAX ((size_t)256 << 20)

/* The file's bytes, in the arena and NUL-terminated; errors begin with the path. */
enum code offline_bytes(struct cli *c, const char *path, const char **ret, size_t *ret_n, struct tp_error *err);
/* A Touchstone file in the arena; errors begin with its path.  Comments that it is too small for are noted. */
enum code offline_touchstone(struct cli *c, const char *path, struct touchstone *ret, struct tp_error *err);
/* 1 to 4 ports as single-ended S with one real reference at all ports.  `want` PLANE_RECEIVER: raw ratios; a file that says it is corrected
   is refused.  Else a corrected one: its plane is what the file says, or `want` where it says nothing; a file that says it is raw is
   refused.  Other parameters and mixed modes are converted, unequal references of corrected data brought to 50 ohm, and that is noted. */
enum code offline_netn(struct cli *c, const char *path, enum plane want, struct netn *ret, struct tp_error *err);
/* The same of two ports; of more, and where the command has --modes, the two modes it names. */
enum code offline_net2(struct cli *c, const char *path, enum plane want, struct net2 *ret, struct tp_error *err);
/* offline_modes.c: what --modes names out of net, in one reference. */
enum code offline_modes(struct cli *c, const char *path, const struct netn *net, struct net2 *ret, struct tp_error *err);
/* The same of what is not known exactly of net. */
enum code offline_modes_causes(struct cli *c, const char *path, const struct netn *net, const struct netn_causes *all,
                               struct net2_causes *ret, struct tp_error *err);
/* Ports p and q (from 0) as they stand, with the reference of p; the others end in theirs. */
enum code offline_two_of(struct cli *c, const struct netn *net, unsigned p, unsigned q, struct net2 *ret, struct tp_error *err);
/* offline_look.c: "NAME: sentence" among the notes, nothing twice. */
void offline_note_once(struct cli *c, const char *name, const char *sentence);
/* What is odd about corrected data (rf/trust/oddities.h) among the notes, nothing twice; *ret_said: how many sentences.  Of more than
   two ports each two for themselves, the others ended in their reference, until something is odd about a pair. */
enum code offline_look(struct cli *c, const char *name, const struct net2 *net, size_t *ret_said, struct tp_error *err);
enum code offline_look_ports(struct cli *c, const char *path, const struct netn *net, struct tp_error *err);
/* The same of a file that a command has read: nothing fails for it. */
void offline_look_read(struct cli *c, const char *path, const struct net2 *net);
/* What a line of this length would have in eps_eff is said when no line has it. */
void offline_length_look(struct cli *c, const char *path, double length_m, double eps_eff);
void offline_look_read_ports(struct cli *c, const char *path, const struct netn *net);
/* To z_ohm (NaN: the line's own, as it must be already), noted. */
enum code offline_reference(struct cli *c, const char *path, struct net2 *net, double z_ohm, struct tp_error *err);
/* offline_grid.c: n networks on the frequencies of the first that all others have (to 1e-9) or, with `interpolate`, span; never beyond a
   sweep's ends.  What is used, left out and interpolated is noted.  CODE_BAD_INPUT: nothing is left. */
enum code offline_common(struct cli *c, const char *const *names, struct net2 *nets, size_t n, bool interpolate, struct tp_error *err);
/* Which frequencies of a raw file the terms have, to 1e-9; nothing is interpolated.  CODE_BAD_INPUT: one is not there (with --common: none
   is). */
struct offline_picked {
        struct axis axis;
        size_t *raw_at, *terms_at; /* index of each frequency of the axis in the raw file and in the terms */
};
enum code offline_calibrated(struct cli *c, const char *name, const struct axis *raw, const struct axis *terms, struct offline_picked *ret,
                             struct tp_error *err);
/* Memory for a network on `axis`, in the arena; false: none. */
bool offline_net2_new(struct cli *c, const struct axis *axis, struct net2 *ret);
/* "1e9,2.5e9": at most `max` numbers; errors name the option and the word. */
enum code offline_numbers(struct cli *c, const char *option, double *ret, size_t max, size_t *ret_n, struct tp_error *err);
/* "a,b,c" split in the arena. */
enum code offline_words(struct cli *c, const char *option, const char **ret, size_t max, size_t *ret_n, struct tp_error *err);
/* One number of an option, or `otherwise` when it is not there. */
enum code offline_number(struct cli *c, const char *option, double min, double max, double otherwise, double *ret, struct tp_error *err);
/* No option is ignored: CODE_BAD_INPUT when it is given and not `used`; `of` says what it is for: "a line", "fT and fmax". */
enum code offline_used(struct cli *c, const char *option, bool used, const char *of, struct tp_error *err);
/* A file named in another one: beside it, unless it is absolute.  In the arena; NULL: no memory. */
const char *offline_beside(struct cli *c, const char *of, const char *path);
/* Switch terms: a .s2p with GF = a2/b2 (source at port 1) as S21 and GR = a1/b1 (source at port 2) as S12; or, with `reverse`, two .s1p. */
enum code offline_switch_terms(struct cli *c, const char *file, const char *reverse, struct switch_terms *ret, struct tp_error *err);
/* One-port reflections as a raw two-port whose other entries are 0; either may be NULL. */
enum code offline_reflections(struct cli *c, const char *port_1, const char *port_2, struct net2 *ret, struct tp_error *err);
/* Error terms from a .json file; errors begin with its path. */
enum code offline_terms(struct cli *c, const char *path, struct terms_json **ret, struct tp_error *err);
/* "freq_hz", "s11" … "s22" as columns of [re, im], inside an open object. */
void offline_net2_json(struct json_out *o, const struct net2 *net);
/* "freq_hz", "z_ref_ohm", "s11" … "s44" of a network of any ports, likewise. */
void offline_netn_json(struct json_out *o, const struct netn *net);
/* The network as the file called `path` (.s3p …, .ts; NULL: stdout, version 1) should hold it.  CODE_BAD_INPUT: another number of ports in
   the name, a complex or changing reference. */
enum code offline_netn_text(const struct netn *net, const char *comment, const char *path, struct text *to, struct tp_error *err);
/* The network as the file called `path` should hold it: version 2.1 for .ts, else 1.0 (path NULL: stdout); a one-port of port `port` for
   .s1p.  CODE_BAD_INPUT: the name says another number of ports. */
enum code offline_net2_text(const struct net2 *net, int port, const char *comment, const char *path, struct text *to, struct tp_error *err);
/* The same to --out. */
enum code offline_net2_out(struct cli *c, const struct net2 *net, const char *comment, struct tp_error *err);
/* SHA-256 of a file's bytes, in hex. */
enum code offline_digest(struct cli *c, const char *path, char ret[65], struct tp_error *err);

/* ---- offline_uncertainty.c: what is not known exactly of a corrected network, in a document beside its file --------------------------- */
/* "x.u.json" of "x.s2p".  In the arena; NULL: no memory. */
const char *offline_uncertainty_path(struct cli *c, const char *path);
/* Is there room for so many columns?  CODE_BAD_INPUT names the option that leaves them out. */
enum code offline_columns_check(size_t columns, size_t points, const char *option, struct tp_error *err);
/* The document of the network that `text` holds as the file `path` (where it goes to stdout: the name that it is called by). */
enum code offline_uncertainty_text(struct cli *c, const struct net2 *net, const struct net2_causes *causes, const char *path,
                                   const struct text *text, struct text *to, struct tp_error *err);
enum code offline_uncertainty_text_ports(const struct netn *net, const struct netn_causes *causes, const char *path,
                                         const struct text *text, struct text *to, struct tp_error *err);
/* The document to where it belongs, beside `path`. */
enum code offline_uncertainty_write(struct cli *c, const char *path, const struct text *document, struct tp_error *err);
/* The causes of the file `path`, on the axis of `net` which was read from it.  *ret NULL: it has no document, or with --no-uncertainty.
   CODE_BAD_INPUT: the document is of another file, or of another state of this one.  Of two ports: where the command has --modes, those of
   the two modes that net holds. */
enum code offline_uncertainty_of(struct cli *c, const char *path, const struct net2 *net, struct net2_causes **ret, struct tp_error *err);
enum code offline_uncertainty_of_ports(struct cli *c, const char *path, const struct netn *net, struct netn_causes **ret,
                                       struct tp_error *err);
/* The same of a two-port that is used beside others in z_ohm (NaN: the line's own).  CODE_BAD_INPUT also: its document is in another one. */
enum code offline_uncertainty_beside(struct cli *c, const char *path, const struct net2 *net, double z_ohm, struct net2_causes **ret,
                                     struct tp_error *err);
/* The same causes at the frequencies of `axis`, which their own span; between two of theirs along a straight line. */
enum code offline_causes_on(struct cli *c, struct net2_causes *causes, const struct axis *axis, struct tp_error *err);

/* Do both names lead to one file that is there? */
bool offline_same_file(const char *a, const char *b);
/* `text` as the file `to`, whole or not at all; CODE_BAD_INPUT: this command has read that file. */
enum code offline_write(struct cli *c, const char *to, const struct text *text, struct tp_error *err);
/* `text` into the file of --out, whole or not at all, or to stdout when there is none or it is "-".  What is talk goes to stderr. */
enum code offline_out(struct cli *c, const struct text *text, struct tp_error *err);

#endif
