/* causes.c: from causes to uncertainties of S and of what is made of it (causes.h).
 * Sources     JCGM 100:2008 5.1.2 (squares of independent causes), G.4 (degrees of freedom); JCGM 102:2011 6.2 (complex quantities). */
#include "rf/network/causes.h"
#include "base/hash.h"
#include "rf/numbers/probability.h"
#include <math.h>
#include <string.h>

const char *const cause_kind_words[CAUSE_KIND_COUNT + 1] = {"unknown",   "standard", "length", "line", "contact",
                                                            "placement", "noise",    "drift",  NULL};

bool cause_is_circular(const struct cause_about *about) { return about->kind == CAUSE_OF_NOISE; }

struct m2 net2_cause_at(const struct net2_cause *c, size_t i)
{
        struct m2 d;
        for (int e = 0; e < 4; e++)
                d.e[e] = c->re[e] ? CMPLX(c->re[e][i], c->im[e][i]) : 0;
        return d;
}

void net2_causes_of(const struct net2_causes *c, size_t i, const double complex grad[4], double *ret_c)
{
        for (size_t k = 0; k < c->n; k++) {
                struct m2 d = net2_cause_at(&c->of[k], i);
                double complex dy = 0;
                for (int e = 0; e < 4; e++)
                        dy += grad[e] * d.e[e];
                ret_c[k] = cause_is_circular(&c->of[k].about) ? cabs(dy) : creal(dy);
        }
}

double net2_causes_u(const struct net2_causes *c, size_t i, const double complex grad[4], double *ret_freedom)
{
        double each[CAUSES_MAX], sum = 0, lower = 0;
        net2_causes_of(c, i, grad, each);
        for (size_t k = 0; k < c->n; k++) {
                double v = each[k] * each[k];
                sum += v;
                lower += isfinite(c->of[k].about.freedom) ? v * v / c->of[k].about.freedom : 0;
        }
        if (ret_freedom)
                *ret_freedom = lower > 0 ? sum * sum / lower : INFINITY;
        return sqrt(sum);
}

/* Bytes of the name before what says where: the last ", ". */
static size_t stem_of(const char *name)
{
        const char *last = NULL;
        for (const char *at = strstr(name, ", "); at; at = strstr(at + 1, ", "))
                last = at;
        return last ? (size_t)(last - name) : strlen(name);
}

static bool same_stem(const char *a, const char *b)
{
        size_t n = stem_of(a);
        return n == stem_of(b) && memcmp(a, b, n) == 0;
}

size_t net2_causes_shares(const struct net2_causes *c, const double *each, struct cause_share *ret, size_t room)
{
        double part[CAUSES_MAX] = {0}, sum = 0;
        size_t n = 0;
        for (size_t k = 0; k < c->n; k++) {
                size_t first = 0;
                while (!same_stem(c->of[first].about.name, c->of[k].about.name))
                        first++;
                part[first] += each[k] * each[k];
                sum += each[k] * each[k];
        }
        for (; n < room; n++) {
                size_t best = c->n;
                for (size_t k = 0; k < c->n; k++)
                        if (part[k] > 0 && (best == c->n || part[k] > part[best]))
                                best = k;
                if (best == c->n)
                        break;
                size_t bytes = stem_of(c->of[best].about.name);
                bytes = bytes > CAUSE_NAME_MAX ? CAUSE_NAME_MAX : bytes;
                memcpy(ret[n].name, c->of[best].about.name, bytes);
                ret[n].name[bytes] = 0;
                ret[n].share = part[best] / sum;
                part[best] = 0;
        }
        return n;
}

void cause_cov_add(struct complex_cov *to, const struct cause_about *about, double complex d)
{
        double re = creal(d), im = cimag(d);
        if (cause_is_circular(about)) {
                to->re += re * re + im * im;
                to->im += re * re + im * im;
                return;
        }
        to->re += re * re;
        to->re_im += re * im;
        to->im += im * im;
}

struct complex_cov net2_causes_cov(const struct net2_causes *c, size_t i, int entry)
{
        struct complex_cov sum = {0, 0, 0};
        for (size_t k = 0; k < c->n; k++)
                cause_cov_add(&sum, &c->of[k].about, net2_cause_at(&c->of[k], i).e[entry]);
        return sum;
}

void net2_cause_id(const char *of, const char *name, char ret[CAUSE_ID_CHARS + 1])
{
        struct sha256 sum;
        uint8_t bytes[32];
        sha256_init(&sum);
        sha256_add(&sum, of, strlen(of));
        sha256_add(&sum, ": ", 2);
        sha256_add(&sum, name, strlen(name));
        sha256_end(&sum, bytes);
        hex_of(bytes, sizeof bytes, ret);
}

const struct net2_cause *net2_cause_find(const struct net2_causes *c, const char *id)
{
        for (size_t k = 0; c && k < c->n; k++)
                if (memcmp(c->of[k].id, id, CAUSE_ID_CHARS) == 0)
                        return &c->of[k];
        return NULL;
}

struct complex_cov net2_causes_cov_difference(const struct net2_causes *a, size_t i, const struct net2_causes *b, size_t k, int entry)
{
        struct complex_cov sum = {0, 0, 0};
        for (size_t m = 0; a && m < a->n; m++) {
                const struct net2_cause *same = net2_cause_find(b, a->of[m].id);
                double complex d = net2_cause_at(&a->of[m], i).e[entry];
                cause_cov_add(&sum, &a->of[m].about, same ? d - net2_cause_at(same, k).e[entry] : d);
        }
        for (size_t m = 0; b && m < b->n; m++)
                if (!net2_cause_find(a, b->of[m].id))
                        cause_cov_add(&sum, &b->of[m].about, net2_cause_at(&b->of[m], k).e[entry]);
        return sum;
}

double causes_factor(double freedom) { return isfinite(freedom) ? fmax(2, student_two_sided(0.95, freedom >= 1 ? freedom : 1)) : 2; }

void causes_not_counted_add(const char **list, size_t *n, const char *text)
{
        for (size_t k = 0; k < *n; k++)
                if (strcmp(list[k], text) == 0)
                        return;
        if (*n < CAUSES_NOT_COUNTED_MAX)
                list[(*n)++] = text;
}
