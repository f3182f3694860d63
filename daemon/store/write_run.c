/* write_run.c: one function per fact of a run file, besides the measured data (write_data.c).
 * Repeats     what names itself (documents, devices, axes) may be told twice; what an intention names (entries, touchdowns, sweeps) is
 * refused by the unique index, and a work whose entries are in the journal already is taken as a repeated delivery before anything is
 * written. */
#include "base/hash.h"
#include "store/own.h"
#include <inttypes.h>
#include <string.h>

static const char *const phase_words[] = {NULL, "intend", "outcome", "note"};

enum code run_document(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "INSERT INTO document VALUES(?,?,?,?) ON CONFLICT DO NOTHING", "htTT", f->of.document.sha256,
                      f->of.document.kind, f->of.document.name, f->of.document.body);
}

/* A setup of zeros is the one inside the recipe. */
enum code run_run_new(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err,
                      "INSERT INTO run(one,id,number,station,kind,wafer,lot,recipe,setup,build,plan,began_us) "
                      "VALUES(1,?1,?2,?3,?4,?5,?6,?7,coalesce(?8,?7),?9,?10,?11)",
                      "tiTtTThhTTi", a->slot->id, f->of.run_new.number, f->of.run_new.station, f->of.run_new.kind, f->of.run_new.wafer,
                      f->of.run_new.lot, f->of.run_new.recipe, f->of.run_new.setup, f->of.run_new.build ? f->of.run_new.build : a->s->build,
                      f->of.run_new.plan_json, a->now_us);
}

enum code run_run_state(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "UPDATE state SET state=?, waiting_for=?, at_us=?", "TTi", f->of.run_state.state,
                      f->of.run_state.waiting_for, a->now_us);
}

enum code run_map(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err,
                      "UPDATE state SET state=coalesce(?,state), counts=coalesce(?,counts), map=coalesce(?,map), at_us=?", "ttti",
                      f->of.map.state, f->of.map.counts_json, f->of.map.map_json, a->now_us);
}

/* The mark that sealing has begun: from here on a start finishes it. */
enum code run_seal(struct apply *a, const struct fact *f, struct tp_error *err)
{
        (void)f;
        a->item->seals = true;
        return db_run(&a->slot->db, err, "UPDATE run SET closed_us=coalesce(closed_us,?)", "i", a->now_us);
}

enum code run_boot(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "INSERT INTO boot VALUES(?,?,?,?) ON CONFLICT DO NOTHING", "ibiT", (int64_t)f->of.boot.id,
                      (const void *)f->of.boot.boot, (size_t)16, a->now_us, f->of.boot.build ? f->of.boot.build : a->s->build);
}

enum code run_entry(struct apply *a, const struct fact *f, struct tp_error *err)
{
        const struct entry *e = &f->of.entry;
        if (e->phase <= PHASE_UNKNOWN || e->phase > PHASE_NOTE || e->code >= CODE_COUNT || e->kind >= STEP_KIND_COUNT || e->seq == 0 ||
            e->seq > INT64_MAX)
                return tp_fail(err, CODE_BUG, "entry %" PRIu64 " has phase %d, kind %d, code %d", e->seq, (int)e->phase, (int)e->kind,
                               (int)e->code);
        struct text body;
        text_init(&body, 0);
        entry_body_write(e, &body);
        enum code code = text_ok(&body) ? CODE_OK : tp_fail_memory(err);
        const char *kind = e->phase == PHASE_NOTE && e->body.note.note > 0 && e->body.note.note < NOTE_KIND_COUNT
                                   ? note_words[e->body.note.note]
                                   : step_rows[e->kind].word;
        if (!code)
                code = db_run(&a->slot->db, err, "INSERT INTO journal VALUES(?,?,?,?,?,?,?,?,?,?,?)", "iittitiiitI", (int64_t)e->seq,
                              (int64_t)e->step, phase_words[e->phase], kind, (int64_t)e->rule,
                              e->phase == PHASE_OUTCOME ? code_rows[e->code].word : NULL, (int64_t)e->boot, e->boot_ns, e->wall_us,
                              text_of(&body), e->phase == PHASE_OUTCOME ? e->body.outcome.station_ns : 0);
        text_done(&body);
        a->entry_seq = e->seq;
        if (e->seq > a->slot->batch_seq)
                a->slot->batch_seq = e->seq;
        return code;
}

/* Is this very entry there?  A step has one intention and one outcome; a note is known by its seq and its words. */
static enum code entry_is_there(struct apply *a, const struct entry *e, bool *ret, struct tp_error *err)
{
        struct db *db = &a->slot->db;
        int64_t seq = 0;
        enum code code = CODE_OK;
        if (e->phase == PHASE_INTEND || e->phase == PHASE_OUTCOME) {
                code = db_int(db, &seq, 0, err, "SELECT seq FROM journal WHERE step=? AND phase=? AND phase<>'note'", "it",
                              (int64_t)e->step, phase_words[e->phase]);
        } else if (e->phase == PHASE_NOTE) {
                struct text body;
                text_init(&body, 0);
                entry_body_write(e, &body);
                code = text_ok(&body) ? db_int(db, &seq, 0, err, "SELECT seq FROM journal WHERE seq=? AND phase='note' AND body=?", "it",
                                               (int64_t)e->seq, text_of(&body))
                                      : tp_fail_memory(err);
                text_done(&body);
        }
        *ret = seq != 0;
        return code;
}

enum code work_is_duplicate(struct apply *a, bool *ret, struct tp_error *err)
{
        *ret = false;
        for (size_t i = 0; i < a->item->work->fact_n && !*ret; i++) {
                const struct fact *f = &a->item->work->facts[i];
                if (f->kind != FACT_ENTRY)
                        continue;
                enum code code = entry_is_there(a, &f->of.entry, ret, err);
                if (code)
                        return code;
        }
        return CODE_OK;
}
