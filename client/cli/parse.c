/* parse.c: see parse.h.  One table (table.c) gives parser, help, usage and completion: nothing about a command is written twice. */
#include "cli/parse.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

unsigned distance(const char *a, const char *b)
{
        unsigned row[64];
        size_t n = strlen(b);
        if (n >= 64 || strlen(a) >= 64)
                return 99;
        for (unsigned j = 0; j <= n; j++)
                row[j] = j;
        for (unsigned i = 1; a[i - 1]; i++) {
                unsigned diagonal = row[0];
                row[0] = i;
                for (unsigned j = 1; j <= n; j++) {
                        unsigned keep = row[j], best = diagonal + (a[i - 1] != b[j - 1]);
                        if (keep + 1 < best)
                                best = keep + 1;
                        if (row[j - 1] + 1 < best)
                                best = row[j - 1] + 1;
                        diagonal = keep;
                        row[j] = best;
                }
        }
        return row[n] < 99 ? row[n] : 99;
}

/* ---- which command ------------------------------------------------------------------------------------------------------------------ */

/* Words of `name` that the line begins with; 0 unless all of them. */
static size_t words_match(const char *name, size_t n, char *const *words)
{
        size_t used = 0;
        for (const char *at = name; *at; used++) {
                size_t length = strcspn(at, " ");
                if (used == n || strlen(words[used]) != length || strncmp(words[used], at, length) != 0)
                        return 0;
                at += length + (at[length] == ' ');
        }
        return used;
}

static const struct command_row *command_of(size_t n, char *const *words, size_t *ret_used)
{
        const struct command_row *best = NULL;
        *ret_used = 0;
        for (size_t i = 0; i < command_row_n; i++) {
                const char *names[] = {command_rows[i].name, command_rows[i].also};
                for (int k = 0; k < 2; k++) {
                        size_t used = names[k] ? words_match(names[k], n, words) : 0;
                        if (used > *ret_used) {
                                best = &command_rows[i];
                                *ret_used = used;
                        }
                }
        }
        return best;
}

static enum code fail_command(size_t n, char *const *words, struct tp_error *err)
{
        char typed[128];
        const char *nearest = NULL, *begins = NULL;
        unsigned least = 99;
        snprintf(typed, sizeof typed, "%.60s%s%.60s", words[0], n > 1 ? " " : "", n > 1 ? words[1] : "");
        for (size_t i = 0; i < command_row_n; i++) {
                const char *names[] = {command_rows[i].name, command_rows[i].also};
                for (int k = 0; k < 2; k++) {
                        if (!names[k])
                                continue;
                        unsigned one = distance(words[0], names[k]), two = distance(typed, names[k]), d = one < two ? one : two;
                        size_t length = strcspn(names[k], " ");
                        if (names[k][length] && strlen(words[0]) == length && strncmp(names[k], words[0], length) == 0 && !begins)
                                begins = names[k];
                        if (d < least) {
                                least = d;
                                nearest = names[k];
                        }
                }
        }
        if (least > 3 && begins)
                return tp_fail(err, CODE_BAD_INPUT, "'%s' is not a command, but for example '%s' is; `tipplane --help` lists all", typed,
                               begins);
        if (least <= 3)
                return tp_fail(err, CODE_BAD_INPUT, "'%.60s' is not a command; did you mean '%s'? `tipplane --help` lists all",
                               least == 99 ? words[0] : typed, nearest);
        return tp_fail(err, CODE_BAD_INPUT, "'%.60s' is not a command; `tipplane --help` lists all", typed);
}

/* ---- options ------------------------------------------------------------------------------------------------------------------------ */

static const struct option_row *option_in(const struct option_row *rows, const char *name, size_t length, size_t *ret_i)
{
        for (size_t i = 0; i < CLI_OPTIONS_MAX && rows[i].name; i++)
                if (strlen(rows[i].name) == length && strncmp(rows[i].name, name, length) == 0) {
                        *ret_i = i;
                        return &rows[i];
                }
        return NULL;
}

