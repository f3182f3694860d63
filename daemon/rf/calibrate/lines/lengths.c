/* lengths.c: which lines are not as long as told (lines.h).
 * Problem     One wrong line bends the regression that all are judged by, so that right ones look wrong, too: 40 um of one make 10 um of
 *             another.
 * Idea        What the lines miss (judge.c) is a straight line over their lengths, which gamma and the planes take up, plus the errors of
 *             the wrong ones.  With lines left out of the regression all are judged by the rest: the kept ones by leaving each out in turn
 *             (residual over 1 - leverage), the others as they are.  First all are kept; where some come out wrong, the one is left out
 *             whose leaving out explains most, and so on until the kept ones are right or no more than three are left.
 * Scale       gamma was found with the wrong length, too: the straight line of the kept ones has a slope, by which it is off.  A phase divided
 *             by gamma times 1 + slope is a length.
 * Errors      of an error: the noise of its mean over frequency; what its means over eight parts of the band differ beyond that, for a length
 *             is the same at all frequencies and what is not so is not averaged away; and what the others, judged by themselves, disagree by,
 *             as far as their regression carries it to this line.  The last is said with the error, but accuses no less: it cannot be told
 *             of three lines, and one wrong line that is not yet left out would hide behind it.
 * Cannot      Three lines say that one of them is wrong, not which: each explains all.  Of four and more it may happen that leaving out either
 *             of two leaves the rest right.  A common offset and a common scale of all lengths cannot be seen.
 * Limits      5 um and 5 standard errors: a line touched with care repeats to 2 or 3 um (common practice, no source). */
#include "rf/calibrate/lines/lines.h"
#include <math.h>
#include <string.h>

#define WRONG_M 5e-6
#define WRONG_ERRORS 5.0
#define TURN_MAX 0.8 /* rad: beyond it a line may have lost half a turn */
enum { KEPT_LEAST = 3 /* two lines always agree */, PARTS = 8 };
#define BEYOND_CHANCE 4.0 /* F of seven degrees of freedom over many: 1 in 4000 */

/* What is heard of all lines: what each misses by all others, at each frequency, and how far its length leaves that to them. */
struct heard {
        size_t n, line_n;
        const struct line_solution *solution;
        double *const *miss; /* NaN: cannot be told, of any */
        double length_m[RF_STANDARD_MAX], rest[RF_STANDARD_MAX];
};
struct judged {
        double error_m[RF_STANDARD_MAX], u_m[RF_STANDARD_MAX]; /* u: by frequency alone */
        double all_u_m[RF_STANDARD_MAX];                       /* with what the others disagree */
};

static bool in(unsigned set, size_t k) { return set >> k & 1u; }

/* With the lines of a set left out: residual of line k = sum of weight[k][m] y[m] over what each misses, y up to a straight line; its error
   is that over rest[k], 1 - leverage (NaN: nothing but the line itself tells, as where all others have one length). */
struct regression {
        double weight[RF_STANDARD_MAX][RF_STANDARD_MAX], rest[RF_STANDARD_MAX];
        double slope[RF_STANDARD_MAX]; /* of the straight line, per y: 0 over all where gamma was found from all */
};
static void regress(const double *length_m, size_t n, unsigned left_out, struct regression *r)
{
        double count = 0, mean = 0, spread = 0;
        for (size_t k = 0; k < n; k++)
                count += !in(left_out, k);
        for (size_t k = 0; k < n; k++)
                mean += in(left_out, k) ? 0 : length_m[k] / count;
        for (size_t k = 0; k < n; k++)
                spread += in(left_out, k) ? 0 : (length_m[k] - mean) * (length_m[k] - mean);
        for (size_t k = 0; k < n; k++) {
                double off = length_m[k] - mean;
                r->slope[k] = in(left_out, k) || left_out == 0 ? 0 : off / spread;
                r->rest[k] = in(left_out, k) ? 1 : 1 - (1 / count + off * off / spread);
                for (size_t m = 0; m < n; m++) {
                        double through = in(left_out, m) ? 0 : 1 / count + off * (length_m[m] - mean) / spread;
                        r->weight[k][m] = (k == m) - through;
                }
                r->rest[k] = r->rest[k] > 1e-9 ? r->rest[k] : NAN;
        }
}

