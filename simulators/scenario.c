/* scenario.c: finding, reading and checking a scenario; its tables are in scenario_fields.c. */
#include "simulators/scenario.h"
#include <stdio.h>
#include <string.h>

enum { DOCUMENT_MAX = 8 << 20 };

/* config that only points to a scenario */
struct pointer {
        char scenario[SIM_PATH_ROOM], truth_file[SIM_PATH_ROOM], state_file[SIM_PATH_ROOM];
        int64_t seed;
        bool has_seed;
};
#define PATH(key_, member_, need_, say_)                                                                                                \
        {                                                                                                                               \
                .key = key_, .type = FIELD_TEXT, .offset = offsetof(struct pointer, member_), .size = SIM_PATH_ROOM, .required = need_, \
                .say = say_                                                                                                             \
        }
static const struct field pointer_fields[] = {
        PATH("scenario", scenario, true, "path of a scenario"),
        PATH("truth_file", truth_file, false, "instead of the scenario's"),
        PATH("state_file", state_file, false, "instead of the scenario's"),
        {.key = "seed",
         .type = FIELD_I64,
         .offset = offsetof(struct pointer, seed),
         .has_offset = offsetof(struct pointer, has_seed),
         .min = 0,
         .max = 9007199254740991.0,
         .say = "instead of the scenario's"},
};
static const struct object pointer_object = {.name = "simulated_station",
                                             .say = "Configuration of driver \"simulated\".",
                                             .bytes = sizeof(struct pointer),
                                             .fields = pointer_fields,
                                             .field_n = sizeof pointer_fields / sizeof pointer_fields[0]};

/* `path` as seen from `dir`, in place. */
static enum code path_join(const char *dir, char path[SIM_PATH_ROOM], struct tp_error *err)
{
        char joined[2 * SIM_PATH_ROOM];
        if (!path[0] || path[0] == '/' || !dir || !dir[0])
                return CODE_OK;
        int n = snprintf(joined, sizeof joined, "%s/%s", dir, path);
        if (n < 0 || n >= SIM_PATH_ROOM)
                return tp_fail(err, CODE_BAD_INPUT, "the path %s/%s is longer than 511 bytes; use a shorter one", dir, path);
        memcpy(path, joined, (size_t)n + 1);
        return CODE_OK;
}

static void dir_of(const char *path, char ret[SIM_PATH_ROOM])
{
        const char *slash = strrchr(path, '/');
        size_t n = slash ? (size_t)(slash - path) : 0;
        memcpy(ret, path, n);
        ret[n] = 0;
        if (!slash)
                snprintf(ret, SIM_PATH_ROOM, ".");
}

static enum code document(const struct world *w, const char *path, cJSON **ret, struct tp_error *err)
{
        struct text t;
        text_init(&t, DOCUMENT_MAX);
        enum code code = w->file->read(w, path, DOCUMENT_MAX, &t, err);
        if (!code)
                code = json_read(text_of(&t), t.n, JSON_DEPTH_MAX, ret, err);
        text_done(&t);
        return code ? tp_where(err, "%s", path) : CODE_OK;
}

static enum code check(const struct scenario *s, struct tp_error *err)
{
        if (!s->layout[0] == !s->recipe[0])
                return tp_fail_at(err, CODE_BAD_INPUT, "/layout",
                                  "give either \"layout\" or \"recipe\", the path of the document that defines the dies");
        if (s->contact.plateau_um_max < s->contact.plateau_um_min || s->contact.ground_hz_max < s->contact.ground_hz_min)
                return tp_fail_at(err, CODE_BAD_INPUT, "/contact", "a largest value lies below the least one; exchange them");
        for (size_t i = 0; i < s->fault_n; i++) {
                const struct fault *f = &s->faults[i];
                bool contact = f->what == FAULT_OPEN_CONTACT || f->what == FAULT_LOST_GROUND;
                if (!f->what)
                        return tp_fail_at(err, CODE_BAD_INPUT, "/faults", "fault %zu is of no kind; name one", i);
                if (i >= 62 && (f->what == FAULT_MAINS || f->what == FAULT_DRIFT_STEP))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/faults",
                                          "fault %zu (%s): put drift steps and mains failures among the first 62 faults", i,
                                          fault_words[f->what]);
                if (contact && !f->device[0] == !f->standard[0])
                        return tp_fail_at(err, CODE_BAD_INPUT, "/faults", "fault %zu (%s): name either a device or a standard", i,
                                          fault_words[f->what]);
                if (f->what == FAULT_DRIFT_STEP && !(f->at_s > 0) == !(f->at_count > 0))
                        return tp_fail_at(err, CODE_BAD_INPUT, "/faults", "fault %zu (drift_step): give either \"at_s\" or \"at_count\"",
                                          i);
        }
        return CODE_OK;
}

enum code scenario_read(const struct world *w, const char *config, size_t n, const char *base_dir, struct arena *arena,
                        struct scenario *ret, struct tp_error *err)
{
        cJSON *json = NULL, *other = NULL;
        struct pointer p = {0};
        struct scenario s;
        char dir[SIM_PATH_ROOM];
        enum code code = json_read(config, n, JSON_DEPTH_MAX, &json, err);
        snprintf(dir, sizeof dir, "%s", base_dir ? base_dir : "");
        if (!code && cJSON_GetObjectItemCaseSensitive(json, "scenario")) {
                code = fields_read(&pointer_object, json, arena, &p, err);
                for (size_t i = 0; i < 3 && !code; i++)
                        code = path_join(base_dir, i == 0 ? p.scenario : i == 1 ? p.truth_file : p.state_file, err);
                if (!code)
                        code = document(w, p.scenario, &other, err);
                dir_of(p.scenario, dir);
        }
        if (!code)
                code = fields_read(&scenario_object, other ? other : json, arena, &s, err);
        if (!code)
                code = check(&s, err);
        if (code && p.scenario[0])
                tp_where(err, "scenario %s", p.scenario);
        char *paths[] = {s.layout, s.recipe, s.truth_file, s.state_file};
        for (size_t i = 0; i < 4 && !code; i++)
                code = path_join(dir, paths[i], err);
        if (!code) {
                if (p.truth_file[0])
                        memcpy(s.truth_file, p.truth_file, sizeof s.truth_file);
                if (p.state_file[0])
                        memcpy(s.state_file, p.state_file, sizeof s.state_file);
                if (p.has_seed)
                        s.seed = p.seed;
                *ret = s;
        }
        cJSON_Delete(other);
        cJSON_Delete(json);
        return code;
}

enum code scenario_layout(const struct world *w, const struct scenario *s, struct arena *arena, struct layout *ret, struct tp_error *err)
{
        const char *path = s->layout[0] ? s->layout : s->recipe;
        cJSON *json = NULL;
        enum code code = document(w, path, &json, err);
        const cJSON *member = code || s->layout[0] ? json : cJSON_GetObjectItemCaseSensitive(json, "layout");
        if (!code && !member)
                code = tp_fail_at(err, CODE_BAD_INPUT, "/layout", "the recipe has no layout; name another document");
        if (!code)
                code = layout_read(member, arena, ret, err);
        cJSON_Delete(json);
        return code ? tp_where(err, "layout in %s", path) : CODE_OK;
}
