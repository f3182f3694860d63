/* client/cli/: the command line.  May use: base/, host/, formats/, recipe/, wafer/, libcurl.  Must not use: store/, run/, evaluate/ — what
   the daemon knows is asked over HTTP, like everybody does.

   cli.h: one call of `tipplane`.  Start with table.c (every command there is), then parse.h, http.h; each cmd_*.c holds some commands.
   Data goes to `out` (stdout, written once at the end, or by cli_flush()), talk to stderr.  One thread; nothing is kept in static memory.
 */
#ifndef TIPPLANE_CLI_CLI_H
#define TIPPLANE_CLI_CLI_H
#include "base/arena.h"
#include "base/json.h"
#include "base/world.h"

#define CLI_OPTIONS_MAX 20 /* of one command, the global ones included */
#define CLI_ARGS_MAX 256
#define CLI_NOTES_MAX (4 * CLI_ARGS_MAX)

#define EXIT_ENDED_WITH_FAILS 10 /* wait; compare --limit: above it; extract --limits: not all pass */

struct cli;
struct option_row {
        const char *name;  /* without the dashes */
        const char *value; /* "FILE", or NULL: a flag */
        const char *say;
};
struct command_row {
        const char *name; /* "run start": words as typed */
        const char *also; /* another way to type it, NULL: none */
        const char *args; /* "RUN", "[FILE]": as shown in the usage line */
        unsigned args_min, args_max;
        const char *say;                            /* one line of help */
        const char *more;                           /* further help, NULL: none */
        struct option_row options[CLI_OPTIONS_MAX]; /* ends at the first without a name */
        enum code (*run)(struct cli *, struct tp_error *);
};
extern const struct command_row command_rows[]; /* table.c; command_row_n of them */
extern const size_t command_row_n;
bool command_is_local(const struct command_row *); /* works on files and asks no daemon: takes no --address, no --token-file */
extern const struct option_row global_options[];   /* ends with an empty row */

struct cli {
        const struct world *world;
        const struct command_row *row;
        const char *args[CLI_ARGS_MAX];
        size_t arg_n;
        const char *global[CLI_OPTIONS_MAX], *option[CLI_OPTIONS_MAX]; /* values as given, "" for a flag, NULL when absent */
        const char *address;                                           /* without a slash at its end */
        char token[128];                                               /* "" when there is none */
        bool has_token_read;
        struct arena *arena;
        struct text out;
        void *curl; /* kept between requests */
        int status; /* exit status when nothing failed */
        const char *note[CLI_NOTES_MAX];
        size_t note_n;
        bool is_answered;            /* an answer is in the file of --out */
        const struct cli_read *read; /* files that offline_bytes() read, the last first */
};
struct cli_read {
        const char *path;
        const struct cli_read *before;
};
/* Value of an option of this command, or a global one; "" for a flag that was given, NULL when absent. */
const char *cli_option(const struct cli *c, const char *name);
static inline bool cli_has(const struct cli *c, const char *name) { return cli_option(c, name) != NULL; }
bool cli_takes(const struct cli *c, const char *name); /* does this command have such an option? */
bool cli_json(const struct cli *c);
/* Writes what is in `out` to stdout.  false: nobody reads it any more. */
bool cli_flush(struct cli *c);
/* A sentence that belongs to the answer (what was converted, what was left out): with --json a text of "notes", where the command calls
   cli_notes_json(); otherwise a line on stderr once the command has succeeded, or found that the data give no answer. */
