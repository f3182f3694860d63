/* standards.c: reflections of calibration standards from their definitions (standards.h). */
#include "rf/calibrate/standards.h"
#include "rf/network/convert.h"
#include <math.h>

/* A polynomial in f (not w): the trade's convention. */
static double poly(const double c[4], double hz) { return c[0] + hz * (c[1] + hz * (c[2] + hz * c[3])); }

/* gamma*length and Zc of the offset: the loss brings its internal inductance with it. */
static double complex offset_line(const struct standard_definition *def, double hz, double complex *ret_gl)
{
        double z_off = def->offset_z_ohm > 0 ? def->offset_z_ohm : 50;
        double skin = def->offset_loss_ohm_s * sqrt(hz / 1e9);
        double al = def->offset_delay_s * skin / (2 * z_off);
        *ret_gl = CMPLX(al, RF_TWO_PI * hz * def->offset_delay_s + al);
        return z_off + CMPLX(1, -1) * (skin / (2 * RF_TWO_PI * hz));
}

static double warming(const struct standard_definition *def, double t_c)
{
        return def->r_per_k == 0 ? 1 : 1 + def->r_per_k * (t_c - def->t_ref_c);
}

static double load_ohm(const struct standard_definition *def, double t_c) { return def->r_ohm * warming(def, t_c); }

static bool has_definition(enum rf_standard_kind kind)
{
        return kind == RF_OPEN || kind == RF_SHORT || kind == RF_LOAD || kind == RF_THRU || kind == RF_LINE;
}

enum code rf_standard_check(const struct standard_definition *def, double t_c, struct tp_error *err)
{
        const char *kind = def->kind > RF_STANDARD_UNKNOWN && def->kind < RF_STANDARD_COUNT ? rf_standard_words[def->kind] : "standard";
        if (!has_definition(def->kind))
                return tp_fail(err, CODE_BAD_INPUT, "a standard of kind %s (%d) has no definition; use open, short, load, thru or line",
                               kind, (int)def->kind);
        const struct {
                const char *say;
                const double *at;
                size_t n;
        } rows[] = {{"C", def->c_f, 4},
                    {"L", def->l_h, 4},
                    {"R", &def->r_ohm, 1},
                    {"R's change per kelvin", &def->r_per_k, 1},
                    {"R's temperature", &def->t_ref_c, 1},
                    {"the offset's delay", &def->offset_delay_s, 1},
                    {"the offset's loss", &def->offset_loss_ohm_s, 1},
                    {"the offset's impedance", &def->offset_z_ohm, 1}};
        for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++)
                for (size_t j = 0; j < rows[k].n; j++)
                        if (!isfinite(rows[k].at[j]))
                                return tp_fail(err, CODE_BAD_INPUT, "%s%s of the %s is %g; give a finite number", rows[k].say,
                                               rows[k].n == 1 ? ""
                                               : j == 0       ? "0"
                                               : j == 1       ? "1"
                                               : j == 2       ? "2"
                                                              : "3",
                                               kind, rows[k].at[j]);
        if (!(def->offset_z_ohm >= 0) || !(def->offset_loss_ohm_s >= 0))
                return tp_fail(err, CODE_BAD_INPUT, "the %s's offset has %.6g ohm and a loss of %.6g ohm/s; neither can be negative", kind,
                               def->offset_z_ohm, def->offset_loss_ohm_s);
        if (def->kind == RF_LOAD && !(def->r_ohm > 0 && load_ohm(def, t_c) > 0))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the load has %.6g ohm at %.4g degrees Celsius, %.6g at %.4g; a load's resistance lies above 0", def->r_ohm,
                               def->t_ref_c, load_ohm(def, t_c), t_c);
        if (def->kind == RF_LOAD && !(def->r_tolerance_ohm >= 0 && def->r_tolerance_ohm < def->r_ohm))
                return tp_fail(err, CODE_BAD_INPUT,
                               "the load's r_tolerance_ohm is %.6g, its r_ohm %.6g; a range that lets a short pass says nothing",
                               def->r_tolerance_ohm, def->r_ohm);
        return CODE_OK;
}

