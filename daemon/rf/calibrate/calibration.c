/* calibration.c: the table of methods, and what every method shares: memory of terms and diagnosis, the check of a problem, records
   (calibration.h). */
#include "rf/calibrate/calibration.h"
#include "rf/calibrate/exact.h"
#include "rf/calibrate/join.h"
#include "rf/calibrate/lines.h"
#include "rf/calibrate/solve.h"
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

const char *const rf_standard_words[RF_STANDARD_COUNT + 1] = {"unknown", "open", "short", "load", "thru", "line", "reflect", "known", NULL};
const char *const rf_match_fit_words[RF_MATCH_FIT_COUNT + 1] = {"inductance", "fixed", "inductance_and_capacitance", "from_open", NULL};
const char *const term_words[TERM_COUNT + 1] = {"EDF", "ESF", "ERF", "EDR", "ESR", "ERR", "K",
                                                "ELF", "ETF", "EXF", "ELR", "ETR", "EXR", NULL};

const char *const terms_model_words[TERMS_MODEL_COUNT + 1] = {"unknown", "one_port", "eight", "twelve", "sixteen", NULL};

static const struct need sol_needs[] = {{RF_OPEN, 1, true, "an open with its definition", 0},
                                        {RF_SHORT, 1, true, "a short with its definition", 0},
                                        {RF_LOAD, 1, true, "a load with its definition", 0}};
static const struct need solt_needs[] = {{RF_OPEN, 1, true, "an open with its definition", 0},
                                         {RF_SHORT, 1, true, "a short with its definition", 0},
                                         {RF_LOAD, 1, true, "a load with its definition", 0},
                                         {RF_THRU, 1, true, "a thru with its definition", 0}};
static const struct need unknown_thru_needs[] = {{RF_OPEN, 1, true, "an open with its definition", 0},
                                                 {RF_SHORT, 1, true, "a short with its definition", 0},
                                                 {RF_LOAD, 1, true, "a load with its definition", 0},
                                                 {RF_THRU, 1, false, "a reciprocal thru and its delay to a quarter period", 0}};
static const struct need lrm_needs[] = {
        {RF_THRU, 1, true, "a thru with its definition; it may be lossy and mismatched", 0},
        {RF_LOAD, 1, true, "a match with its definition, at both ports: results are relative to it", 0},
        {RF_REFLECT, 0, false, "a reflect equal at both ports, with its estimate (or an open or short below)", 0},
        {RF_OPEN, 0, false, "an open equal at both ports, nothing else known", 0},
        {RF_SHORT, 0, false, "a short equal at both ports, nothing else known", 0}};
static const struct need lrrm_needs[] = {
        {RF_THRU, 1, true, "a thru with its definition, alike from both sides and well below 90 degrees at the highest frequency", 0},
        {RF_OPEN, 1, false, "an open equal at both ports and without loss (a definition only for the variant from_open)", 0},
        {RF_SHORT, 1, false, "a short equal at both ports", 0},
        {RF_LOAD, 1, true, "a match with its resistance, at port 1; its inductance is found", 1}};
static const struct need known_needs[] = {{RF_THRU, 0, true, "thrus with their definitions; one standard must transmit", 0},
                                          {RF_LINE, 0, true, "lines with their definitions", 0},
                                          {RF_OPEN, 0, true, "opens with their definitions", 0},
                                          {RF_SHORT, 0, true, "shorts with their definitions", 0},
                                          {RF_LOAD, 0, true, "loads with their definitions", 0}};
static const struct need trl_needs[] = {{RF_LINE, 2, false, "a thru (the first one) and one longer line, lengths known", 0},
                                        {RF_REFLECT, 1, false, "a reflect, equal at both ports, with estimate and offset", 0}};
static const struct need multiline_needs[] = {{RF_LINE, 2, false, "lines of different, known lengths; the first is the thru", 0},
                                              {RF_REFLECT, 1, false, "a reflect, equal at both ports, with estimate and offset", 0}};