void cli_note(struct cli *c, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
void cli_notes_json(const struct cli *c, struct json_out *o);
/* One line on stderr, "tipplane: …". */
void cli_say(const char *fmt, ...) __attribute__((format(printf, 1, 2)));

/* Reading what the daemon answered (and have_text() … of base/json.h). */
/* "x,y" of {"x":…,"y":…}, or `none`. */
const char *have_die(const cJSON *in, const char *key, char ret[32], const char *none);

/* commands, one function each; the file that holds them in the comment */
enum code do_up(struct cli *, struct tp_error *);     /* up.c */
enum code do_status(struct cli *, struct tp_error *); /* cmd_station.c */
enum code do_station(struct cli *, struct tp_error *);
enum code do_safe(struct cli *, struct tp_error *);
enum code do_clear(struct cli *, struct tp_error *);
enum code do_run_start(struct cli *, struct tp_error *); /* cmd_run.c */
enum code do_run_list(struct cli *, struct tp_error *);
enum code do_probes(struct cli *, struct tp_error *);
enum code do_run_show(struct cli *, struct tp_error *);
enum code do_wait(struct cli *, struct tp_error *);
enum code do_pause(struct cli *, struct tp_error *);
enum code do_resume(struct cli *, struct tp_error *);
enum code do_finish(struct cli *, struct tp_error *);
enum code do_skip(struct cli *, struct tp_error *);
enum code do_map(struct cli *, struct tp_error *); /* cmd_data.c */
enum code do_devices(struct cli *, struct tp_error *);
enum code do_parameters(struct cli *, struct tp_error *);
enum code do_yield(struct cli *, struct tp_error *);
enum code do_checks(struct cli *, struct tp_error *);
enum code do_journal(struct cli *, struct tp_error *);
enum code do_touchdowns(struct cli *, struct tp_error *);
enum code do_run_file(struct cli *, struct tp_error *); /* export.c */
enum code do_evaluate(struct cli *, struct tp_error *); /* export.c */
enum code do_export(struct cli *, struct tp_error *);
enum code do_recipe_list(struct cli *, struct tp_error *); /* cmd_recipe.c */
enum code do_recipe_add(struct cli *, struct tp_error *);
enum code do_recipe_check(struct cli *, struct tp_error *);
enum code do_recipe_explain(struct cli *, struct tp_error *);
enum code do_recipe_plan(struct cli *, struct tp_error *);
enum code do_alarms(struct cli *, struct tp_error *); /* cmd_people.c */
enum code do_events(struct cli *, struct tp_error *);
enum code do_token_make(struct cli *, struct tp_error *);
enum code do_report(struct cli *, struct tp_error *);
enum code do_touchstone(struct cli *, struct tp_error *); /* cmd_files.c */
enum code do_stdf(struct cli *, struct tp_error *);       /* cmd_stdf.c */
enum code do_solve(struct cli *, struct tp_error *);      /* cmd_solve.c */
enum code do_correct(struct cli *, struct tp_error *);    /* cmd_correct.c */
enum code do_join(struct cli *, struct tp_error *);       /* cmd_join.c */
enum code do_deembed(struct cli *, struct tp_error *);    /* cmd_deembed.c */
enum code do_extrinsic(struct cli *, struct tp_error *);  /* cmd_extrinsic.c */
enum code do_extract(struct cli *, struct tp_error *);    /* cmd_extract.c */
enum code do_fit(struct cli *, struct tp_error *);        /* cmd_fit.c */
enum code do_compare(struct cli *, struct tp_error *);    /* cmd_compare.c */
enum code do_quality(struct cli *, struct tp_error *);    /* cmd_quality.c */
enum code do_completion(struct cli *, struct tp_error *); /* parse.c */
enum code do_help(struct cli *, struct tp_error *);

/* Shared between command files. */
enum code export_raw(struct cli *c, const char *run, const char *dir, struct tp_error *err);         /* export_raw.c: DIR/raw */
enum code wait_for_run(struct cli *c, const char *run, struct tp_error *err);                        /* cmd_run.c */
enum code recipe_file_read(struct cli *c, const char *path, struct text *ret, struct tp_error *err); /* cmd_recipe.c; "-" is stdin */
enum code recipe_store(struct cli *c, const struct text *recipe, char ret_sha256[65], struct tp_error *err);
enum code check_name(const char *what, const char *name, struct tp_error *err); /* [A-Za-z0-9._+-]+, at most 39 */
enum code check_run(const char *run, struct tp_error *err);                     /* a ULID; CODE_NOT_FOUND otherwise: there is no such run */

#endif
