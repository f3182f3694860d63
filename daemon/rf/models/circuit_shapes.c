/* circuit_shapes.c: the circuits themselves: elements in their order, Y at a frequency, start values from data (circuit.h). */
#include "rf/models/circuit_own.h"
#include "rf/numbers/robust.h"
#include <math.h>
#include <string.h>

const char *const circuit_words[CIRCUIT_COUNT + 1] = {"unknown", "inductor", "capacitor", "resistor", "line", NULL};

static const struct shape shapes[CIRCUIT_COUNT] = {
        [CIRCUIT_INDUCTOR] = {10,
                              {{"ls", "H", 0},
                               {"rs", "ohm", 0},
                               {"cp", "F", 5},
                               {"cox1", "F", 6},
                               {"rsub1", "ohm", 3},
                               {"csub1", "F", 1},
                               {"cox2", "F", 6},
                               {"rsub2", "ohm", 3},
                               {"csub2", "F", 1},
                               {"f_skin", "Hz", 4}}},
        [CIRCUIT_CAPACITOR] = {7,
                               {{"c", "F", 0},
                                {"rs", "ohm", 5},
                                {"ls", "H", 4},
                                {"cox1", "F", 6},
                                {"rsub1", "ohm", 1},
                                {"cox2", "F", 6},
                                {"rsub2", "ohm", 1}}},
        [CIRCUIT_RESISTOR] = {6, {{"r", "ohm", 0}, {"l", "H", 2}, {"c", "F", 1}, {"cg1", "F", 4}, {"cg2", "F", 4}, {"f_skin", "Hz", 3}}},
        [CIRCUIT_LINE] = {5, {{"r", "ohm/m", 3}, {"l", "H/m", 0}, {"g_tan", "1", 1}, {"c", "F/m", 0}, {"f_skin", "Hz", 2}}},
};
const struct shape *circuit_shape(enum circuit_kind kind) { return kind > CIRCUIT_UNKNOWN && kind < CIRCUIT_COUNT ? &shapes[kind] : NULL; }

#define J CMPLX(0, 1)
/* Resistance with skin effect; f_skin infinite: none.  Far above f_skin: resistance = reactance = r sqrt(f / (2 f_skin)). */
static double complex skin(double r, double hz, double f_skin) { return isfinite(f_skin) ? r * csqrt(1 + J * (hz / f_skin)) : r; }
/* A capacitance to ground through a resistance, in parallel with a capacitance; 0 of either: not there. */
static double complex shunt(double w, double cox, double rsub, double csub)
{
        if (!(cox > 0))
                return 0;
        if (!(rsub > 0))
                return J * (w * cox);
        double complex below = 1 / rsub + J * (w * csub), above = J * (w * cox);
        return above * below / (above + below);
}

static void two_port(enum circuit_kind kind, const double *v, double length_m, double hz, double complex y[4])
{
        double w = RF_TWO_PI * hz;
        double complex series = 0, left = 0, right = 0;
        switch (kind) {
        case CIRCUIT_INDUCTOR:
                series = 1 / (skin(v[IND_RS], hz, v[IND_SKIN]) + J * (w * v[IND_LS])) + J * (w * v[IND_CP]);
                left = shunt(w, v[IND_COX1], v[IND_RSUB1], v[IND_CSUB1]);
                right = shunt(w, v[IND_COX2], v[IND_RSUB2], v[IND_CSUB2]);
                break;
        case CIRCUIT_CAPACITOR:
                series = 1 / (v[CAP_RS] + J * (w * v[CAP_LS] - 1 / (w * v[CAP_C])));
                left = shunt(w, v[CAP_COX1], v[CAP_RSUB1], 0);
                right = shunt(w, v[CAP_COX2], v[CAP_RSUB2], 0);
                break;
        case CIRCUIT_RESISTOR:
                series = 1 / (skin(v[RES_R], hz, v[RES_SKIN]) + J * (w * v[RES_L])) + J * (w * v[RES_C]);
                left = J * (w * v[RES_CG1]);
                right = J * (w * v[RES_CG2]);
                break;
        case CIRCUIT_LINE: {
                double complex zs = skin(v[LINE_R], hz, v[LINE_SKIN]) + J * (w * v[LINE_L]), yp = w * v[LINE_C] * (v[LINE_G] + J);
                double complex gl = csqrt(zs * yp) * length_m, zc = csqrt(zs / yp), sh = csinh(gl);
                series = 1 / (zc * sh);
                left = right = (ccosh(gl) - 1) / (zc * sh);
                break;
        }
        case CIRCUIT_UNKNOWN:
        case CIRCUIT_COUNT:
                break;
        }
        y[0] = left + series;
        y[1] = y[2] = -series;
        y[3] = right + series;
}