static const struct need sixteen_needs[] = {{RF_KNOWN, 0, true, "a two-port with its definition", 0},
                                            {RF_OPEN, 0, true, "opens at both ports with their definitions", 0},
                                            {RF_SHORT, 0, true, "shorts at both ports with their definitions", 0},
                                            {RF_LOAD, 0, true, "loads at both ports with their definitions", 0},
                                            {RF_THRU, 0, true, "a thru with its definition", 0}};

#define COUNT(a) (sizeof(a) / sizeof(a)[0])
static size_t no_workspace(size_t n, size_t standards) { return net2_stride(n * standards + n * 6) * sizeof(double); }

const struct method rf_methods[] = {
        {"sol",
         "one port at a time from three or more known reflections; more than three are weighed by their uncertainty and leave residuals", 1,
         3, sol_needs, COUNT(sol_needs), no_workspace, sol_solve},
        {"solt",
         "two ports, twelve terms, from known reflections at both ports and a known thru; the switch terms stay inside, errors of the "
         "definitions show above 40 GHz",
         2, 12, solt_needs, COUNT(solt_needs), no_workspace, solt_solve},
        {"unknown_thru",
         "two ports, eight terms, from known reflections at both ports and any reciprocal thru, lossy or bent, whose delay is known to a "
         "quarter "
         "period of the lowest frequency",
         2, 8, unknown_thru_needs, COUNT(unknown_thru_needs), unknown_thru_workspace, unknown_thru_solve},
        {"lrm",
         "two ports, eight terms, from a known thru, one known match and a reflect that is only equal at both ports; no frequency is "
         "degenerate, results are relative to the match",
         2, 8, lrm_needs, COUNT(lrm_needs), lrm_workspace, lrm_solve},
        {"lrrm",
         "two ports, eight terms, from a known thru, an open and a short that are only equal at both ports, and a match of known "
         "resistance "
         "at port 1 whose inductance is found; degenerate where the thru has 90 degrees",
         2, 8, lrrm_needs, COUNT(lrrm_needs), lrrm_workspace, lrrm_solve},
        {"known_standards",
         "two ports, eight terms, by least squares from any mix of fully known one- and two-ports, each weighted by its uncertainty", 2, 8,
         known_needs, COUNT(known_needs), known_workspace, known_solve},
        {"trl",
         "two ports, eight terms, from a thru, one longer line and a reflect; good where the lines differ by 20 to 160 degrees, in the "
         "impedance of the line unless its capacitance is given",
         2, 8, trl_needs, COUNT(trl_needs), lines_workspace, trl_solve},
        {"multiline_trl",
         "two ports, eight terms, from a thru, lines of known lengths and a reflect; also gives the lines' propagation constant and how "
         "wrong "
         "each length seems; results in the impedance of the line unless its capacitance is given",
         2, 8, multiline_needs, COUNT(multiline_needs), lines_workspace, multiline_solve},
        {"sixteen_term", "two ports with leakage between them, sixteen terms, from five or more fully known two-ports", 2, 16,
         sixteen_needs, COUNT(sixteen_needs), sixteen_workspace, sixteen_solve},
};
const size_t rf_method_n = COUNT(rf_methods);

const struct method *rf_method(const char *word)
{
        for (size_t k = 0; k < rf_method_n; k++)
                if (strcmp(rf_methods[k].word, word) == 0)
                        return &rf_methods[k];
        return NULL;
}

/* ---- memory -------------------------------------------------------------------------------------------------------------------------- */

#define TERMS_COLUMNS (2 + 2 * TERM_COUNT + 2 * FULL_COUNT)
size_t terms_bytes(size_t n) { return TERMS_COLUMNS * net2_stride(n) * sizeof(double); }

