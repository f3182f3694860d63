/* touchstone_own.h: what the files of the Touchstone reader share.  Not for other rooms.
   Reading order: touchstone.c (the whole), touchstone_words.c (lines and numbers), touchstone_option.c (the # line),
   touchstone_keywords.c (the head of version 2), touchstone_data.c (points and noise), touchstone_scale.c, touchstone_network.c. */
#ifndef TIPPLANE_FORMATS_TOUCHSTONE_OWN_H
#define TIPPLANE_FORMATS_TOUCHSTONE_OWN_H
#include "formats/touchstone.h"

enum form { FORM_MA, FORM_RI, FORM_DB };
enum matrix { MATRIX_FULL, MATRIX_LOWER, MATRIX_UPPER };
enum open_list { LIST_NONE, LIST_REFERENCE, LIST_MODES }; /* a keyword whose values may go on in the next line */

struct word {
        const char *at;
        size_t n;
};
#define SHOWN(w) (int)((w).n > 40 ? 40 : (w).n), (w).at /* for "%.*s" */
#define TOUCHSTONE_WORDS_MAX 2048                       /* in one line */

struct reader {
        const char *at, *end; /* what is left */
        size_t line;          /* number of the line in `words` */
        struct word keyword;  /* "Number of Ports" of a line "[Number of Ports] 2", whose words are what follows; at NULL: none */
        struct word word[TOUCHSTONE_WORDS_MAX];
        size_t word_n;
        bool in_data; /* comments are no longer kept */

        double unit_hz;
        enum form form;
        bool option_seen;
        size_t option_line, r_n; /* r_n: how many resistances stood after R */
        /* version 2 */
        unsigned seen; /* keywords, one bit each */
        enum matrix matrix;
        bool order_21_12;
        size_t frequency_n, noise_n; /* as announced */
        enum open_list list;
        size_t list_n; /* values of the open list so far */
        struct touchstone_mode *mode;

        double *hz;
        size_t room; /* frequencies there is memory for */
        struct touchstone *file;
        struct arena *arena;
        struct text comments, information;
        size_t left_out_bytes; /* of both, what there was no room for */
        struct tp_error *err;
};

/* touchstone_words.c.  The next line that holds words or a keyword; false at the end of the text or on an error (*ret_code). */
bool reader_line(struct reader *r, enum code *ret_code);
/* Text up to the line "[End Information]", kept. */
enum code reader_information(struct reader *r);
/* A finite decimal number, nothing after it. */
enum code reader_number(struct reader *r, struct word w, double *ret);
/* A whole number from min to max. */
enum code reader_count(struct reader *r, struct word w, size_t min, size_t max, size_t *ret);
bool word_is(struct word w, const char *text); /* any case */

enum code reader_option(struct reader *r);
/* A keyword line before the data, or one that goes on with its values.  *ret_data: it was [Network Data] and the head is complete. */
enum code reader_keyword(struct reader *r, bool *ret_data);
enum code reader_list_goes_on(struct reader *r);

/* touchstone_data.c.  Takes the memory for points: ports are known, the rest of the text bounds the count. */
enum code reader_points_begin(struct reader *r);
/* The lines of one frequency, the first of which lies in r; *ret_noise: it was the first line of a version 1 noise block, and is read. */
enum code reader_point(struct reader *r, bool *ret_noise);
enum code reader_noise(struct reader *r);

/* touchstone_scale.c: a value as it stands in the text (version 1 normalises, version 2 does not) in siemens and ohm, and back. */
double touchstone_physical(const struct touchstone *f, size_t row, size_t column, double value);
double touchstone_normalised(const struct touchstone *f, size_t row, size_t column, double value);

/* touchstone_write.c.  Each line with "! " before it, ASCII only. */
void touchstone_comments(struct text *to, const char *comments);

#endif
