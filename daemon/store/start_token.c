/* start_token.c: the first key.  The file comes before the row: a cut between them leaves a file that the next start overwrites. */
#include "store/own.h"
#include "store/view.h"
#include <stdio.h>
#include <string.h>

enum { WAIT_S = 30 };

enum code store_start_token(struct store *s, bool *ret_made, char *ret_path, size_t room, struct tp_error *err)
{
        char token[70], path[STORE_PATH], id[27];
        uint8_t digest[32];
        int64_t tokens = 0;
        struct ulid_maker ulids = {0};
        *ret_made = false;
        path_in(s, "token", path);
        enum code code = view_token_count(s, &tokens, err);
        if (code || tokens)
                return code;
        token_make(s->w, token, digest);
        ulid_make(s->w, &ulids, id);
        token[68] = '\n';
        code = s->w->file->write(s->w, path, token, 69, 0600, err);
        memset(token, 0, sizeof token);
        if (code)
                return code;
        struct inbox *answer = s->w->task->inbox_new(s->w, 0);
        struct work *work = answer ? work_new(NULL) : NULL;
        struct fact *f = work ? work_add(work, FACT_TOKEN) : NULL;
        if (!f) {
                work_free(work);
                code = tp_fail_memory(err);
                goto done;
        }
        f->of.token.id = work_text(work, "%s", id);
        f->of.token.person = "first start";
        f->of.token.role = "safety";
        f->of.token.label = "made at the first start";
        memcpy(f->of.token.digest, digest, 32);
        work->answer = answer;
        if (!store_submit(s, work, DURABLE)) {
                work_free(work);
                code = tp_fail(err, CODE_BUSY, "the store is closing");
                goto done;
        }
        struct message *m = s->w->task->take(s->w, answer, world_boot_ns(s->w) + WAIT_S * NS_PER_S);
        struct store_done *done = (struct store_done *)(void *)m;
        code = done ? done->code : tp_fail(err, CODE_TIMED_OUT, "the first token was not written within %d s", WAIT_S);
        if (done && code && err)
                *err = done->err;
        if (m)
                m->free(m);
        *ret_made = !code;
        snprintf(ret_path, room, "%s", path);
done:
        if (answer)
                s->w->task->inbox_free(s->w, answer);
        return code;
}
