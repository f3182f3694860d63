/* fit_judge.c: fits what ngspice_models.py and judge_fit.py put on the command line, writes the subcircuit to a file and prints JSON about
   the fit.  Nothing here knows an expected answer.

     fit_judge vector s|y FILE.sNp ORDER NAME OUT.cir [keep]     ORDER 0: grown; keep: passivity is not enforced
     fit_judge poles FILE.sNp ORDER TIMES      vector fitting of S alone, all elements, TIMES over; the shortest time on the processor
     fit_judge circuit KIND FILE.sNp LENGTH_M SKIN SUBSTRATE NAME OUT.cir     SKIN, SUBSTRATE, for one-ports DIFFERENTIAL as SUBSTRATE: 0 or
   1 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include "base/arena.h"
#include "formats/netlist.h"
#include "formats/touchstone.h"

static _Noreturn void give_up(const char *what, const char *why)
{
        fprintf(stderr, "fit_judge: %s: %s\n", what, why);
        exit(1);
}

static struct model_data data_of(const char *path, struct arena *arena)
{
        static const size_t room = 64 << 20;
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
        if (t->parameter != 'S')
                give_up(path, "is not a file of S");
        struct model_data d = {.axis = &t->axis, .ports = t->ports, .z_ohm = t->r_ohm[0]};
        for (unsigned q = 0; q < t->ports * t->ports; q++) {
                d.re[q] = t->re[q];
                d.im[q] = t->im[q];
        }
        return d;
}

static void error_json(struct json_out *o, const struct model_error *e)
{
        json_real(o, "error_rms", e->rms);
        json_real(o, "error_worst", e->worst);
        json_real(o, "error_worst_hz", e->worst_hz);
}

static void write_file(const char *path, const struct text *t)
{
        FILE *f = fopen(path, "wb");
        if (!f || fwrite(text_of(t), 1, t->n, f) != t->n || fclose(f))
                give_up(path, "cannot be written");
}

static void vector(char **arg, int n, struct arena *arena, struct json_out *o, struct text *netlist)
{
        struct model_data d = data_of(arg[1], arena);
        struct model_options options = {.kind = arg[0][0] == 'y' ? MODEL_Y : MODEL_S, .keep_active = n > 5 && strcmp(arg[5], "keep") == 0};
        options.fit.order = (size_t)atoi(arg[2]);
        options.fit.proportional = options.kind == MODEL_Y;
        struct model *m = arena_take(arena, sizeof *m);
        struct model_report *r = arena_take(arena, sizeof *r);
        struct tp_error err = {0};
        if (rf_fit_vector(&d, &options, arena_take(arena, rf_fit_vector_bytes(d.axis->n, d.ports, 0)), m, r, &err))
                give_up(arg[1], err.text);
        if (netlist_write_model(m, &r->error, &r->after, &(struct netlist_about){arg[3], arg[1]}, netlist, &err))
                give_up(arg[1], err.text);
        write_file(arg[4], netlist);
        json_int(o, "order", (int64_t)r->fit.order);
        json_int(o, "rounds", r->fit.rounds);
        json_real(o, "fit_rms", r->fit.rms);
        json_bool(o, "passive_before", r->before.passive);
        json_bool(o, "passive", r->after.passive);
        json_real(o, "worst", r->after.worst);
        json_real(o, "change_rms", r->enforcement.rms);
        error_json(o, &r->error);
        json_open(o, "poles", '[');
        for (size_t i = 0; i < m->fit.pole_n; i++) {
                json_open(o, NULL, '[');
                json_real(o, NULL, creal(m->fit.pole[i]));
                json_real(o, NULL, cimag(m->fit.pole[i]));
                json_close(o, ']');
        }
        json_close(o, ']');
}

static double seconds(void)
{
        struct timespec t;
        clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
        return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static void poles(char **arg, struct arena *arena, struct json_out *o)
{
        struct model_data d = data_of(arg[0], arena);
        struct fit_data f = {.n = d.axis->n, .element_n = d.ports * d.ports, .hz = d.axis->hz};
        memcpy(f.re, d.re, sizeof f.re);
        memcpy(f.im, d.im, sizeof f.im);
        struct rational *r = arena_take(arena, sizeof *r);
        struct fit_report report = {0};
        struct tp_error err = {0};
        void *workspace = arena_take(arena, rf_vector_fit_bytes(f.n, f.element_n, 0));
        double least = INFINITY;
        for (int i = 0; i < atoi(arg[2]); i++) {
                double from = seconds();
                if (rf_vector_fit(&f, &(struct fit_options){.order = (size_t)atoi(arg[1])}, workspace, r, &report, &err))
                        give_up(arg[0], err.text);
                least = fmin(least, seconds() - from);
        }
        json_real(o, "seconds", least);
        json_int(o, "order", (int64_t)report.order);
        json_real(o, "rms", report.rms);
        json_open(o, "poles", '[');
        for (size_t i = 0; i < r->pole_n; i++) {
                json_open(o, NULL, '[');
                json_real(o, NULL, creal(r->pole[i]));
                json_real(o, NULL, cimag(r->pole[i]));
                json_close(o, ']');
        }
        json_close(o, ']');
}

static void circuit(char **arg, struct arena *arena, struct json_out *o, struct text *netlist)
{
        struct model_data d = data_of(arg[1], arena);
        enum circuit_kind kind = CIRCUIT_UNKNOWN;
        for (int k = 1; k < CIRCUIT_COUNT; k++)
                if (strcmp(circuit_words[k], arg[0]) == 0)
                        kind = (enum circuit_kind)k;
        struct circuit_options options = {.length_m = atof(arg[2]), .skin = atoi(arg[3]) != 0};
        if (d.ports == 1)
                options.differential = atoi(arg[4]) != 0;
        else
                options.substrate = atoi(arg[4]) != 0;
        struct circuit c;
        struct tp_error err = {0};
        if (rf_fit_circuit(kind, &d, &options, &c, &err))
                give_up(arg[1], err.text);
        struct netlist_lumping l;
        if (netlist_write_circuit(&c, &(struct netlist_about){arg[5], arg[1]}, netlist, &l, &err))
                give_up(arg[1], err.text);
        write_file(arg[6], netlist);
        error_json(o, &c.error);
        json_real(o, "lumping_worst", l.worst);
        json_open(o, "elements", '{');
        for (size_t i = 0; i < c.element_n; i++)
                json_real(o, c.element[i].name, c.element[i].value);
        json_close(o, '}');
}

int main(int n, char **arg)
{
        struct arena *arena = arena_new(0);
        struct text out, netlist;
        text_init(&out, 0);
        text_init(&netlist, 0);
        struct json_out o = json_to(&out);
        json_open(&o, NULL, '{');
        if (n >= 7 && strcmp(arg[1], "vector") == 0)
                vector(arg + 2, n - 2, arena, &o, &netlist);
        else if (n == 5 && strcmp(arg[1], "poles") == 0)
                poles(arg + 2, arena, &o);
        else if (n == 9 && strcmp(arg[1], "circuit") == 0)
                circuit(arg + 2, arena, &o, &netlist);
        else
                give_up("arguments", "see the head of fit_judge.c");
        json_close(&o, '}');
        puts(text_of(&out));
        text_done(&out);
        text_done(&netlist);
        arena_free(arena);
        return 0;
}