/* y of line m from what it misses by all others. */
static double missed(const struct heard *h, size_t m, double by_others) { return isnan(h->rest[m]) ? 0 : h->rest[m] * by_others; }

/* Errors from the means of what all miss; returns the kept ones' sum of squared residuals. */
static double errors_of(const struct heard *h, const struct judged *by_all, unsigned left_out, double *ret_error_m)
{
        struct regression r;
        double sum = 0, slope = 0;
        regress(h->length_m, h->line_n, left_out, &r);
        for (size_t m = 0; m < h->line_n; m++)
                slope += r.slope[m] * missed(h, m, by_all->error_m[m]);
        for (size_t k = 0; k < h->line_n; k++) {
                double residual = 0;
                for (size_t m = 0; m < h->line_n; m++)
                        residual += r.weight[k][m] * missed(h, m, by_all->error_m[m]);
                ret_error_m[k] = residual / r.rest[k] / (1 + slope);
                sum += in(left_out, k) ? 0 : residual * residual;
        }
        return sum;
}

/* The noise of a phase is a length through gamma; 0: not heard. */
static double weight_at(const struct heard *h, size_t i)
{
        const struct line_solution *s = &h->solution[i];
        double weight = creal(s->g) * creal(s->g) + cimag(s->g) * cimag(s->g);
        bool good = s->nstd <= LINES_NSTD_LIMIT;
        for (size_t k = 0; k < h->line_n && good; k++) {
                double y = h->rest[k] * h->miss[k][i];
                good = isnan(h->rest[k]) || y * y * weight < TURN_MAX * TURN_MAX;
        }
        return good ? weight : 0;
}

/* One line's error at each good frequency, summed in parts of the band with as many of these each. */
struct over_band {
        double weight[PARTS], sum[PARTS], square[PARTS];
        size_t n, taken; /* good frequencies, and of them so far */
};
static void take_in(struct over_band *o, double weight, double error_m)
{
        size_t part = o->taken++ * PARTS / o->n;
        o->weight[part] += weight;
        o->sum[part] += weight * error_m;
        o->square[part] += weight * error_m * error_m;
}
/* Standard error of the mean: of noise, and of what goes with frequency beyond it. */
static double u_over(const struct over_band *o)
{
        double weight = 0, sum = 0, within = 0, between = 0;
        for (size_t b = 0; b < PARTS; b++) {
                weight += o->weight[b];
                sum += o->sum[b];
        }
        for (size_t b = 0; b < PARTS && o->n > 2 * PARTS; b++) {
                double mean = o->sum[b] / o->weight[b];
                within += fmax(o->square[b] - mean * o->sum[b], 0) / (double)(o->n - PARTS);
                between += o->weight[b] * pow(mean - sum / weight, 2) / (PARTS - 1);
        }
        if (between > BEYOND_CHANCE * within)
                return sqrt((within + PARTS * (between - within)) / weight);
        double scatter = 0;
        for (size_t b = 0; b < PARTS; b++)
                scatter += o->square[b] - sum / weight * o->sum[b];
        return sqrt(fmax(scatter, 0) / weight / (double)(o->n - 1));
}

static size_t good_n(const struct heard *h)
{
        size_t n = 0;
        for (size_t i = 0; i < h->n; i++)
                n += weight_at(h, i) > 0;
        return n;
}

