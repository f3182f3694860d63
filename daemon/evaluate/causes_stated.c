/* causes_stated.c: what the recipe states of chuck, receivers, lines and overtravel, and nothing else can show (causes_own.h).
 * Temperature the device is not at the setup's temperature but within temperature_k_u of it, times the parameter's own coefficient.
 * Linearity   a receiver that errs by so many dB over 10 dB of level reads m |m|^e instead of m, e even within +-dB/10: the shape that a
 *             calibration cannot take out, for what is constant goes into its tracking.  Each port's receiver (b1 reads S11 and S12, b2 S22
 *             and S21) errs on its own, and errs alike on the device, the dummies and the standards: what standards take out is taken out.
 *             The receivers that look at the source see one level.  The switch terms are left as they are.
 * Lines       each line is longer or shorter than told on its own; the capacitance (or impedance) told of all of them moves Zc, and with it
 *             the ohms of all results.  Zc (1 + d) makes Z (1 + d), so dS = d/2 (1 - S^2) in any real reference.
 * Overtravel  more of it lets both tips slide inwards by skate_um_um: the line before the device shortens at both ports at once, and the
 *             pad behind the tip becomes longer.
 * Sources     EURAMET cg-12 version 3.0 (2018), on linearity; JCGM 100:2008 4.3.7, 5.1.2; Marks & Williams, J. Res. NIST 97 (1992) 533. */
#include "evaluate/causes_own.h"
#include "rf/network/convert.h"
#include <math.h>

/* ---- temperature -----------------------------------------------------------------------------------------------------------------------
 */
void cause_of_temperature(const struct chain *ch, const struct parameter_plan *p, enum rf_share share, double value, struct cause_list *to)
{
        double u_k = ch->q->recipe->setup.temperature_k_u;
        if (!(u_k > 0) || !p->has_per_k)
                cause_not_counted(to, "temperature");
        else
                cause_add(to, "temperature", u_k * p->per_k * (share == RF_SHARE_VALUE ? value : 1), INFINITY);
}

/* ---- linearity -------------------------------------------------------------------------------------------------------------------------
 */
/* What one standard uncertainty of port's receiver does to a corrected S. */
static struct m2 bent_by(const struct slope *k, struct m2 s, int port)
{
        const struct calibration *cal = k->a->ch->cal;
        const double h = 1e-4; /* of the cause, which is small already */
        double e = k->a->ch->q->recipe->setup.linearity_db_10db / 10 / sqrt(3);
        bool switched = cal->has_switch && cal->terms.switch_removed; /* what is read has the switch terms inside */
        double complex gf = 0, gr = 0;
        struct m2 m = rf_embed2_point(&cal->terms, k->i, s);
        if (switched) {
                gf = CMPLX(cal->sw.f_re[k->i], cal->sw.f_im[k->i]);
                gr = CMPLX(cal->sw.r_re[k->i], cal->sw.r_im[k->i]);
                m = rf_switch_insert_point(m, gf, gr);
        }
        for (int entry = 2 * port; entry < 2 * port + 2; entry++)
                if (cabs(m.e[entry]) > 0)
                        m.e[entry] *= 1 + h * e * log(cabs(m.e[entry]));
        if (switched)
                m = rf_switch_remove_point(m, gf, gr);
        return m2_scale(1 / h, m2_sub(rf_correct2_point(&cal->terms, k->i, m), s));
}

bool cause_linearity_stated(const struct slope *k)
{
        return k->a->ch->q->recipe->setup.linearity_db_10db > 0 && k->a->ch->cal->terms.model != TERMS_ONE_PORT;
}

struct bent_standard {
        const struct slope *k;
        int port;
};
static struct m2 standard_bent(const void *cause, double hz, struct m2 s)
{
        const struct bent_standard *c = cause;
        struct slope there = *c->k;
        there.i = axis_nearest(&c->k->a->ch->cal->axis, hz);
        return bent_by(&there, s, c->port);
}

void cause_linearity_of_standards(const struct slope *k, const struct virtual *v, double complex dz[2])
{
        for (size_t m = 0; m < v->n; m++)
                for (int port = 0; port < 2; port++) {
                        const struct bent_standard c = {k, port};
                        dz[port] += k->part * cause_standard_dz(k, v, m, standard_bent, &c);
                }
}

/* A standard that reads d more than it is stands for one that was believed to be d less than it reads. */
void cause_linearity_of_ideals(const struct slope *k, double complex dz[2])
{
        struct ideal_cause base;
        if (!cause_ideals(k, &base))
                return;
        for (int port = 0; port < 2; port++) {
                struct ideal_cause c = base;
                for (int m = 0; m < 3; m++)
                        c.d_gamma[port][m] = -bent_by(k, m2_diag(base.gamma[0][m], base.gamma[1][m]), port).e[3 * port];
                dz[port] += k->part * cause_common_dz(k, cause_ideal_mover, &c);
                c = base;
                c.d_thru = m2_scale(-1, bent_by(k, base.thru, port));
                dz[port] += k->part * cause_common_dz(k, cause_ideal_mover, &c);
        }
}

