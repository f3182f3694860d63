/* api.c: opens and closes what all handlers share. */
#include "api/api.h"
#include "api/auth.h"
#include "api/shelf.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum code api_open(struct api *api, const struct api_setup *setup, struct tp_error *err)
{
        memset(api, 0, sizeof *api);
        api->world = setup->world;
        api->log = setup->log;
        api->store = setup->store;
        api->loop = setup->loop;
        api->slot = setup->slot;
        api->healthy = setup->healthy;
        api->healthy_ctx = setup->healthy_ctx;
        snprintf(api->build, sizeof api->build, "%s", setup->build);
        api->lock = setup->world->task->lock_new(setup->world);
        api->shelf = shelf_new(setup->world);
        enum code code = api->lock && api->shelf ? auth_load(api, err) : tp_fail_memory(err);
        if (code)
                api_close(api);
        return code;
}

void api_close(struct api *api)
{
        if (api->lock)
                api->world->task->lock_free(api->world, api->lock);
        shelf_free(api->shelf);
        free(api->keys);
        memset(api, 0, sizeof *api);
}

void api_ulid(struct api *api, char ret[27])
{
        api->world->task->lock(api->world, api->lock);
        ulid_make(api->world, &api->ulids, ret);
        api->world->task->unlock(api->world, api->lock);
}