double complex rf_standard_reflection(const struct standard_definition *def, double t_c, double hz)
{
        double w = RF_TWO_PI * hz;
        double complex gamma; /* of the bare end in 50 ohm: finite for open and short alike, where Z and Y are not */
        switch (def->kind) {
        case RF_OPEN: {
                double complex y = CMPLX(0, 50 * w * poly(def->c_f, hz));
                gamma = (1 - y) / (1 + y);
                break;
        }
        case RF_SHORT: {
                double complex z = CMPLX(0, w * poly(def->l_h, hz) / 50);
                gamma = (z - 1) / (z + 1);
                break;
        }
        case RF_LOAD: {
                double complex z = CMPLX(load_ohm(def, t_c), w * poly(def->l_h, hz)) / 50, zy = z * CMPLX(0, 50 * w * poly(def->c_f, hz));
                gamma = (z - 1 - zy) / (z + 1 + zy); /* Z/(1 + ZY) without dividing: right for R = 0 too */
                break;
        }
        case RF_STANDARD_UNKNOWN:
        case RF_THRU:
        case RF_LINE:
        case RF_REFLECT:
        case RF_KNOWN:
        case RF_STANDARD_COUNT:
        default:
                return CMPLX(NAN, NAN);
        }
        if (def->offset_delay_s == 0)
                return gamma;
        double complex gl, zc = offset_line(def, hz, &gl);
        gamma = rf_renormalise_reflection(gamma, 50, zc) * cexp(-2 * gl);
        return rf_renormalise_reflection(gamma, zc, 50);
}

struct m2 rf_line(double complex gamma_m, double complex zc_ohm, double length_m, double complex z_ref)
{
        double complex e = cexp(-gamma_m * length_m);
        return rf_renormalise_equal(m2_of(0, e, e, 0), zc_ohm, z_ref);
}

struct m2 rf_standard_thru(const struct standard_definition *def, double hz)
{
        double complex gl, zc = offset_line(def, hz, &gl);
        return rf_line(gl, zc, 1, 50);
}

enum code rf_standard_ideal(const struct standard_definition *port1, const struct standard_definition *port2, double t_c, struct net2 *ret,
                            struct tp_error *err)
{
        if (ret->axis->hz[0] <= 0)
                return tp_fail(err, CODE_BAD_INPUT, "a standard's definition needs frequencies above 0; the list begins at %.9g Hz",
                               ret->axis->hz[0]);
        bool two_port = port1->kind == RF_THRU || port1->kind == RF_LINE;
        enum code code = rf_standard_check(port1, t_c, err);
        if (!code && port2 && !two_port)
                code = rf_standard_check(port2, t_c, err);
        if (code)
                return code;
        if (port2 && !two_port && (port2->kind == RF_THRU || port2->kind == RF_LINE))
                return tp_fail(err, CODE_BAD_INPUT, "a %s at port 1 and a %s at port 2: a two-port stands at both ports or at none",
                               rf_standard_words[port1->kind], rf_standard_words[port2->kind]);
        for (size_t i = 0; i < ret->axis->n; i++) {
                double hz = ret->axis->hz[i];
                if (two_port)
                        net2_put(ret, i, rf_standard_thru(port1, hz));
                else
                        net2_put(ret, i,
                                 m2_diag(rf_standard_reflection(port1, t_c, hz), rf_standard_reflection(port2 ? port2 : port1, t_c, hz)));
        }
        net2_set_z(ret, 50, 0);
        ret->plane = PLANE_TIP;
        return CODE_OK;
}

/* ---- uncertainty -------------------------------------------------------------------------------------------------------------------- */

static bool is_two_port(const struct standard_definition *def) { return def->kind == RF_THRU || def->kind == RF_LINE; }
static struct m2 says(const struct standard_definition *def, double t_c, double hz)
{
        double complex g = is_two_port(def) ? 0 : rf_standard_reflection(def, t_c, hz);
        return is_two_port(def) ? rf_standard_thru(def, hz) : m2_diag(g, g);
}

/* A load that was read at dc_at_c reads that whatever its coefficient: R at the reference goes with it. */
static struct m2 says_trimmed(const struct standard_definition *def, struct standard_definition moved, double t_c, double hz)
{
        if (def->dc_ohm > 0 && moved.r_per_k != def->r_per_k)
                moved.r_ohm *= warming(def, def->dc_at_c) / warming(&moved, def->dc_at_c);
        return says(&moved, t_c, hz);
}

