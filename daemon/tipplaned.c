/* tipplaned.c: argv to rooms.  Opens the house and its HTTP door, waits for a signal, closes both in mirror order. */
#include "api/http.h"
#include "base/hash.h"
#include "host/host.h"
#include "host/notify.h"
#include "host/signals.h"
#include "recipe/recipe.h"
#include "run/house.h"
#include <getopt.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#ifndef TIPPLANE_VERSION
#define TIPPLANE_VERSION "unknown"
#endif
#define PARK_NS (INT64_C(60) * NS_PER_S)
enum { SIGNAL_MESSAGE = 1 };

struct options {
        const char *data, *station, *listen, *name;
        int log_level;
};

static const struct option long_options[] = {
        {"data", required_argument, NULL, 'd'},   {"station", required_argument, NULL, 's'},
        {"listen", required_argument, NULL, 'l'}, {"name", required_argument, NULL, 'n'},
        {"quiet", no_argument, NULL, 'q'},        {"schema", required_argument, NULL, 'S'},
        {"routes", no_argument, NULL, 'r'},       {"version", no_argument, NULL, 'V'},
        {"help", no_argument, NULL, 'h'},         {NULL, 0, NULL, 0},
};

static void usage(FILE *to)
{
        fputs("tipplaned: judges, remembers and answers; tipplane-station holds the instruments.\n\n"
              "  --data DIR        catalogue, index and run files (default ./tipplane-data)\n"
              "  --station ADDR    socket of tipplane-station (default unix:DIR/station.sock)\n"
              "  --listen ADDR     loopback address and port of the API and the page (default 127.0.0.1:8080)\n"
              "  --name NAME       name of this station in runs and exports (default station-1)\n"
              "  --quiet           warnings and errors only\n"
              "  --schema WHAT     print the JSON Schema of recipe or layout and exit\n"
              "  --routes          print the table of routes as JSON and exit\n"
              "  --version, --help\n",
              to);
}

static int print_schema(const char *what)
{
        const struct object *o = strcmp(what, "recipe") == 0 ? &recipe_object : strcmp(what, "layout") == 0 ? &layout_object : NULL;
        struct text t;
        if (!o) {
                fprintf(stderr, "tipplaned: --schema %s: there are recipe and layout\n", what);
                return 2;
        }
        text_init(&t, 0);
        fields_schema(o, &t);
        puts(text_of(&t));
        text_done(&t);
        return 0;
}

static int run(const struct options *o)
{
        struct tp_error err = {0};
        struct world *world = host_world_new(&err);
        struct log log = {log_to_stderr, NULL, o->log_level ? LOG_WARN : LOG_INFO};
        struct inbox *inbox = world ? world->task->inbox_new(world, 16) : NULL;
        struct signals *signals = NULL;
        struct house *house = NULL;
        struct http *http = NULL;
        char station[600], token[512] = "", *data = NULL;
        bool made = false;
        if (!inbox || signals_start(world, inbox, SIGNAL_MESSAGE, &signals, &err))
                goto done;
        if (world->file->make_dir(world, o->data, &err))
                goto done;
        data = realpath(o->data, NULL); /* a socket's address is a whole path, whatever folder somebody stands in */
        if (!data) {
                tp_fail(&err, CODE_BAD_INPUT, "--data %s: its whole path cannot be found; choose another folder", o->data);
                goto done;
        }
        snprintf(station, sizeof station, "%s", o->station ? o->station : "");
        if (!o->station)
                snprintf(station, sizeof station, "unix:%.500s/station.sock", data);
        struct house_setup setup = {data, station, o->name, TIPPLANE_VERSION, &log};
        house = house_start(world, &setup, &err);
        if (!house)
                goto done;
        log_event(&log, LOG_INFO, "start", "data=%s sqlite=%s runs_open=%d runs_sealed=%d runs_damaged=%d msg=\"%s\"", o->data,
                  house_report(house)->sqlite, house_report(house)->runs_open, house_report(house)->runs_sealed,
                  house_report(house)->runs_damaged, house_report(house)->sentence);
        if (store_start_token(house_store(house), &made, token, sizeof token, &err))
                goto done;
        if (made)
                log_event(&log, LOG_INFO, "token.made", "file=%s msg=\"the first safety token; make others from it\"", token);
        struct http_setup door = {
                .world = world, .log = &log, .house = house, .listen = o->listen, .build = TIPPLANE_VERSION, .station_address = station};
        http = http_start(&door, &err);
        if (!http)
                goto done;
        notify_send("READY=1");
        log_event(&log, LOG_INFO, "listening", "address=http://%s", o->listen);
        for (bool end = false; !end;) {
                struct message *m = world->task->take(world, inbox, world_boot_ns(world) + NS_PER_S);
                if (!m) {
                        if (house_healthy(house))
                                notify_send("WATCHDOG=1");
                        continue;
                }
                end = ((struct signal_message *)(void *)m)->signal != SIGHUP;
                m->free(m);
        }
        notify_send("STOPPING=1");
done:
        if (http)
                http_refuse_changes(http);
        if (http)
                house_park(house, PARK_NS);
        http_stop(http);
        house_close(house);
        signals_stop(signals);
        if (inbox)
                world->task->inbox_free(world, inbox);
        host_world_free(world);
        free(data);
        if (err.code)
                fprintf(stderr, "tipplaned: %s\n", err.text);
        return err.code ? code_rows[err.code].exit : 0;
}

int main(int argc, char **argv)
{
        struct options o = {.data = "tipplane-data", .listen = "127.0.0.1:8080", .name = "station-1"};
        for (int c; (c = getopt_long(argc, argv, "d:s:l:n:qhV", long_options, NULL)) != -1;) {
                switch (c) {
                case 'd':
                        o.data = optarg;
                        break;
                case 's':
                        o.station = optarg;
                        break;
                case 'l':
                        o.listen = optarg;
                        break;
                case 'n':
                        o.name = optarg;
                        break;
                case 'q':
                        o.log_level = 1;
                        break;
                case 'S':
                        return print_schema(optarg);
                case 'r':
                        return http_print_routes() ? 0 : 1;
                case 'V':
                        puts("tipplaned " TIPPLANE_VERSION);
                        return 0;
                case 'h':
                        usage(stdout);
                        return 0;
                default:
                        usage(stderr);
                        return 2;
                }
        }
        if (optind != argc) {
                fprintf(stderr, "tipplaned: '%s' is not an option; see --help\n", argv[optind]);
                return 2;
        }
        return run(&o);
}
