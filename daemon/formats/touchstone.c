/* touchstone.c: a Touchstone text as a whole (touchstone.h).
 * Idea        One pass over lines.  Whether the first line that is no comment says [Version] decides everything: without it ports come from
 *             the file's name and the data end the text; with it a head of keywords comes first and [End] last.
 * Sources     Touchstone File Format Specification 1.1 (EIA/IBIS Open Forum 2002), 2.0 (2009), 2.1 (2024). */
#include "formats/touchstone_own.h"
#include <ctype.h>
#include <math.h>
#include <string.h>

static enum code nothing(const struct reader *r)
{
        if (r->line == 0)
                return tp_fail(r->err, CODE_BAD_INPUT, "line 1: the file is empty; was its sweep ever saved?");
        return r->option_seen
                       ? tp_fail(r->err, CODE_BAD_INPUT, "line %zu: the text ends without data", r->line)
                       : tp_fail(r->err, CODE_BAD_INPUT,
                                 "line %zu: the text ends without an option line like \"# Hz S RI R 50\"; is this a Touchstone file?",
                                 r->line);
}

static enum code ports_by_name(const struct reader *r)
{
        const struct touchstone *f = r->file;
        if (f->ports < 1 || f->ports > TOUCHSTONE_PORTS_MAX)
                return tp_fail(r->err, CODE_BAD_INPUT,
                               "line %zu: a version 1 text of %u ports; its ports, 1 to %d, are in the file's name: .s1p to .s%dp", r->line,
                               f->ports, TOUCHSTONE_PORTS_MAX, TOUCHSTONE_PORTS_MAX);
        if (f->ports != 2 && strchr("GH", f->parameter))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: parameters of kind %c belong to two-ports; this file has %u",
                               r->option_line, f->parameter, f->ports);
        return CODE_OK;
}

/* After the option line of a version 1 text. */
static enum code read_v1(struct reader *r)
{
        enum code code = ports_by_name(r);
        bool noise = false;
        r->order_21_12 = true;
        while (!code && reader_line(r, &code)) {
                if (r->keyword.at)
                        code = tp_fail(r->err, CODE_BAD_INPUT,
                                       "line %zu: keyword [%.*s] in a text without \"[Version] 2.0\"; only version 2 has keywords", r->line,
                                       SHOWN(r->keyword));
                else if (r->word[0].at[0] == '#')
                        code = reader_option(r);
                else if (noise)
                        code = reader_noise(r);
                else if (r->hz || !(code = reader_points_begin(r)))
                        code = reader_point(r, &noise);
        }
        return code ? code : r->file->axis.n ? CODE_OK : nothing(r);
}

/* The head of a version 2 text up to [Network Data]. */
static enum code read_head(struct reader *r)
{
        enum code code = CODE_OK;
        while (reader_line(r, &code)) {
                bool data = false;
                if (r->keyword.at)
                        code = reader_keyword(r, &data);
                else if (r->word[0].at[0] == '#')
                        code = reader_option(r);
                else if (r->list != LIST_NONE)
                        code = reader_list_goes_on(r);
                else
                        code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%.*s\" before [Network Data]", r->line, SHOWN(r->word[0]));
                if (code || data)
                        return code;
        }
        return code ? code : tp_fail(r->err, CODE_BAD_INPUT, "line %zu: the text ends before [Network Data]", r->line);
}

static enum code counts_check(struct reader *r)
{
        const struct touchstone *f = r->file;
        if (f->axis.n != r->frequency_n)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: %zu frequencies up to here; [Number of Frequencies] says %zu", r->line,
                               f->axis.n, r->frequency_n);
        if (f->noise_n != r->noise_n)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: %zu noise frequencies up to here; [Number of Noise Frequencies] says %zu",
                               r->line, f->noise_n, r->noise_n);
        return CODE_OK;
}

