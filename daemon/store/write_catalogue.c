/* write_catalogue.c: one function per fact that catalogue.db keeps, and the chain of audit rows. */
#include "base/hash.h"
#include "store/own.h"
#include <inttypes.h>
#include <string.h>

enum code catalogue_document(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->s->catalogue, err, "INSERT INTO document VALUES(?,?,?,?,?,?) ON CONFLICT(sha256) DO NOTHING", "htTTiT",
                      f->of.document.sha256, f->of.document.kind, f->of.document.name, f->of.document.body, a->now_us, f->of.document.by);
}

enum code catalogue_wafer(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->s->catalogue, err,
                      "INSERT INTO wafer(id,lot,scribed,layout) VALUES(?,?,?,(SELECT sha256 FROM document WHERE sha256=?)) "
                      "ON CONFLICT(id) DO UPDATE SET lot=excluded.lot, scribed=coalesce(excluded.scribed,scribed), "
                      "layout=coalesce(excluded.layout,layout)",
                      "tTth", f->of.wafer.id, f->of.wafer.lot, f->of.wafer.scribed, f->of.wafer.layout);
}

static enum code thing_make(struct store *s, const char *kind, const char *serial, const char *part, int64_t budget, struct tp_error *err)
{
        char id[27];
        ulid_make(s->w, &s->ulids, id);
        return db_run(&s->catalogue, err,
                      "INSERT INTO thing(id,kind,serial,part,budget) VALUES(?,?,?,?,?) "
                      "ON CONFLICT(kind,serial,part) DO UPDATE SET budget=excluded.budget WHERE excluded.budget IS NOT NULL AND "
                      "excluded.budget IS NOT budget",
                      "ttTTI", id, kind, serial, part, budget);
}

enum code catalogue_thing(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return thing_make(a->s, f->of.thing.kind, f->of.thing.serial, f->of.thing.part, f->of.thing.budget, err);
}

/* The same row again is a repeated delivery and fine; another number of touches under the same intention is not. */
enum code catalogue_ledger(struct apply *a, const struct fact *f, struct tp_error *err)
{
        struct db *db = &a->s->catalogue;
        int64_t before = 0;
        enum code code = db_int(
                db, &before, INT64_MIN, err,
                "SELECT touches FROM ledger WHERE thing=(SELECT id FROM thing WHERE kind=? AND serial=? AND part=?) AND run=? AND seq=?",
                "tTTti", f->of.ledger.kind, f->of.ledger.serial, f->of.ledger.part, a->item->work->run, (int64_t)f->of.ledger.seq);
        if (code)
                return code;
        if (before == f->of.ledger.touches)
                return CODE_OK;
        if (before != INT64_MIN)
                return tp_fail(
                        err, CODE_STATE, "entry %" PRIu64 " of the run has spent %" PRId64 " touches of %s %s/%s already, now it says %d",
                        f->of.ledger.seq, before, f->of.ledger.kind, f->of.ledger.serial, f->of.ledger.part, (int)f->of.ledger.touches);
        memcpy(a->s->ledger_batch.run, a->item->work->run, sizeof a->s->ledger_batch.run);
        a->s->ledger_batch.seq = f->of.ledger.seq;
        code = thing_make(a->s, f->of.ledger.kind, f->of.ledger.serial, f->of.ledger.part, 0, err);
        if (code)
                return code;
        return db_run(db, err, "INSERT INTO ledger VALUES((SELECT id FROM thing WHERE kind=? AND serial=? AND part=?),?,?,?,?)", "tTTtiiT",
                      f->of.ledger.kind, f->of.ledger.serial, f->of.ledger.part, a->item->work->run, (int64_t)f->of.ledger.seq,
                      (int64_t)f->of.ledger.touches, f->of.ledger.why);
}

enum code catalogue_run_new(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->s->catalogue, err, "INSERT INTO run(id,number,path,state,opened_us,schema) VALUES(?,?,?,'open',?,?)", "titii",
                      a->slot->id, f->of.run_new.number, a->slot->path, a->now_us, (int64_t)schema_version("run"));
}

