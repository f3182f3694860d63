/* cmd_join.c: three and four ports out of corrected two-port files, each measured while known reflections ended the other ports
 * (rf/calibrate/multiport.h). */
#include "cli/number.h"
#include "cli/offline.h"
#include "rf/calibrate/multiport_causes.h"
#include "rf/trust/scatter.h"
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PAIRS_MAX 24
struct join_job {
        struct cli *c;
        unsigned ports;
        size_t pair_n;
        struct port_pair pair[PAIRS_MAX];
        /* the pairs, and behind them the ends of the ports: files, or NULL for what a number says */
        const char *name[PAIRS_MAX + RF_PORTS_MAX];
        struct net2 net[PAIRS_MAX + RF_PORTS_MAX];
        struct net2_causes *causes[PAIRS_MAX + RF_PORTS_MAX]; /* NULL: nothing is said of it */
        struct terminations ends;
        struct netn result;
        double *disagreement;
};

/* "1,3=d13.s2p" */
static enum code pair_of(struct join_job *j, const char *word, struct tp_error *err)
{
        unsigned p = isdigit((unsigned char)word[0]) ? (unsigned)(word[0] - '0') : 0;
        unsigned q = p && word[1] == ',' && isdigit((unsigned char)word[2]) ? (unsigned)(word[2] - '0') : 0;
        if (!q || word[3] != '=' || !word[4] || p < 1 || p > RF_PORTS_MAX || q > RF_PORTS_MAX || p == q)
                return tp_fail(
                        err, CODE_BAD_INPUT,
                        "\"%.80s\": a pair is P,Q=FILE, two different ports from 1 to %d and the file that was measured at them, e.g. "
                        "1,3=d13.s2p",
                        word, RF_PORTS_MAX);
        if (j->pair_n == PAIRS_MAX)
                return tp_fail(err, CODE_BAD_INPUT, "more than %d pairs, from \"%.80s\" on", PAIRS_MAX, word);
        j->name[j->pair_n] = word + 4;
        j->pair[j->pair_n] = (struct port_pair){p - 1, q - 1, &j->net[j->pair_n]};
        j->ports = p > j->ports ? p : j->ports;
        j->ports = q > j->ports ? q : j->ports;
        j->pair_n++;
        return CODE_OK;
}

/* The document of an end, in the pairs' reference as it stands. */
static enum code end_causes(struct join_job *j, const char *path, const struct netn *one, size_t port, struct tp_error *err)
{
        struct netn_causes *all = NULL;
        enum code code = offline_uncertainty_of_ports(j->c, path, one, &all, err);
        if (code || !all)
                return code;
        if (one->z_re[0][0] != net2_z_real(&j->net[0]))
                return tp_fail(err, CODE_BAD_INPUT,
                               "%s: it is in %.6g ohm and the pairs in %.6g ohm, and its uncertainty is not brought from one to the other; "
                               "say --no-uncertainty",
                               path, one->z_re[0][0], net2_z_real(&j->net[0]));
        if (!(j->causes[j->pair_n + port] = arena_take(j->c->arena, sizeof *j->causes[0])))
                return tp_fail_memory(err);
        return netn_causes_two(all, 0, 0, j->c->arena, j->causes[j->pair_n + port], err);
}

