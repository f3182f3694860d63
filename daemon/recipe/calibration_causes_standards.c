/* calibration_causes_standards.c: what is stated of the standards of a calibration, by model or by data (calibration_causes.h).
 * Idea        A standard that is less than it is believed to be reads as that; the calibration is solved with the reading.  What is common to
 *             both ports moves both at once: a method that only takes them for alike does not mind it, the others do.
 * Named       what has no number at all, how alike reflects are, and keys that move nothing, so that nobody believes them counted. */
#include "recipe/calibration_causes.h"
#include "recipe/standard_moves.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *where_words(int port) { return port == 2 ? ", both ports" : port == 1 ? ", port 2" : ", port 1"; }

/* Does some method of the plan take what this standard is from its definition? */
static bool definition_counts(const struct causes_job *j, const char *name)
{
        for (size_t b = 0; b < j->solved->band_n; b++) {
                const struct solved_band *band = &j->solved->bands[b];
                for (size_t k = 0; k < band->problem.standard_n; k++) {
                        const struct rf_standard *s = &band->problem.standards[k];
                        for (size_t m = 0; m < band->method->need_n && strcmp(s->name, name) == 0; m++)
                                if (band->method->needs[m].kind == s->kind && band->method->needs[m].ideal && s->ideal)
                                        return true;
                }
        }
        return false;
}

static bool length_counts(const struct causes_job *j, const struct standard *s)
{
        for (size_t b = 0; b < j->solved->band_n; b++) {
                const struct solved_band *band = &j->solved->bands[b];
                for (size_t k = 0; k < band->problem.standard_n && method_is_of_lines(band->method); k++)
                        if (band->problem.standards[k].kind == RF_LINE && strcmp(band->problem.standards[k].name, s->name) == 0)
                                return true;
        }
        return false;
}

/* ---- by a model ---------------------------------------------------------------------------------------------------------------------- */

/* What stands there is one standard uncertainty less than believed. */
static struct m2 less_by_definition(const struct causes_job *j, size_t k, size_t i, struct m2 is, const void *cause)
{
        double complex turn = 1, gamma = CMPLX(j->solved->gamma_re[i], j->solved->gamma_im[i]);
        double offset_m = j->plan->reflect_offset_um * 1e-6;
        if (offset_m != 0 && isfinite(cabs(gamma)))
                turn = cexp(-2 * gamma * offset_m);
        struct standard_place at = {.t_c = j->at.temperature_c, .hz = j->solved->axis.hz[i], .is = is, .turn = turn};
        return m2_scale(-1, standard_moved(j->readings[k].standard, cause, &at));
}

/* A key of a model and the cause that it becomes. */
static const struct {
        const char *key, *number;
        size_t at;
} model_keys[] = {{"u_c_f", "C0", offsetof(struct standard_model, u_c_f)},
                  {"u_l_h", "L0", offsetof(struct standard_model, u_l_h)},
                  {"u_r_ohm", "R", offsetof(struct standard_model, u_r_ohm)},
                  {"u_dc_ohm", "R", offsetof(struct standard_model, u_dc_ohm)},
                  {"u_r_per_k", "R per kelvin", offsetof(struct standard_model, u_r_per_k)},
                  {"u_delay_s", "offset delay", offsetof(struct standard_model, u_delay_s)},
                  {"u_loss_ohm_s", "offset loss", offsetof(struct standard_model, u_loss_ohm_s)},
                  {"u_z_ohm", "offset impedance", offsetof(struct standard_model, u_z_ohm)},
                  {"u_length_um", NULL, offsetof(struct standard_model, u_length_um)},
                  {"u_shared", "shared", offsetof(struct standard_model, u_shared)}};
#define MODEL_KEYS (sizeof model_keys / sizeof model_keys[0])

static bool key_stated(const struct standard *s, size_t key)
{
        double u = 0;
        memcpy(&u, (const char *)&s->model + model_keys[key].at, sizeof u);
        if (!(u > 0) && s->has_port_2)
                memcpy(&u, (const char *)&s->port_2.model + model_keys[key].at, sizeof u);
        return u > 0;
}

/* The numbers of which a cause came out, one bit per key; shared: something common to both ports was tried. */
static void name_what_moves_nothing(struct causes_job *j, const struct standard *s, unsigned moved, bool shared)
{
        bool trimmed = standard_definition_at(s, 0).dc_ohm > 0 || standard_definition_at(s, 1).dc_ohm > 0;
        for (size_t key = 0; key < MODEL_KEYS; key++) {
                bool counts = moved & 1u << key;
                if (strcmp(model_keys[key].key, "u_length_um") == 0)
                        counts = length_counts(j, s);
                if (strcmp(model_keys[key].key, "u_shared") == 0)
                        counts = shared;
                if (strcmp(model_keys[key].key, "u_dc_ohm") == 0)
                        counts = counts && trimmed;
                if (key_stated(s, key) && !counts)
                        causes_not_counted(j, "%s: %s (moves nothing)", s->name, model_keys[key].key);
        }
}

