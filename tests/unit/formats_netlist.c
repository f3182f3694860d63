/* Subcircuits: a small circuit solver of the test's own reads the text and must find the model's S again; text, names, refusals. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "formats/netlist.h"

/* ---- modified nodal analysis of r, l, c, g, e, f, h, v; node 0 is ground, ref too --------------------------------------------------- */
#define NODES 1500
struct solver {
        size_t n; /* nodes and branch currents; 0 is ground */
        char names[NODES][20];
        double complex *a, *b; /* n x n, n */
        char source[NODES][20];
        size_t source_row[NODES], source_n;
};
static size_t node(struct solver *s, const char *name)
{
        if (strcmp(name, "0") == 0 || strcmp(name, "ref") == 0)
                return 0;
        for (size_t i = 1; i < s->n; i++)
                if (strcmp(s->names[i], name) == 0)
                        return i;
        assert_true(s->n < NODES);
        snprintf(s->names[s->n], sizeof s->names[0], "%s", name);
        return s->n++;
}
#define A(i, j) s->a[(i)*NODES + (j)]
static void admit(struct solver *s, size_t i, size_t j, double complex y)
{
        A(i, i) += y;
        A(j, j) += y;
        A(i, j) -= y;
        A(j, i) -= y;
}
static size_t current_of(struct solver *s, const char *name)
{
        for (size_t i = 0; i < s->source_n; i++)
                if (strcmp(s->source[i], name) == 0)
                        return s->source_row[i];
        fail_msg("no source %s", name);
        return 0;
}
static size_t branch(struct solver *s, size_t i, size_t j)
{
        size_t row = node(s, "");
        snprintf(s->names[row], sizeof s->names[0], "#%zu", row);
        A(i, row) += 1;
        A(j, row) -= 1;
        A(row, i) += 1;
        A(row, j) -= 1;
        return row;
}
/* One element line. */
static void element(struct solver *s, const char *line, double w)
{
        char word[6][40] = {"", "", "", "", "", ""};
        int n = sscanf(line, "%39s %39s %39s %39s %39s %39s", word[0], word[1], word[2], word[3], word[4], word[5]);
        size_t i = node(s, word[1]), j = node(s, word[2]), k, l, row;
        double value = atof(word[n - 1]);
        switch (line[0]) {
        case 'r':
                assert_int_equal(n, 4);
                admit(s, i, j, 1 / value);
                break;
        case 'c':
                assert_int_equal(n, 4);
                admit(s, i, j, CMPLX(0, w * value));
                break;
        case 'l':
                assert_int_equal(n, 4);
                row = branch(s, i, j); /* its current is an unknown: at 1 kHz its admittance would drown the rest */
                A(row, row) -= CMPLX(0, w * value);
                break;
        case 'g':
                assert_int_equal(n, 6);
                k = node(s, word[3]);
                l = node(s, word[4]);
                A(i, k) += value;
                A(i, l) -= value;
                A(j, k) -= value;
                A(j, l) += value;
                break;
        case 'e':
                assert_int_equal(n, 6);
                k = node(s, word[3]);
                l = node(s, word[4]);
                row = branch(s, i, j);
                A(row, k) -= value;
                A(row, l) += value;
                break;
        case 'v':
                assert_int_equal(n, 4);
                snprintf(s->source[s->source_n], sizeof s->source[0], "%.19s", word[0]);
                s->source_row[s->source_n++] = branch(s, i, j);
                break;
        case 'f':
                assert_int_equal(n, 5);
                row = current_of(s, word[3]);
                A(i, row) += value;
                A(j, row) -= value;
                break;
        case 'h':
                assert_int_equal(n, 5);
                k = current_of(s, word[3]);
                row = branch(s, i, j);
                A(row, k) -= value;
                break;
        default:
                fail_msg("\"%s\" is not of the portable subset", line);
        }
}
/* S of the subcircuit at hz, `ports` ports in z_ohm. */
static void s_of_text(const char *text, size_t ports, double z_ohm, double hz, double complex *ret)
{
        static struct solver solver, *s = &solver;
        memset(s, 0, sizeof *s);
        s->n = 1;
        s->a = calloc(NODES * NODES, sizeof *s->a);
        char pin[4][4] = {"p1", "p2", "p3", "p4"};
        for (size_t i = 0; i < ports; i++)
                node(s, pin[i]);
        bool inside = false;
        for (int pass = 0; pass < 2; pass++) /* sources first: f and h name them */
                for (const char *line = text; *line;) {
                        char copy[200];
                        size_t n = strcspn(line, "\n");
                        snprintf(copy, sizeof copy, "%.*s", (int)n, line);
                        line += n + (line[n] == '\n');
                        if (strncmp(copy, ".subckt", 7) == 0)
                                inside = true;
                        else if (strncmp(copy, ".ends", 5) == 0)
                                inside = false;
                        else if (inside && copy[0] != '*' && (copy[0] == 'v') == (pass == 0))
                                element(s, copy, RF_TWO_PI * hz);
                }
        for (size_t i = 1; i <= ports; i++)
                A(i, i) += 1 / z_ohm;
        size_t n = s->n - 1;
        double complex *m = calloc(n * (n + ports), sizeof *m);
        for (size_t i = 0; i < n; i++) {
                for (size_t j = 0; j < n; j++)
                        m[i * (n + ports) + j] = A(i + 1, j + 1);
                for (size_t p = 0; p < ports; p++) /* a source of 1 V behind z at port p */
                        m[i * (n + ports) + n + p] = i == p ? 1 / z_ohm : 0;
        }
        size_t ld = n + ports;
        for (size_t k = 0; k < n; k++) {
                size_t p = k;
                for (size_t i = k + 1; i < n; i++)
                        if (cabs(m[i * ld + k]) > cabs(m[p * ld + k]))
                                p = i;
                assert_true(cabs(m[p * ld + k]) > 0);
                for (size_t j = k; j < ld && p != k; j++) {
                        double complex t = m[k * ld + j];
                        m[k * ld + j] = m[p * ld + j];
                        m[p * ld + j] = t;
                }
                for (size_t i = k + 1; i < n; i++) {
                        double complex f = m[i * ld + k] / m[k * ld + k];
                        for (size_t j = k; j < ld && f != 0; j++)
                                m[i * ld + j] -= f * m[k * ld + j];
                }
        }
        for (size_t p = 0; p < ports; p++) {
                double complex *x = s->a; /* done with */
                for (size_t k = n; k-- > 0;) {
                        double complex sum = m[k * ld + n + p];
                        for (size_t j = k + 1; j < n; j++)
                                sum -= m[k * ld + j] * x[j];
                        x[k] = sum / m[k * ld + k];
                }
                for (size_t i = 0; i < ports; i++)
                        ret[i * ports + p] = 2 * x[i] - (i == p);
        }
        free(m);
        free(s->a);
}