void cause_of_linearity(const struct slope *k, const double complex of_standards[2])
{
        if (!cause_linearity_stated(k)) {
                cause_not_counted(k->to, "linearity");
                return;
        }
        for (int port = 0; port < 2; port++) {
                double complex dz = of_standards[port];
                for (int p = 0; p < PART_COUNT; p++)
                        if (k->a->ch->raw[p])
                                dz += slope_weigh(k, p, bent_by(k, k->at->s[p], port));
                cause_add_rectangular(k->to, "linearity", slope_value(k, dz));
        }
}

/* ---- lines -----------------------------------------------------------------------------------------------------------------------------
 */
static struct m2 reference_mover(const struct slope *k, struct m2 s, const void *cause)
{
        (void)k;
        const double complex *relative = cause;
        return m2_scale(*relative / 2, m2_sub(m2_one(), m2_mul(s, s)));
}

static void reference_cause(const struct slope *k, const char *name, double complex relative)
{
        if (relative != 0)
                cause_common(k, name, reference_mover, &relative);
}

void causes_of_line_reference(const struct slope *k)
{
        const struct calibration_plan *c = &k->a->ch->q->recipe->calibration;
        if (k->a->ch->line_reference)
                return;
        if (c->line_capacitance_f_m > 0) {
                reference_cause(k, "line C", c->line_capacitance_u_f_m / c->line_capacitance_f_m);
                reference_cause(k, "line loss", CMPLX(0, c->line_loss_tangent_u) / CMPLX(1, -c->line_loss_tangent));
                if (!(c->line_capacitance_u_f_m > 0))
                        cause_not_counted(k->to, "line C");
        } else if (c->line_z_ohm > 0) {
                reference_cause(k, "line Zc", c->line_z_ohm_u / c->line_z_ohm);
                if (!(c->line_z_ohm_u > 0))
                        cause_not_counted(k->to, "line Zc");
                const struct calibration *cal = k->a->ch->cal; /* loss makes Zc complex: Z (1 - j alpha/beta) */
                if (c->line_z_ohm_u > 0 && cal->gamma_re[k->i] > 0 && cal->gamma_im[k->i] > 0)
                        reference_cause(k, "line Zc real", CMPLX(0, -cal->gamma_re[k->i] / cal->gamma_im[k->i]));
        }
}

void cause_of_line_lengths(const struct slope *k, const struct virtual *v)
{
        size_t stated = 0;
        for (size_t m = 0; m < v->n; m++) {
                double u_m = v->of[m]->model.u_length_um * 1e-6;
                if (!(u_m > 0) || !isfinite(v->line_m[m]))
                        continue;
                stated++;
                cause_add(k->to, "line length", slope_value(k, k->part * cause_virtual_dz(k, v, m, virtual_longer(v, m, u_m))), INFINITY);
        }
        if (!stated)
                cause_not_counted(k->to, "line length");
}

/* ---- where the tips stand --------------------------------------------------------------------------------------------------------------
 */
struct m2 cause_tip_moved(const struct slope *k, struct m2 s, int port, double by_um)
{
        const struct recipe *r = k->a->ch->q->recipe;
        double eps = r->calibration.eps_eff;
        double complex theta = CMPLX(0, k->w * sqrt(eps > 1 ? eps : ALUMINA_EPS_EFF) / RF_C0_M_S * by_um * 1e-6);
        struct m2 shift = move_shift(s, port, theta);
        if (r->setup.pad_f_um == 0)
                return shift;
        double complex y = CMPLX(0, 1); /* what a piece of pad is like: the open dummy shows its loss */
        if (k->a->ch->raw[PART_OPEN]) {
                double complex pad = rf_y_from_s(k->at->s[PART_OPEN], k->a->ch->z).e[3 * port];
                y = cimag(pad) > 0 ? pad / cimag(pad) : y;
        }
        return m2_sub(shift, move_shunt(s, port, k->w * r->setup.pad_f_um * by_um * y, k->a->ch->z));
}

double cause_skate_um(const struct slope *k)
{
        const struct setup *setup = &k->a->ch->q->recipe->setup;
        return setup->overtravel_um_u * setup->skate_um_um;
}

void cause_of_overtravel(const struct slope *k, int part)
{
        static const char *const name[] = {"overtravel", "overtravel, open", "overtravel, short", "overtravel, dummies"};
        double skate_um = cause_skate_um(k);
        struct m2 s = k->at->s[part];
        if (skate_um > 0)
                cause_of_touch(k, name[part <= PART_SHORT ? part : PART_SHORT + 1], part,
                               m2_add(cause_tip_moved(k, s, 0, -skate_um), cause_tip_moved(k, s, 1, -skate_um)));
        else if (part == PART_DEVICE)
                cause_not_counted(k->to, "overtravel");
}
