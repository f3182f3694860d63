/* problem.c: does a problem hold what its method needs?  (calibration.h) */
#include "rf/calibrate/solve.h"
#include <math.h>

const char *standard_name(const struct rf_standard *s) { return s->name && s->name[0] ? s->name : rf_standard_words[s->kind]; }
bool is_reflection(enum rf_standard_kind kind) { return kind == RF_OPEN || kind == RF_SHORT || kind == RF_LOAD; }

static enum code axis_check(const struct problem *p, const struct rf_standard *s, const char *what, const struct net2 *net,
                            struct tp_error *err)
{
        if (axis_equal(net->axis, p->axis))
                return CODE_OK;
        return tp_fail(err, CODE_BAD_INPUT,
                       "%s: its %s data have %zu frequencies from %.9g to %.9g Hz, the calibration has %zu from %.9g to %.9g Hz",
                       standard_name(s), what, net->axis->n, net->axis->hz[0], net->axis->hz[net->axis->n - 1], p->axis->n, p->axis->hz[0],
                       p->axis->hz[p->axis->n - 1]);
}

static enum code numbers_check(const struct problem *p, const struct rf_standard *s, const char *what, const struct net2 *net,
                               struct tp_error *err)
{
        static const char *const entry[4] = {"S11", "S12", "S21", "S22"};
        bool finite = net2_finite(net);
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
        enum code code = axis_check(p, s, "ideal", s->ideal, err);
        return code ? code : numbers_check(p, s, "ideal", s->ideal, err);
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

bool port_is_read(const struct problem *p, unsigned port)
{
        for (size_t k = 0; k < p->standard_n; k++)
                if (!is_reflection(p->standards[k].kind) || p->standards[k].ports == 0 || (p->standards[k].ports & port))
                        return true;
        return false;
}

enum code problem_check_shape(const struct method *m, const struct problem *p, struct tp_error *err)
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
                enum code code = axis_check(p, s, "raw", s->raw, err);
                if (code)
                        return code;
                if (!wants_ideal(m, s->kind))
                        continue;
                if (!s->ideal)
                        return tp_fail(err, CODE_BAD_INPUT, "%s: %s has no definition", m->word, standard_name(s));
                if ((code = axis_check(p, s, "ideal", s->ideal, err)))
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
                        if (m->ports == 1 && !port_is_read(p, port))
                                continue; /* an analyzer of one port, or one port of two */
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
        return CODE_OK;
}

enum code problem_check_numbers(const struct method *m, const struct problem *p, struct tp_error *err)
{
        enum code code = CODE_OK;
        for (size_t k = 0; k < p->standard_n && !code; k++) {
                const struct rf_standard *s = &p->standards[k];
                code = numbers_check(p, s, "raw", s->raw, err);
                if (!code && wants_ideal(m, s->kind))
                        code = numbers_check(p, s, "ideal", s->ideal, err);
        }
        const struct switch_terms *sw = p->switch_terms;
        for (size_t i = 0; sw && i < p->axis->n && !code; i++)
                if (!isfinite(sw->f_re[i]) || !isfinite(sw->f_im[i]) || !isfinite(sw->r_re[i]) || !isfinite(sw->r_im[i]))
                        code = tp_fail(err, CODE_BAD_INPUT, "%s: a switch term is not a number at %.9g Hz; measure them again", m->word,
                                       p->axis->hz[i]);
        return code;
}

enum code rf_problem_check(const struct method *m, const struct problem *p, struct tp_error *err)
{
        enum code code = problem_check_shape(m, p, err);
        return code ? code : problem_check_numbers(m, p, err);
}

/* Below this share of what was sent nothing was read: no receiver resolves -240 dB. */
#define TRANSMISSION_LEAST 1e-12

/* What is no number is for others to say. */
static bool transmits(const struct net2 *raw, int entry, size_t i)
{
        double re = raw->re[entry][i], im = raw->im[entry][i];
        return !(re * re + im * im <= TRANSMISSION_LEAST * TRANSMISSION_LEAST);
}

enum code thru_transmits_check(const struct method *m, const struct problem *p, struct tp_error *err)
{
        for (size_t k = 0; k < p->standard_n; k++) {
                const struct rf_standard *s = &p->standards[k];
                for (size_t i = 0; s->kind == RF_THRU && i < p->axis->n; i++) {
                        bool forward = transmits(s->raw, 2, i);
                        if (!forward || !transmits(s->raw, 1, i))
                                return tp_fail(err, CODE_UNRESOLVABLE,
                                               "%s: at %.9g Hz %s does not transmit to port %d; check the contact and measure it again",
                                               m->word, p->axis->hz[i], standard_name(s), forward ? 1 : 2);
                }
        }
        return CODE_OK;
}