struct terms terms_at(void *memory_64, const struct axis *axis)
{
        size_t stride = net2_stride(axis->n);
        double *column = memory_64;
        struct terms t = {.axis = axis, .method = ""};
        for (size_t i = 0; i < TERMS_COLUMNS * stride; i++)
                column[i] = NAN;
        t.z_re = column;
        t.z_im = column + stride;
        column += 2 * stride;
        for (int k = 0; k < TERM_COUNT; k++, column += 2 * stride) {
                t.re[k] = column;
                t.im[k] = column + stride;
        }
        for (int k = 0; k < FULL_COUNT; k++, column += 2 * stride) {
                t.full_re[k] = column;
                t.full_im[k] = column + stride;
        }
        return t;
}

/* All column pointers of a diagnosis, in the order of its memory. */
#define DIAGNOSIS_COLUMNS 32
static void diagnosis_columns(struct diagnosis *d, double **to[DIAGNOSIS_COLUMNS])
{
        double **all[DIAGNOSIS_COLUMNS] = {&d->condition,
                                           &d->residual_rms,
                                           &d->residual_worst,
                                           &d->k_disagreement,
                                           &d->switch_difference,
                                           &d->reciprocity,
                                           &d->thru_s21_re,
                                           &d->thru_s21_im,
                                           &d->gamma_re,
                                           &d->gamma_im,
                                           &d->eps_re,
                                           &d->eps_im,
                                           &d->loss_db_mm,
                                           &d->phase_eff_deg,
                                           &d->nstd,
                                           &d->zc_re,
                                           &d->zc_im,
                                           &d->reflect_re,
                                           &d->reflect_im,
                                           &d->reflect_distance,
                                           &d->reflect_angle_deg,
                                           &d->common_line,
                                           &d->leakage,
                                           &d->consistency,
                                           &d->second_opinion,
                                           &d->match_r_ohm,
                                           &d->match_l_h};
        memcpy(to, all, sizeof all);
}

size_t diagnosis_bytes(size_t n) { return DIAGNOSIS_COLUMNS * net2_stride(n) * sizeof(double); }

struct diagnosis diagnosis_at(void *memory_64, const struct axis *axis)
{
        struct diagnosis d = {
                .axis = axis, .contradiction_hz = NAN, .contradiction_deg = NAN, .root_start_hz = NAN, .root_unfollowed_hz = NAN};
        double **columns[DIAGNOSIS_COLUMNS], *column = memory_64;
        size_t stride = net2_stride(axis->n);
        for (size_t i = 0; i < DIAGNOSIS_COLUMNS * stride; i++)
                column[i] = NAN;
        diagnosis_columns(&d, columns);
        for (int k = 0; k < DIAGNOSIS_COLUMNS && columns[k]; k++, column += stride)
                *columns[k] = column;
        for (size_t k = 0; k < RF_STANDARD_MAX; k++)
                d.standard[k] = (struct standard_residual){NAN, NAN, NAN};
        for (size_t k = 0; k < RF_STANDARD_MAX; k++)
                d.line_length_error_m[k] = d.line_length_u_m[k] = NAN;
        d.match_l_fit_h = d.match_l_u_h = d.match_c_fit_f = d.match_r_fit_ohm = d.open_c_fit_f = NAN;
        return d;
}

void diagnosis_warn(struct diagnosis *d, const char *fmt, ...)
{
        if (d->warning_n >= COUNT(d->warning))
                return;
        va_list args;
        va_start(args, fmt);
        vsnprintf(d->warning[d->warning_n++], sizeof d->warning[0], fmt, args);
        va_end(args);
}

/* ---- the check of a problem ---------------------------------------------------------------------------------------------------------- */

const char *standard_name(const struct rf_standard *s) { return s->name && s->name[0] ? s->name : rf_standard_words[s->kind]; }
bool is_reflection(enum rf_standard_kind kind) { return kind == RF_OPEN || kind == RF_SHORT || kind == RF_LOAD; }

