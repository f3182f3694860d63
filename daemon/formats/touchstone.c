/* touchstone.c: Touchstone 1.0/1.1 out of a buffer (touchstone.h).
 * Idea        One pass over lines.  The port count comes from the file's name, so the reader knows how many numbers a frequency has and
 * where a row must end: a short or long line is an error at that line, never a shift of everything after it. Sources     Touchstone File
 * Format Specification, rev. 1.1, EIA/IBIS Open Forum 2002; per-port R as allowed by version 2.1, 2024. Trap        a two-port line is f
 * S11 S21 S12 S22; Y and Z are normalised to R in version 1.  A 2-port frequency that does not rise begins noise data. */
#include "formats/touchstone.h"
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum form { FORM_MA, FORM_RI, FORM_DB };

struct reader {
        const char *at, *end; /* what is left */
        size_t line;          /* of the text in `words` */
        char text[1024];      /* the line without comment */
        char *word[96];
        size_t word_n;
        double unit_hz;
        enum form form;
        bool option_seen;
        struct touchstone *file;
        struct arena *arena;
        struct text comments;
        struct tp_error *err;
};

static const char *clip(const char *word) { return strlen(word) > 40 ? "(a word of more than 40 letters)" : word; }

/* The next line that holds words; false at the end of the text.  *ret_code tells of errors. */
static bool next_line(struct reader *r, enum code *ret_code)
{
        *ret_code = CODE_OK;
        while (r->at < r->end) {
                const char *stop = r->at;
                while (stop < r->end && *stop != '\n' && *stop != '\r')
                        stop++;
                size_t n = (size_t)(stop - r->at), keep = 0;
                const char *line = r->at;
                r->line++;
                r->at = stop < r->end && *stop == '\r' && stop + 1 < r->end && stop[1] == '\n' ? stop + 2 : stop + 1;
                while (keep < n && line[keep] != '!') {
                        unsigned char c = (unsigned char)line[keep];
                        if (c == 0 || c > 126 || (c < 32 && c != '\t')) {
                                *ret_code = tp_fail(r->err, CODE_BAD_INPUT,
                                                    "line %zu: byte 0x%02x in column %zu is no ASCII text; is this a Touchstone file?",
                                                    r->line, c, keep + 1);
                                return false;
                        }
                        keep++;
                }
                if (keep < n && strspn(line, " \t") == keep &&
                    r->file->axis.n == 0) { /* a line of comment before the data: kept, printable part only */
                        for (size_t k = keep + 1; k < n; k++)
                                if ((unsigned char)line[k] >= 32 || line[k] == '\t')
                                        text_bytes(&r->comments, &line[k], 1);
                        text_put(&r->comments, "\n");
                }
                if (keep >= sizeof r->text) {
                        *ret_code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: %zu characters; a line may have %zu", r->line, keep,
                                            sizeof r->text - 1);
                        return false;
                }
                memcpy(r->text, line, keep);
                r->text[keep] = '\0';
                r->word_n = 0;
                char *save = NULL;
                for (char *w = strtok_r(r->text, " \t,", &save); w; w = strtok_r(NULL, " \t,", &save)) {
                        if (r->word_n == sizeof r->word / sizeof r->word[0]) {
                                *ret_code = tp_fail(r->err, CODE_BAD_INPUT, "line %zu: more than %zu words", r->line, r->word_n);
                                return false;
                        }
                        r->word[r->word_n++] = w;
                }
                if (r->word_n > 0)
                        return true;
        }
        return false;
}

/* A finite decimal number, nothing after it: strtod alone would take "nan", "inf", "0x1p3". */
static enum code number(struct reader *r, const char *word, double *ret)
{
        char *end;
        bool digits = false;
        for (const char *c = word; *c; c++) {
                digits = digits || isdigit((unsigned char)*c);
                if (!isdigit((unsigned char)*c) && !strchr("+-.eE", *c))
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%s\" is not a number", r->line, clip(word));
        }
        *ret = strtod(word, &end);
        if (!digits || *end || !isfinite(*ret))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: \"%s\" is not a finite number", r->line, clip(word));
        return CODE_OK;
}