void circuit_y(enum circuit_kind kind, const double *v, size_t ports, bool differential, double length_m, double hz, double complex *ret)
{
        double complex y[4];
        two_port(kind, v, length_m, hz, y);
        if (ports == 2)
                memcpy(ret, y, sizeof y);
        else if (!differential)
                ret[0] = y[0];
        else
                ret[0] = -y[1] + (y[0] + y[1]) / 2; /* two like shunts in series across the port */
}

/* A line's S straight from gamma and Zc: Y does not exist where it is a whole number of half waves long. */
void circuit_line_s(const double *v, size_t ports, double length_m, double hz, double z_ohm, double complex *s)
{
        double w = RF_TWO_PI * hz;
        double complex zs = skin(v[LINE_R], hz, v[LINE_SKIN]) + J * (w * v[LINE_L]), yp = w * v[LINE_C] * (v[LINE_G] + J);
        double complex gl = csqrt(zs * yp) * length_m, zc = csqrt(zs / yp), e = cexp(-gl), r = (zc - z_ohm) / (zc + z_ohm),
                       d = 1 - r * r * e * e;
        double complex s11 = r * (1 - e * e) / d, s21 = e * (1 - r * r) / d;
        if (ports == 2) {
                s[0] = s[3] = s11;
                s[1] = s[2] = s21;
        } else {
                s[0] = s11 - s21 * s21 / (1 + s11); /* port 2 shorted */
        }
}

/* ---- start values ------------------------------------------------------------------------------------------------------------------- */
static double median(size_t n, double *x) { return rf_quantile(rf_sort(n, x), x, 0.5); } /* sorts */
#define SAMPLES 64
/* Median of f over at most 64 points of first … last; NaN and values that are not positive are left out, and so is what moves S by less
   than 2 % (if there is anything else): at 70 kHz a femtofarad is noise. */
typedef double quantity(const struct seen *s, size_t i, double known, double *ret_moves);
static double middle(const struct seen *s, size_t first, size_t last, quantity *f, double known)
{
        static const double levels[3] = {0.02, 0.001, 0};
        for (int level = 0; level < 3; level++) {
                double x[SAMPLES];
                size_t n = 0, count = last >= first ? last - first + 1 : 0, step = count / SAMPLES + 1;
                for (size_t i = first; i <= last && n < SAMPLES; i += step) {
                        double moves, v = f(s, i, known, &moves);
                        if (v > 0 && isfinite(v) && moves >= levels[level])
                                x[n++] = v;
                }
                if (n > count / step / 8)
                        return median(n, x);
        }
        return NAN;
}
static double either(double x, double else_x) { return x > 0 && isfinite(x) ? x : else_x; }

static double w_at(const struct seen *s, size_t i) { return RF_TWO_PI * s->data->axis->hz[i]; }
static void branches(const struct seen *s, size_t i, double complex *series, double complex *left, double complex *right)
{
        double complex y[4];
        seen_y(s, i, y);
        if (s->data->ports == 2) {
                *series = -(y[1] + y[2]) / 2;
                *left = y[0] + y[1];
                *right = y[3] + y[2];
        } else { /* all in one: the shunt is guessed as nothing */
                *series = y[0];
                *left = *right = 0;
        }
}
static double complex series_at(const struct seen *s, size_t i)
{
        double complex a, b, c;
        branches(s, i, &a, &b, &c);
        return a;
}
static double complex shunt_at(const struct seen *s, size_t i, bool second)
{
        double complex a, b, c;
        branches(s, i, &a, &b, &c);
        return second ? c : b;
}
static double q_r(const struct seen *s, size_t i, double known, double *moves)
{
        (void)known;
        *moves = 1;
        return creal(1 / series_at(s, i));
}
static double q_l(const struct seen *s, size_t i, double known, double *moves)
{
        (void)known;
        double x = cimag(1 / series_at(s, i));
        *moves = x / s->data->z_ohm;
        return x / w_at(s, i);
}
static double q_c(const struct seen *s, size_t i, double known, double *moves)
{
        (void)known;
        double b = cimag(series_at(s, i));
        *moves = b * s->data->z_ohm;
        return b / w_at(s, i);
}
static double q_shunt_c(const struct seen *s, size_t i, double known, double *moves)
{
        double b = cimag(shunt_at(s, i, known > 0));
        *moves = b * s->data->z_ohm;
        return b / w_at(s, i);
}
/* What is below the oxide: Y' = 1 / (1/Ysh - 1/(jw cox)); known: cox, negative for the second port. */
static double complex below(const struct seen *s, size_t i, double known)
{
        return 1 / (1 / shunt_at(s, i, known < 0) - 1 / (J * w_at(s, i) * fabs(known)));
}
static double q_rsub(const struct seen *s, size_t i, double known, double *moves)
{
        *moves = 1;
        return 1 / creal(below(s, i, known));
}
static double q_csub(const struct seen *s, size_t i, double known, double *moves)
{
        *moves = 1;
        return cimag(below(s, i, known)) / w_at(s, i);
}