static enum code net_check(const struct problem *p, const struct rf_standard *s, const char *what, const struct net2 *net,
                           struct tp_error *err)
{
        if (!axis_equal(net->axis, p->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: its %s data have %zu frequencies from %.9g to %.9g Hz, the calibration has %zu from %.9g to %.9g Hz",
                               standard_name(s), what, net->axis->n, net->axis->hz[0], net->axis->hz[net->axis->n - 1], p->axis->n,
                               p->axis->hz[0], p->axis->hz[p->axis->n - 1]);
        static const char *const entry[4] = {"S11", "S12", "S21", "S22"};
        bool finite = exact_net_finite(net);
        for (size_t i = 0; !finite && i < p->axis->n; i++)
                for (int k = 0; k < 4; k++)
                        if (!isfinite(net->re[k][i]) || !isfinite(net->im[k][i])) {
                                bool unused = is_reflection(s->kind) && (k == 1 || k == 2);
                                unused = unused || (is_reflection(s->kind) && ((s->ports == 1 && k == 3) || (s->ports == 2 && k == 0)));
                                if (!unused)
                                        return tp_fail(err, CODE_BAD_INPUT,
                                                       "%s: %s of its %s data is not a number at %.9g Hz; measure it again",
                                                       standard_name(s), entry[k], what, p->axis->hz[i]);
                        }
        return CODE_OK;
}

enum code standard_ideal_check(const struct problem *p, const struct rf_standard *s, struct tp_error *err)
{
        return net_check(p, s, "ideal", s->ideal, err);
}

static bool wants_ideal(const struct method *m, enum rf_standard_kind kind)
{
        for (size_t k = 0; k < m->need_n; k++)
                if (m->needs[k].kind == kind)
                        return m->needs[k].ideal;
        return false;
}

static bool belongs(const struct method *m, enum rf_standard_kind kind)
{
        for (size_t k = 0; k < m->need_n; k++)
                if (m->needs[k].kind == kind)
                        return true;
        return false;
}

enum code rf_problem_check(const struct method *m, const struct problem *p, struct tp_error *err)
{
        if (p->standard_n == 0 || p->standard_n > RF_STANDARD_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "%s: %zu standards given; it takes 1 to %d", m->word, p->standard_n, RF_STANDARD_MAX);
        for (size_t k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                if (s->kind <= RF_STANDARD_UNKNOWN || s->kind >= RF_STANDARD_COUNT || !belongs(m, s->kind))
                        return tp_fail(err, CODE_BAD_INPUT, "%s: standard %zu (%s) has no use in this method; leave it out", m->word, k + 1,
                                       s->kind < RF_STANDARD_COUNT ? standard_name(s) : "of no known kind");
                if (!s->raw)
                        return tp_fail(err, CODE_BAD_INPUT, "%s: %s was not measured", m->word, standard_name(s));
                if (s->raw->plane != PLANE_RECEIVER)
                        return tp_fail(err, CODE_BAD_INPUT, "%s: %s must be raw; its data lie in plane %s", m->word, standard_name(s),
                                       plane_words[s->raw->plane]);
                enum code code = net_check(p, s, "raw", s->raw, err);
                if (code)
                        return code;
                if (!wants_ideal(m, s->kind))
                        continue;
                if (!s->ideal)
                        return tp_fail(err, CODE_BAD_INPUT, "%s: %s has no definition", m->word, standard_name(s));
                if ((code = net_check(p, s, "ideal", s->ideal, err)))
                        return code;
                if (net2_z_real(s->ideal) != 50)
                        return tp_fail(err, CODE_BAD_INPUT, "%s: the definition of %s must be given in 50 ohm, not %.9g", m->word,
                                       standard_name(s), net2_z_real(s->ideal));
        }
        for (size_t k = 0; k < m->need_n; k++)
                for (unsigned port = 1; port <= 2; port++) {
                        unsigned have = 0;
                        if (m->needs[k].ports && !(m->needs[k].ports & port))
                                continue;
                        for (size_t j = 0; j < p->standard_n; j++) {
                                const struct rf_standard *s = &p->standards[j];
                                have += s->kind == m->needs[k].kind && (!is_reflection(s->kind) || s->ports == 0 || (s->ports & port));
                        }
                        if (have < m->needs[k].least)
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "%s needs %u of kind %s at port %u (%s) and has %u; measure it or choose another method",
                                               m->word, m->needs[k].least, rf_standard_words[m->needs[k].kind], port, m->needs[k].say,
                                               have);
                }
        const struct switch_terms *sw = p->switch_terms;
        if (sw && !axis_equal(sw->axis, p->axis))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: the switch terms have %zu frequencies, the calibration %zu; both must have the same list", m->word,
                               sw->axis->n, p->axis->n);
        for (size_t i = 0; sw && i < p->axis->n; i++)
                if (!isfinite(sw->f_re[i]) || !isfinite(sw->f_im[i]) || !isfinite(sw->r_re[i]) || !isfinite(sw->r_im[i]))
                        return tp_fail(err, CODE_BAD_INPUT, "%s: a switch term is not a number at %.9g Hz; measure them again", m->word,
                                       p->axis->hz[i]);
        return CODE_OK;
}

