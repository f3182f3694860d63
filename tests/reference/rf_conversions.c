/* conversions.csv, error-models.json, standards.csv: S, Z, Y, h, ABCD, T in three wave definitions; switch terms, eight and twelve terms;
 * definitions. */
#include "rf_check.h"
#include "rf/network/convert.h"
#include "rf/network/netn.h"
#include "rf/calibrate/standards.h"

struct entry {
        char name[40], waves[8], what[8];
        double complex z[2];
        struct m2 m;
        bool used;
};
static size_t entries_of(struct entry *out)
{
        size_t n, k = 0;
        char *text;
        struct check_row *rows = check_csv("conversions.csv", &n, &text);
        for (size_t r = 0; r + 3 < n; r += 4, k++) {
                struct entry *e = &out[k];
                *e = (struct entry){0};
                snprintf(e->name, sizeof e->name, "%s", rows[r].cell[0]);
                snprintf(e->waves, sizeof e->waves, "%s", rows[r].cell[1]);
                snprintf(e->what, sizeof e->what, "%s", rows[r].cell[6]);
                e->z[0] = CMPLX(atof(rows[r].cell[2]), atof(rows[r].cell[3]));
                e->z[1] = CMPLX(atof(rows[r].cell[4]), atof(rows[r].cell[5]));
                for (size_t j = 0; j < 4; j++) {
                        assert_string_equal(rows[r + j].cell[0], e->name);
                        assert_int_equal((atoi(rows[r + j].cell[7]) - 1) * 2 + atoi(rows[r + j].cell[8]) - 1, j);
                        e->m.e[j] = CMPLX(atof(rows[r + j].cell[9]), atof(rows[r + j].cell[10]));
                }
        }
        free(rows);
        free(text);
        return k;
}

static const struct entry *find(const struct entry *all, size_t n, const char *name, const char *waves, const char *what)
{
        for (size_t k = 0; k < n; k++)
                if (strcmp(all[k].name, name) == 0 && strcmp(all[k].waves, waves) == 0 && strcmp(all[k].what, what) == 0)
                        return &all[k];
        fail_msg("no row %s %s %s", name, waves, what);
        return NULL;
}

static enum wave wave_of(const char *word)
{
        return strcmp(word, "pseudo") == 0 ? WAVE_PSEUDO : strcmp(word, "power") == 0 ? WAVE_POWER : WAVE_TRAVEL;
}

/* 1e-11: ten roundings; through Z or ABCD of net A at 70 kHz (|Z| = 2e7 ohm against 50) seven digits less: 1e-9. */
static double tol_of(const char *name) { return strncmp(name, "A70k", 4) == 0 ? 1e-9 : 1e-11; }

static struct entry all[400];