static enum code option_line(struct reader *r)
{
        struct touchstone *f = r->file;
        static const struct {
                const char *word;
                double hz;
        } units[] = {{"hz", 1}, {"khz", 1e3}, {"mhz", 1e6}, {"ghz", 1e9}};
        if (r->option_seen) /* only the first counts */
                return CODE_OK;
        r->option_seen = true;
        /* "#GHz" without a blank is common */
        char *first = r->word[0] + 1;
        size_t k = 1;
        if (*first) {
                r->word[0] = first;
                k = 0;
        }
        for (; k < r->word_n; k++) {
                const char *w = r->word[k];
                bool known = false;
                for (size_t u = 0; u < 4; u++)
                        if (strcasecmp(w, units[u].word) == 0) {
                                r->unit_hz = units[u].hz;
                                known = true;
                        }
                if (!known && strlen(w) == 1 && strchr("sSyYzZ", w[0])) {
                        f->parameter = (char)toupper((unsigned char)w[0]);
                        known = true;
                }
                if (!known && strlen(w) == 1 && strchr("gGhH", w[0]))
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: parameters of kind %c are not read; convert the file to S",
                                       r->line, toupper((unsigned char)w[0]));
                if (!known && (strcasecmp(w, "ri") == 0 || strcasecmp(w, "ma") == 0 || strcasecmp(w, "db") == 0)) {
                        r->form = strcasecmp(w, "ri") == 0 ? FORM_RI : strcasecmp(w, "ma") == 0 ? FORM_MA : FORM_DB;
                        known = true;
                }
                if (!known && strcasecmp(w, "r") == 0) {
                        size_t given = 0;
                        while (k + 1 < r->word_n && strchr("+-.0123456789", r->word[k + 1][0])) {
                                double ohm;
                                enum code code = number(r, r->word[++k], &ohm);
                                if (code)
                                        return code;
                                if (!(ohm > 0))
                                        return tp_fail(r->err, CODE_BAD_INPUT,
                                                       "line %zu: a reference resistance of %g ohm; it must be positive", r->line, ohm);
                                if (given >= f->ports)
                                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: more reference resistances than the %u ports",
                                                       r->line, f->ports);
                                f->r_ohm[given++] = ohm;
                        }
                        if (given != 1 && given != f->ports)
                                return tp_fail(r->err, CODE_BAD_INPUT,
                                               "line %zu: %zu reference resistances after R; give one, or one for each of the %u ports",
                                               r->line, given, f->ports);
                        for (size_t p = given; p < f->ports; p++)
                                f->r_ohm[p] = f->r_ohm[0];
                        known = true;
                }
                if (!known)
                        return tp_fail(r->err, CODE_BAD_INPUT,
                                       "line %zu: \"%s\" in the option line is none of Hz kHz MHz GHz, S Y Z, RI MA DB, R", r->line,
                                       clip(w));
        }
        return CODE_OK;
}

/* One pair of numbers as a complex value, Y and Z with their R put back.  1e308 dB and its like do not fit. */
static enum code store(struct reader *r, size_t point, size_t row, size_t column, double a, double b)
{
        struct touchstone *f = r->file;
        double mag = r->form == FORM_DB ? pow(10, a / 20) : a, rad = b * RF_PI / 180;
        double re = r->form == FORM_RI ? a : mag * cos(rad), im = r->form == FORM_RI ? b : mag * sin(rad);
        double scale = sqrt(f->r_ohm[row] * f->r_ohm[column]);
        if (f->parameter == 'Z')
                re *= scale, im *= scale;
        if (f->parameter == 'Y')
                re /= scale, im /= scale;
        f->re[row * f->ports + column][point] = re;
        f->im[row * f->ports + column][point] = im;
        if (!isfinite(re) || !isfinite(im))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: the pair %.9g %.9g is beyond what a number can hold; write it smaller",
                               r->line, a, b);
        return CODE_OK;
}

/* A first look: no file of n bytes holds more points than this. */
static size_t points_bound(size_t n, unsigned ports)
{
        size_t bound = n / (2 * (1 + 2 * (size_t)ports * ports)) + 2;
        return bound < TOUCHSTONE_POINTS_MAX ? bound : TOUCHSTONE_POINTS_MAX;
}

