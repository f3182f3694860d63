/* solve_suspicions.c: are the readings of a plan the way round that they say (rf/trust/orientation.h)?  Said, not acted upon: residuals and
 * verification decide.
 * Switch terms  two or more readings that transmit tell which use of the switch terms makes S12/S21 of all one number.
 * Sign of time  seen in corrected lines, since raw readings behind metres of cable turn several times from point to point.
 * Ports         seen in a verified standard that differs from end to end.
 * Sign          of a reflect: with the wrong one every reflection comes out as its opposite, and no residual knows.  Seen in a second
 *               reflect of another kind, and in a verified standard that reflects. */
#include "cli/solve.h"
#include "rf/trust/orientation.h"
#include <math.h>
#include <string.h>

enum { THROUGH_MAX = 16 };

static bool transmits(const struct offline_reading *r)
{
        return r->ports == 3 && (r->standard->kind == STANDARD_THRU || r->standard->kind == STANDARD_LINE);
}

static void of_switch_terms(struct cli *c, const struct offline_reading *readings, size_t n, const struct switch_terms *sw)
{
        const struct net2 *through[THROUGH_MAX];
        struct rf_switch_judgement judged;
        size_t m = 0;
        for (size_t k = 0; k < n && m < THROUGH_MAX; k++)
                if (transmits(&readings[k]))
                        through[m++] = &readings[k].raw;
        if (sw && m >= 2 && !rf_switch_judge(through, m, sw, &judged, NULL) && judged.decided && judged.use != RF_SWITCH_AS_GIVEN)
                cli_note(c, "%s", judged.sentence);
}

static bool corrected(struct cli *c, const struct solved_calibration *s, const struct net2 *raw, struct net2 *ret)
{
        return axis_equal(raw->axis, s->terms.axis) && offline_net2_new(c, raw->axis, ret) &&
               !offline_correct(&s->terms, s->has_switch ? &s->switch_terms : NULL, raw, ret, NULL);
}

static bool failed_verification(const struct offline_solved *s, const char *name)
{
        for (size_t k = 0; k < s->verified_n; k++)
                if (strcmp(s->verified[k].name, name) == 0)
                        return !s->verified[k].within;
        return false;
}

/* Its S11 and S22 lie three times nearer to the opposite of what they should be; far enough from 0 to tell. */
static bool is_opposite(const struct net2 *got, const struct net2 *want, unsigned ports)
{
        double as_told = 0, opposite = 0, size = 0;
        for (int e = 0; e < 4; e += 3)
                for (size_t i = 0; i < got->axis->n && (ports & (e ? 2u : 1u)); i++) {
                        double re = got->re[e][i], im = got->im[e][i], w_re = want->re[e][i], w_im = want->im[e][i];
                        as_told += (re - w_re) * (re - w_re) + (im - w_im) * (im - w_im);
                        opposite += (re + w_re) * (re + w_re) + (im + w_im) * (im + w_im);
                        size += w_re * w_re + w_im * w_im;
                }
        return size > 0.05 * (double)got->axis->n && opposite < as_told / 9;
}

#define NEAR_HZ 20e9 /* below it a reflect some 100 um from the plane still has the sign that it has at the plane */

/* Is the standard in this band only because it is equal at both ports?  Then nothing in the solution asks what it is but its sign. */
static bool is_reflect_of(const struct solved_band *b, const char *name)
{
        for (size_t k = 0; k < b->problem.standard_n; k++)
                if (strcmp(b->problem.standards[k].name, name) == 0)
                        return b->problem.standards[k].kind == RF_REFLECT || strcmp(b->method->word, "lrm") == 0;
        return false;
}

/* An open or short that came out as the other one. */
static void of_reflect(struct cli *c, const struct solved_calibration *s, const struct offline_reading *r, const struct net2 *net)
{
        const char *name = r->standard->standard.name;
        double told = r->standard->kind == STANDARD_OPEN ? 1 : -1;
        for (size_t k = 0; k < s->band_n; k++) {
                const struct solved_band *b = &s->bands[k];
                double sum = 0, n = 0;
                if (!is_reflect_of(b, name))
                        continue;
                for (size_t i = 0; i < b->axis.n && b->axis.hz[i] <= NEAR_HZ; i++) {
                        if (b->diagnosis.nstd[i] > 3)
                                continue;
                        sum += (net->re[0][b->begin + i] + net->re[3][b->begin + i]) / 2 * told;
                        n++;
                }
                if (n > 0 && sum / n < -0.5)
                        cli_note(c,
                                 "%s: %s was told to be %s and comes out as %s (S11 and S22 near %+.2g below 20 GHz): it is of the other "
                                 "kind, or the "
                                 "reflect before it is, or %s",
                                 b->name, name, told > 0 ? "an open" : "a short", told > 0 ? "a short" : "an open", sum / n * told,
                                 method_is_of_lines(b->method) ? "reflect_estimate has the wrong sign" : "their files are exchanged");
        }
}

void solve_suspicions(struct solve_job *j, const struct offline_solved *solved, const struct offline_reading *readings, size_t n,
                      const struct switch_terms *sw)
{
        struct cli *c = j->c;
        struct rf_orientation turned;
        struct net2 net, known;
        bool time_said = false;
        of_switch_terms(c, readings, n, sw);
        for (size_t k = 0; k < n; k++) {
                const struct offline_reading *r = &readings[k];
                const char *name = r->standard->standard.name;
                bool line = transmits(r) && !time_said, failed = failed_verification(solved, name);
                bool reflect = r->ports == 3 && (r->standard->kind == STANDARD_OPEN || r->standard->kind == STANDARD_SHORT);
                if ((!line && !failed && !reflect) || !corrected(c, solved->solved, &r->raw, &net))
                        continue;
                if (line && !rf_sign_of_time(&net, &turned, NULL) && turned.decided && turned.turn) {
                        time_said = true;
                        cli_note(c, "%s, corrected: %s", name, turned.sentence);
                }
                if (reflect)
                        of_reflect(c, solved->solved, r, &net);
                if (!failed || !offline_net2_new(c, r->raw.axis, &known) ||
                    (!r->has_ideal && standard_ideal(&r->standard->standard, solved->plan->temperature_c, c->arena, &known, NULL)))
                        continue;
                if (is_opposite(&net, r->has_ideal ? &r->ideal : &known, r->ports & terms_ports(&solved->solved->terms)))
                        cli_note(c,
                                 "%s: what it reflects comes out as the opposite of its definition: open and short are exchanged, or "
                                 "reflect_estimate has the wrong sign",
                                 name);
                else if (r->ports == 3 && !rf_orientation_of(&net, r->has_ideal ? &r->ideal : &known, &turned, NULL) && turned.decided &&
                         turned.turn)
                        cli_note(c, "%s: %s", name, turned.sentence);
        }
}
