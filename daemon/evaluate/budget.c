/* budget.c: from a list of causes to u and its 95 % half width; the shares as text are budget_json.c's.
 * Sources     JCGM 100:2008 5.1.2 (sum of squares of independent causes), G.4 (Welch-Satterthwaite, t factor).
 * Note        entries are signed vectors of one standard uncertainty each; what moves device, open and short
 *             together was added up before it came here. */
#include "evaluate/inside.h"
#include "rf/numbers/probability.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

void cause_add_of(struct cause_list *list, enum cause_scope scope, const char *name, double dq, double nu)
{
        if (list->n == CAUSE_LIST_MAX) /* one that does nothing keeps its place: cause_add_coherent() counts */
                return;
        list->name[list->n] = name;
        list->scope[list->n] = scope;
        list->dq[list->n] = dq;
        list->rectangular[list->n] = false;
        list->nu[list->n++] = nu;
}

void cause_add(struct cause_list *list, const char *name, double dq, double nu) { cause_add_of(list, SCOPE_SHARED, name, dq, nu); }

void cause_add_rectangular(struct cause_list *list, const char *name, double dq)
{
        size_t n = list->n;
        cause_add(list, name, dq, INFINITY);
        if (list->n > n)
                list->rectangular[n] = true;
}

double cause_add_coherent(struct cause_list *sum, const struct cause_list *one, double weight)
{
        double noise = 0;
        for (size_t k = 0; k < one->n; k++) {
                size_t ordinal = 0, at = 0;
                if (strncmp(one->name[k], "noise", 5) == 0) {
                        noise += one->dq[k] * one->dq[k];
                        continue;
                }
                for (size_t i = 0; i < k; i++)
                        ordinal += one->name[i] == one->name[k];
                for (; at < sum->n; at++)
                        if (sum->name[at] == one->name[k] && ordinal-- == 0)
                                break;
                if (at == sum->n && at == CAUSE_LIST_MAX)
                        continue;
                if (at == sum->n) {
                        sum->name[sum->n] = one->name[k];
                        sum->scope[sum->n] = one->scope[k];
                        sum->dq[sum->n] = 0;
                        sum->rectangular[sum->n] = one->rectangular[k];
                        sum->nu[sum->n++] = one->nu[k];
                }
                sum->dq[at] += weight * one->dq[k];
                sum->nu[at] = fmin(sum->nu[at], one->nu[k]);
        }
        for (size_t k = 0; k < one->not_counted_n; k++)
                cause_not_counted(sum, one->not_counted[k]);
        return weight * weight * noise;
}

const char *cause_unbounded(const struct cause_list *list)
{
        for (size_t k = 0; k < list->n; k++)
                if (!isfinite(list->dq[k]))
                        return list->name[k];
        return NULL;
}

void cause_not_counted(struct cause_list *list, const char *name)
{
        for (size_t k = 0; k < list->not_counted_n; k++)
                if (strcmp(list->not_counted[k], name) == 0)
                        return;
        if (list->not_counted_n < NOT_COUNTED_MAX)
                list->not_counted[list->not_counted_n++] = name;
}

double student_95(double nu) { return student_two_sided(0.95, nu >= 1 ? nu : 1); }

void budget_close(const struct cause_list *list, double *ret_u, double *ret_u95, char json[BUDGET_ROOM])
{
        double sum = 0, lower = 0, flat = 0;
        for (size_t k = 0; k < list->n; k++) {
                double v = list->dq[k] * list->dq[k];
                sum += v;
                flat += list->rectangular[k] ? v * v : 0;
                if (isfinite(list->nu[k]))
                        lower += v * v / list->nu[k];
        }
        double factor = lower > 0 ? fmax(2, student_95(sum * sum / lower)) : 2, share = sqrt(flat) / sum;
        if (share > 0.05) /* below, the shape changes the factor by less than 1e-4 */
                factor *= rectangular_two_sided(0.95, fmin(1, share)) / rectangular_two_sided(0.95, 0);
        *ret_u = sqrt(sum);
        *ret_u95 = factor * *ret_u;
        if (json && sum > 0 && isfinite(sum))
                budget_json(list, sum, json);
        else if (json)
                snprintf(json, BUDGET_ROOM, "{}");
}