/* ---- residuals ------------------------------------------------------------------------------------------------------------------------
 */

void residuals_none(const struct problem *p, struct diagnosis *d)
{
        for (size_t i = 0; i < p->axis->n; i++)
                d->residual_rms[i] = d->residual_worst[i] = NAN;
        for (size_t k = 0; k < p->standard_n; k++)
                d->standard[k] = (struct standard_residual){NAN, NAN, NAN};
}

void residuals_finish(const struct problem *p, struct diagnosis *d, const double *residual)
{
        double sum[RF_STANDARD_MAX] = {0};
        size_t count[RF_STANDARD_MAX] = {0};
        for (size_t i = 0; i < p->axis->n; i++) {
                double sum_here = 0, worst_here = NAN;
                size_t n_here = 0;
                for (size_t k = 0; k < p->standard_n; k++) {
                        double r = residual[i * p->standard_n + k];
                        if (isnan(r))
                                continue;
                        sum_here += r * r;
                        worst_here = fmax(worst_here, r);
                        n_here++;
                        sum[k] += r * r;
                        count[k]++;
                        if (!(r <= d->standard[k].worst)) {
                                d->standard[k].worst = r;
                                d->standard[k].worst_hz = p->axis->hz[i];
                        }
                }
                d->residual_rms[i] = n_here ? sqrt(sum_here / (double)n_here) : NAN;
                d->residual_worst[i] = worst_here;
        }
        for (size_t k = 0; k < p->standard_n; k++)
                d->standard[k].rms = count[k] ? sqrt(sum[k] / (double)count[k]) : NAN;
}

/* ---- records --------------------------------------------------------------------------------------------------------------------------
 */

struct blob_header {
        char magic[8];
        uint32_t version, model, plane, switch_removed;
        uint64_t points, axis_hash;
        char method[24];
};
_Static_assert(sizeof(struct blob_header) == 64, "the record's header is 64 bytes, so that the columns stay aligned");
_Static_assert(__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__, "records are written as they lie in memory: little-endian");
static const char blob_magic[8] = "TPTERMS";

static size_t blob_columns(enum terms_model model) { return 2 + 2 * TERM_COUNT + (model == TERMS_SIXTEEN ? 2 * FULL_COUNT : 0); }

/* Every column of the record in its order; returns how many. */
static size_t blob_list(const struct terms *t, enum terms_model model, double *to[TERMS_COLUMNS])
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
        double *columns[TERMS_COLUMNS];
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
        double *columns[TERMS_COLUMNS];
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