static enum code causes_of_model(struct causes_job *j, size_t k, size_t *ret_stated, struct tp_error *err)
{
        const struct standard_reading *r = &j->readings[k];
        struct standard_move moves[STANDARD_MOVES_MAX];
        enum code code = CODE_OK;
        bool shared = false;
        unsigned moved = 0;
        size_t n = r->ideal || r->kind == RF_KNOWN ? 0 : standard_moves(r->standard, r->ports, moves);
        for (size_t c = 0; c < n && !code; c++) {
                char name[CAUSE_NAME_MAX];
                bool terms_move = false;
                snprintf(name, sizeof name, "%s: %s%s", r->standard->name, moves[c].number,
                         standard_reading_transmits(r) ? "" : where_words(moves[c].port));
                code = causes_of_reading(j, CAUSE_OF_STANDARD, k, less_by_definition, &moves[c], &terms_move, err, name);
                shared = shared || (moves[c].part[0] > 0 && moves[c].part[1] > 0);
                for (size_t key = 0; key < MODEL_KEYS && terms_move; key++)
                        if (model_keys[key].number && strcmp(model_keys[key].number, moves[c].number) == 0)
                                moved |= 1u << key;
        }
        shared = shared || (r->standard->data_u > 0 && (r->ideal || r->standard->data_n) && !standard_reading_transmits(r));
        if (!code)
                name_what_moves_nothing(j, r->standard, moved, shared);
        *ret_stated = n;
        return code;
}

/* ---- by data ------------------------------------------------------------------------------------------------------------------------- */

static struct m2 less_by_data(const struct causes_job *j, size_t k, size_t i, struct m2 is, const void *cause)
{
        (void)j, (void)k, (void)i, (void)is;
        return m2_scale(-1, *(const struct m2 *)cause);
}

static bool is_reciprocal(const struct standard_reading *r)
{
        double worst = 0;
        for (size_t i = 0; r->ideal && i < r->ideal->axis->n; i++)
                worst = fmax(worst, hypot(r->ideal->re[1][i] - r->ideal->re[2][i], r->ideal->im[1][i] - r->ideal->im[2][i]));
        return standard_data_reciprocal(r->standard) && worst < 1e-9;
}

/* One entry of S, or two alike, by real and imaginary part. */
static enum code data_causes(struct causes_job *j, size_t k, struct m2 d, const char *what, struct tp_error *err)
{
        enum code code = CODE_OK;
        for (int part = 0; part < 2 && !code; part++) {
                struct m2 by = m2_scale(part ? CMPLX(0, 1) : 1, d);
                char name[CAUSE_NAME_MAX];
                snprintf(name, sizeof name, "%s: data, %s %s", j->readings[k].standard->name, what, part ? "imaginary" : "real");
                code = causes_of_reading(j, CAUSE_OF_STANDARD, k, less_by_data, &by, NULL, err, name);
        }
        return code;
}

static enum code causes_of_data(struct causes_job *j, size_t k, struct tp_error *err)
{
        const struct standard_reading *r = &j->readings[k];
        unsigned ports = (causes_reads_port(r, 0) ? 1u : 0) | (causes_reads_port(r, 1) ? 2u : 0);
        struct data_move moves[DATA_MOVES_MAX];
        enum code code = CODE_OK;
        if (r->ideal_causes) /* causes_of_documents() */
                return CODE_OK;
        if (!(r->standard->data_u > 0))
                causes_not_counted(j, "definition of %s", r->standard->name);
        size_t n = standard_data_moves(r->standard, ports, standard_reading_transmits(r), is_reciprocal(r), moves);
        for (size_t c = 0; c < n && !code; c++)
                code = data_causes(j, k, moves[c].by, moves[c].what, err);
        return code;
}

/* ---- both ---------------------------------------------------------------------------------------------------------------------------- */

enum code causes_of_definition(struct causes_job *j, size_t k, struct tp_error *err)
{
        const struct standard_reading *r = &j->readings[k];
        size_t stated = 0;
        enum code code = causes_of_model(j, k, &stated, err);
        if (code)
                return code;
        if (r->ideal || r->standard->data_n || r->kind == RF_KNOWN)
                return causes_of_data(j, k, err);
        if (!stated && definition_counts(j, r->standard->name))
                causes_not_counted(j, "definition of %s", r->standard->name);
        else if (!stated && !standard_reading_transmits(r) && causes_reads_port(r, 0) && causes_reads_port(r, 1))
                causes_not_counted(j, "how alike %s is at both ports", r->standard->name);
        return CODE_OK;
}
