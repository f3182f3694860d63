/* solve_suspicions.c: are the readings of a plan the way round that they say (rf/trust/orientation.h)?  Said, not acted upon: residuals and
 * verification decide.
 * Switch terms  two or more readings that transmit tell which use of the switch terms makes S12/S21 of all one number; one alone, which
 *               makes it smooth over frequency.
 * Leakage       what the reflections read of S21, against what transmits.
 * Sign of time  seen in corrected lines, since raw readings behind metres of cable turn several times from point to point.
 * Ports         seen in a verified standard that differs from end to end: all files exchanged, or its own alone.
 * Sign          of a reflect: with the wrong one every reflection comes out as its opposite, and no residual knows.  Seen in a second
 *               reflect of another kind, and in a verified standard that reflects.
 * Of several    explanations of a verified standard the one that fits best is said. */
#include "cli/solve.h"
#include "rf/numbers/robust.h"
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
        for (size_t k = 0; k < n && sw && m == 1; k++)
                if (transmits(&readings[k]))
                        solve_smooth(c, readings[k].standard->standard.name, &readings[k].raw, sw);
}

void solve_smooth(struct cli *c, const char *name, const struct net2 *raw, const struct switch_terms *sw)
{
        struct rf_switch_judgement judged;
        void *workspace = arena_take(c->arena, rf_switch_smooth_workspace(raw->axis->n));
        if (workspace && rf_switch_smooth(raw, sw, workspace, &judged))
                cli_note(c, "%s: %s", name, judged.sentence);
}

#define LEAKAGE 0.01       /* of what the thru reads: -40 dB */
#define LEAKAGE_LEAST 1e-3 /* of the source; below it is noise */

/* Median over frequency of |S21| or |S12| read of a reflection, against a thru's. */
static double leakage_of(const struct net2 *reflection, const struct net2 *thru, double least, double *scratch)
{
        double worst = 0;
        for (int e = 1; e <= 2; e++) {
                size_t n = thru->axis->n;
                for (size_t i = 0; i < n; i++) {
                        double read = hypot(reflection->re[e][i], reflection->im[e][i]);
                        scratch[i] = read > least ? read / hypot(thru->re[e][i], thru->im[e][i]) : 0;
                }
                worst = fmax(worst, rf_quantile(rf_sort(n, scratch), scratch, 0.5));
        }
        return worst;
}

