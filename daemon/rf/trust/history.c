/* history.c: descriptors of error terms and their charts (history.h).
 * Tracking    ln(ER/ER_first) = 2 (-loss/8.686 sqrt(f/f_top) - j w tau): two fits through the origin, the phase followed from the lowest
 *             frequency; own derivation, checked by terms with delay and loss put in.
 * Directivity in dB of its rms: what a reflection before the coupler does, whatever its phase.
 */
#include "rf/trust/history.h"
#include "rf/numbers/robust.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static double complex term(const struct terms *t, enum term k, size_t i) { return CMPLX(t->re[k][i], t->im[k][i]); }
static double power(double complex z) { return creal(z) * creal(z) + cimag(z) * cimag(z); }

static void track(const struct terms *now, const struct terms *first, int port, struct rf_descriptors *ret)
{
        enum term k = port == 0 ? TERM_ERF : TERM_ERR;
        double top = now->axis->hz[now->axis->n - 1];
        double loss = 0, loss_w = 0, delay = 0, delay_w = 0, left = 0, n = 0;
        for (int pass = 0; pass < 2; pass++) {
                double last = 0, turn = 0;
                size_t j = 0;
                for (size_t i = 0; i < now->axis->n; i++) {
                        double hz = now->axis->hz[i], w = RF_TWO_PI * hz;
                        while (j + 1 < first->axis->n && first->axis->hz[j] < hz * (1 - 1e-12))
                                j++;
                        double complex l =
                                fabs(first->axis->hz[j] - hz) <= 1e-12 * hz ? clog(term(now, k, i) / term(first, k, j)) : CMPLX(NAN, NAN);
                        if (!isfinite(creal(l)) || !isfinite(cimag(l)))
                                continue;
                        double phase = cimag(l) + turn;
                        while (phase - last > RF_PI)
                                phase -= RF_TWO_PI, turn -= RF_TWO_PI;
                        while (phase - last < -RF_PI)
                                phase += RF_TWO_PI, turn += RF_TWO_PI;
                        last = phase;
                        double g = -2 / RF_DB_PER_NEPER * sqrt(hz / top);
                        if (pass == 0) {
                                loss += creal(l) * g;
                                loss_w += g * g;
                                delay += phase * -2 * w;
                                delay_w += 4 * w * w;
                                n++;
                        } else {
                                left += power(CMPLX(creal(l) - g * ret->loss_db[port], phase + 2 * w * ret->delay_s[port]));
                        }
                }
                if (pass == 0) {
                        ret->loss_db[port] = loss_w > 0 ? loss / loss_w : NAN;
                        ret->delay_s[port] = delay_w > 0 ? delay / delay_w : NAN;
                } else {
                        ret->left[port] = n > 0 ? sqrt(left / n) : NAN;
                }
        }
}