/* The ends: a number of ohm (a column is made of it later) or a .s1p, which becomes S11 of a two-port. */
static enum code ends_of(struct join_job *j, const char **words, double *ret_ohm, struct tp_error *err)
{
        size_t n = 0;
        enum code code = offline_words(j->c, "ends", words, RF_PORTS_MAX, &n, err);
        if (!code && n && n != j->ports)
                code = tp_fail(err, CODE_BAD_INPUT, "--ends: %zu values for %u ports; give one for each port, in their order", n, j->ports);
        if (!code && n == 0)
                cli_note(j->c, "the ports that are not measured are taken as ended in the reference; --ends says otherwise");
        for (size_t p = 0; p < j->ports && !code; p++) {
                char *end = NULL;
                struct netn one;
                ret_ohm[p] = n ? strtod(words[p], &end) : NAN;
                if (n == 0 || (end != words[p] && !*end)) {
                        if (n && !(ret_ohm[p] >= 0 && isfinite(ret_ohm[p])))
                                code = tp_fail(err, CODE_BAD_INPUT, "--ends: \"%.40s\" at port %zu; ohms from 0 on are needed", words[p],
                                               p + 1);
                        continue;
                }
                const char *path = j->name[j->pair_n + p] = words[p];
                struct net2 *to = &j->net[j->pair_n + p];
                code = offline_netn(j->c, path, PLANE_TIP, &one, err);
                if (!code && one.ports != 1)
                        code = tp_fail(err, CODE_BAD_INPUT, "%s: it has %u ports; the end of a port is a .s1p", path, one.ports);
                if (!code && !offline_net2_new(j->c, one.axis, to))
                        code = tp_fail_memory(err);
                if (code)
                        return code;
                memcpy(to->re[0], one.re[0], one.axis->n * sizeof(double));
                memcpy(to->im[0], one.im[0], one.axis->n * sizeof(double));
                net2_set_z(to, one.z_re[0][0], one.z_im[0][0]);
                code = end_causes(j, path, &one, p, err);
                if (!code)
                        code = offline_reference(j->c, path, to, net2_z_real(&j->net[0]), err);
        }
        return code;
}

static enum code read_all(struct join_job *j, struct tp_error *err)
{
        const char *words[RF_PORTS_MAX], *names[PAIRS_MAX + RF_PORTS_MAX];
        struct net2 nets[PAIRS_MAX + RF_PORTS_MAX];
        size_t n = 0, from[PAIRS_MAX + RF_PORTS_MAX] = {0};
        double ohm[RF_PORTS_MAX] = {0};
        enum code code = CODE_OK;
        for (size_t k = 0; k < j->c->arg_n && !code; k++)
                code = pair_of(j, j->c->args[k], err);
        for (size_t k = 1; k < j->pair_n && !code; k++)
                for (size_t m = 0; m < k; m++)
                        if (offline_same_file(j->name[k], j->name[m]))
                                cli_note(j->c, "%s is given for ports %u and %u and for %u and %u: one file is of one pair", j->name[k],
                                         j->pair[m].p + 1, j->pair[m].q + 1, j->pair[k].p + 1, j->pair[k].q + 1);
        for (size_t k = 0; k < j->pair_n && !code; k++) {
                code = offline_net2(j->c, j->name[k], PLANE_TIP, &j->net[k], err);
                if (!code)
                        code = offline_uncertainty_beside(j->c, j->name[k], &j->net[k], net2_z_real(&j->net[0]), &j->causes[k], err);
                if (!code)
                        code = offline_reference(j->c, j->name[k], &j->net[k], net2_z_real(&j->net[0]), err);
        }
        if (!code)
                code = ends_of(j, words, ohm, err);
        for (size_t k = 0; k < j->pair_n + j->ports && !code; k++)
                if (j->name[k]) {
                        names[n] = j->name[k];
                        nets[n] = j->net[k];
                        from[n++] = k;
                }
        if (!code)
                code = offline_common(j->c, names, nets, n, false, err);
        for (size_t k = 0; k < n && !code; k++)
                j->net[from[k]] = nets[k];
        for (size_t k = 0; k < n && !code; k++)
                if (j->causes[from[k]])
                        code = offline_causes_on(j->c, j->causes[from[k]], j->net[from[k]].axis, err);
        for (unsigned p = 0; p < j->ports && !code; p++) {
                struct net2 *end = &j->net[j->pair_n + p];
                size_t points = j->net[0].axis->n;
                double z = net2_z_real(&j->net[0]), gamma = isnan(ohm[p]) ? 0 : (ohm[p] - z) / (ohm[p] + z);
                if (!j->name[j->pair_n + p]) {
                        if (!offline_net2_new(j->c, j->net[0].axis, end))
                                return tp_fail_memory(err);
                        for (size_t i = 0; i < points; i++)
                                end->re[0][i] = gamma;
                }
                j->ends.re[p] = end->re[0];
                j->ends.im[p] = end->im[0];
        }
        return code;
}