/* From [Network Data] to [End]. */
static enum code read_v2(struct reader *r)
{
        bool noise = false, end = false, unused;
        enum code code = read_head(r);
        if (!code)
                code = reader_points_begin(r);
        while (!code && reader_line(r, &code)) {
                if (end)
                        code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: text behind [End]", r->line);
                else if (r->keyword.at && word_is(r->keyword, "Noise Data") && !noise && r->file->ports == 2 && r->word_n == 0)
                        noise = true;
                else if (r->keyword.at && word_is(r->keyword, "End"))
                        end = true;
                else if (r->keyword.at)
                        code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: [%.*s] may not stand behind [Network Data]", r->line,
                                       SHOWN(r->keyword));
                else if (noise)
                        code = reader_noise(r);
                else
                        code = reader_point(r, &unused);
        }
        if (!code && !end)
                code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: the text ends without [End]; it may have been cut off", r->line);
        return code ? code : counts_check(r);
}

static enum code read_all(struct reader *r)
{
        enum code code;
        bool unused;
        while (reader_line(r, &code)) {
                if (r->keyword.at)
                        return (code = reader_keyword(r, &unused)) ? code : read_v2(r);
                if (r->word[0].at[0] == '#')
                        return (code = ports_by_name(r)) || (code = reader_option(r)) ? code : read_v1(r);
                return tp_fail(r->err, CODE_BAD_INPUT,
                               "line %zu: data (\"%.*s\") before the option line; a line like \"# Hz S RI R 50\" must come first", r->line,
                               SHOWN(r->word[0]));
        }
        return code ? code : nothing(r);
}

enum code touchstone_read(const char *bytes, size_t n, unsigned ports, struct arena *arena, struct touchstone *ret, struct tp_error *err)
{
        struct reader *r = arena_take(arena, sizeof *r);
        struct touchstone file = {.version = 10, .ports = ports, .parameter = 'S'};
        if (!r)
                return tp_fail_memory(err);
        for (unsigned k = 0; k < TOUCHSTONE_PORTS_MAX; k++)
                file.r_ohm[k] = 50;
        *r = (struct reader){.at = bytes, .end = bytes + n, .unit_hz = 1e9, .form = FORM_MA, .file = &file, .arena = arena, .err = err};
        text_init(&r->comments, TOUCHSTONE_COMMENT_MAX + 256);
        text_init(&r->information, TOUCHSTONE_COMMENT_MAX + 256);
        enum code code = read_all(r);
        if (!code)
                code = axis_of(file.axis.n, r->hz, &file.axis, err);
        if (!code) {
                file.comments = arena_text(arena, text_of(&r->comments));
                file.information = arena_text(arena, text_of(&r->information));
                file.left_out_bytes = r->left_out_bytes;
                if (!file.comments || !file.information || !text_ok(&r->comments) || !text_ok(&r->information))
                        code = tp_fail_memory(err);
        }
        text_done(&r->comments);
        text_done(&r->information);
        if (!code)
                *ret = file;
        return code;
}

unsigned touchstone_ports_of_name(const char *name)
{
        const char *dot = strrchr(name, '.');
        unsigned ports = 0;
        if (!dot || !strchr("syzgh", tolower((unsigned char)dot[1])))
                return 0;
        const char *at = dot + 2;
        for (; isdigit((unsigned char)*at) && ports <= TOUCHSTONE_PORTS_MAX; at++)
                ports = 10 * ports + (unsigned)(*at - '0');
        return tolower((unsigned char)at[0]) == 'p' && at[1] == '\0' && ports <= TOUCHSTONE_PORTS_MAX ? ports : 0;
}

bool touchstone_name(const char *name, unsigned *ret_ports)
{
        const char *dot = strrchr(name, '.');
        *ret_ports = touchstone_ports_of_name(name);
        return *ret_ports || (dot && tolower((unsigned char)dot[1]) == 't' && tolower((unsigned char)dot[2]) == 's' && !dot[3]);
}