static uint64_t seed;
static double draw(double lo, double hi)
{
        seed += 0x9e3779b97f4a7c15u; /* splitmix64 */
        uint64_t z = seed;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
        return lo + (hi - lo) * (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

/* A model with random poles and residues; every third pair has Re r = 0 or nearly so, where R, L, C elements would cancel. */
static struct model random_model(enum model_kind kind, size_t ports, bool reciprocal)
{
        struct model m = {.kind = kind, .ports = ports, .z_ohm = 50, .reciprocal = reciprocal, .hz_lo = 70e3, .hz_hi = 220e9};
        struct rational *f = &m.fit;
        f->element_n = ports * ports;
        f->pole_n = 5;
        double scale = kind == MODEL_Y ? 0.02 : 0.3;
        for (size_t i = 0; i < 5; i++) {
                double w = RF_TWO_PI * pow(10, draw(7, 11.3));
                f->pole[i] = i < 2 ? -w : w * CMPLX(-draw(0.05, 0.4), 1);
                for (size_t q = 0; q < f->element_n; q++) {
                        double re = draw(-1, 1), im = i < 2 ? 0 : draw(-1, 1);
                        if (i == 3)
                                re = q % 2 ? 0 : 1e-9;
                        f->residue[q][i] = cabs(f->pole[i]) * scale * CMPLX(re, im);
                }
        }
        for (size_t q = 0; q < f->element_n; q++) {
                f->d[q] = scale * draw(-0.3, 0.3) * (q ? 1 : 0); /* one of them is 0 */
                f->e[q] = kind == MODEL_Y ? draw(-3e-15, 3e-15) : 0;
        }
        for (size_t i = 0; i < ports && reciprocal; i++)
                for (size_t j = 0; j < i; j++) {
                        memcpy(f->residue[i * ports + j], f->residue[j * ports + i], sizeof f->residue[0]);
                        f->d[i * ports + j] = f->d[j * ports + i];
                        f->e[i * ports + j] = f->e[j * ports + i];
                }
        return m;
}

static void text_means_the_model(void **state)
{
        (void)state;
        for (int trial = 0; trial < 24; trial++) {
                seed = 10 + (uint64_t)trial;
                size_t ports = 1 + (size_t)trial % 4;
                struct model m = random_model(trial % 8 < 4 ? MODEL_S : MODEL_Y, ports, trial % 3 != 0);
                struct text t;
                struct tp_error err = {0};
                text_init(&t, 0);
                if (netlist_write_model(&m, NULL, NULL, &(struct netlist_about){"Dut_1", NULL}, &t, &err))
                        fail_msg("%s", err.text);
                static const double at[] = {1e3, 70e3, 33e6, 1e9, 27e9, 110e9, 220e9, 1e12};
                for (size_t k = 0; k < sizeof at / sizeof at[0]; k++) {
                        double complex s[16], is[16];
                        model_s_at(&m, at[k], s);
                        s_of_text(text_of(&t), ports, 50, at[k], is);
                        for (size_t q = 0; q < ports * ports; q++) /* 1e-9: branches may cancel to six digits by design */
                                if (!(cabs(s[q] - is[q]) <= 1e-9 * fmax(1, cabs(s[q]))))
                                        fail_msg("trial %d, %s, %zu ports, element %zu at %g Hz: %.12g%+.12gj, model %.12g%+.12gj", trial,
                                                 model_kind_words[m.kind], ports, q, at[k], creal(is[q]), cimag(is[q]), creal(s[q]),
                                                 cimag(s[q]));
                }
                text_done(&t);
        }
}

/* Written for people and for any simulator: lower-case ASCII, what, from which data, the error, the band. */
static void text_says_what_it_is(void **state)
{
        (void)state;
        seed = 3;
        struct model m = random_model(MODEL_S, 2, true);
        struct model_error e = {
                .rms = 1.5e-4, .worst = 7e-4, .worst_hz = 2e11, .band_n = 1, .band = {{.hz_lo = 70e3, .hz_hi = 1e8, .n = 3, .rms = 1e-5}}};
        struct passivity p = {.passive = true, .worst = 0.99, .worst_hz = 1e9};
        struct text t;
        text_init(&t, 0);
        assert_int_equal(netlist_write_model(&m, &e, &p, &(struct netlist_about){"L7", "Run 12, die 4,-3\nplane: d\xc3\xa9vice"}, &t, NULL),
                         CODE_OK);
        const char *text = text_of(&t);
        static const char *const said[] = {"* l7: rational model of s, 2 ports, order 8",
                                           "* run 12, die 4,-3\n",
                                           "* plane: d??vice\n",
                                           "rms 1.500e-04, largest 7.000e-04 at 2e+11 hz",
                                           "* valid from 70000 to 2.2e+11 hz",
                                           "passive at all frequencies",
                                           "\n.subckt l7 p1 p2 ref\n",
                                           "\n.ends\n"};
        for (size_t i = 0; i < sizeof said / sizeof said[0]; i++)
                if (!strstr(text, said[i]))
                        fail_msg("\"%s\" is missing", said[i]);
        for (const char *c = text; *c; c++)
                assert_true((unsigned char)*c < 127 && !isupper((unsigned char)*c) && (*c >= ' ' || *c == '\n'));
        text_done(&t);
}

static void bad_models_are_refused(void **state)
{
        (void)state;
        seed = 4;
        struct text t;
        struct tp_error err;
        text_init(&t, 0);
#define REFUSED(change, title, word)                                                                                                   \
        do {                                                                                                                           \
                struct model m = random_model(MODEL_S, 2, true);                                                                       \
                change;                                                                                                                \
                memset(&err, 0, sizeof err);                                                                                           \
                assert_int_equal(netlist_write_model(&m, NULL, NULL, &(struct netlist_about){title, NULL}, &t, &err), CODE_BAD_INPUT); \
                if (!strstr(err.text, word))                                                                                           \
                        fail_msg("\"%s\" does not say \"%s\"", err.text, word);                                                        \
        } while (0)
        REFUSED((void)m, NULL, "cannot name a subcircuit");
        REFUSED((void)m, "", "cannot name a subcircuit");
        REFUSED((void)m, "7up", "cannot name a subcircuit");
        REFUSED((void)m, "a b", "cannot name a subcircuit");
        REFUSED((void)m, "x\n.include /etc/passwd", "cannot name a subcircuit");
        REFUSED((void)m, "a23456789012345678901234567890123456789012", "cannot name a subcircuit");
        REFUSED(m.fit.pole[1] = 5, "x", "pole 2 of the model is not stable");
        REFUSED(m.fit.residue[2][3] = NAN, "x", "residue 4 of the model is not a number");
        REFUSED(m.fit.d[1] = INFINITY, "x", "constant term of element 2");
        REFUSED(m.ports = 5, "x", "no model of 1 to 4 ports");
        struct circuit c = {.kind = CIRCUIT_RESISTOR,
                            .ports = 2,
                            .z_ohm = 50,
                            .hz_hi = 1e9,
                            .element_n = 1,
                            .element = {{.name = "r", .unit = "ohm", .value = NAN}}};
        assert_int_equal(netlist_write_circuit(&c, &(struct netlist_about){"x", NULL}, &t, NULL, &err), CODE_BAD_INPUT);
        assert_non_null(strstr(err.text, "the r of this circuit is nan ohm"));
        c.kind = CIRCUIT_UNKNOWN;
        assert_int_equal(netlist_write_circuit(&c, &(struct netlist_about){"x", NULL}, &t, NULL, &err), CODE_BAD_INPUT);
        text_done(&t);
}

/* Every kind of circuit, with and without what can be absent. */
static void circuits(void **state)
{
        (void)state;
        static const struct {
                const char *name, *unit;
                double value;
        } sets[][10] = {
                {{"ls", "H", 1e-9},
                 {"rs", "ohm", 4},
                 {"cp", "F", 6e-15},
                 {"cox1", "F", 40e-15},
                 {"rsub1", "ohm", 250},
                 {"csub1", "F", 15e-15},
                 {"cox2", "F", 36e-15},
                 {"rsub2", "ohm", 300},
                 {"csub2", "F", 13e-15}},
                {{"ls", "H", 1e-9},
                 {"rs", "ohm", 4},
                 {"cp", "F", 0},
                 {"cox1", "F", 40e-15},
                 {"rsub1", "ohm", 250},
                 {"csub1", "F", 0},
                 {"cox2", "F", 36e-15},
                 {"rsub2", "ohm", 0},
                 {"csub2", "F", 0},
                 {"f_skin", "Hz", 5e9}},
                {{"c", "F", 1e-13}, {"rs", "ohm", 0.8}, {"ls", "H", 12e-12}, {"cox1", "F", 8e-15}, {"cox2", "F", 5e-15}},
                {{"c", "F", 1e-13},
                 {"rs", "ohm", 0},
                 {"ls", "H", 0},
                 {"cox1", "F", 8e-15},
                 {"rsub1", "ohm", 100},
                 {"cox2", "F", 0},
                 {"rsub2", "ohm", 0}},
                {{"r", "ohm", 50}, {"l", "H", 20e-12}, {"c", "F", 1e-15}, {"cg1", "F", 3e-15}, {"cg2", "F", 2e-15}, {"f_skin", "Hz", 30e9}},
                {{"r", "ohm", 50}, {"l", "H", 0}, {"c", "F", 0}, {"cg1", "F", 0}, {"cg2", "F", 2e-15}},
                {{"r", "ohm/m", 3000}, {"l", "H/m", 4.2e-7}, {"g_tan", "1", 0.002}, {"c", "F/m", 1.5e-10}, {"f_skin", "Hz", 5e9}},
                {{"r", "ohm/m", 300}, {"l", "H/m", 4.2e-7}, {"g_tan", "1", 0}, {"c", "F/m", 1.5e-10}, {"f_skin", "Hz", INFINITY}},
        };
        static const enum circuit_kind kinds[] = {CIRCUIT_INDUCTOR, CIRCUIT_INDUCTOR, CIRCUIT_CAPACITOR, CIRCUIT_CAPACITOR,
                                                  CIRCUIT_RESISTOR, CIRCUIT_RESISTOR, CIRCUIT_LINE,      CIRCUIT_LINE};
        for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++)
                for (size_t ports = 1; ports <= 2; ports++) {
                        struct circuit c = {.kind = kinds[k], .ports = ports, .z_ohm = 50, .length_m = 1e-4, .hz_lo = 1e6, .hz_hi = 110e9};
                        if (ports == 1 && kinds[k] == CIRCUIT_LINE)
                                continue;
                        for (size_t i = 0; i < 10 && sets[k][i].name; i++)
                                if (ports == 2 || sets[k][i].name[strlen(sets[k][i].name) - 1] != '2')
                                        c.element[c.element_n++] = (struct circuit_element){
                                                .name = sets[k][i].name, .unit = sets[k][i].unit, .value = sets[k][i].value};
                        for (int floating = 0; floating < (ports == 1 && kinds[k] == CIRCUIT_INDUCTOR ? 2 : 1); floating++) {
                                struct text t;
                                struct netlist_lumping l;
                                struct tp_error err = {0};
                                c.differential = floating;
                                text_init(&t, 0);
                                if (netlist_write_circuit(&c, &(struct netlist_about){"x", NULL}, &t, &l, &err))
                                        fail_msg("%s", err.text);
                                assert_true(l.worst < 5e-3);
                                for (double hz = 1e6; hz <= 110e9; hz *= 3.1) {
                                        double complex s[4], is[4];
                                        circuit_s_at(&c, hz, s);
                                        s_of_text(text_of(&t), ports, 50, hz, is);
                                        for (size_t q = 0; q < ports * ports; q++)
                                                if (!(cabs(s[q] - is[q]) <= 1.05 * l.worst + 1e-10))
                                                        fail_msg("set %zu, %zu ports: element %zu is off by %.3g at %g Hz, lumping %.3g", k,
                                                                 ports, q, cabs(s[q] - is[q]), hz, l.worst);
                                }
                                text_done(&t);
                        }
                }
}

int main(void)
{
        const struct CMUnitTest tests[] = {cmocka_unit_test(text_means_the_model), cmocka_unit_test(text_says_what_it_is),
                                           cmocka_unit_test(bad_models_are_refused), cmocka_unit_test(circuits)};
        return cmocka_run_group_tests(tests, NULL, NULL);
}
