/* solve_suspicions.c: are the readings of a plan the way round that they say (rf/trust/orientation.h)?  Said, not acted upon: residuals and
 * verification decide.
 * Switch terms  two or more readings that transmit tell which use of the switch terms makes S12/S21 of all one number.
 * Sign of time  seen in corrected lines, since raw readings behind metres of cable turn several times from point to point.
 * Ports         seen in a verified standard that differs from end to end. */
#include "cli/solve.h"
#include "rf/trust/orientation.h"
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
                bool line = transmits(r) && !time_said, failed = r->ports == 3 && failed_verification(solved, name);
                if ((!line && !failed) || !corrected(c, solved->solved, &r->raw, &net))
                        continue;
                if (line && !rf_sign_of_time(&net, &turned, NULL) && turned.decided && turned.turn) {
                        time_said = true;
                        cli_note(c, "%s, corrected: %s", name, turned.sentence);
                }
                if (!failed || !offline_net2_new(c, r->raw.axis, &known) ||
                    (!r->has_ideal && standard_ideal(&r->standard->standard, solved->plan->temperature_c, c->arena, &known, NULL)))
                        continue;
                if (!rf_orientation_of(&net, r->has_ideal ? &r->ideal : &known, &turned, NULL) && turned.decided && turned.turn)
                        cli_note(c, "%s: %s", name, turned.sentence);
        }
}
