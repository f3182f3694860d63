/* parse.h: what was typed, by the table of commands.  Pure but for do_help() and do_completion(). */
#ifndef TIPPLANE_CLI_PARSE_H
#define TIPPLANE_CLI_PARSE_H
#include "cli/cli.h"

/* Fills c->row, args, options.  `--` ends the options, `--name=value` and `--name value` are the same, a command's name may be typed by its
   second name.  c->row is NULL when only --help or --version was asked.  CODE_BAD_INPUT names what was typed and the nearest there is. */
enum code parse_line(struct cli *c, int argc, char **argv, struct tp_error *err);
/* "usage: tipplane run start --recipe FILE …" with all its options. */
void help_of(const struct command_row *row, struct text *to);
void help_all(struct text *to);
/* A script for bash. */
void completion_bash(struct text *to);
/* Number of letters to change, add or leave out (Levenshtein 1966), at most 99. */
unsigned distance(const char *a, const char *b);

#endif
