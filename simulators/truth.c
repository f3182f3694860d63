/* truth.c: what is really there, written once for the judge: every device's elements between the inner edges of its pads, every injected
   fault. The daemon never opens this file (mode 0600, a directory of its own).  Beside it grows FILE.events, one line for each fault that
   took effect. */
#include "simulators/bench.h"
#include "simulators/supply.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

static void faults_write(const struct scenario *s, struct json_out *o)
{
        json_open(o, "faults", '[');
        for (size_t i = 0; i < s->fault_n; i++) {
                const struct fault *f = &s->faults[i];
                json_open(o, NULL, '{');
                json_text(o, "what", fault_words[f->what]);
                json_int(o, "port", f->port);
                json_int(o, "die_x", f->die_x);
                json_int(o, "die_y", f->die_y);
                json_text(o, "device", f->device);
                json_text(o, "standard", f->standard);
                json_int(o, "first", f->first);
                json_int(o, "attempts", f->attempts);
                json_real(o, "at_s", f->at_s);
                json_int(o, "at_count", f->at_count);
                json_real(o, "fs", f->fs);
                json_close(o, '}');
        }
        json_close(o, ']');
}

static void standards_write(const struct bench *b, struct json_out *o)
{
        json_open(o, "standards", '[');
        for (size_t i = 0; i < b->scenario.standard_n; i++) {
                struct sim_copy c = copy_of(&b->scenario, i, 0);
                json_open(o, NULL, '{');
                json_text(o, "name", b->scenario.standards[i].name);
                for (int p = 0; p < 2; p++) {
                        json_open(o, p == 0 ? "port1" : "port2", '{');
                        json_real(o, "r_ohm", c.r_ohm[p]);
                        json_real(o, "l_h", c.l_h[p]);
                        json_real(o, "c_f", c.c_f[p]);
                        json_close(o, '}');
                }
                json_real(o, "delay_s", c.delay_s);
                json_close(o, '}');
        }
        json_close(o, ']');
}

static double number_of(const cJSON *of, const char *name, double otherwise)
{
        double value = cJSON_GetNumberValue(cJSON_GetObjectItemCaseSensitive(of, name));
        return isfinite(value) ? value : otherwise;
}

/* One bias of a condition, its gate or its base: a voltage, or a current that is held up to a limit. */
static void bias_add(const struct scenario *s, const cJSON *of, const char *limit, struct sim_bias *bias)
{
        double channel = number_of(of, "channel", 0), limit_v = number_of(of, limit, 0);
        int port = channel >= 0 && channel <= 1 ? supply_port(s, (unsigned)channel) : -1;
        if (port < 0 || !of)
                return;
        bias->volt[port] += number_of(of, "volt", 0);
        if (!(limit_v > 0))
                return;
        bias->held[port] = true;
        bias->volt[port] = limit_v;
        bias->ampere[port] = supply_held_a(s, (unsigned)channel, number_of(of, "ampere", 0));
}

/* At which voltages a device is measured, and whether its leads are taken off, says the recipe, if the scenario names one. */
static void conditions_write(const struct bench *b, struct json_out *o)
{
        struct text t;
        cJSON *recipe = NULL;
        const cJSON *measure = NULL, *condition = NULL;
        text_init(&t, 0);
        json_open(o, "conditions", '[');
        if (b->scenario.recipe[0] && !b->world->file->read(b->world, b->scenario.recipe, 8u << 20, &t, NULL) &&
            !json_read(text_of(&t), t.n, JSON_DEPTH_MAX, &recipe, NULL))
                cJSON_ArrayForEach(measure, cJSON_GetObjectItemCaseSensitive(recipe, "measures"))
                {
                        const char *device = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(measure, "device"));
                        int64_t k = 0;
                        cJSON_ArrayForEach(condition, cJSON_GetObjectItemCaseSensitive(measure, "conditions"))
                        {
                                struct sim_bias bias = {.held = {false}};
                                bias_add(&b->scenario, condition, "open_v", &bias);
                                bias_add(&b->scenario, cJSON_GetObjectItemCaseSensitive(condition, "gate"), "", &bias);
                                bias_add(&b->scenario, cJSON_GetObjectItemCaseSensitive(condition, "base"), "limit_v", &bias);
                                if (!device)
                                        continue;
                                json_open(o, NULL, '{');
                                json_text(o, "device", device);
                                json_int(o, "condition", k++);
                                json_real(o, "volt_1", bias.volt[0]);
                                json_real(o, "volt_2", bias.volt[1]);
                                json_real(o, "ampere_1", bias.ampere[0]);
                                json_real(o, "ampere_2", bias.ampere[1]);
                                json_bool(o, "held_1", bias.held[0]);
                                json_bool(o, "held_2", bias.held[1]);
                                json_bool(o, "inside", cJSON_IsObject(cJSON_GetObjectItemCaseSensitive(measure, "extrinsic")));
                                json_close(o, '}');
                        }
                }
        json_close(o, ']');
        cJSON_Delete(recipe);
        text_done(&t);
}

enum code truth_write(const struct bench *b, struct tp_error *err)
{
        const struct scenario *s = &b->scenario;
        struct text t;
        char path[SIM_PATH_ROOM + 16], dir[SIM_PATH_ROOM];
        text_init(&t, 0);
        struct json_out o = json_to(&t);
        json_open(&o, NULL, '{');
        json_text(&o, "name", s->name);
        json_int(&o, "seed", s->seed);
        json_text(&o, "means", "two-port between the inner edges of the pads, as ideal open-short de-embedding returns it");
        json_open(&o, "devices", '[');
        for (size_t i = 0; i < b->wafer.die_n * b->layout.device_n; i++)
                fields_write(&sim_device_object, &b->wafer.devices[i], &o, NULL);
        json_close(&o, ']');
        conditions_write(b, &o);
        standards_write(b, &o);
        faults_write(s, &o);
        json_close(&o, '}');
        text_put(&t, "\n");
        snprintf(dir, sizeof dir, "%s", s->truth_file);
        enum code code = text_ok(&t) ? CODE_OK : tp_fail_memory(err);
        char *slash = strrchr(dir, '/');
        if (!code && slash && slash != dir) {
                *slash = 0; /* its directory */
                code = b->world->file->make_dir(b->world, dir, err);
        }
        if (!code)
                code = b->world->file->write(b->world, s->truth_file, text_of(&t), t.n, 0600, err);
        snprintf(path, sizeof path, "%s.events", s->truth_file);
        if (!code)
                code = b->world->file->write(b->world, path, "", 0, 0600, err);
        text_done(&t);
        return code ? tp_where(err, "truth file %s", s->truth_file) : CODE_OK;
}