static void s_in_every_reference_and_wave_kind(void **state)
{
        (void)state;
        size_t n = entries_of(all), checked = 0;
        for (size_t k = 0; k < n; k++) {
                const struct entry *e = &all[k];
                if (strcmp(e->what, "S") != 0)
                        continue;
                char base[40], r50[48];
                snprintf(base, sizeof base, "%.*s", (int)strcspn(e->name, "_"), e->name);
                snprintf(r50, sizeof r50, "%s_r50", base);
                enum wave kind = wave_of(e->waves);
                const double complex fifty[2] = {50, 50};
                double tol = tol_of(e->name);
                /* from the 50 ohm S, straight: also for the thru, which has no Z */
                check_close_m2(e->name, 0, rf_renormalise(find(all, n, r50, "pseudo", "S")->m, fifty, WAVE_PSEUDO, e->z, kind), e->m,
                               1e-11);
                check_close_m2(e->name, 0, rf_renormalise(e->m, e->z, kind, fifty, WAVE_PSEUDO), find(all, n, r50, "pseudo", "S")->m,
                               1e-11);
                double complex n_port[4]; /* the code for any number of ports says the same */
                assert_true(rfn_renormalise(2, find(all, n, r50, "pseudo", "S")->m.e, fifty, WAVE_PSEUDO, e->z, kind, n_port));
                for (int j = 0; j < 4; j++)
                        check_close(e->name, 0, n_port[j], e->m.e[j], 1e-11);
                checked++;
                if (strcmp(base, "thru") == 0)
                        continue;
                struct m2 z = find(all, n, base, "-", "Z")->m;
                check_close_m2(e->name, 0, rf_s_from_z(z, e->z, kind), e->m, tol);
                assert_true(rfn_s_from_z(2, z.e, e->z, kind, n_port));
                for (int j = 0; j < 4; j++)
                        check_close(e->name, 0, n_port[j], e->m.e[j], tol);
                assert_true(rfn_s_from_y(2, find(all, n, base, "-", "Y")->m.e, e->z, kind, n_port));
                for (int j = 0; j < 4; j++)
                        check_close(e->name, 0, n_port[j], e->m.e[j], tol);
                /* back to Z: relative to the largest entry, condition grows with |Z|/z */
                struct m2 back = rf_z_from_s(e->m, e->z, kind);
                double size = cabs(z.e[0]) + cabs(z.e[3]);
                for (int j = 0; j < 4; j++)
                        check_close("Z", 0, back.e[j] / size, z.e[j] / size, tol);
                if (kind == WAVE_PSEUDO && e->z[0] == e->z[1]) {
                        struct m2 abcd = find(all, n, base, "-", "ABCD")->m, got = rf_abcd_from_s(e->m, e->z[0]);
                        for (int j = 0; j < 4; j++)
                                check_relative("ABCD", 0, got.e[j], abcd.e[j], 1e-9);
                        check_close_m2(e->name, 0, rf_s_from_abcd(abcd, e->z[0]), e->m, tol);
                        check_close_m2(e->name, 0, rf_renormalise_equal(find(all, n, r50, "pseudo", "S")->m, 50, e->z[0]), e->m, 1e-11);
                }
                if (kind == WAVE_PSEUDO && strstr(e->name, "r50")) {
                        struct m2 y = find(all, n, base, "-", "Y")->m, got = rf_y_from_s(e->m, 50), h = find(all, n, base, "-", "h")->m,
                                  z50 = rf_z50(e->m, 50);
                        check_close_m2(e->name, 0, rf_s_from_y(y, 50), e->m, 1e-11);
                        for (int j = 0; j < 4; j++) {
                                check_close("Y", 0, got.e[j] * 50, y.e[j] * 50, tol);
                                check_relative("h", 0, rf_h_from_y(y).e[j], h.e[j], 1e-9);
                                check_close("Z", 0, z50.e[j] / size, z.e[j] / size, tol);
                        }
                        check_close_m2(e->name, 0, rf_s_from_z50(z, 50), e->m, tol);
                }
                if (kind == WAVE_PSEUDO) {
                        struct m2 t = find(all, n, e->name, "pseudo", "T")->m, got = rf_t_from_s(e->m);
                        for (int j = 0; j < 4; j++)
                                check_close("T", 0, got.e[j], t.e[j], 1e-11);
                        check_close_m2(e->name, 0, rf_s_from_t(t), e->m, 1e-11);
                }
        }
        assert_int_equal(checked, 60); /* 5 networks, 4 references, 3 kinds */
}

static void a_reciprocal_network_in_unequal_complex_references_is_not_symmetric(void **state)
{
        (void)state;
        size_t n = entries_of(all);
        const struct entry *e = find(all, n, "A10G_c_un", "pseudo", "S");
        /* S21/S12 = (Re z2 conj z1)/(Re z1 conj z2) for pseudo-waves: Marks & Williams 1992 */
        check_close("S21/S12", 10e9, e->m.e[2] / e->m.e[1], creal(e->z[1]) * conj(e->z[0]) / (creal(e->z[0]) * conj(e->z[1])), 1e-13);
        assert_true(cabs(e->m.e[2] - e->m.e[1]) > 1e-2);
}

