/* answer.c: one parameter of one sweep: its number, what moves it, whether it can be told at all, and its verdict (chain.h).
 * Verdict     JCGM 106:2012: pass when the true value lies within the limits with probability 0.95 or more, fail at 0.05 or less, else
 *             marginal; another risk, or the value alone, if the recipe says so (rf/trust/decide_limits.h).
 * Refusal     a number whose 95 % half width is more than the recipe's share of it is not given: value absent, reason says by how much. */
#include "evaluate/chain.h"
#include "recipe/judged.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

void answer_refuse(struct parameter_answer *a, const char *sentence)
{
        a->has_value = false;
        a->value = a->u95 = NAN;
        a->verdict = "none";
        snprintf(a->reason, sizeof a->reason, "%s", sentence);
}

static void judge(struct parameter_answer *a, double u)
{
        const struct parameter_plan *p = a->plan;
        struct limits l;
        struct decision_rule rule;
        if (!parameter_judged_by(p, &l, &rule)) {
                a->verdict = "none";
                snprintf(a->reason, sizeof a->reason, "no limits");
                return;
        }
        static const char *const words[] = {"none", "pass", "fail", "marginal"};
        double pc;
        enum decision d = limits_decide(&l, &rule, a->value, u, &pc);
        a->verdict = words[d];
        a->reason[0] = '\0';
        if (rule.kind == ACCEPTANCE_SIMPLE)
                snprintf(a->reason, sizeof a->reason, "by the value alone; within its limits with probability %.2g", pc);
        else if (d != DECISION_PASS)
                snprintf(a->reason, sizeof a->reason, "within its limits with probability %.2g%s", pc,
                         u > limits_u_max(&l, &rule) ? "; cannot be decided with this uncertainty" : "");
}

void answer_fail(struct parameter_answer *a, const struct tp_error *err)
{
        char sentence[sizeof a->reason];
        snprintf(sentence, sizeof sentence, "%.*s", (int)sizeof sentence - 1, err->text);
        answer_refuse(a, sentence);
}

static void drawn_says(struct parameter_answer *to)
{
        size_t used = strlen(to->reason);
        snprintf(to->reason + used, sizeof to->reason - used, "%su95 by Monte Carlo", used ? "; " : "");
}

/* A line of a line calibration: what the calibration's own lines say at the same frequency, and what the difference means. */
static void line_says(const struct asked *a, size_t j, struct parameter_answer *to)
{
        const struct calibration *cal = a->ch->cal;
        size_t i = map_at(a->ch->map, j), used = strlen(to->reason);
        if ((a->quantity != QUANTITY_EPS_EFF && a->quantity != QUANTITY_LOSS) || !isfinite(cal->gamma_im[i]) ||
            used + 20 > sizeof to->reason)
                return;
        double complex gl = CMPLX(cal->gamma_re[i], cal->gamma_im[i]) * a->ch->line_m;
        double lines = asked_value(a, gl);
        if (a->quantity == QUANTITY_LOSS)
                snprintf(to->reason + used, sizeof to->reason - used, "%sthe calibration's lines: %.4g", used ? "; " : "", lines);
        else
                snprintf(to->reason + used, sizeof to->reason - used, "%sthe calibration's lines: %.4f, as if it were %.2g um %s",
                         used ? "; " : "", lines, fabs(sqrt(to->value / lines) - 1) * fabs(a->ch->line_m) * 1e6,
                         to->value < lines ? "shorter" : "longer");
}

double asked_share_at(const struct asked *a, double hz)
{
        struct asked at = *a;
        struct trio t;
        struct cause_list list = {.n = 0};
        size_t j;
        double gain, u, u95;
        at.hz = hz;
        if (chain_between(a->ch, hz, &t, &j, &gain, NULL))
                return INFINITY;
        double complex z = asked_z(&at, &t);
        causes_of(&at, &t, j, gain, &list);
        budget_close(&list, &u, &u95, NULL);
        return rf_share_of(asked_share(&at), asked_value(&at, z), asked_bend(&at, &t, z, u95));
}

static void best_says(const struct asked *a, struct parameter_answer *to)
{
        size_t used = strlen(to->reason);
        snprintf(to->reason + used, sizeof to->reason - used, "%sread at %.4g GHz, best resolved from %.4g to %.4g GHz", used ? "; " : "",
                 a->hz / 1e9, to->lo_hz / 1e9, to->hi_hz / 1e9);
}

void answer_without(const struct parameter_plan *plan, const struct tp_error *why, struct parameter_answer *to)
{
        *to = (struct parameter_answer){.plan = plan, .plane = plane_words[PLANE_DEVICE]};
        snprintf(to->budget, sizeof to->budget, "{}");
        answer_fail(to, why);
}

/* A number at one frequency, and what moves it.  *ret_z, *ret_at, *ret_j: the point it was taken from; false: *to says why there is none. */
static bool answer_point(struct asked *a, double most, struct parameter_answer *to, struct cause_list *list, struct trio *ret_at,
                         double complex *ret_z, size_t *ret_j)
{
        struct tp_error err = {0};
        double gain;
        if (to->plan->at == AT_BEST_WINDOW) {
                if (!best_window(a, most, &to->lo_hz, &to->hi_hz)) {
                        answer_refuse(to, "not resolvable at any frequency of the sweep");
                        return false;
                }
                a->hz = sqrt(to->lo_hz * to->hi_hz);
                to->has_range = true;
        }
        if (asked_branch(a, &err) || chain_between(a->ch, a->hz, ret_at, ret_j, &gain, &err)) {
                answer_fail(to, &err);
                return false;
        }
        *ret_z = asked_z(a, ret_at);
        to->value = asked_value(a, *ret_z);
        to->has_value = isfinite(to->value);
        if (to->has_value)
                causes_of(a, ret_at, *ret_j, gain, list);
        else
                answer_refuse(to, a->rf ? rf_quantities[a->rf].nan_say : "the device shows nothing to compute it from at this frequency");
        return to->has_value;
}