static enum code join(struct join_job *j, struct tp_error *err)
{
        const struct axis *axis = j->net[0].axis;
        void *memory = arena_take(j->c->arena, netn_bytes(axis->n, j->ports));
        j->disagreement = arena_take(j->c->arena, axis->n * sizeof *j->disagreement);
        if (!memory || !j->disagreement)
                return tp_fail_memory(err);
        j->result = netn_at(memory, axis, j->ports, PLANE_UNKNOWN);
        return rf_multiport_join(j->pair, j->pair_n, &j->ends, &j->result, j->disagreement, err);
}

/* What is not known exactly of the result; *ret NULL: nothing is said of any file. */
static enum code causes_of(struct join_job *j, struct netn_causes **ret, struct tp_error *err)
{
        bool any = false;
        for (size_t k = 0; k < j->pair_n + j->ports; k++)
                any = any || j->causes[k];
        if (!any)
                return CODE_OK;
        for (size_t k = 0; k < j->pair_n + j->ports; k++)
                if (j->name[k] && !j->causes[k])
                        cli_note(j->c, "%s: nothing says how well it is known (%s); it counts as exact", j->name[k],
                                 offline_uncertainty_path(j->c, j->name[k]));
        if (!(*ret = arena_take(j->c->arena, sizeof **ret)))
                return tp_fail_memory(err);
        return rf_multiport_join_causes(j->pair, (const struct net2_causes *const *)j->causes, j->pair_n, &j->ends,
                                        (const struct net2_causes *const *)j->causes + j->pair_n, j->ports, j->c->arena, *ret, err);
}

/* Where the pairs contradict each other most. */
static size_t worst_at(const struct join_job *j)
{
        size_t at = 0;
        for (size_t i = 1; i < j->result.axis->n; i++)
                if (!(j->disagreement[i] <= j->disagreement[at]))
                        at = i;
        return at;
}

#define APART_MOST 0.1   /* what files of one device may differ by; touches do a tenth of it */
#define APART_SAY 0.02   /* said, if it is not the files' noise either */
#define APART_LEAST 1e-3 /* of smaller differences nothing is asked */

/* How well the files agree with two ends exchanged, or one file turned round, into j->disagreement; the job is left as it was. */
static double trial(struct join_job *j, unsigned p, unsigned q, size_t turned)
{
        struct join_job other = *j;
        if (p != q) {
                other.ends.re[p] = j->ends.re[q], other.ends.im[p] = j->ends.im[q];
                other.ends.re[q] = j->ends.re[p], other.ends.im[q] = j->ends.im[p];
        } else {
                other.pair[turned].p = j->pair[turned].q, other.pair[turned].q = j->pair[turned].p;
        }
        struct tp_error none;
        return join(&other, &none) ? INFINITY : other.disagreement[worst_at(&other)];
}

/* Largest rms noise of a component of the pairs (scatter.h). */
static double noise_of_files(const struct join_job *j)
{
        size_t n = j->net[0].axis->n;
        double *u = arena_take(j->c->arena, n * sizeof *u), most = 0;
        for (size_t k = 0; k < j->pair_n && u && n >= 8; k++) {
                double sum = 0;
                rf_noise_of(&j->net[k], u);
                for (size_t i = 0; i < n; i++)
                        sum += u[i] * u[i];
                most = fmax(most, sqrt(sum / (double)n));
        }
        return most;
}