static void nearest_in(const struct option_row *rows, const char *name, unsigned *least, const char **nearest)
{
        for (size_t i = 0; i < CLI_OPTIONS_MAX && rows[i].name; i++) {
                unsigned d = distance(name, rows[i].name);
                if (d < *least) {
                        *least = d;
                        *nearest = rows[i].name;
                }
        }
}

static enum code fail_option(const struct command_row *row, const char *name, size_t length, struct tp_error *err)
{
        char typed[64];
        const char *nearest = "help";
        unsigned least = 99;
        snprintf(typed, sizeof typed, "%.*s", (int)(length < 60 ? length : 60), name);
        if (row)
                nearest_in(row->options, typed, &least, &nearest);
        nearest_in(global_options, typed, &least, &nearest);
        return tp_fail(err, CODE_BAD_INPUT, "--%s is not an option of `tipplane%s%s`; the nearest is --%s", typed, row ? " " : "",
                       row ? row->name : "", nearest);
}

/* By what they run: files in, files out; nobody is asked. */
bool command_is_local(const struct command_row *row)
{
        static enum code (*const local[])(struct cli *, struct tp_error *) = {
                do_up,      do_recipe_check, do_touchstone, do_stdf, do_solve,   do_correct, do_join,
                do_deembed, do_extract,      do_extrinsic,  do_fit,  do_compare, do_quality, do_completion};
        for (size_t i = 0; i < sizeof local / sizeof local[0]; i++)
                if (row->run == local[i])
                        return true;
        return false;
}

static bool is_of_the_daemon(const struct option_row *o) { return strcmp(o->name, "address") == 0 || strcmp(o->name, "token-file") == 0; }

/* The option's value is in the same word after '=', or the next word.  *i is advanced over it. */
static enum code read_option(struct cli *c, const struct command_row *row, int argc, char **argv, int *i, struct tp_error *err)
{
        const char *name = argv[*i] + 2, *equals = strchr(name, '=');
        size_t length = equals ? (size_t)(equals - name) : strlen(name), at = 0;
        const char **to = NULL;
        const struct option_row *option = row ? option_in(row->options, name, length, &at) : NULL;
        if (option) {
                to = &c->option[at];
        } else if ((option = option_in(global_options, name, length, &at))) {
                to = &c->global[at];
        } else {
                return fail_option(row, name, length, err);
        }
        if (is_of_the_daemon(option) && row && command_is_local(row))
                return tp_fail(err, CODE_BAD_INPUT, "--%s is of the daemon, which `tipplane %s` does not ask; leave it out", option->name,
                               row->name);
        if (*to)
                return tp_fail(err, CODE_BAD_INPUT, "--%s is given twice; give it once", option->name);
        if (!option->value && equals)
                return tp_fail(err, CODE_BAD_INPUT, "--%s takes no value and '%.60s' was given; leave it out", option->name, equals + 1);
        if (!option->value)
                *to = "";
        else if (equals)
                *to = equals + 1;
        else if (*i + 1 < argc)
                *to = argv[++*i];
        else
                return tp_fail(err, CODE_BAD_INPUT, "--%s needs its %s after it", option->name, option->value);
        if (option->value && !**to)
                return tp_fail(err, CODE_BAD_INPUT, "--%s is empty; give its %s", option->name, option->value);
        return CODE_OK;
}

/* Words that are neither options nor their values, as far as that can be told before the command is known: global options come with their
 * value. */
static size_t plain_words(int argc, char **argv, char **ret)
{
        size_t n = 0, at = 0;
        for (int i = 1; i < argc; i++) {
                if (strcmp(argv[i], "--") == 0)
                        break;
                if (strncmp(argv[i], "--", 2) != 0 || !argv[i][2]) {
                        ret[n++] = argv[i];
                        continue;
                }
                const char *name = argv[i] + 2;
                const struct option_row *o = option_in(global_options, name, strlen(name), &at);
                if (n == 0 && o && o->value)
                        i++;
        }
        return n;
}