enum code rf_describe(const struct terms *t, const struct terms *first, const double *edges, size_t edge_n, struct rf_descriptors *ret,
                      struct tp_error *err)
{
        static const double standard[] = {0, 1e8, 1e9, 10e9, 30e9, 54e9, 80e9, 110e9, 145e9, 1e13};
        static const enum term ed[2] = {TERM_EDF, TERM_EDR}, es[2] = {TERM_ESF, TERM_ESR}, er[2] = {TERM_ERF, TERM_ERR},
                               el[2] = {TERM_ELR, TERM_ELF};
        if (t->model == TERMS_UNKNOWN || (first && first->model == TERMS_UNKNOWN))
                return tp_fail(err, CODE_BAD_INPUT, "history: terms that were never solved have no descriptors");
        if (!edges) {
                edges = standard;
                edge_n = sizeof standard / sizeof standard[0];
        }
        if (edge_n < 2 || edge_n > RF_HISTORY_BANDS + 1)
                return tp_fail(err, CODE_BAD_INPUT, "history: %zu limits make no 1 to %d bands", edge_n, RF_HISTORY_BANDS);
        for (size_t k = 1; k < edge_n; k++)
                if (!(edges[k] > edges[k - 1]))
                        return tp_fail(err, CODE_BAD_INPUT, "history: the bands' limits must rise; limit %zu is %.9g Hz", k, edges[k]);
        memset(ret, 0, sizeof *ret);
        ret->band_n = edge_n - 1;
        for (size_t b = 0; b < ret->band_n; b++) {
                struct rf_descriptor_band *to = &ret->band[b];
                to->from_hz = edges[b];
                to->to_hz = edges[b + 1];
                for (int p = 0; p < 2; p++) {
                        double d = 0, s = 0, l = 0, r = 0, n = 0, n_load = 0;
                        for (size_t i = 0; i < t->axis->n; i++) {
                                if (!(t->axis->hz[i] >= edges[b] && t->axis->hz[i] < edges[b + 1]))
                                        continue;
                                double here = power(term(t, ed[p], i)) + power(term(t, es[p], i)) + power(term(t, er[p], i));
                                if (!isfinite(here))
                                        continue;
                                n++;
                                d += power(term(t, ed[p], i));
                                s += power(term(t, es[p], i));
                                r += 5 * log10(power(term(t, er[p], i))); /* one way: half of the dB */
                                if (isfinite(power(term(t, el[p], i)))) {
                                        l += power(term(t, el[p], i));
                                        n_load++;
                                }
                        }
                        to->directivity_db[p] = n > 0 ? 10 * log10(d / n) : NAN;
                        to->match_db[p] = n > 0 ? 10 * log10(s / n) : NAN;
                        to->tracking_db[p] = n > 0 ? r / n : NAN;
                        to->load_db[p] = n_load > 0 ? 10 * log10(l / n_load) : NAN;
                }
        }
        for (int p = 0; p < 2; p++) {
                if (first)
                        track(t, first, p, ret);
                else
                        ret->delay_s[p] = ret->loss_db[p] = ret->left[p] = NAN;
        }
        return CODE_OK;
}

/* ---- the history -------------------------------------------------------------------------------------------------------------------- */
enum { FIGURES = 4, SERIES_MOST = RF_HISTORY_BANDS * FIGURES * 2 + 4 };
struct series {
        char name[80];
        const char *unit;
        double scale, s_least, gross; /* of the figure in its unit: what means nothing; what is gross without a chart */
        const char *cause;
};

static double figure_of(const struct rf_descriptors *d, size_t k, struct series *as)
{
        static const char *const words[FIGURES] = {"directivity", "source match", "load match", "tracking"};
        static const char *const causes[FIGURES] = {"a loose connector or module of that band, or a worn probe",
                                                    "the probe's tip or its connector", "the other port's switch or its connector",
                                                    "a cable or connector loses"};
        size_t band_figures = d->band_n * FIGURES * 2;
        if (k < band_figures) {
                size_t b = k / (FIGURES * 2), f = k / 2 % FIGURES, p = k % 2;
                const struct rf_descriptor_band *at = &d->band[b];
                const double *of[FIGURES] = {at->directivity_db, at->match_db, at->load_db, at->tracking_db};
                if (as) {
                        if (at->to_hz > 1e12)
                                snprintf(as->name, sizeof as->name, "%s of port %zu above %.3g GHz", words[f], p + 1, at->from_hz / 1e9);
                        else
                                snprintf(as->name, sizeof as->name, "%s of port %zu, %.3g to %.3g GHz", words[f], p + 1, at->from_hz / 1e9,
                                         at->to_hz / 1e9);
                        as->unit = "dB";
                        as->scale = 1;
                        as->s_least = f == 3 ? 0.02 : 0.2;
                        as->gross = f == 3 ? 1 : 3;
                        as->cause = causes[f];
                }
                return of[f][p];
        }
        size_t p = (k - band_figures) % 2;
        bool loss = k - band_figures >= 2;
        if (as) {
                snprintf(as->name, sizeof as->name, "%s of port %zu since its first calibration", loss ? "loss" : "delay", p + 1);
                as->unit = loss ? "dB" : "fs";
                as->scale = loss ? 1 : 1e15;
                as->s_least = loss ? 0.01 : 5;
                as->gross = loss ? 1 : 3000;
                as->cause = loss ? "a cable or connector loses" : "a cable or connector has moved";
        }
        return loss ? d->loss_db[p] : d->delay_s[p] * 1e15;
}

