/* write_index.c: one function per fact of index.db, which holds only what can be made again. */
#include "store/own.h"

enum code index_run_new(struct apply *a, const struct fact *f, struct tp_error *err)
{
        const struct work *w = a->item->work;
        const char *name = "";
        for (size_t i = 0; i < w->fact_n; i++)
                if (w->facts[i].kind == FACT_DOCUMENT && w->facts[i].of.document.kind &&
                    !__builtin_strcmp(w->facts[i].of.document.kind, "recipe"))
                        name = w->facts[i].of.document.name;
        return db_run(&a->s->index, err, "INSERT INTO run_row VALUES(?,?,?,?,?,?,?,?,'open','','{}','{}','open') ON CONFLICT DO NOTHING",
                      "ittTThTi", f->of.run_new.number, a->slot->id, f->of.run_new.kind, f->of.run_new.lot, f->of.run_new.wafer,
                      f->of.run_new.recipe, name, a->now_us);
}

enum code index_run_state(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->s->index, err, "UPDATE run_row SET state=?, waiting_for=? WHERE id=?", "TTt", f->of.run_state.state,
                      f->of.run_state.waiting_for, a->item->work->run);
}

enum code index_map(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->s->index, err,
                      "UPDATE run_row SET state=coalesce(?,state), counts=coalesce(?,counts), map=coalesce(?,map) WHERE id=?", "tttt",
                      f->of.map.state, f->of.map.counts_json, f->of.map.map_json, a->item->work->run);
}

enum { EVENTS_KEPT = 1000000, EVENTS_BETWEEN_CUTS = 4096 };

enum code index_event(struct apply *a, const struct fact *f, struct tp_error *err)
{
        struct db *db = &a->s->index;
        enum code code = db_run(db, err, "INSERT INTO event(epoch,topic,ref,body,at_us) VALUES(?,?,?,?,?)", "itTTi", (int64_t)a->s->epoch,
                                f->of.event.topic, f->of.event.ref, f->of.event.body, a->now_us);
        if (code)
                return code;
        int64_t seq = sqlite3_last_insert_rowid(db->at);
        a->item->event_seq = (uint64_t)seq;
        if (++a->s->events % EVENTS_BETWEEN_CUTS == 0)
                code = db_run(db, err, "DELETE FROM event WHERE seq<=?", "i", seq - EVENTS_KEPT);
        return code;
}