static enum code check_arguments(const struct cli *c, struct tp_error *err)
{
        const struct command_row *row = c->row;
        if (cli_has(c, "help"))
                return CODE_OK;
        if (c->arg_n < row->args_min)
                return tp_fail(err, CODE_BAD_INPUT, "`tipplane %s` needs %s; see tipplane %s --help", row->name, row->args, row->name);
        return CODE_OK;
}

static enum code take_address(struct cli *c, struct tp_error *err)
{
        const char *given = cli_option(c, "address");
        size_t n = given ? strlen(given) : 0;
        char *address = given ? arena_text(c->arena, given) : NULL;
        c->address = "http://127.0.0.1:8080";
        if (!given)
                return CODE_OK;
        if (!address)
                return tp_fail_memory(err);
        if ((strncmp(address, "http://", 7) != 0 && strncmp(address, "https://", 8) != 0) || n > 900)
                return tp_fail(err, CODE_BAD_INPUT,
                               "--address %.80s: it begins with http:// or https://, for example http://127.0.0.1:8080", given);
        while (n && address[n - 1] == '/')
                address[--n] = 0;
        c->address = address;
        return CODE_OK;
}

enum code parse_line(struct cli *c, int argc, char **argv, struct tp_error *err)
{
        char **words = argc > 0 ? arena_take(c->arena, (size_t)argc * sizeof *words) : NULL;
        size_t used = 0, seen = 0;
        bool only_words = false;
        if (!words)
                return tp_fail_memory(err);
        size_t n = plain_words(argc, argv, words);
        const struct command_row *row = n ? command_of(n, words, &used) : NULL;
        c->row = row;
        enum code code = CODE_OK;
        for (int i = 1; i < argc && !code; i++) {
                if (!only_words && strcmp(argv[i], "--") == 0)
                        only_words = true;
                else if (!only_words && strncmp(argv[i], "--", 2) == 0)
                        code = n && !row ? CODE_OK : read_option(c, row, argc, argv, &i, err);
                else if (!only_words && strcmp(argv[i], "-h") == 0)
                        c->row = NULL, code = tp_fail(err, CODE_BAD_INPUT, "'-h' is not an option; it is --help");
                else if (!only_words && argv[i][0] == '-' && argv[i][1] && !row)
                        code = tp_fail(err, CODE_BAD_INPUT, "'%.40s' is not an option; options begin with two dashes", argv[i]);
                else if (++seen <= used || !row)
                        continue; /* the command's own words */
                else if (c->arg_n < row->args_max && c->arg_n < CLI_ARGS_MAX)
                        c->args[c->arg_n++] = argv[i];
                else
                        code = tp_fail(err, CODE_BAD_INPUT, "'%.60s' is one word too many for `tipplane %s`; see tipplane %s --help",
                                       argv[i], row->name, row->name);
        }
        if (!code && n && !row)
                code = fail_command(n, words, err);
        if (!code && !n && !cli_has(c, "help") && !cli_has(c, "version"))
                code = tp_fail(err, CODE_BAD_INPUT, "no command given; `tipplane --help` lists all");
        if (!code && row)
                code = check_arguments(c, err);
        return code ? code : take_address(c, err);
}

/* ---- help --------------------------------------------------------------------------------------------------------------------------- */

static void put_option(const struct option_row *o, struct text *to)
{
        char left[64];
        snprintf(left, sizeof left, "--%s%s%s", o->name, o->value ? " " : "", o->value ? o->value : "");
        text_f(to, "  %-24s %s\n", left, o->say);
}

void help_of(const struct command_row *row, struct text *to)
{
        text_f(to, "usage: tipplane %s%s%s%s\n\n%s.\n", row->name, row->args[0] ? " " : "", row->args,
               row->options[0].name ? " [options]" : "", row->say);
        if (row->more)
                text_f(to, "%s\n", row->more);
        if (row->also)
                text_f(to, "Also typed: tipplane %s\n", row->also);
        text_put(to, "\n");
        for (size_t i = 0; i < CLI_OPTIONS_MAX && row->options[i].name; i++)
                put_option(&row->options[i], to);
        for (size_t i = 0; global_options[i].name; i++)
                if (!is_of_the_daemon(&global_options[i]) || !command_is_local(row))
                        put_option(&global_options[i], to);
}

