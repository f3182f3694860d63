/* rf_judge.c: solves and corrects what judge_rf.py puts on the command line and prints JSON, so that scikit-rf can be asked the same
   question. The judge writes ordinary Touchstone files; nothing here knows an expected answer.

     rf_judge calibrate METHOD FOLDER    standards and devices of FOLDER/problem.txt
     rf_judge deembed METHOD measured open short pad   (a dash where there is none)
     rf_judge convert FILE RE IM                       S to z = RE + j IM (pseudo-waves), Z and Y
     rf_judge write FILE                               the two-port as our own Touchstone text instead of JSON

   problem.txt, one a line:  standard KIND RAW [IDEAL|-] [LENGTH_M]   switch FORWARD.s1p REVERSE.s1p   device RAW   set KEY VALUE */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "base/arena.h"
#include "base/text.h"
#include "formats/touchstone.h"
#include "rf/network/convert.h"
#include "rf/calibrate/calibration.h"
#include "rf/correct/correct.h"
#include "rf/deembed/deembed.h"

static _Noreturn void give_up(const char *what, const char *why)
{
        fprintf(stderr, "rf_judge: %s: %s\n", what, why);
        exit(1);
}

static struct touchstone *file_of(const char *path, struct arena *arena)
{
        static const size_t room = 16 << 20;
        FILE *f = fopen(path, "rb");
        if (!f)
                give_up(path, "cannot be opened");
        char *bytes = arena_take(arena, room);
        size_t n = fread(bytes, 1, room, f);
        fclose(f);
        struct tp_error err = {0};
        struct touchstone *t = arena_take(arena, sizeof *t);
        if (touchstone_read(bytes, n, touchstone_ports_of_name(path), arena, t, &err))
                give_up(path, err.text);
        return t;
}

static struct net2 *net_of(const char *path, enum plane plane, struct arena *arena)
{
        struct tp_error err = {0};
        struct net2 *net = arena_take(arena, sizeof *net);
        if (touchstone_net2(file_of(path, arena), plane, arena, net, &err))
                give_up(path, err.text);
        return net;
}

static void column(struct json_out *o, const char *key, size_t n, const double *x)
{
        json_open(o, key, '[');
        for (size_t i = 0; i < n; i++)
                json_real(o, NULL, x[i]);
        json_close(o, ']');
}

static void network(struct json_out *o, const char *key, const struct net2 *net)
{
        static const char *const re[4] = {"s11_re", "s12_re", "s21_re", "s22_re"}, *const im[4] = {"s11_im", "s12_im", "s21_im", "s22_im"};
        json_open(o, key, '{');
        for (int k = 0; k < 4; k++) {
                column(o, re[k], net->axis->n, net->re[k]);
                column(o, im[k], net->axis->n, net->im[k]);
        }
        json_close(o, '}');
}

static enum rf_standard_kind kind_of(const char *word)
{
        for (int k = 1; k < RF_STANDARD_COUNT; k++)
                if (strcmp(rf_standard_words[k], word) == 0)
                        return (enum rf_standard_kind)k;
        give_up(word, "no kind of standard");
}

static void set(struct problem *p, const char *key, double value)
{
        if (strcmp(key, "delay_s") == 0)
                p->thru_delay_s_guess = value;
        else if (strcmp(key, "eps_eff") == 0)
                p->eps_eff_guess = value;
        else if (strcmp(key, "reflect") == 0)
                p->reflect_estimate = value;
        else if (strcmp(key, "reflect_offset_m") == 0)
                p->reflect_offset_m = value;
        else
                give_up(key, "no such setting");
}

