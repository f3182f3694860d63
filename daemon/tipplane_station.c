/* tipplane_station.c: the process that holds the instruments: argv, the world, one station, and out again.
 * Order       lock beside the socket · file · driver, log, first walk of the ladder, socket · … · SIGTERM: ladder if not proven safe,
 * tasks, lock. */
#include "host/host.h"
#include "host/notify.h"
#include "host/signals.h"
#include "station/serve.h"
#include <cjson/cJSON.h>
#include <getopt.h>
#include <inttypes.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#ifndef TIPPLANE_VERSION
#define TIPPLANE_VERSION "unversioned"
#endif
enum { CONFIG_BYTES_MAX = 1 << 20, WATCHDOG_MS = 500, SIGNAL_CAME = 1 };

struct options {
        const char *config, *socket, *log, *data, *world;
        int64_t daemon_uid;
        bool check, schema;
};
enum option_letter {
        OPT_CONFIG = 'c',
        OPT_SOCKET = 's',
        OPT_LOG = 'l',
        OPT_DATA = 'd',
        OPT_WORLD = 'w',
        OPT_UID = 'u',
        OPT_CHECK = 'k',
        OPT_SCHEMA = 'S',
        OPT_HELP = 'h',
        OPT_VERSION = 'V'
};
struct option_row {
        const char *name, *value;
        int letter;
        const char *say;
};
static const struct option_row option_rows[] = {
        {"config", "FILE", OPT_CONFIG, "the station's file: name, driver, limits (schema/station.schema.json)"},
        {"socket", "PATH", OPT_SOCKET, "where to listen; PATH.lock beside it keeps a second station out"},
        {"log", "FILE", OPT_LOG, "the station's own log (before \"log\" in its file)"},
        {"data", "DIR", OPT_DATA, "where recorded files lie (before the environment's TIPPLANE_DATA)"},
        {"world", "DIR", OPT_WORLD, "where a simulated station keeps its physical world and the sealed truth"},
        {"daemon-uid", "UID", OPT_UID, "the user whose daemon may command; by default this process's own"},
        {"check", NULL, OPT_CHECK, "read the file, say what is wrong, move nothing"},
        {"print-schema", NULL, OPT_SCHEMA, "print the JSON Schema of the station's file"},
        {"help", NULL, OPT_HELP, "this page"},
        {"version", NULL, OPT_VERSION, "print the version"},
};
enum { OPTION_N = sizeof option_rows / sizeof *option_rows };

static void print_help(void)
{
        puts("Usage: tipplane-station --config FILE --socket PATH [--log FILE] [--data DIR] [--world DIR]\n"
             "Holds the instruments of one probe station and makes it safe by itself when nobody commands it.\n");
        for (int i = 0; i < OPTION_N; i++)
                printf("  --%-13s %-5s %s\n", option_rows[i].name, option_rows[i].value ? option_rows[i].value : "", option_rows[i].say);
        puts("\nExit: 0 stopped in order, 2 bad file or options, 4 another station runs, 1 anything else.");
}

static bool read_uid(const char *text, int64_t *ret)
{
        char *end;
        long long n = strtoll(text, &end, 10);
        *ret = n;
        return end != text && !*end && n >= 0 && n <= UINT32_MAX;
}