static enum code noise_line(struct reader *r)
{
        double v[5];
        struct touchstone *f = r->file;
        if (r->word_n != 5)
                return tp_fail(
                        r->err, CODE_BAD_INPUT,
                        "line %zu: %zu numbers; after the S data of a 2-port come noise data with 5 (or the frequency does not rise)",
                        r->line, r->word_n);
        for (int k = 0; k < 5; k++) {
                enum code code = number(r, r->word[k], &v[k]);
                if (code)
                        return code;
        }
        if (f->noise_n > 0 && !(v[0] * r->unit_hz > f->noise[f->noise_n - 1].hz))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: noise frequency %.9g Hz after %.9g Hz; frequencies must rise", r->line,
                               v[0] * r->unit_hz, f->noise[f->noise_n - 1].hz);
        if (f->noise_n == 4096)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: more than 4096 noise frequencies", r->line);
        if (!f->noise && !(f->noise = arena_take(r->arena, 4096 * sizeof *f->noise)))
                return tp_fail_memory(r->err);
        f->noise[f->noise_n++] = (struct touchstone_noise){v[0] * r->unit_hz, v[1], v[2], v[3], v[4]};
        return CODE_OK;
}

/* The lines of one frequency, the first of which lies in r. */
static enum code point_lines(struct reader *r, double *hz, size_t room, bool *ret_noise)
{
        struct touchstone *f = r->file;
        unsigned ports = f->ports;
        double here;
        enum code code = number(r, r->word[0], &here);
        if (code)
                return code;
        here *= r->unit_hz;
        size_t first_line = r->line;
        if (f->axis.n > 0 && !(here > hz[f->axis.n - 1])) {
                if (ports == 2 && r->word_n == 5) {
                        *ret_noise = true;
                        return noise_line(r);
                }
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: frequency %.9g Hz after %.9g Hz; frequencies must rise", r->line, here,
                               hz[f->axis.n - 1]);
        }
        if (!(here >= 0))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: frequency %.9g Hz is negative", r->line, here);
        if (!isfinite(here))
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: frequency \"%s\" is beyond what a number of Hz can hold", r->line,
                               clip(r->word[0]));
        if (f->axis.n == room)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: more than %d frequencies", r->line, TOUCHSTONE_POINTS_MAX);
        size_t rows = ports <= 2 ? 1 : ports, pairs = ports <= 2 ? (size_t)ports * ports : ports; /* per line */
        for (size_t row = 0; row < rows; row++) {
                size_t skip = row == 0 ? 1 : 0;
                if (row > 0 && !next_line(r, &code))
                        return code ? code
                                    : tp_fail(r->err, CODE_BAD_INPUT,
                                              "line %zu: the text ends after row %zu of the %u rows of the frequency in line %zu", r->line,
                                              row, ports, first_line);
                if (r->word_n != skip + 2 * pairs)
                        return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: %zu numbers; a %u-port file needs %zu here", r->line, r->word_n,
                                       ports, skip + 2 * pairs);
                for (size_t k = 0; k < pairs; k++) {
                        double a, b;
                        if ((code = number(r, r->word[skip + 2 * k], &a)) || (code = number(r, r->word[skip + 2 * k + 1], &b)))
                                return code;
                        size_t i = ports <= 2 ? k / ports : row, j = ports <= 2 ? k % ports : k;
                        if (ports == 2) { /* S11 S21 S12 S22 */
                                i = k % 2;
                                j = k / 2;
                        }
                        if ((code = store(r, f->axis.n, i, j, a, b)))
                                return code;
                }
        }
        hz[f->axis.n++] = here;
        return CODE_OK;
}