/* Resonance of the series branch: where |Y| is smallest (parallel) or largest (of_z, series), if it is not at the upper end; n: none. */
static size_t resonance(const struct seen *s, bool of_z)
{
        size_t n = s->data->axis->n, at = 0;
        double best = 0;
        for (size_t i = 0; i < n; i++) {
                double size = cabs(series_at(s, i)), x = of_z ? size : 1 / size;
                if (x > best) {
                        best = x;
                        at = i;
                }
        }
        return at > n / 20 && at + 1 < n ? at : n;
}

/* Im Ysh / w falls from cox: the largest median of a window of a sixteenth of the sweep where Ysh is seen at all. */
static double largest_shunt(const struct seen *s, int side)
{
        size_t n = s->data->axis->n, span = n / 16 + 1;
        double most = NAN;
        for (size_t i = 0; i < n; i += span) {
                double moves, c = middle(s, i, i + span <= n ? i + span - 1 : n - 1, q_shunt_c, side);
                q_shunt_c(s, i + span / 2 < n ? i + span / 2 : n - 1, side, &moves);
                if (moves >= (n < 20 ? 0 : 0.02) && !(c <= most))
                        most = c;
        }
        return most;
}

static void start_inductor(const struct seen *s, double *v)
{
        size_t n = s->data->axis->n, top = resonance(s, false), low = 0;
        size_t usable = top > 3 ? top - 1 : n - 1;
        /* the reactance must be seen beside the resistance */
        while (low + 1 < usable) {
                double complex z = 1 / series_at(s, low);
                if (cimag(z) > 0.2 * cabs(z))
                        break;
                low++;
        }
        v[IND_RS] = either(middle(s, 0, usable / 8, q_r, 0), 1);
        v[IND_LS] = either(middle(s, low, low + (usable - low) / 3, q_l, 0), 1e-9);
        if (top < n) {
                double w = w_at(s, top), x = v[IND_RS] / v[IND_LS];
                v[IND_CP] = 1 / (v[IND_LS] * (w * w + x * x));
        } else {
                double w = w_at(s, n - 1), x = w * v[IND_LS];
                v[IND_CP] = either(cimag(series_at(s, n - 1)) / w + x / (w * (v[IND_RS] * v[IND_RS] + x * x)), 1e-3 / (w * x));
        }
        for (int side = 0; side < 2; side++) {
                double *at = v + (side ? IND_COX2 : IND_COX1), c = s->data->ports == 2 ? largest_shunt(s, side) : NAN;
                at[0] = either(c, 5e-14);
                double known = side ? -at[0] : at[0];
                at[1] = either(s->data->ports == 2 ? middle(s, n / 2, n - 1, q_rsub, known) : NAN, 300);
                at[2] = either(s->data->ports == 2 ? middle(s, n / 2, n - 1, q_csub, known) : NAN, at[0] / 3);
        }
        v[IND_SKIN] = s->data->axis->hz[n - 1] / 10;
}