/* -1: go on; otherwise the exit status. */
static int read_options(int argc, char **argv, struct options *ret)
{
        struct option list[OPTION_N + 1] = {{0}};
        for (int i = 0; i < OPTION_N; i++)
                list[i] = (struct option){option_rows[i].name, option_rows[i].value ? required_argument : no_argument, NULL,
                                          option_rows[i].letter};
        *ret = (struct options){.daemon_uid = (int64_t)getuid(), .data = getenv("TIPPLANE_DATA")};
        for (int letter; (letter = getopt_long(argc, argv, "", list, NULL)) != -1;) {
                switch (letter) {
                case OPT_CONFIG:
                        ret->config = optarg;
                        break;
                case OPT_SOCKET:
                        ret->socket = optarg;
                        break;
                case OPT_LOG:
                        ret->log = optarg;
                        break;
                case OPT_DATA:
                        ret->data = optarg;
                        break;
                case OPT_WORLD:
                        ret->world = optarg;
                        break;
                case OPT_UID:
                        if (read_uid(optarg, &ret->daemon_uid))
                                break;
                        fprintf(stderr, "tipplane-station: --daemon-uid %s is no user number; give one, such as %u\n", optarg,
                                (unsigned)getuid());
                        return 2;
                case OPT_CHECK:
                        ret->check = true;
                        break;
                case OPT_SCHEMA:
                        ret->schema = true;
                        break;
                case OPT_HELP:
                        print_help();
                        return 0;
                case OPT_VERSION:
                        puts("tipplane-station " TIPPLANE_VERSION);
                        return 0;
                default: /* getopt has said which */
                        fputs("tipplane-station: --help lists the options\n", stderr);
                        return 2;
                }
        }
        if (optind < argc) {
                fprintf(stderr, "tipplane-station: \"%s\" belongs to no option; --help lists them\n", argv[optind]);
                return 2;
        }
        if (!ret->schema && (!ret->config || (!ret->check && !ret->socket))) {
                fprintf(stderr, "tipplane-station: --%s is missing; --help lists the options\n",
                        ret->config ? "socket PATH" : "config FILE");
                return 2;
        }
        return -1;
}

static int say(const struct tp_error *err)
{
        fprintf(stderr, "tipplane-station: %s\n", err->text);
        return code_rows[err->code].exit ? code_rows[err->code].exit : 1;
}

static int print_schema(void)
{
        struct text t;
        text_init(&t, 0);
        station_config_schema(&t);
        int status = text_ok(&t) && fputs(text_of(&t), stdout) >= 0 ? 0 : 1;
        text_done(&t);
        return status;
}

/* The world that outlives a simulated station, and what only the judge may read, lie where the caller says, not beside the scenario. */
static enum code place_world(const struct world *w, const char *dir, struct station_config *c, struct tp_error *err)
{
        static const char *const names[][2] = {{"state_file", "world.state"}, {"truth_file", "truth.json"}};
        char path[600], full[400];
        cJSON *json = cJSON_ParseWithLength(c->driver_json, c->driver_json_n);
        if (!realpath(dir, full) && (w->file->make_dir(w, dir, err) || !realpath(dir, full))) {
                cJSON_Delete(json);
                return tp_fail(err, CODE_BAD_INPUT, "--world %s: the folder is not there and cannot be made", dir);
        }
        for (int i = 0; i < 2; i++) {
                snprintf(path, sizeof path, "%s/%s", full, names[i][1]);
                cJSON_DeleteItemFromObjectCaseSensitive(json, names[i][0]);
                cJSON_AddStringToObject(json, names[i][0], path);
        }
        char *text = json ? cJSON_PrintUnformatted(json) : NULL;
        cJSON_Delete(json);
        if (!text)
                return tp_fail_memory(err);
        free(c->driver_json);
        c->driver_json = text;
        c->driver_json_n = strlen(text);
        return CODE_OK;
}

static enum code read_config(const struct world *w, const struct options *o, struct station_config *ret, struct tp_error *err)
{
        struct text bytes;
        text_init(&bytes, CONFIG_BYTES_MAX);
        enum code code = w->file->read(w, o->config, CONFIG_BYTES_MAX, &bytes, err);
        if (code)
                tp_where(err, "station file");
        else
                code = station_config_read(text_of(&bytes), bytes.n, o->config, NULL, ret, err);
        text_done(&bytes);
        if (code)
                return code;
        if (strcmp(ret->driver, "replay") == 0) /* recorded files lie with the data, not with the station's file */
                snprintf(ret->base_dir, sizeof ret->base_dir, "%s", o->data ? o->data : "");
        if (o->world && strcmp(ret->driver, "simulated") == 0 && (code = place_world(w, o->world, ret, err)))
                return code;
        if (o->log)
                snprintf(ret->log, sizeof ret->log, "%s", o->log);
        snprintf(ret->build, sizeof ret->build, "%s", TIPPLANE_VERSION);
        ret->daemon_uid = o->daemon_uid;
        return CODE_OK;
}

