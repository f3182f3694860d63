/* rf_check.h: the check files of this folder read into plain arrays, for the reference tests of rf/ and formats/.
   Values were computed apart from this program (60 digits); each file's header names formula and source. */
#ifndef TIPPLANE_TESTS_RF_CHECK_H
#define TIPPLANE_TESTS_RF_CHECK_H
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <cjson/cJSON.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "rf/calibrate/calibration.h"
#include "rf/correct/correct.h"

static inline char *check_file(const char *name, size_t *ret_n)
{
        char path[512];
        snprintf(path, sizeof path, "tests/reference/%s", name);
        FILE *f = fopen(path, "rb");
        if (!f)
                fail_msg("%s is missing: run the tests from the repository's root", path);
        char *text = NULL;
        size_t n = 0, room = 0;
        for (;;) {
                if (n + 65536 > room) {
                        room = n + 262144;
                        text = realloc(text, room + 1);
                        if (!text)
                                fail_msg("no memory for %s", path);
                }
                size_t got = fread(text + n, 1, 65536, f);
                if (got == 0)
                        break;
                n += got;
        }
        fclose(f);
        text[n] = '\0';
        if (ret_n)
                *ret_n = n;
        return text;
}

static inline cJSON *check_json(const char *name)
{
        char *text = check_file(name, NULL);
        cJSON *json = cJSON_Parse(text);
        free(text);
        if (!json)
                fail_msg("%s is no JSON", name);
        return json;
}

/* "a/b/c" below json. */
static inline const cJSON *check_at(const cJSON *json, const char *path)
{
        char word[64];
        while (*path) {
                size_t n = strcspn(path, "/");
                snprintf(word, sizeof word, "%.*s", (int)n, path);
                json = cJSON_GetObjectItemCaseSensitive(json, word);
                if (!json)
                        fail_msg("the check file has no \"%s\"", word);
                path += n + (path[n] == '/');
        }
        return json;
}

static inline double complex check_complex(const cJSON *pair) { return CMPLX(pair->child->valuedouble, pair->child->next->valuedouble); }

static inline struct m2 check_m2(const cJSON *four)
{
        struct m2 m;
        const cJSON *e = four->child;
        for (int k = 0; k < 4; k++, e = e->next)
                m.e[k] = check_complex(e);
        return m;
}

/* The frequencies of a calibration file as an axis in the arena. */
static inline struct axis *check_axis(const cJSON *json, struct arena *arena)
{
        const cJSON *list = check_at(json, "frequencies_hz");
        size_t n = (size_t)cJSON_GetArraySize(list), i = 0;
        double *hz = arena_take(arena, n * sizeof *hz);
        for (const cJSON *e = list->child; e; e = e->next)
                hz[i++] = e->valuedouble;
        struct axis *axis = arena_take(arena, sizeof *axis);
        assert_int_equal(axis_of(n, hz, axis, NULL), CODE_OK);
        return axis;
}

static inline struct net2 *check_net(const cJSON *list, const struct axis *axis, enum plane plane, struct arena *arena)
{
        struct net2 *net = arena_take(arena, sizeof *net);
        *net = net2_at(arena_take(arena, net2_bytes(axis->n)), axis, plane);
        size_t i = 0;
        for (const cJSON *e = list->child; e; e = e->next)
                net2_put(net, i++, check_m2(e));
        assert_int_equal(i, axis->n);
        return net;
}

static inline struct switch_terms *check_switch(const cJSON *json, const struct axis *axis, struct arena *arena)
{
        struct switch_terms *sw = arena_take(arena, sizeof *sw);
        *sw = switch_terms_at(arena_take(arena, switch_terms_bytes(axis->n)), axis);
        const cJSON *f = check_at(json, "switch_terms/forward")->child, *r = check_at(json, "switch_terms/reverse")->child;
        for (size_t i = 0; i < axis->n; i++, f = f->next, r = r->next) {
                sw->f_re[i] = creal(check_complex(f));
                sw->f_im[i] = cimag(check_complex(f));
                sw->r_re[i] = creal(check_complex(r));
                sw->r_im[i] = cimag(check_complex(r));
        }
        return sw;
}

static inline struct net2 *net_new(const struct axis *axis, enum plane plane, struct arena *arena)
{
        struct net2 *net = arena_take(arena, sizeof *net);
        *net = net2_at(arena_take(arena, net2_bytes(axis->n)), axis, plane);
        return net;
}