static void switch_terms_and_both_error_models(void **state)
{
        (void)state;
        struct arena *arena = arena_new(0);
        cJSON *json = check_json("error-models.json");
        struct axis *axis = check_axis(json, arena);
        struct switch_terms *sw = check_switch(json, axis, arena);
        struct net2 *x = check_net(check_at(json, "X"), axis, PLANE_TIP, arena),
                    *y = check_net(check_at(json, "Y"), axis, PLANE_TIP, arena);
        struct terms eight = terms_at(arena_take(arena, terms_bytes(axis->n)), axis),
                     twelve = terms_at(arena_take(arena, terms_bytes(axis->n)), axis);
        for (size_t i = 0; i < axis->n; i++) { /* eight terms straight from the boxes, twelve from the file */
                struct m2 a = net2_get(x, i), b = net2_get(y, i);
                double complex t[7] = {a.e[0], a.e[3], a.e[1] * a.e[2], b.e[3], b.e[0], b.e[1] * b.e[2], a.e[2] / b.e[1]};
                for (int k = 0; k < 7; k++) {
                        eight.re[k][i] = creal(t[k]);
                        eight.im[k][i] = cimag(t[k]);
                }
                double complex etf = t[TERM_K] * t[TERM_ERR], etr = t[TERM_ERF] / t[TERM_K];
                eight.re[TERM_ETF][i] = creal(etf), eight.im[TERM_ETF][i] = cimag(etf);
                eight.re[TERM_ETR][i] = creal(etr), eight.im[TERM_ETR][i] = cimag(etr);
                for (int k = 0; k < TERM_COUNT; k++) {
                        char path[64];
                        snprintf(path, sizeof path, "twelve_term/%s", term_words[k]);
                        if (k == TERM_K)
                                continue;
                        double complex v = check_complex(cJSON_GetArrayItem(check_at(json, path), (int)i));
                        twelve.re[k][i] = creal(v);
                        twelve.im[k][i] = cimag(v);
                }
                eight.z_re[i] = twelve.z_re[i] = 50;
                eight.z_im[i] = twelve.z_im[i] = 0;
        }
        eight.model = TERMS_EIGHT;
        eight.method = twelve.method = "test";
        twelve.model = TERMS_TWELVE;
        eight.plane = twelve.plane = PLANE_TIP;
        eight.switch_removed = true;
        for (const cJSON *dut = check_at(json, "dut")->child; dut; dut = dut->next) {
                struct net2 *raw = check_net(check_at(dut, "raw"), axis, PLANE_RECEIVER, arena),
                            *bare = check_net(check_at(dut, "raw_unterminated"), axis, PLANE_RECEIVER, arena);
                struct net2 *truth = check_net(check_at(dut, "true"), axis, PLANE_TIP, arena), *got = net_new(axis, PLANE_RECEIVER, arena),
                            *e8 = net_new(axis, PLANE_UNKNOWN, arena);
                struct net2 *e12 = net_new(axis, PLANE_UNKNOWN, arena), *m8 = net_new(axis, PLANE_UNKNOWN, arena),
                            *m12 = net_new(axis, PLANE_UNKNOWN, arena), *in = net_new(axis, PLANE_RECEIVER, arena);
                assert_int_equal(rf_switch_remove(sw, raw, got, NULL), CODE_OK);
                assert_int_equal(rf_switch_insert(sw, bare, in, NULL), CODE_OK);
                assert_int_equal(rf_correct2(&eight, raw, sw, e8, NULL), CODE_OK);
                assert_int_equal(rf_correct2(&twelve, raw, NULL, e12, NULL), CODE_OK);
                assert_int_equal(rf_embed2(&eight, truth, sw, m8, NULL), CODE_OK);
                assert_int_equal(rf_embed2(&twelve, truth, NULL, m12, NULL), CODE_OK);
                for (size_t i = 0; i < axis->n; i++) {
                        double hz = axis->hz[i];
                        check_close_m2("switch terms removed", hz, net2_get(got, i), net2_get(bare, i), 1e-13);
                        check_close_m2("switch terms inserted", hz, net2_get(in, i), net2_get(raw, i), 1e-13);
                        check_close_m2("corrected, eight", hz, net2_get(e8, i), net2_get(truth, i), 1e-11);
                        check_close_m2("corrected, twelve", hz, net2_get(e12, i), net2_get(truth, i), 1e-11);
                        check_close_m2("embedded, eight", hz, net2_get(m8, i), net2_get(raw, i), 1e-13);
                        check_close_m2("embedded, twelve", hz, net2_get(m12, i), net2_get(raw, i), 1e-13);
                        assert_true(m2_distance(rf_correct2_point(&twelve, i, net2_get(raw, i)), net2_get(e12, i)) ==
                                    0); /* wide vectors give the same bytes */
                }
                /* a control: forward and reverse exchanged must be seen */
                struct switch_terms turned = {axis, sw->r_re, sw->r_im, sw->f_re, sw->f_im};
                assert_int_equal(rf_correct2(&eight, raw, &turned, e8, NULL), CODE_OK);
                assert_true(m2_distance(net2_get(e8, axis->n - 1), net2_get(truth, axis->n - 1)) > 1e-3);
        }
        cJSON_Delete(json);
        arena_free(arena);
}