/* Opens the driver and closes it again: all that can be wrong in the file is said, nothing moves. */
static int check(const struct world *w, const struct station_config *c)
{
        struct tp_error err = {0};
        for (size_t i = 0; i < driver_row_n; i++) {
                struct roles roles = {0};
                if (strcmp(driver_rows[i].word, c->driver) != 0)
                        continue;
                if (driver_rows[i].open(w, c->driver_json, c->driver_json_n, c->base_dir, &roles, &err)) {
                        tp_where(&err, "driver %s", c->driver);
                        return say(&err);
                }
                if (roles.close)
                        roles.close(&roles);
                printf("station %s: driver %s opens, limits are %g V, %g um of overtravel\n", c->name, c->driver, c->limits.volt_max,
                       c->limits.overtravel_um_max);
                return 0;
        }
        char words[120] = "";
        for (size_t i = 0, used = 0; i < driver_row_n && used < sizeof words; i++)
                used += (size_t)snprintf(words + used, sizeof words - used, "%s%s", i ? ", " : "", driver_rows[i].word);
        tp_fail(&err, CODE_BAD_INPUT, "/driver: \"%s\" is no driver of this build; there are %s", c->driver, words);
        return say(&err);
}

/* Until SIGTERM or SIGINT; tells the service manager that it lives. */
static void wait_for_end(const struct world *w, struct inbox *in, struct station *st)
{
        for (;;) {
                struct message *m = w->task->take(w, in, world_boot_ns(w) + WATCHDOG_MS * NS_PER_MS);
                int sig = m ? ((struct signal_message *)m)->signal : 0;
                struct state_read state;
                bool proven;
                if (m)
                        m->free(m);
                if (sig == SIGTERM || sig == SIGINT)
                        return;
                station_state(st, &state, &proven); /* takes the station's lock: a station that hangs is not said to live */
                notify_send("WATCHDOG=1");
        }
}

static int serve(const struct world *w, const struct options *o, const struct station_config *c, struct tp_error *err)
{
        struct log log = {.line = log_to_stderr, .least = LOG_INFO};
        struct signals *signals = NULL;
        struct file_lock *lock = NULL;
        struct text path, address;
        char holder[160] = "";
        int status = 0;
        struct inbox *in = w->task->inbox_new(w, 0);
        text_init(&path, 4096);
        text_init(&address, 4096);
        text_f(&path, "%s.lock", o->socket);
        text_f(&address, "unix:%s", o->socket);
        enum code code = in ? signals_start(w, in, SIGNAL_CAME, &signals, err) : tp_fail_memory(err);
        if (!code && (code = w->file->lock(w, text_of(&path), &lock, holder, err)) == CODE_BUSY) {
                tp_fail(err, code,
                        "another station (%s) holds %s; two may not command one set of instruments: stop it, or give another --socket",
                        holder, text_of(&path));
                status = 4;
        }
        struct station *st = code ? NULL : station_start(w, c, text_of(&address), &log, err);
        if (st) {
                notify_send("READY=1");
                wait_for_end(w, in, st);
                notify_send("STOPPING=1");
                station_stop(st);
                log_event(&log, LOG_INFO, "station.down", "station=%s msg=\"stopped in order\"", c->name);
        } else
                status = status ? status : -1;
        if (lock)
                w->file->unlock(w, lock);
        signals_stop(signals);
        if (in)
                w->task->inbox_free(w, in);
        text_done(&path);
        text_done(&address);
        if (status == 0)
                return 0;
        int said = say(err);
        return status > 0 ? status : said;
}

int main(int argc, char **argv)
{
        struct options o;
        struct tp_error err = {0};
        struct station_config config = {0};
        int status = read_options(argc, argv, &o);
        if (status >= 0)
                return status;
        if (o.schema)
                return print_schema();
        struct world *w = host_world_new(&err);
        if (!w)
                return say(&err);
        if (read_config(w, &o, &config, &err))
                status = say(&err);
        else
                status = o.check ? check(w, &config) : serve(w, &o, &config, &err);
        station_config_done(&config);
        host_world_free(w);
        return status;
}