size_t rf_standard_moves(const struct standard_definition *def, double t_c, double u_t_k, double hz, struct m2 ret_d[RF_STANDARD_CAUSES],
                         const char *ret_name[RF_STANDARD_CAUSES])
{
        static const char *const c_name[4] = {"C0", "C1", "C2", "C3"}, *const l_name[4] = {"L0", "L1", "L2", "L3"};
        struct standard_definition moved = *def;
        size_t n = 0;
        struct {
                double *at, u, unit; /* unit: a change of this much moves the reflection by about 1 */
                const char *name;
        } rows[RF_STANDARD_CAUSES];
        double w = RF_TWO_PI * hz, power = 1;
        for (int k = 0; k < 4; k++, power *= hz) {
                rows[n].at = &moved.c_f[k], rows[n].u = def->u.c_f[k], rows[n].unit = 1 / (50 * w * power), rows[n++].name = c_name[k];
                rows[n].at = &moved.l_h[k], rows[n].u = def->u.l_h[k], rows[n].unit = 50 / (w * power), rows[n++].name = l_name[k];
        }
        rows[n].at = &moved.r_ohm, rows[n].u = def->u.r_ohm, rows[n].unit = 50, rows[n++].name = "R";
        rows[n].at = &moved.r_per_k, rows[n].u = def->u.r_per_k, rows[n].unit = 1e-2, rows[n++].name = "R per kelvin";
        rows[n].at = &moved.offset_delay_s, rows[n].u = def->u.offset_delay_s, rows[n].unit = 1 / w, rows[n++].name = "offset delay";
        rows[n].at = &moved.offset_loss_ohm_s, rows[n].u = def->u.offset_loss_ohm_s, rows[n].unit = 1e12, rows[n++].name = "offset loss";
        rows[n].at = &moved.offset_z_ohm, rows[n].u = def->u.offset_z_ohm, rows[n].unit = 50, rows[n++].name = "offset impedance";
        if (moved.offset_z_ohm == 0)
                moved.offset_z_ohm = 50;
        size_t used = 0;
        for (size_t k = 0; k < n; k++) {
                if (rows[k].u == 0)
                        continue;
                double is = *rows[k].at, h = 1e-6 * rows[k].unit;
                *rows[k].at = is + h;
                struct m2 up = says_trimmed(def, moved, t_c, hz);
                *rows[k].at = is - h;
                struct m2 down = says_trimmed(def, moved, t_c, hz);
                *rows[k].at = is;
                ret_d[used] = m2_scale(rows[k].u / (2 * h), m2_sub(up, down));
                ret_name[used++] = rows[k].name;
        }
        if (u_t_k != 0 && def->r_per_k != 0) {
                ret_d[used] = m2_scale(u_t_k / 0.02, m2_sub(says(def, t_c + 0.01, hz), says(def, t_c - 0.01, hz)));
                ret_name[used++] = "temperature";
        }
        return used;
}

size_t rf_standard_causes(const struct standard_definition *def, double t_c, double u_t_k, double hz,
                          double complex ret_d[RF_STANDARD_CAUSES], const char *ret_name[RF_STANDARD_CAUSES])
{
        struct m2 d[RF_STANDARD_CAUSES];
        size_t n = rf_standard_moves(def, t_c, u_t_k, hz, d, ret_name);
        for (size_t k = 0; k < n; k++)
                ret_d[k] = d[k].e[is_two_port(def) ? 2 : 0];
        return n;
}

double rf_standard_u(const struct standard_definition *def, double t_c, double u_t_k, double hz)
{
        double complex d[RF_STANDARD_CAUSES];
        const char *name[RF_STANDARD_CAUSES];
        size_t n = rf_standard_causes(def, t_c, u_t_k, hz, d, name);
        double sum = 0;
        for (size_t k = 0; k < n; k++)
                sum += creal(d[k]) * creal(d[k]) + cimag(d[k]) * cimag(d[k]);
        return sqrt(sum / 2);
}

double rf_load_tolerance(double r_ohm, double stated_ohm) { return stated_ohm > 0 ? stated_ohm : 0.1 * r_ohm; }

double rf_standard_load_at_reference(const struct standard_definition *def, double ohm, double t_c) { return ohm / warming(def, t_c); }