/* Files that contradict each other: what would make them agree is said; below the limit only if it does so ten times better. */
static bool files_apart(struct join_job *j)
{
        double now = j->disagreement[worst_at(j)], least = INFINITY;
        unsigned one = 0, two = 0;
        size_t turned = 0;
        if (!(now > APART_LEAST))
                return false;
        for (unsigned p = 0; p < j->ports; p++)
                for (unsigned q = p + 1; q < j->ports; q++) {
                        double here = trial(j, p, q, 0);
                        if (here < least) {
                                least = here;
                                one = p;
                                two = q;
                        }
                }
        for (size_t k = 0; k < j->pair_n; k++) {
                double here = trial(j, 0, 0, k);
                if (here < least) {
                        least = here;
                        one = two = 0;
                        turned = k;
                }
        }
        if (now <= APART_MOST && !(least < now / 10)) {
                double own = noise_of_files(j);
                if (now > fmax(APART_SAY, 20 * own))
                        cli_note(j->c,
                                 "the files contradict each other by %.3g, and each scatters by %.2g: below the limit of %g, but more than "
                                 "touches do; look at --ends (without it, the reference ended the other ports)",
                                 now, own, APART_MOST);
                return false;
        }
        if (!(least < now / 3))
                cli_note(j->c,
                         "the files contradict each other by %.3g (limit %g): what ends the other ports is not what --ends says, a file "
                         "is of other ports, or the device changed",
                         now, APART_MOST);
        else if (one != two)
                cli_note(j->c,
                         "the files contradict each other by %.3g (limit %g), with the ends of ports %u and %u exchanged by %.2g: "
                         "correct --ends",
                         now, APART_MOST, one + 1, two + 1, least);
        else
                cli_note(j->c, "the files contradict each other by %.3g (limit %g), with %s turned round by %.2g: is it %u,%u=%s?", now,
                         APART_MOST, j->name[turned], least, j->pair[turned].q + 1, j->pair[turned].p + 1, j->name[turned]);
        return now > APART_MOST;
}

static void put_json(const struct join_job *j, const struct text *document)
{
        struct cli *c = j->c;
        struct json_out o = json_to(&c->out);
        json_open(&o, NULL, '{');
        json_int(&o, "ports", j->ports);
        json_text(&o, "plane", plane_words[j->result.plane]);
        json_text(&o, "out", cli_option(c, "out"));
        json_real(&o, "disagreement", j->disagreement[worst_at(j)]);
        json_real(&o, "disagreement_hz", j->result.axis->hz[worst_at(j)]);
        cli_notes_json(c, &o);
        offline_netn_json(&o, &j->result);
        if (document->n)
                json_raw(&o, "uncertainty", text_of(document));
        json_close(&o, '}');
        text_put(&c->out, "\n");
}

/* The result, and the document beside it. */
static enum code put(struct join_job *j, const struct netn_causes *causes, const char *comment, struct text *document, struct tp_error *err)
{
        struct cli *c = j->c;
        const char *out = cli_option(c, "out"), *file = out && strcmp(out, "-") != 0 ? out : NULL;
        struct text text;
        text_init(&text, FILE_BYTES_MAX);
        bool wanted = causes || !cli_json(c) || out;
        enum code code = wanted ? offline_netn_text(&j->result, comment, file, &text, err) : CODE_OK;
        if (!code && causes)
                code = offline_uncertainty_text_ports(&j->result, causes, file ? file : "joined", &text, document, err);
        if (!code && (!cli_json(c) || out))
                code = offline_out(c, &text, err);
        if (!code && causes && file)
                code = offline_uncertainty_write(c, file, document, err);
        if (!code && causes && !file && !cli_json(c))
                cli_note(c, "what is not known exactly of the result has no file to lie beside; give --out FILE");
        text_done(&text);
        return code;
}

enum code do_join(struct cli *c, struct tp_error *err)
{
        struct join_job *j = arena_take(c->arena, sizeof *j);
        struct netn_causes *causes = NULL;
        struct text document, comment;
        if (!j)
                return tp_fail_memory(err);
        j->c = c;
        enum code code = read_all(j, err);
        if (!code)
                code = join(j, err);
        if (!code)
                code = causes_of(j, &causes, err);
        if (code)
                return code;
        bool apart = files_apart(j);
        text_init(&document, FILE_BYTES_MAX);
        text_init(&comment, 2000);
        text_put(&comment, "joined from");
        for (size_t k = 0; k < j->pair_n; k++)
                text_f(&comment, "%s %s (ports %u and %u)", k ? "," : "", j->name[k], j->pair[k].p + 1, j->pair[k].q + 1);
        code = put(j, causes, text_of(&comment), &document, err);
        if (!code && cli_json(c))
                put_json(j, &document);
        if (!code && !cli_json(c))
                cli_say("%u ports from %zu files: where two files give one number they differ by at most %.3g, at %.9g Hz", j->ports,
                        j->pair_n, j->disagreement[worst_at(j)], j->result.axis->hz[worst_at(j)]);
        if (!code && apart)
                c->status = EXIT_ENDED_WITH_FAILS;
        text_done(&document);
        text_done(&comment);
        return code;
}