static void start_capacitor(const struct seen *s, double *v)
{
        size_t n = s->data->axis->n, top = resonance(s, true), usable = top > 3 && top < n ? top - 1 : n - 1;
        v[CAP_C] = either(middle(s, usable / 4, usable / 2, q_c, 0), 1e-13);
        size_t at = top < n ? top : n - 1;
        double w = w_at(s, at);
        v[CAP_LS] = either(top < n ? 1 / (w * w * v[CAP_C]) : (cimag(1 / series_at(s, at)) + 1 / (w * v[CAP_C])) / w, 1e-12);
        v[CAP_RS] = either(middle(s, n / 2, n - 1, q_r, 0), 1);
        for (int side = 0; side < 2; side++) {
                double *to = v + (side ? CAP_COX2 : CAP_COX1);
                to[0] = either(s->data->ports == 2 ? middle(s, n / 4, n - 1, q_shunt_c, side) : NAN, v[CAP_C] / 20);
                to[1] = 50;
        }
}

static void start_resistor(const struct seen *s, double *v)
{
        size_t n = s->data->axis->n;
        v[RES_R] = either(middle(s, 0, n / 8, q_r, 0), 50);
        double complex z = 1 / series_at(s, n / 2);
        double tau = cimag(z) / (w_at(s, n / 2) * v[RES_R]), size = either(fabs(tau), 1e-14); /* l/r - r c */
        v[RES_L] = v[RES_R] * size * (tau > 0 ? 1.3 : 0.3);
        v[RES_C] = size / v[RES_R] * (tau > 0 ? 0.3 : 1.3);
        v[RES_CG1] = either(s->data->ports == 2 ? middle(s, n / 4, n - 1, q_shunt_c, 0) : NAN, 1e-15);
        v[RES_CG2] = either(s->data->ports == 2 ? middle(s, n / 4, n - 1, q_shunt_c, 1) : NAN, 1e-15);
        v[RES_SKIN] = s->data->axis->hz[n - 1] / 4;
}

static void start_line(const struct seen *s, double length_m, double *v)
{
        size_t n = s->data->axis->n, count = 0, step = n / SAMPLES + 1;
        double l[SAMPLES], c[SAMPLES], r[SAMPLES], turns = 0, last = 0, top_r = 0, top_hz = 0;
        for (size_t i = 0; i < n; i++) {
                double complex m[4];
                seen_s(s, i, m);
                double z = s->data->z_ohm;
                double complex det = m[0] * m[3] - m[1] * m[2], a = (1 + m[0] - m[3] - det + 1 - m[0] + m[3] - det) / (4 * m[2]);
                double complex b = z * (1 + m[0] + m[3] + det) / (2 * m[2]), k = (1 - m[0] - m[3] + det) / (2 * m[2] * z);
                double complex zc = csqrt(b / k), e;
                if (creal(zc) < 0)
                        zc = -zc;
                e = a + zc * k;
                double phase = carg(e);
                while (phase + turns < last - RF_PI) /* unwrapped from the low end */
                        turns += RF_TWO_PI;
                last = phase + turns;
                double complex gamma = CMPLX(log(cabs(e)), last) / length_m, sn = csinh(gamma * length_m);
                if (i % step || !(cabs(sn) > 0.3) || count == SAMPLES)
                        continue;
                double w = w_at(s, i);
                l[count] = cimag(gamma * zc) / w;
                c[count] = cimag(gamma / zc) / w;
                top_r = creal(gamma * zc);
                top_hz = s->data->axis->hz[i];
                r[count++] = top_r;
        }
        size_t few = count / 8 + 1 < count ? count / 8 + 1 : count;
        v[LINE_R] = either(median(few, r), 1000);
        v[LINE_L] = either(median(count, l), 4e-7);
        v[LINE_C] = either(median(count, c), 1.5e-10);
        double ratio = top_r / v[LINE_R];
        v[LINE_SKIN] = ratio > 1.2 ? top_hz / (2 * ratio * ratio) : s->data->axis->hz[n - 1];
        v[LINE_G] = 1e-3;
}

void circuit_start(enum circuit_kind kind, const struct seen *s, double length_m, double *v)
{
        switch (kind) {
        case CIRCUIT_INDUCTOR:
                start_inductor(s, v);
                break;
        case CIRCUIT_CAPACITOR:
                start_capacitor(s, v);
                break;
        case CIRCUIT_RESISTOR:
                start_resistor(s, v);
                break;
        case CIRCUIT_LINE:
                start_line(s, length_m, v);
                break;
        case CIRCUIT_UNKNOWN:
        case CIRCUIT_COUNT:
                break;
        }
}