static enum code read_all(struct reader *r, double *hz, size_t room)
{
        enum code code;
        bool noise = false;
        while (next_line(r, &code)) {
                if (r->word[0][0] == '[')
                        code = tp_fail(r->err, CODE_BAD_INPUT,
                                       "line %zu: keyword %s belongs to Touchstone 2, which is not read; write the file as version 1",
                                       r->line, clip(r->word[0]));
                else if (r->word[0][0] == '#')
                        code = option_line(r);
                else if (!r->option_seen)
                        code = tp_fail(r->err, CODE_BAD_INPUT,
                                       "line %zu: data (\"%s\") before the option line; a line like \"# Hz S RI R 50\" must come first",
                                       r->line, clip(r->word[0]));
                else if (noise)
                        code = noise_line(r);
                else
                        code = point_lines(r, hz, room, &noise);
                if (code)
                        return code;
        }
        if (code)
                return code;
        if (!r->option_seen)
                return tp_fail(r->err, CODE_BAD_INPUT,
                               "line %zu: the text ends without an option line like \"# Hz S RI R 50\"; is this a Touchstone file?",
                               r->line);
        if (r->file->axis.n == 0)
                return tp_fail(r->err, CODE_BAD_INPUT, "line %zu: the text ends without data", r->line);
        return CODE_OK;
}

enum code touchstone_read(const char *bytes, size_t n, unsigned ports, struct arena *arena, struct touchstone *ret, struct tp_error *err)
{
        if (ports < 1 || ports > TOUCHSTONE_PORTS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "a Touchstone file of %u ports; 1 to %d are read (name the file .s1p to .s%dp)", ports,
                               TOUCHSTONE_PORTS_MAX, TOUCHSTONE_PORTS_MAX);
        size_t room = points_bound(n, ports);
        double *hz = arena_take(arena, room * sizeof *hz);
        struct touchstone file = {.ports = ports, .parameter = 'S'};
        bool memory = hz != NULL;
        for (unsigned k = 0; k < ports; k++)
                file.r_ohm[k] = 50;
        for (unsigned k = 0; k < ports * ports && memory; k++) {
                file.re[k] = arena_take(arena, room * sizeof(double));
                file.im[k] = arena_take(arena, room * sizeof(double));
                memory = file.re[k] && file.im[k];
        }
        if (!memory)
                return tp_fail_memory(err);
        struct reader r = {.at = bytes, .end = bytes + n, .unit_hz = 1e9, .form = FORM_MA, .file = &file, .arena = arena, .err = err};
        text_init(&r.comments, 65536);
        enum code code = read_all(&r, hz, room);
        if (!code) {
                code = axis_of(file.axis.n, hz, &file.axis, err);
                file.comments = arena_text(arena, text_ok(&r.comments) ? text_of(&r.comments) : "");
                if (!code && !file.comments)
                        code = tp_fail_memory(err);
        }
        text_done(&r.comments);
        if (!code)
                *ret = file;
        return code;
}

unsigned touchstone_ports_of_name(const char *name)
{
        size_t n = strlen(name);
        if (n < 4 || name[n - 4] != '.' || tolower((unsigned char)name[n - 3]) != 's' || tolower((unsigned char)name[n - 1]) != 'p')
                return 0;
        unsigned ports = (unsigned)(name[n - 2] - '0');
        return ports >= 1 && ports <= TOUCHSTONE_PORTS_MAX ? ports : 0;
}

enum code touchstone_net2(const struct touchstone *file, enum plane plane, struct arena *arena, struct net2 *ret, struct tp_error *err)
{
        if (file->ports != 2 || file->parameter != 'S')
                return tp_fail(err, CODE_BAD_INPUT, "the file holds %c of %u ports; S of 2 ports is needed here", file->parameter,
                               file->ports);
        if (file->r_ohm[0] != file->r_ohm[1])
                return tp_fail(err, CODE_BAD_INPUT, "the file has reference %g ohm at port 1 and %g ohm at port 2; both must be equal here",
                               file->r_ohm[0], file->r_ohm[1]);
        struct axis *axis = arena_take(arena, sizeof *axis);
        void *memory = arena_take(arena, net2_bytes(file->axis.n));
        if (!axis || !memory)
                return tp_fail_memory(err);
        *axis = file->axis;
        *ret = net2_at(memory, axis, plane);
        for (int k = 0; k < 4; k++) {
                memcpy(ret->re[k], file->re[k], axis->n * sizeof(double));
                memcpy(ret->im[k], file->im[k], axis->n * sizeof(double));
        }
        net2_set_z(ret, file->r_ohm[0], 0);
        return CODE_OK;
}