/* What the kept lines but k disagree by, carried to k by their regression: of residuals res and 1 - leverage of each; NaN: they are two. */
static double u_by_others(const struct heard *h, const struct judged *by_all, unsigned left_out, size_t k)
{
        struct regression r;
        double error[RF_STANDARD_MAX], kept = 0;
        unsigned others = left_out | 1u << k;
        double squares = errors_of(h, by_all, others, error);
        regress(h->length_m, h->line_n, others, &r);
        for (size_t m = 0; m < h->line_n; m++)
                kept += !in(others, m);
        double carried = 0;
        for (size_t m = 0; m < h->line_n; m++)
                carried += m == k ? 0 : r.weight[k][m] * r.weight[k][m];
        return kept > 2 ? sqrt(squares / (kept - 2) * carried) : NAN;
}

static void add_others(const struct heard *h, const struct judged *by_all, unsigned left_out, struct judged *ret)
{
        for (size_t k = 0; k < h->line_n; k++) {
                double others = u_by_others(h, by_all, left_out, k);
                ret->all_u_m[k] = !isfinite(others) ? ret->u_m[k] : hypot(ret->u_m[k], others);
        }
}

/* By all: weighted means over the good frequencies and their standard errors; false: too little is heard. */
static bool judge_by_all(const struct heard *h, struct judged *ret)
{
        size_t n = good_n(h);
        if (n < 2)
                return false;
        for (size_t k = 0; k < h->line_n; k++) {
                struct over_band o = {.n = n};
                double sum = 0, weight = 0;
                for (size_t i = 0; i < h->n; i++) {
                        double w = weight_at(h, i);
                        sum += w > 0 ? w * h->miss[k][i] : 0;
                        weight += w;
                }
                ret->error_m[k] = sum / weight;
                for (size_t i = 0; i < h->n; i++) {
                        double w = weight_at(h, i);
                        if (w > 0) /* about the mean: digits */
                                take_in(&o, w, h->miss[k][i] - ret->error_m[k]);
                }
                ret->u_m[k] = u_over(&o);
        }
        add_others(h, ret, 0, ret);
        return true;
}

/* The same by those that are not left out. */
static void judge_without(const struct heard *h, const struct judged *by_all, unsigned left_out, struct judged *ret)
{
        struct regression r;
        struct over_band over[RF_STANDARD_MAX];
        double slope = 0;
        size_t n = good_n(h);
        errors_of(h, by_all, left_out, ret->error_m);
        regress(h->length_m, h->line_n, left_out, &r);
        for (size_t m = 0; m < h->line_n; m++)
                slope += r.slope[m] * missed(h, m, by_all->error_m[m]);
        for (size_t k = 0; k < h->line_n; k++)
                over[k] = (struct over_band){.n = n};
        for (size_t i = 0; i < h->n; i++) {
                double w = weight_at(h, i);
                for (size_t k = 0; k < h->line_n && w > 0; k++) {
                        double residual = 0;
                        for (size_t m = 0; m < h->line_n; m++)
                                residual += r.weight[k][m] * missed(h, m, h->miss[m][i]);
                        take_in(&over[k], w, residual / r.rest[k] / (1 + slope) - ret->error_m[k]);
                }
        }
        for (size_t k = 0; k < h->line_n; k++)
                ret->u_m[k] = u_over(&over[k]);
        add_others(h, by_all, left_out, ret);
}

static bool wrong(const struct judged *j, size_t k)
{
        return fabs(j->error_m[k]) > WRONG_M && fabs(j->error_m[k]) > WRONG_ERRORS * j->u_m[k];
}
static bool kept_are_right(const struct judged *j, size_t n, unsigned left_out)
{
        for (size_t k = 0; k < n; k++)
                if (!in(left_out, k) && wrong(j, k))
                        return false;
        return true;
}

/* One more is left out: the one that explains most. */
static unsigned leave_out_one(const struct heard *h, const struct judged *by_all, unsigned left_out)
{
        double least = INFINITY, unused[RF_STANDARD_MAX];
        unsigned best = left_out;
        for (size_t k = 0; k < h->line_n; k++) {
                unsigned set = left_out | 1u << k;
                double sum = in(left_out, k) ? INFINITY : errors_of(h, by_all, set, unused);
                if (sum < least) {
                        least = sum;
                        best = set;
                }
        }
        return best;
}