/* The same key with the same request is a repeat; with another request it is a mistake of the client. */
enum code catalogue_command(struct apply *a, const struct fact *f, struct tp_error *err)
{
        struct db *db = &a->s->catalogue;
        sqlite3_stmt *q = NULL;
        bool has = false, same = false;
        enum code code = db_ask(db, &q, err, "SELECT request_sha256 FROM command WHERE token=? AND key=?", "tt", f->of.command.token,
                                f->of.command.key);
        if (!code)
                code = db_row(db, q, &has, err);
        if (!code && has)
                same = sqlite3_column_bytes(q, 0) == 32 && !memcmp(sqlite3_column_blob(q, 0), f->of.command.request, 32);
        db_end(q);
        if (code)
                return code;
        if (has && !same)
                return tp_fail(err, CODE_BAD_INPUT, "the key %.40s was used for another request; take a new key for each command",
                               f->of.command.key);
        if (has) {
                a->item->duplicate = true;
                return CODE_OK;
        }
        return db_run(db, err, "INSERT INTO command(key,token,request_sha256,body,at_us) VALUES(?,?,?,?,?)", "ttbti", f->of.command.key,
                      f->of.command.token, (const void *)f->of.command.request, (size_t)32, f->of.command.body, a->now_us);
}

enum code catalogue_command_done(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->s->catalogue, err, "UPDATE command SET status=?, reply=? WHERE token=? AND key=?", "iTtt",
                      (int64_t)f->of.command.status, f->of.command.reply, f->of.command.token, f->of.command.key);
}

enum code catalogue_audit(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return audit_row(a->s, f->of.audit.token, f->of.audit.what, f->of.audit.target, f->of.audit.body, f->of.audit.result, err);
}

enum code alarm_raise(struct store *s, const char *cause, const char *run, const char *sentence, const char *action, bool latched,
                      struct tp_error *err)
{
        char id[27];
        ulid_make(s->w, &s->ulids, id);
        return db_run(&s->catalogue, err,
                      "INSERT INTO alarm(id,cause,run,raised_us,sentence,action,latched) VALUES(?,?,?,?,?,?,?) ON CONFLICT DO NOTHING",
                      "tttiTTi", id, cause, run, world_wall_us(s->w), sentence, action, (int64_t)latched);
}

enum code catalogue_alarm(struct apply *a, const struct fact *f, struct tp_error *err)
{
        const char *run = a->item->work->run;
        return alarm_raise(a->s, f->of.alarm.cause, run[0] ? run : NULL, f->of.alarm.sentence, f->of.alarm.action, f->of.alarm.latched,
                           err);
}

enum code catalogue_alarm_clear(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->s->catalogue, err,
                      "UPDATE alarm SET cleared_us=?, acked_us=coalesce(acked_us,?), acked_by=coalesce(acked_by,?) WHERE cause=? AND "
                      "cleared_us IS NULL",
                      "iitt", a->now_us, a->now_us, f->of.alarm.who, f->of.alarm.cause);
}

enum code catalogue_token(struct apply *a, const struct fact *f, struct tp_error *err)
{
        struct db *db = &a->s->catalogue;
        enum code code = db_run(db, err, "INSERT INTO person(name) VALUES(?) ON CONFLICT DO NOTHING", "T", f->of.token.person);
        if (code)
                return code;
        return db_run(db, err,
                      "INSERT INTO token(id,person,role,digest,made_us,label) VALUES(?,(SELECT id FROM person WHERE name=?),?,?,?,?)",
                      "tTthiT", f->of.token.id, f->of.token.person, f->of.token.role, f->of.token.digest, a->now_us, f->of.token.label);
}

/* An epoch never falls. */
enum code catalogue_epoch(struct apply *a, const struct fact *f, struct tp_error *err)
{
        enum code code = db_run(&a->s->catalogue, err, "UPDATE station_state SET station=?, epoch=max(epoch,?)", "Ti", f->of.epoch.station,
                                (int64_t)f->of.epoch.epoch);
        if (code)
                return code;
        a->s->w->task->lock(a->s->w, a->s->mutex);
        if (f->of.epoch.epoch > a->s->epoch)
                a->s->epoch = f->of.epoch.epoch;
        a->s->w->task->unlock(a->s->w, a->s->mutex);
        return CODE_OK;
}
