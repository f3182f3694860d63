/* coverage_tally.c: answers against the truth (coverage.h). */
#include "tests/judges/coverage.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The part of a binomial share of n with p = 0.95 that lies within all but `alpha` of each tail. */
static void binomial_limits(size_t n, double alpha, double *ret_low, double *ret_high)
{
        double log_p = log(0.95), log_q = log(0.05), below = 0, above = 0;
        size_t low = 0, high = n;
        for (size_t k = 0; k <= n; k++) {
                below += exp(lgamma((double)n + 1) - lgamma((double)k + 1) - lgamma((double)(n - k) + 1) + (double)k * log_p +
                             (double)(n - k) * log_q);
                if (below > alpha)
                        break;
                low = k + 1;
        }
        for (size_t k = n;; k--) {
                above += exp(lgamma((double)n + 1) - lgamma((double)k + 1) - lgamma((double)(n - k) + 1) + (double)k * log_p +
                             (double)(n - k) * log_q);
                if (above > alpha)
                        break;
                high = k - 1;
        }
        *ret_low = fmin(0.93, (double)low / (double)n);
        *ret_high = fmax(0.97, (double)high / (double)n);
}

void count(struct tallies *all, const struct station *st, const struct measure *me, const struct sim_device *device,
           const struct parameter_answer *a, const struct parameter_plan *p)
{
        struct tally *t = all->of;
        while (t < all->of + all->n && (strcmp(t->name, p->name) || strcmp(t->device, me->device)))
                t++;
        if (t == all->of + all->n) {
                if (all->n == PARAMETERS_MAX)
                        return;
                all->n++;
                t->name = p->name;
                t->device = me->device;
        }
        struct true_at at = at_condition(&st->scenario, me, 0);
        at.hz = p->at == AT_BEST_WINDOW ? sqrt(a->lo_hz * a->hi_hz) : p->freq_hz;
        enum true_quantity quantity = true_quantity_of(quantity_words[p->quantity]);
        at.inside = me->has_extrinsic && true_is_of_inside(quantity);
        double want = true_value_at(device, quantity, &at);
        double e = a->has_value ? (a->value - want) / a->u95 : NAN;
        if (!isfinite(e)) {
                t->refused++;
                memcpy(t->reason, a->reason, sizeof t->reason);
                return;
        }
        t->n++;
        t->within += fabs(e) <= 1;
        t->far += fabs(e) > 3;
        t->squares += 4 * e * e;
        t->sum += 2 * e;
        t->worst = fmax(t->worst, fabs(e));
        t->u95_share += a->u95 / fabs(a->value);
        memcpy(t->budget, a->budget, sizeof t->budget);
        if (getenv("FAR") && fabs(e) > atof(getenv("FAR")))
                printf("seed %lld die %d,%d %s %s: %.9g truth %.9g error/u95 %.2f %s\n", (long long)st->scenario.seed, device->die_x,
                       device->die_y, me->device, p->name, a->value, want, e, a->budget);
}

size_t report(const struct tallies *all, char **words, int word_n, size_t touches, int first)
{
        const bool weak = getenv("WEAK") != NULL;
        size_t failed = 0, told = 0;
        printf("%-6s %-10s %5s %7s %13s %6s %6s %6s %7s %3s %8s  %s\n", "device", "parameter", "n", "within", "limits", "s(e/u)", "m(e/u)",
               "worst", "refused", ">3", "u95 %", "budget in % (last)");
        for (size_t k = 0; k < all->n; k++) {
                const struct tally *t = &all->of[k];
                double n = (double)t->n, share = (double)t->within / n, low = NAN, high = NAN;
                if (t->n)
                        binomial_limits(t->n, 0.01 / 2 / (double)all->n, &low, &high);
                bool good = share >= low && share <= high && t->far * 500 <= t->n && t->refused * 20 <= touches;
                if (weak) /* what cannot be told is refused, and nothing that is told is wrong */
                        good = !t->far && (!t->n || share >= low);
                told += t->refused * 20 <= touches;
                failed += !good;
                printf("%-6s %-10s %5zu %7.3f %6.3f-%.3f %6.2f %6.2f %6.2f %7zu %3zu %8.3g  %s%s%s\n", t->device, t->name, t->n, share, low,
                       high, sqrt(t->squares / n), t->sum / n, t->worst, t->refused, t->far, 100 * t->u95_share / n, t->budget,
                       t->refused ? t->reason : "", good ? "" : "   FAILED");
        }
        printf("%zu sweeps evaluated at %.2f ms; repeat: coverage %s %s %zu %d", all->sweeps, 1e3 * all->seconds / (double)all->sweeps,
               words[0], words[1], touches, first);
        for (int k = 4; k < word_n; k++)
                printf(" %s", words[k]);
        putchar('\n');
        failed += weak && !told; /* refusing everything is no answer */
        printf("%zu passed, %zu failed, 0 skipped\n", all->n - failed, failed);
        return failed + (all->n == 0);
}