static void say(const struct problem *p, const struct line_set *ln, const struct judged *j, size_t k, const char *how, struct diagnosis *d)
{
        const struct rf_standard *s = &p->standards[ln->at[k]];
        diagnosis_warn(d, "%s looks %.1f um %s than told (%.6g um, standard error %.2g um; %s): check its length or how it was touched",
                       standard_name(s), fabs(j->error_m[k]) * 1e6, j->error_m[k] > 0 ? "longer" : "shorter", s->length_m * 1e6,
                       j->all_u_m[k] * 1e6, how);
}

/* Another one whose leaving out leaves the rest right as well: then nobody can tell which of the two it is. */
static bool say_either(const struct problem *p, const struct line_set *ln, const struct heard *h, const struct judged *by_all,
                       unsigned left_out, const struct judged *without, struct diagnosis *d)
{
        for (size_t k = 0; k < ln->n; k++) {
                struct judged other;
                if (in(left_out, k))
                        continue;
                judge_without(h, by_all, 1u << k, &other);
                if (!kept_are_right(&other, ln->n, 1u << k))
                        continue;
                for (size_t l = 0; l < ln->n; l++)
                        if (in(left_out, l))
                                diagnosis_warn(
                                        d,
                                        "either %s is %.1f um %s than told or %s %.1f um %s: the other lines cannot tell which; check "
                                        "both lengths and touches",
                                        standard_name(&p->standards[ln->at[l]]), fabs(without->error_m[l]) * 1e6,
                                        without->error_m[l] > 0 ? "longer" : "shorter", standard_name(&p->standards[ln->at[k]]),
                                        fabs(other.error_m[k]) * 1e6, other.error_m[k] > 0 ? "longer" : "shorter");
                return true;
        }
        return false;
}

void lines_judge_lengths(const struct problem *p, const struct line_set *ln, const struct line_solution *solution,
                         const struct line_judgement *judgement, struct diagnosis *d)
{
        struct heard h = {.n = p->axis->n, .line_n = ln->n, .solution = solution, .miss = judgement->length_error_m};
        struct regression all;
        struct judged by_all, j;
        unsigned left_out = 0, left_n = 0;
        for (size_t k = 0; k < ln->n; k++)
                h.length_m[k] = p->standards[ln->at[k]].length_m;
        regress(h.length_m, ln->n, 0, &all);
        memcpy(h.rest, all.rest, sizeof h.rest);
        if (ln->n < KEPT_LEAST || !judge_by_all(&h, &by_all))
                return;
        j = by_all;
        while (!kept_are_right(&j, ln->n, left_out) && ln->n - left_n > KEPT_LEAST) {
                left_out = leave_out_one(&h, &by_all, left_out);
                left_n++;
                judge_without(&h, &by_all, left_out, &j);
        }
        bool told = kept_are_right(&j, ln->n, left_out);
        if (!told) { /* more than the lines can tell apart: as each looks by all others */
                j = by_all;
                left_out = 0;
        }
        for (size_t k = 0; k < ln->n; k++) {
                d->line_length_error_m[ln->at[k]] = j.error_m[k];
                d->line_length_u_m[ln->at[k]] = j.all_u_m[k];
        }
        if (left_n == 1 && told && say_either(p, ln, &h, &by_all, left_out, &j, d))
                return;
        for (size_t k = 0; k < ln->n; k++)
                if (told ? in(left_out, k) : wrong(&j, k))
                        say(p, ln, &j, k,
                            told ? "against the other lines, which agree; a common offset or scale is not seen"
                            : ln->n == KEPT_LEAST
                                    ? "three lines say that one is wrong, not which; a common offset or scale is not seen"
                                    : "against the other lines, which do not agree either; a common offset or scale is not seen",
                            d);
}