size_t rf_history_workspace(size_t n) { return 2 * n * sizeof(double) + rf_spc_workspace(n) + 64; }

static void keep(struct rf_history_answer *a, double size, const char *sentence, const char *cause)
{
        size_t at = a->finding_n < RF_HISTORY_FINDINGS ? a->finding_n++ : RF_HISTORY_FINDINGS;
        if (at == RF_HISTORY_FINDINGS) {
                if (size <= a->finding[at - 1].size)
                        return;
                at--;
        }
        while (at > 0 && a->finding[at - 1].size < size) {
                a->finding[at] = a->finding[at - 1];
                at--;
        }
        a->finding[at].size = size;
        snprintf(a->finding[at].sentence, sizeof a->finding[at].sentence, "%.170s: %.60s", sentence, cause);
}

enum code rf_history_judge(const struct rf_descriptors *const *list, size_t n, void *workspace, struct rf_history_answer *ret,
                           struct tp_error *err)
{
        if (n == 0)
                return tp_fail(err, CODE_BAD_INPUT, "history: there is no calibration to judge");
        for (size_t t = 1; t < n; t++)
                for (size_t b = 0; list[t]->band_n != list[0]->band_n || b < list[0]->band_n; b++)
                        if (list[t]->band_n != list[0]->band_n || list[t]->band[b].from_hz != list[0]->band[b].from_hz ||
                            list[t]->band[b].to_hz != list[0]->band[b].to_hz)
                                return tp_fail(err, CODE_BAD_INPUT,
                                               "history: calibration %zu was described in other bands than the first; describe all alike",
                                               t);
        double *x = workspace, *sorted = x + n;
        void *room = sorted + n;
        memset(ret, 0, sizeof *ret);
        size_t figures = list[0]->band_n * FIGURES * 2 + 4;
        for (size_t k = 0; k < figures; k++) {
                struct series as;
                size_t found = 0;
                for (size_t t = 0; t < n; t++) {
                        double v = figure_of(list[t], k, &as);
                        if (isfinite(v) || t + 1 == n)
                                x[found++] = v;
                }
                if (found < 2 || !isfinite(x[found - 1]))
                        continue;
                ret->series_n++;
                if (found - 1 >= RF_SPC_BASE_LEAST) {
                        struct rf_spc_answer a;
                        /* all but the last ten make the base, so that a slow change has room to show; at least as many as s needs */
                        size_t base = found > RF_SPC_BASE_LEAST + 10 ? found - 10 : RF_SPC_BASE_LEAST;
                        enum code code = rf_spc_judge(as.name, as.unit, found, x, base, as.s_least, room, &a, err);
                        if (code)
                                return code;
                        if (a.verdict == RF_SPC_STEADY || a.verdict == RF_SPC_UNKNOWN)
                                continue;
                        ret->moved_n++;
                        keep(ret, fmax(fabs(a.newest - a.target), fabs(a.shift)) / a.s, a.sentence, as.cause);
                        continue;
                }
                memcpy(sorted, x, (found - 1) * sizeof *x);
                double usual = rf_quantile(rf_sort(found - 1, sorted), sorted, 0.5), off = x[found - 1] - usual;
                if (fabs(off) <= as.gross)
                        continue;
                char sentence[200];
                snprintf(sentence, sizeof sentence, "%s is out by %+.3g %s against the median of %zu earlier calibrations", as.name, off,
                         as.unit, found - 1);
                ret->moved_n++;
                keep(ret, 3 * fabs(off) / as.gross, sentence, as.cause);
        }
        if (ret->series_n == 0)
                snprintf(ret->sentence, sizeof ret->sentence, "first calibration with these probes: nothing to compare with");
        else if (ret->moved_n == 0)
                snprintf(ret->sentence, sizeof ret->sentence, "%zu figures of %zu calibrations with these probes: none has moved",
                         ret->series_n, n);
        else
                snprintf(ret->sentence, sizeof ret->sentence, "%zu of %zu figures have moved over %zu calibrations; first: %.230s",
                         ret->moved_n, ret->series_n, n, ret->finding[0].sentence);
        return CODE_OK;
}