static void standards_reflect_as_defined(void **state)
{
        (void)state;
        static const struct {
                const char *name;
                struct standard_definition def;
        } defs[] = {
                /* the numbers are in the head of standards.csv */
                {"open_poly",
                 {.kind = RF_OPEN, .c_f = {52e-15, -280e-27, 19e-36, -0.12e-45}, .offset_delay_s = 30.5e-12, .offset_loss_ohm_s = 2e9}},
                {"short_poly",
                 {.kind = RF_SHORT, .l_h = {2.3e-12, -95e-24, 1.8e-33, -0.009e-42}, .offset_delay_s = 33e-12, .offset_loss_ohm_s = 2.1e9}},
                {"onwafer_open_negative", {.kind = RF_OPEN, .c_f = {-9.3e-15}}},
                {"onwafer_short", {.kind = RF_SHORT, .l_h = {2.4e-12}}},
                {"onwafer_load", {.kind = RF_LOAD, .r_ohm = 50.3, .l_h = {-3.5e-12}}},
                {"offset_load_lossy",
                 {.kind = RF_LOAD,
                  .r_ohm = 48.9,
                  .l_h = {6e-12},
                  .offset_delay_s = 1.2e-12,
                  .offset_loss_ohm_s = 12e9,
                  .offset_z_ohm = 52}},
        };
        static const struct standard_definition thru = {.kind = RF_THRU, .offset_delay_s = 1e-12, .offset_loss_ohm_s = 15e9};
        size_t n, checked = 0;
        char *text;
        struct check_row *rows = check_csv("standards.csv", &n, &text);
        for (size_t r = 0; r < n; r++) {
                double hz = atof(rows[r].cell[1]);
                double complex want = CMPLX(atof(rows[r].cell[4]), atof(rows[r].cell[5])), got = NAN;
                for (size_t k = 0; k < sizeof defs / sizeof defs[0]; k++)
                        if (strcmp(rows[r].cell[0], defs[k].name) == 0)
                                got = rf_standard_reflection(&defs[k].def, 23, hz);
                if (strstr(rows[r].cell[0], "thru"))
                        got = rf_standard_thru(&thru, hz).e[strstr(rows[r].cell[0], "S11") ? 0 : 2];
                check_close(rows[r].cell[0], hz, got, want, 1e-11);
                checked++;
        }
        assert_int_equal(checked, 96);
        free(rows);
        free(text);
        /* temperature moves a load: 50 ohm, 100 ppm/K, 102 K -> 50.51 ohm, by hand */
        struct standard_definition load = {.kind = RF_LOAD, .r_ohm = 50, .r_per_k = 1e-4, .t_ref_c = 23};
        check_close("hot load", 1e9, rf_standard_reflection(&load, 125, 1e9), 0.51 / 100.51, 1e-14);
        /* the sign of a negative capacitance is kept: inductive side of the chart */
        assert_true(cimag(rf_standard_reflection(&defs[2].def, 23, 54e9)) > 0.1);
}

int main(void)
{
        const struct CMUnitTest tests[] = {
                cmocka_unit_test(s_in_every_reference_and_wave_kind),
                cmocka_unit_test(a_reciprocal_network_in_unequal_complex_references_is_not_symmetric),
                cmocka_unit_test(switch_terms_and_both_error_models),
                cmocka_unit_test(standards_reflect_as_defined),
        };
        return cmocka_run_group_tests(tests, NULL, NULL);
}