/* The same for what the whole sweep gives. */
static bool answer_sweep(struct asked *a, double most, struct parameter_answer *to, struct cause_list *list, struct curve *curve)
{
        struct tp_error err = {0};
        int32_t element = quantity_extrinsic(to->plan->quantity);
        if (element >= 0) {
                *list = a->ch->leads->of[element];
                to->value = a->ch->leads->x.value[element];
                to->has_value = true;
        } else if (a->quantity == QUANTITY_SRF) {
                answer_srf(a, to, list, curve, &err);
        } else if (a->rf == RF_Q_GROUP_DELAY) {
                answer_group_delay(a, to, list, &err);
        } else if (asked_branch(a, &err)) {
                answer_fail(to, &err);
        } else if (a->rf >= RF_Q_Q11_MAX) {
                answer_peak(a, most, to, list);
        } else {
                answer_plateau(a, most, to, list, curve, &err);
        }
        return to->has_value;
}

/* Mostly what lies between the sweep's points: nobody has measured that. */
static bool is_between(const struct cause_list *list, double u)
{
        double between = 0;
        for (size_t k = 0; k < list->n; k++)
                between += strcmp(list->name[k], CAUSE_INTERPOLATION) ? 0 : list->dq[k] * list->dq[k];
        return between > 0.5 * u * u;
}

static bool answer_resolved(const struct asked *a, double most, const struct cause_list *list, struct parameter_answer *to)
{
        char text[120];
        double share = rf_share_of(asked_share(a), to->value, to->u95);
        if (!isfinite(to->u95)) {
                const char *cause = cause_unbounded(list);
                snprintf(text, sizeof text, "not resolvable: its uncertainty has no bound at this frequency%s%.40s%s", cause ? " (" : "",
                         cause ? cause : "", cause ? ")" : "");
        } else if (!rf_resolvable(share, most)) {
                snprintf(text, sizeof text, "not resolvable: u95 is %.3g %% of the value, at most %.3g %% is asked", 100 * share,
                         100 * most);
                to->has_range = false;
        } else {
                return true;
        }
        answer_refuse(to, text);
        return false;
}

void answer_one(const struct chain *ch, const struct parameter_plan *plan, struct parameter_answer *to)
{
        struct cause_list list = {.n = 0};
        struct curve curve = {.node_n = 0};
        struct trio t;
        double complex z = 0;
        size_t j = 0;
        struct asked a = {.ch = ch,
                          .quantity = plan->quantity,
                          .rf = (enum rf_quantity)quantity_rf(plan->quantity),
                          .hz = plan->freq_hz,
                          .view = ch->q->measure->contact.family == 3 ? VIEW_SINGLE : VIEW_SERIES};
        double most = plan->resolve_share_max > 0 ? plan->resolve_share_max : RF_SHARE_MAX;
        bool whole = quantity_of_sweep(plan->quantity);
        if (a.rf == RF_Q_SRF11 || a.rf == RF_Q_SRFD) { /* the same search in another view */
                a.view = a.rf == RF_Q_SRF11 ? VIEW_SINGLE : VIEW_DIFFERENTIAL;
                a.quantity = QUANTITY_SRF;
                a.rf = RF_Q_UNKNOWN;
        }
        whole = whole || a.rf == RF_Q_GROUP_DELAY;
        *to = (struct parameter_answer){
                .plan = plan,
                .value = NAN,
                .u95 = NAN,
                .verdict = "none",
                .plane = plane_words[ch->method == RF_DEEMBED_UNKNOWN && !ch->around ? ch->cal->terms.plane : PLANE_DEVICE]};
        snprintf(to->budget, sizeof to->budget, "{}");
        if (whole ? !answer_sweep(&a, most, to, &list, &curve) : !answer_point(&a, most, to, &list, &t, &z, &j))
                return;
        double u;
        cause_of_temperature(ch, plan, asked_share(&a), to->value, &list);
        budget_close(&list, &u, &to->u95, to->budget);
        if (is_between(&list, u)) {
                char text[120];
                snprintf(text, sizeof text, "the sweep's points around %.4g GHz lie too far apart to read between them; ask at a point",
                         a.hz / 1e9);
                answer_refuse(to, text);
                return;
        }
        bool drawn = isfinite(u) && curve.node_n > 2 && curve_drawn(&curve, &list, u, to->u95, &to->u95);
        if (!whole)
                to->u95 = asked_bend(&a, &t, z, to->u95);
        if (!answer_resolved(&a, most, &list, to))
                return;
        judge(to, to->u95 / 2);
        if (drawn)
                drawn_says(to);
        line_says(&a, j, to);
        if (plan->at == AT_BEST_WINDOW)
                best_says(&a, to);
        else if (!whole)
                answer_range(&a, most, to);
}