static void calibrate(const char *method, const char *folder, struct arena *arena, struct json_out *o)
{
        char path[600], line[1000];
        snprintf(path, sizeof path, "%s/problem.txt", folder);
        FILE *f = fopen(path, "r");
        if (!f)
                give_up(path, "cannot be opened");
        struct rf_standard standards[RF_STANDARD_MAX];
        struct problem p = {.standards = standards};
        struct switch_terms sw;
        const struct net2 *devices[16];
        char names[16][64];
        size_t device_n = 0;
        while (fgets(line, sizeof line, f)) {
                char word[5][64] = {"", "", "", "", ""}, a[700], b[700];
                int n = sscanf(line, "%63s %63s %63s %63s %63s", word[0], word[1], word[2], word[3], word[4]);
                if (n < 2)
                        continue;
                snprintf(a, sizeof a, "%s/%s", folder, strcmp(word[0], "standard") == 0 ? word[2] : word[1]);
                if (strcmp(word[0], "standard") == 0 && p.standard_n < RF_STANDARD_MAX) {
                        snprintf(b, sizeof b, "%s/%s", folder, word[3]);
                        standards[p.standard_n] = (struct rf_standard){
                                .kind = kind_of(word[1]), .raw = net_of(a, PLANE_RECEIVER, arena), .length_m = atof(word[4])};
                        if (word[3][0] && word[3][0] != '-')
                                standards[p.standard_n].ideal = net_of(b, PLANE_TIP, arena);
                        p.standard_n++;
                } else if (strcmp(word[0], "switch") == 0) {
                        snprintf(b, sizeof b, "%s/%s", folder, word[2]);
                        struct touchstone *forward = file_of(a, arena), *reverse = file_of(b, arena);
                        sw = (struct switch_terms){&forward->axis, forward->re[0], forward->im[0], reverse->re[0], reverse->im[0]};
                        p.switch_terms = &sw;
                } else if (strcmp(word[0], "device") == 0 && device_n < 16) {
                        memcpy(names[device_n], word[1], sizeof names[0]);
                        devices[device_n++] = net_of(a, PLANE_RECEIVER, arena);
                } else if (strcmp(word[0], "set") == 0) {
                        set(&p, word[1], atof(word[2]));
                }
        }
        fclose(f);
        if (p.standard_n == 0)
                give_up(path, "no standards");
        p.axis = standards[0].raw->axis;
        size_t n = p.axis->n;
        const struct method *m = rf_method(method);
        if (!m)
                give_up(method, "no such method");
        struct terms t = terms_at(arena_take(arena, terms_bytes(n)), p.axis);
        struct diagnosis d = diagnosis_at(arena_take(arena, diagnosis_bytes(n)), p.axis);
        struct tp_error err = {0};
        if (m->solve(&p, arena_take(arena, m->workspace_bytes(n, p.standard_n)), &t, NULL, &d, &err))
                give_up(method, err.text);
        column(o, "gamma_re", n, d.gamma_re);
        column(o, "gamma_im", n, d.gamma_im);
        column(o, "nstd", n, d.nstd);
        for (size_t k = 0; k < device_n; k++) {
                struct net2 out = net2_at(arena_take(arena, net2_bytes(n)), p.axis, PLANE_UNKNOWN);
                if (rf_correct2(&t, devices[k], p.switch_terms, &out, &err))
                        give_up(names[k], err.text);
                network(o, names[k], &out);
        }
}

static void deembed(char **arg, struct arena *arena, struct json_out *o)
{
        struct tp_error err = {0};
        struct net2 *measured = net_of(arg[1], PLANE_TIP, arena),
                    out = net2_at(arena_take(arena, net2_bytes(measured->axis->n)), measured->axis, PLANE_UNKNOWN);
        const struct net2 *dummy[3] = {NULL, NULL, NULL};
        for (int k = 0; k < 3; k++)
                if (strcmp(arg[2 + k], "-") != 0)
                        dummy[k] = net_of(arg[2 + k], PLANE_TIP, arena);
        for (int k = 1; k < RF_DEEMBED_COUNT; k++)
                if (strcmp(rf_deembed_words[k], arg[0]) == 0) {
                        if (rf_deembed(
                                    (enum deembed_method)k, measured,
                                    &(struct dummies){{[RF_DUMMY_OPEN] = dummy[0], [RF_DUMMY_SHORT] = dummy[1], [RF_DUMMY_PAD] = dummy[2]}},
                                    &out, arena, &err))
                                give_up(arg[0], err.text);
                        network(o, "device", &out);
                        return;
                }
        give_up(arg[0], "no such method");
}

static void convert(char **arg, struct arena *arena, struct json_out *o)
{
        struct net2 *s = net_of(arg[0], PLANE_TIP, arena), out = net2_at(arena_take(arena, net2_bytes(s->axis->n)), s->axis, PLANE_TIP);
        double z = net2_z_real(s);
        struct tp_error err = {0};
        for (int what = 0; what < 3; what++) {
                net2_copy(&out, s);
                if (what == 0 && rf_renormalise_net(&out, CMPLX(atof(arg[1]), atof(arg[2])), &err))
                        give_up(arg[0], err.text);
                for (size_t i = 0; what > 0 && i < s->axis->n; i++)
                        net2_put(&out, i, what == 1 ? rf_z50(net2_get(s, i), z) : rf_y_from_s(net2_get(s, i), z));
                network(o, what == 0 ? "s" : what == 1 ? "z" : "y", &out);
        }
}

static void write_again(const char *path, struct arena *arena, struct text *to)
{
        struct tp_error err = {0};
        if (touchstone_write2(net_of(path, PLANE_TIP, arena), &(struct touchstone_write){.comments = "written by rf_judge"}, to, &err))
                give_up(path, err.text);
}

int main(int n, char **arg)
{
        struct arena *arena = arena_new(0);
        struct text text;
        text_init(&text, 0);
        if (n == 3 && strcmp(arg[1], "write") == 0) {
                write_again(arg[2], arena, &text);
                fputs(text_of(&text), stdout);
                text_done(&text);
                arena_free(arena);
                return 0;
        }
        struct json_out o = json_to(&text);
        json_open(&o, NULL, '{');
        if (n == 4 && strcmp(arg[1], "calibrate") == 0)
                calibrate(arg[2], arg[3], arena, &o);
        else if (n == 7 && strcmp(arg[1], "deembed") == 0)
                deembed(arg + 2, arena, &o);
        else if (n == 5 && strcmp(arg[1], "convert") == 0)
                convert(arg + 2, arena, &o);
        else
                give_up("usage", "calibrate METHOD FOLDER | deembed METHOD MEASURED OPEN SHORT PAD | convert FILE RE IM | write FILE");
        json_close(&o, '}');
        if (!text_ok(&text))
                give_up("output", "no memory");
        puts(text_of(&text));
        text_done(&text);
        arena_free(arena);
        return 0;
}