static void of_leakage(struct cli *c, const struct offline_solved *solved, const struct offline_reading *readings, size_t n)
{
        const struct terms *t = &solved->solved->terms;
        const struct offline_reading *thru = NULL, *most = NULL;
        double worst = 0, *scratch = NULL;
        for (size_t k = 0; k < n; k++)
                if (transmits(&readings[k]))
                        thru = thru ? thru : &readings[k];
        if (!thru || t->model == TERMS_ONE_PORT || t->model == TERMS_SIXTEEN ||
            !(scratch = arena_take(c->arena, thru->raw.axis->n * sizeof *scratch)))
                return;
        for (size_t k = 0; k < n; k++) {
                const struct offline_reading *r = &readings[k];
                int32_t kind = r->standard->kind;
                if (r->ports != 3 || r->has_ideal || !axis_equal(r->raw.axis, thru->raw.axis) ||
                    (kind != STANDARD_OPEN && kind != STANDARD_SHORT && kind != STANDARD_LOAD))
                        continue;
                double here = leakage_of(&r->raw, &thru->raw, fmax(LEAKAGE_LEAST, 3 * solved->plan->noise_floor_u), scratch);
                if (here > worst) {
                        worst = here;
                        most = r;
                }
        }
        if (worst > LEAKAGE)
                cli_note(c,
                         "%s transmits nothing and reads %.2g of what %s does: the sides leak into each other, which %s does not know; "
                         "residuals and results are wrong by about as much (\"sixteen_term\" knows it)",
                         most->standard->standard.name, worst, thru->standard->standard.name, t->method);
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

#define THRU_APART 0.1 /* of its own |S21| */

/* Of several thrus of "unknown_thru", one that transmits another share than its definition states: the method asks nobody, and what is
   attenuated both ways alike is as reciprocal as before. */
static void of_reciprocal(struct cli *c, const struct offline_solved *solved, const struct offline_reading *r, const struct net2 *net)
{
        const struct solved_calibration *s = solved->solved;
        const struct standard_model *m = &r->standard->standard.model;
        const char *name = r->standard->standard.name;
        size_t thrus = 0, n = net->axis->n;
        bool used = false;
        for (size_t b = 0; b < s->band_n; b++)
                for (size_t k = 0; k < s->bands[b].problem.standard_n && strcmp(s->bands[b].method->word, "unknown_thru") == 0; k++) {
                        thrus += s->bands[b].problem.standards[k].kind == RF_THRU;
                        used = used || strcmp(s->bands[b].problem.standards[k].name, name) == 0;
                }
        struct net2 known;
        double *share = arena_take(c->arena, n * sizeof *share);
        if (!used || thrus < 2 || !share || !(r->has_ideal || r->standard->standard.data_n || fabs(m->delay_s) > 0) ||
            !offline_net2_new(c, r->raw.axis, &known) ||
            (!r->has_ideal && standard_ideal(&r->standard->standard, solved->plan->temperature_c, c->arena, &known, NULL)))
                return;
        const struct net2 *want = r->has_ideal ? &r->ideal : &known;
        for (size_t i = 0; i < n; i++)
                share[i] = hypot(net->re[2][i], net->im[2][i]) / hypot(want->re[2][i], want->im[2][i]);
        double median = rf_quantile(rf_sort(n, share), share, 0.5);
        if (fabs(median - 1) > THRU_APART)
                cli_note(c,
                         "%s transmits %.3g times what its definition states (median over frequency), which unknown_thru does not ask: "
                         "check "
                         "its contact",
                         name, median);
}

static struct m2 turn(struct m2 s, unsigned how)
{
        if (how & RF_TURN_CONJUGATED)
                s = m2_of(conj(s.e[0]), conj(s.e[1]), conj(s.e[2]), conj(s.e[3]));
        if (how & RF_TURN_PORTS)
                s = m2_of(s.e[3], s.e[2], s.e[1], s.e[0]);
        if (how & RF_TURN_TRANSMISSIONS)
                s = m2_of(s.e[0], s.e[2], s.e[1], s.e[3]);
        return s;
}

/* rms distance of what is read at `ports` from sign times what is wanted; of reflections the other entries do not count. */
static double apart(const struct net2 *got, const struct net2 *want, unsigned ports, bool through, double sign)
{
        double sum = 0, count = 0;
        for (int e = 0; e < 4; e++) {
                bool counts = e == 0 ? ports & 1u : e == 3 ? ports & 2u : through;
                for (size_t i = 0; i < got->axis->n && counts; i++, count++)
                        sum += pow(got->re[e][i] - sign * want->re[e][i], 2) + pow(got->im[e][i] - sign * want->im[e][i], 2);
        }
        return count > 0 ? sqrt(sum / count) : INFINITY;
}

/* A verification that failed: of all that may have been turned round, what brings it to its definition. */
static void of_verified(struct cli *c, const struct solved_calibration *s, const struct offline_reading *r, const struct net2 *net,
                        const struct net2 *want)
{
        static const struct {
                unsigned how;
                const char *say;
        } own[] = {{RF_TURN_PORTS, "ports 1 and 2 are exchanged"},
                   {RF_TURN_TRANSMISSIONS, "S21 and S12 are exchanged (a two-port file read row by row)"},
                   {RF_TURN_CONJUGATED, "the sign of time is the other one"}};
        const char *name = r->standard->standard.name;
        unsigned ports = r->ports & terms_ports(&s->terms);
        bool through = ports == 3 && (transmits(r) || r->standard->kind == OFFLINE_KNOWN);
        double as_told = apart(net, want, ports, through, 1), size = apart(net, want, ports, false, 0);
        double opposite = size > 0.2 && !through ? apart(net, want, ports, false, -1) : INFINITY, best = INFINITY;
        struct rf_orientation turned = {0};
        struct net2 raw, other;
        size_t which = 0;
        bool all = ports == 3 && !rf_orientation_of(net, want, &turned, NULL) && turned.decided && turned.turn;
        for (size_t k = 0; k < sizeof own / sizeof own[0] && ports == 3 && offline_net2_new(c, r->raw.axis, &raw); k++) {
                net2_copy(&raw, &r->raw);
                for (size_t i = 0; i < raw.axis->n; i++)
                        net2_put(&raw, i, turn(net2_get(&r->raw, i), own[k].how));
                double here = corrected(c, s, &raw, &other) ? apart(&other, want, ports, through, 1) : INFINITY;
                if (here < best) {
                        best = here;
                        which = k;
                }
        }
        double least = fmin(fmin(opposite, best), all ? turned.distance : INFINITY);
        if (!(least < as_told / 3))
                return;
        if (all && turned.distance <= least)
                cli_note(c, "%s: %s", name, turned.sentence);
        else if (best <= least)
                cli_note(c, "%s: in its own file %s: turned back it lies %.2g from its definition, as it is %.2g", name, own[which].say,
                         best, as_told);
        else
                cli_note(c,
                         "%s: what it reflects comes out as the opposite of its definition: open and short are exchanged, or "
                         "reflect_estimate has the wrong sign",
                         name);
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
        of_leakage(c, solved, readings, n);
        solve_exchanged(j, solved, readings, n);
        for (size_t k = 0; k < n; k++) {
                const struct offline_reading *r = &readings[k];
                const char *name = r->standard->standard.name;
                bool through = transmits(r), line = through && !time_said, failed = failed_verification(solved, name);
                bool reflect = r->ports == 3 && (r->standard->kind == STANDARD_OPEN || r->standard->kind == STANDARD_SHORT);
                if ((!through && !failed && !reflect) || !corrected(c, solved->solved, &r->raw, &net))
                        continue;
                if (line && !rf_sign_of_time(&net, &turned, NULL) && turned.decided && turned.turn) {
                        time_said = true;
                        cli_note(c, "%s, corrected: %s", name, turned.sentence);
                }
                if (through)
                        of_reciprocal(c, solved, r, &net);
                if (reflect)
                        of_reflect(c, solved->solved, r, &net);
                if (!failed || !offline_net2_new(c, r->raw.axis, &known) ||
                    (!r->has_ideal && standard_ideal(&r->standard->standard, solved->plan->temperature_c, c->arena, &known, NULL)))
                        continue;
                of_verified(c, solved->solved, r, &net, r->has_ideal ? &r->ideal : &known);
        }
}