/* One solved problem in an arena. */
struct solved {
        struct terms terms;
        struct diagnosis diagnosis;
        struct tp_error err;
        enum code code;
};
static inline struct solved *solve_in(struct arena *arena, const char *method, const struct problem *problem, struct covariance *cov)
{
        const struct method *m = rf_method(method);
        assert_non_null(m);
        struct solved *s = arena_take(arena, sizeof *s);
        s->terms = terms_at(arena_take(arena, terms_bytes(problem->axis->n)), problem->axis);
        s->diagnosis = diagnosis_at(arena_take(arena, diagnosis_bytes(problem->axis->n)), problem->axis);
        s->code = m->solve(problem, arena_take(arena, m->workspace_bytes(problem->axis->n, problem->standard_n)), &s->terms, cov,
                           &s->diagnosis, &s->err);
        return s;
}

/* |x - ref| <= tol max(1, |ref|); says what and where. */
static inline void check_close(const char *what, double hz, double complex x, double complex ref, double tol)
{
        double d = cabs(x - ref);
        if (!(d <= tol * fmax(1, cabs(ref))))
                fail_msg("%s at %.6g Hz: %.17g%+.17gj, reference %.17g%+.17gj, distance %.3g, allowed %.3g", what, hz, creal(x), cimag(x),
                         creal(ref), cimag(ref), d, tol * fmax(1, cabs(ref)));
}
static inline void check_close_m2(const char *what, double hz, struct m2 x, struct m2 ref, double tol)
{
        for (int k = 0; k < 4; k++)
                check_close(what, hz, x.e[k], ref.e[k], tol);
}
/* |x - ref| <= tol |ref| */
static inline void check_relative(const char *what, double hz, double complex x, double complex ref, double tol)
{
        if (!(cabs(x - ref) <= tol * cabs(ref)))
                fail_msg("%s at %.6g Hz: %.17g%+.17gj, reference %.17g%+.17gj, relative distance %.3g, allowed %.3g", what, hz, creal(x),
                         cimag(x), creal(ref), cimag(ref), cabs(x - ref) / cabs(ref), tol);
}

/* 1e-10 above 100 MHz: condition numbers below 1e3 times a few hundred roundings of 1e-16, with a margin of 1e3 for compilers. */
#define TOL_CALIBRATION 1e-10

/* Below, line calibrations lose digits: the error that plain double precision reached per frequency (judged.json), times 100. */
static inline double judged(const char *path, size_t i, double at_least)
{
        cJSON *json = check_json("judged.json");
        double e = cJSON_GetArrayItem(check_at(json, path), (int)i)->valuedouble;
        cJSON_Delete(json);
        return fmax(100 * e, at_least);
}

/* Every device of a check file, corrected by these terms, is what it is in `truth`. */
static inline void devices_come_back(const cJSON *json, const struct terms *terms, const struct switch_terms *sw, const char *truth,
                                     const char *judged_path, struct arena *arena)
{
        for (const cJSON *dut = check_at(json, "dut")->child; dut; dut = dut->next) {
                struct net2 *raw = check_net(check_at(dut, "raw"), terms->axis, PLANE_RECEIVER, arena),
                            *want = check_net(check_at(dut, truth), terms->axis, PLANE_TIP, arena);
                struct net2 *got = net_new(terms->axis, PLANE_UNKNOWN, arena);
                struct tp_error err = {0};
                if (rf_correct2(terms, raw, sw, got, &err))
                        fail_msg("%s", err.text);
                assert_int_equal(got->plane, terms->plane);
                for (size_t i = 0; i < terms->axis->n; i++) {
                        double hz = terms->axis->hz[i],
                               tol = hz > 100e6 || !judged_path ? TOL_CALIBRATION : judged(judged_path, i, TOL_CALIBRATION);
                        check_close_m2(dut->string, hz, net2_get(got, i), net2_get(want, i), tol);
                }
                /* in place gives the same bytes */
                assert_int_equal(rf_correct2(terms, raw, sw, raw, NULL), CODE_OK);
                for (int k = 0; k < 4; k++)
                        assert_memory_equal(raw->re[k], got->re[k], terms->axis->n * sizeof(double));
        }
}

/* Rows of a check CSV: '#' lines skipped, first line names; no quoting in these files. */
struct check_row {
        char *cell[12];
};
static inline struct check_row *check_csv(const char *name, size_t *ret_n, char **ret_text)
{
        char *text = check_file(name, NULL), *save = NULL;
        struct check_row *rows = calloc(4000, sizeof *rows);
        size_t n = 0;
        bool head = false;
        for (char *line = strtok_r(text, "\r\n", &save); line; line = strtok_r(NULL, "\r\n", &save)) {
                if (line[0] == '#')
                        continue;
                if (!head) {
                        head = true;
                        continue;
                }
                size_t c = 0;
                for (char *at = line; at && c < 12; c++) {
                        char *comma = strchr(at, ',');
                        if (comma)
                                *comma = '\0';
                        rows[n].cell[c] = at;
                        at = comma ? comma + 1 : NULL;
                }
                assert_true(++n < 4000);
        }
        *ret_n = n;
        *ret_text = text;
        return rows;
}

#endif