enum code rf_standard_trim_load(struct standard_definition *def, double dc_ohm, double u_dc_ohm, double t_c, struct tp_error *err)
{
        if (def->kind != RF_LOAD)
                return tp_fail(err, CODE_BAD_INPUT, "only a load is trimmed by its DC resistance");
        if (!(dc_ohm > 0 && isfinite(dc_ohm) && u_dc_ohm >= 0 && isfinite(u_dc_ohm)))
                return tp_fail(err, CODE_BAD_INPUT, "a DC reading of %.6g ohm +- %.3g ohm is none; read the load again", dc_ohm, u_dc_ohm);
        double warm = warming(def, t_c), r = dc_ohm / warm, within = rf_load_tolerance(def->r_ohm, def->r_tolerance_ohm);
        if (!(fabs(r - def->r_ohm) <= within * (1 + 1e-9))) /* what was written as the edge lies inside */
                return tp_fail(err, CODE_BAD_INPUT,
                               "the load reads %.6g ohm at DC (%.6g at %.4g degrees Celsius), outside of %.6g to %.6g ohm (r_ohm %.6g, "
                               "r_tolerance_ohm %s): it is another thing, worn, or not in contact",
                               dc_ohm, r, def->t_ref_c, def->r_ohm - within, def->r_ohm + within, def->r_ohm,
                               def->r_tolerance_ohm > 0 ? "as stated" : "not stated: a tenth");
        def->r_ohm = r;
        def->u.r_ohm = u_dc_ohm / warm;
        def->dc_ohm = dc_ohm;
        def->dc_at_c = t_c;
        return CODE_OK;
}

/* ---- data --------------------------------------------------------------------------------------------------------------------------- */

/* The parabola through points k, k + 1, k + 2 at hz (Lagrange). */
static struct m2 parabola(const struct net2 *data, size_t k, double hz)
{
        const double *f = data->axis->hz + k;
        struct m2 sum = m2_of(0, 0, 0, 0);
        for (size_t j = 0; j < 3; j++) {
                size_t p = (j + 1) % 3, q = (j + 2) % 3;
                double w = (hz - f[p]) * (hz - f[q]) / ((f[j] - f[p]) * (f[j] - f[q]));
                sum = m2_add(sum, m2_scale(w, net2_get(data, k + j)));
        }
        return sum;
}

enum code rf_standard_from_data(const struct net2 *data, struct net2 *ret, double *ret_doubt, double *ret_doubt_hz, struct tp_error *err)
{
        const struct axis *a = data->axis, *to = ret->axis;
        double z = net2_z_real(data), doubt = 0, doubt_hz = NAN;
        if (a->n < 3)
                return tp_fail(err, CODE_BAD_INPUT, "the data of a standard have %zu frequencies; three at least", a->n);
        if (!(z > 0))
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "the data of a standard refer to an impedance that is complex, unknown or changes; bring them to one in ohm");
        for (size_t i = 0; i < a->n; i++)
                for (int k = 0; k < 4; k++)
                        if (!isfinite(data->re[k][i]) || !isfinite(data->im[k][i]))
                                return tp_fail(err, CODE_BAD_INPUT, "the data of a standard are no number at %.9g Hz", a->hz[i]);
        for (size_t i = 0, k = 0; i < to->n; i++) {
                double hz = to->hz[i];
                if (!(hz >= a->hz[0] * (1 - 1e-12) && hz <= a->hz[a->n - 1] * (1 + 1e-12)))
                        return tp_fail(
                                err, CODE_BAD_INPUT,
                                "the data of a standard go from %.9g to %.9g Hz and are asked at %.9g Hz; nothing is extrapolated: give "
                                "data over the whole sweep",
                                a->hz[0], a->hz[a->n - 1], hz);
                while (k + 2 < a->n && a->hz[k + 1] < hz)
                        k++; /* hz lies between points k and k + 1 */
                size_t below = k > 0 ? k - 1 : k, above = k + 2 < a->n ? k : k - 1;
                struct m2 low = parabola(data, below, hz), high = parabola(data, above, hz);
                double apart = m2_distance(low, high);
                if (apart > doubt) {
                        doubt = apart;
                        doubt_hz = hz;
                }
                net2_put(ret, i, rf_renormalise_equal(m2_scale(0.5, m2_add(low, high)), z, 50));
        }
        net2_set_z(ret, 50, 0);
        ret->plane = PLANE_TIP;
        if (ret_doubt)
                *ret_doubt = doubt;
        if (ret_doubt_hz)
                *ret_doubt_hz = doubt_hz;
        return CODE_OK;
}