void help_all(struct text *to)
{
        char left[64];
        text_put(to, "tipplane: runs a probe station through the night, and says in the morning what may be believed.\n\nusage: tipplane "
                     "[options] COMMAND …\n\n");
        for (size_t i = 0; i < command_row_n; i++) {
                snprintf(left, sizeof left, "%s %s", command_rows[i].name, command_rows[i].args);
                text_f(to, "  %-26s %s\n", left, command_rows[i].say);
        }
        text_put(to, "\n");
        for (size_t i = 0; global_options[i].name; i++)
                put_option(&global_options[i], to);
        text_put(to, "\n`tipplane COMMAND --help` says more.  Data goes to stdout, talk to stderr.\n"
                     "Exit: 0 done, 1 failed, 2 usage, 3 not found, 4 refused by the state of things, 5 no daemon, 6 not allowed; `wait`: "
                     "10 ended with fails.\n");
}

enum code do_help(struct cli *c, struct tp_error *err)
{
        size_t used = 0;
        char *words[CLI_ARGS_MAX] = {NULL};
        (void)err;
        for (size_t i = 0; i < c->arg_n; i++)
                words[i] = arena_text(c->arena, c->args[i]);
        const struct command_row *row = c->arg_n ? command_of(c->arg_n, words, &used) : NULL;
        if (c->arg_n && !row)
                return fail_command(c->arg_n, words, err);
        if (row)
                help_of(row, &c->out);
        else
                help_all(&c->out);
        return CODE_OK;
}

/* ---- completion --------------------------------------------------------------------------------------------------------------------- */

static void put_options_of(const struct option_row *rows, struct text *to)
{
        for (size_t i = 0; i < CLI_OPTIONS_MAX && rows[i].name; i++)
                text_f(to, " --%s", rows[i].name);
}

void completion_bash(struct text *to)
{
        text_put(to,
                 "# bash completion of tipplane; made by `tipplane completion bash`\n"
                 "_tipplane() {\n"
                 "        local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} line=\"${COMP_WORDS[*]:1:COMP_CWORD-1}\" "
                 "words\n"
                 "        COMPREPLY=()\n"
                 "        case $prev in\n"
                 "        --recipe|--station-config|--token-file|--to|--out|--terms|--data|--socket) COMPREPLY=($(compgen -f -- "
                 "\"$cur\")); return ;;\n"
                 "        esac\n"
                 "        case $line in\n");
        for (int two = 1; two >= 0; two--) /* longer names first */
                for (size_t i = 0; i < command_row_n; i++) {
                        const struct command_row *r = &command_rows[i];
                        if ((strchr(r->name, ' ') != NULL) != two)
                                continue;
                        text_f(to, "        \"%s\"*) words=\"", r->name);
                        put_options_of(r->options, to);
                        put_options_of(global_options, to);
                        text_put(to, "\" ;;\n");
                }
        text_put(to, "        *) words=\"");
        for (size_t i = 0; i < command_row_n; i++)
                text_f(to, " %s", command_rows[i].name);
        put_options_of(global_options, to);
        text_put(to, "\" ;;\n"
                     "        esac\n"
                     "        COMPREPLY=($(compgen -W \"$words\" -- \"$cur\"))\n"
                     "        [[ ${#COMPREPLY[@]} -eq 0 && $cur != -* ]] && COMPREPLY=($(compgen -f -- \"$cur\"))\n"
                     "}\n"
                     "complete -o filenames -F _tipplane tipplane\n");
}

enum code do_completion(struct cli *c, struct tp_error *err)
{
        if (strcmp(c->args[0], "bash") != 0)
                return tp_fail(err, CODE_BAD_INPUT, "completion for '%.40s' is not there; there is bash", c->args[0]);
        completion_bash(&c->out);
        return CODE_OK;
}
