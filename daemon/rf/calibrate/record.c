/* record.c: error terms as a record of bytes and back (calibration.h). */
#include "rf/calibrate/calibration.h"
#include "rf/calibrate/join.h"
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

struct blob_header {
        char magic[8];
        uint32_t version, model, plane, switch_removed;
        uint64_t points, axis_hash;
        char method[24];
};
_Static_assert(sizeof(struct blob_header) == 64, "the record's header is 64 bytes, so that the columns stay aligned");
_Static_assert(__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__, "records are written as they lie in memory: little-endian");
static const char blob_magic[8] = "TPTERMS";

#define COLUMNS_MAX (2 + 2 * TERM_COUNT + 2 * FULL_COUNT)
static size_t blob_columns(enum terms_model model) { return 2 + 2 * TERM_COUNT + (model == TERMS_SIXTEEN ? 2 * FULL_COUNT : 0); }

/* Every column of the record in its order; returns how many. */
static size_t blob_list(const struct terms *t, enum terms_model model, double *to[COLUMNS_MAX])
{
        size_t c = 0;
        to[c++] = t->z_re;
        to[c++] = t->z_im;
        for (int k = 0; k < TERM_COUNT; k++) {
                to[c++] = t->re[k];
                to[c++] = t->im[k];
        }
        for (int k = 0; k < FULL_COUNT && model == TERMS_SIXTEEN; k++) {
                to[c++] = t->full_re[k];
                to[c++] = t->full_im[k];
        }
        return c;
}

size_t terms_blob_bytes(enum terms_model model, size_t n) { return sizeof(struct blob_header) + blob_columns(model) * n * sizeof(double); }

void terms_to_blob(const struct terms *t, void *ret_blob)
{
        size_t n = t->axis->n, bytes = n * sizeof(double);
        struct blob_header h = {.version = t->model == TERMS_SIXTEEN ? 2 : 1,
                                .model = (uint32_t)t->model,
                                .plane = (uint32_t)t->plane,
                                .switch_removed = t->switch_removed,
                                .points = n,
                                .axis_hash = t->axis->hash};
        double *columns[COLUMNS_MAX];
        memcpy(h.magic, blob_magic, sizeof h.magic);
        snprintf(h.method, sizeof h.method, "%s", t->method);
        char *at = ret_blob;
        memcpy(at, &h, sizeof h);
        at += sizeof h;
        size_t column_n = blob_list(t, t->model, columns);
        for (size_t k = 0; k < column_n; k++, at += bytes)
                memcpy(at, columns[k], bytes);
}

enum code terms_from_blob(const void *blob, size_t bytes, struct terms *into, struct tp_error *err)
{
        struct blob_header h;
        if (bytes < sizeof h)
                return tp_fail(err, CODE_DAMAGED, "the record of the error terms has %zu bytes, fewer than its header of %zu", bytes,
                               sizeof h);
        memcpy(&h, blob, sizeof h);
        if (memcmp(h.magic, blob_magic, sizeof h.magic) != 0)
                return tp_fail(err, CODE_DAMAGED, "this is no record of error terms: it does not begin with %s", blob_magic);
        if (h.version != 1 && h.version != 2)
                return tp_fail(err, CODE_TOO_NEW,
                               "the record of the error terms has version %u, this program knows versions 1 and 2; update the program",
                               h.version);
        h.method[sizeof h.method - 1] = '\0';
        const struct method *m = rf_method(h.method);
        const char *word = m ? m->word : strcmp(h.method, rf_joined_word) == 0 ? rf_joined_word : NULL;
        if (!word || h.model < TERMS_ONE_PORT || h.model >= TERMS_MODEL_COUNT || (h.model == TERMS_SIXTEEN) != (h.version == 2) ||
            h.plane >= PLANE_COUNT || h.switch_removed > 1)
                return tp_fail(err, CODE_DAMAGED,
                               "the record of the error terms names method \"%s\", model %u, plane %u in version %u; at least one is not "
                               "known",
                               word ? h.method : "?", h.model, h.plane, h.version);
        size_t n = into->axis->n, column = n * sizeof(double);
        if (h.points != n || h.axis_hash != into->axis->hash)
                return tp_fail(err, CODE_BAD_INPUT,
                               "the record of the error terms belongs to another list of %llu frequencies, not to this one of %zu",
                               (unsigned long long)h.points, n);
        enum terms_model model = (enum terms_model)h.model;
        if (bytes != terms_blob_bytes(model, n))
                return tp_fail(err, CODE_DAMAGED, "the record of the error terms has %zu bytes; %zu frequencies need %zu", bytes, n,
                               terms_blob_bytes(model, n));
        const char *at = (const char *)blob + sizeof h;
        double *columns[COLUMNS_MAX];
        size_t column_n = blob_list(into, model, columns);
        for (size_t k = 0; k < column_n; k++, at += column)
                memcpy(columns[k], at, column);
        for (int k = 0; k < FULL_COUNT && model != TERMS_SIXTEEN; k++) /* what an earlier use left here belongs to nothing now */
                for (size_t i = 0; i < n; i++)
                        into->full_re[k][i] = into->full_im[k][i] = NAN;
        into->method = word;
        into->model = model;
        into->plane = (enum plane)h.plane;
        into->switch_removed = h.switch_removed != 0;
        return CODE_OK;
}
