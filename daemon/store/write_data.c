/* write_data.c: one function per fact that was measured or concluded: devices, touchdowns, sweeps, calibrations, checks, intervals, trust,
   evaluations, parameters. */
#include "base/hash.h"
#include "store/own.h"
#include <inttypes.h>
#include <string.h>

enum code run_device(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "INSERT INTO device VALUES(?,?,?,?,?,?) ON CONFLICT DO NOTHING", "iiitTT", f->of.device.id,
                      (int64_t)f->of.device.die_x, (int64_t)f->of.device.die_y, f->of.device.name, f->of.device.kind, f->of.device.pads);
}

/* Doubles as the machine has them are little-endian on every machine this is built for (checked where it is compiled). */
_Static_assert(__BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__ && sizeof(double) == 8, "axes are stored as little-endian doubles");

enum code run_axis(struct apply *a, const struct fact *f, struct tp_error *err)
{
        uint8_t digest[32];
        sha256_of(f->of.axis.hz, 8 * f->of.axis.n, digest);
        return db_run(&a->slot->db, err, "INSERT INTO axis VALUES(?,?,?,?,?) ON CONFLICT DO NOTHING", "ibibT", f->of.axis.id,
                      (const void *)digest, (size_t)32, (int64_t)f->of.axis.n, (const void *)f->of.axis.hz, 8 * f->of.axis.n,
                      f->of.axis.segments);
}

enum code run_touchdown(struct apply *a, const struct fact *f, struct tp_error *err)
{
        struct db *db = &a->slot->db;
        enum code code = db_run(db, err,
                                "INSERT INTO touchdown(id,device,place,setup,replaces,attempt,x_um,y_um,z_um,overtravel_um) "
                                "VALUES(?,?,?,(SELECT setup FROM run),?,?,?,?,?,?)",
                                "iITIidddd", f->of.touchdown.id, f->of.touchdown.device, f->of.touchdown.place, f->of.touchdown.replaces,
                                (int64_t)f->of.touchdown.attempt, f->of.touchdown.x_um, f->of.touchdown.y_um, f->of.touchdown.z_um,
                                f->of.touchdown.overtravel_um);
        for (size_t i = 0; i < f->of.touchdown.thing_n && !code; i++)
                code = db_run(db, err, "INSERT INTO touched VALUES(?,?,?) ON CONFLICT DO NOTHING", "iit", f->of.touchdown.id,
                              (int64_t)(f->of.touchdown.ports ? f->of.touchdown.ports[i] : 0), f->of.touchdown.things[i]);
        return code;
}

enum code run_touchdown_done(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "UPDATE touchdown SET outcome=?, evidence=coalesce(?,evidence) WHERE id=?", "tti",
                      f->of.touchdown_done.outcome, f->of.touchdown_done.evidence_json, f->of.touchdown_done.id);
}

enum code run_sweep(struct apply *a, const struct fact *f, struct tp_error *err)
{
        struct db *db = &a->slot->db;
        enum code code = db_run(db, err, "INSERT INTO sweep VALUES(?,?,?,?,?,?,?,?,?)", "iItiiITiT", f->of.sweep.id, f->of.sweep.touchdown,
                                f->of.sweep.use, (int64_t)f->of.sweep.condition, f->of.sweep.axis, (int64_t)a->entry_seq,
                                f->of.sweep.bias_json, (int64_t)f->of.sweep.flags, f->of.sweep.temps_json);
        for (size_t i = 0; i < f->of.sweep.trace_n && !code; i++) {
                const struct trace_fact *t = &f->of.sweep.traces[i];
                code = db_run(db, err, "INSERT INTO trace(sweep,name,dtype,digest,raw) VALUES(?,?,?,?,?)", "ittbb", f->of.sweep.id, t->name,
                              t->dtype, (const void *)a->item->digests[a->digest_i++], (size_t)16, t->bytes, t->byte_n);
        }
        return code;
}

enum code run_calibration(struct apply *a, const struct fact *f, struct tp_error *err)
{
        struct db *db = &a->slot->db;
        enum code code =
                db_run(db, err, "INSERT INTO calibration VALUES(?,?,?,?,(SELECT setup FROM run),?,?,?,?,?,?,?,?,?)", "tittiTdTbbTtI",
                       f->of.calibration.id, f->of.calibration.number, a->slot->id, f->of.calibration.method, f->of.calibration.axis,
                       f->of.calibration.plane, f->of.calibration.z_ref_ohm, f->of.calibration.domain_json, f->of.calibration.terms,
                       f->of.calibration.term_bytes, f->of.calibration.covariance, f->of.calibration.covariance_bytes,
                       f->of.calibration.diagnosis_json, f->of.calibration.state, (int64_t)f->of.calibration.solved_seq);
        for (size_t i = 0; i < f->of.calibration.standard_n && !code; i++)
                code = db_run(db, err, "INSERT INTO standard(calibration,n,standard,copy,model,sweep,residual_db) VALUES(?,?,?,?,?,?,?)",
                              "titttId", f->of.calibration.id, (int64_t)i + 1, f->of.calibration.standards[i].standard,
                              f->of.calibration.standards[i].copy, f->of.calibration.standards[i].model_json,
                              f->of.calibration.standards[i].sweep, f->of.calibration.standards[i].residual_db);
        return code;
}

enum code run_calibration_state(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "UPDATE calibration SET state=? WHERE id=?", "tt", f->of.calibration_state.state,
                      f->of.calibration_state.id);
}

enum code run_check(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "INSERT INTO check_done VALUES(?,nullif(?,''),?,?,?,?)", "itiitT", f->of.check.id,
                      f->of.check.calibration, (int64_t)f->of.check.ended, (int64_t)f->of.check.passed, f->of.check.cause,
                      f->of.check.modes_json);
}

enum code run_interval_open(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err,
                      "INSERT INTO interval(id,setup,calibration,opened,opening) VALUES(?,(SELECT setup FROM run),nullif(?,''),?,?)",
                      "itiI", f->of.interval_open.id, f->of.interval_open.calibration, (int64_t)f->of.interval_open.opened,
                      f->of.interval_open.opening_check);
}

enum code run_interval_close(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "UPDATE interval SET closed=?, closing=?, ended_by=? WHERE id=?", "IITi",
                      (int64_t)f->of.interval_close.closed, f->of.interval_close.closing_check, f->of.interval_close.ended_by,
                      f->of.interval_close.id);
}

enum code run_trust(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "INSERT INTO trust VALUES(?,?,?,?,?)", "iiitT", f->of.trust.touchdown, (int64_t)f->of.trust.entry,
                      f->of.trust.quantity, f->of.trust.trust, f->of.trust.reason);
}

/* The live evaluation of a run is told again after each start: the same again is fine. */
enum code run_evaluation(struct apply *a, const struct fact *f, struct tp_error *err)
{
        return db_run(&a->slot->db, err, "INSERT INTO evaluation VALUES(?,?,?,?,?) ON CONFLICT(n) DO NOTHING", "itTTi", f->of.evaluation.n,
                      f->of.evaluation.id, f->of.evaluation.spec_json, f->of.evaluation.build ? f->of.evaluation.build : a->s->build,
                      a->now_us);
}

/* A run that an older build began has no tables for an offer: its note in the journal says it alone, and who takes it has it computed. */
static enum code offer_has_room(struct db *db, bool *ret, struct tp_error *err) { return db_has_table(db, "offer", ret, err); }

/* Nor, before schema 2, for another trust than the run's own: then nothing of that evaluation is written, for its values would be called what
   the run's own are.  Who has such a run in hand asks view_keeps_evaluation_trust() first. */
static enum code trust_needs_room(struct apply *a, struct tp_error *err)
{
        bool has_room = false;
        enum code code = db_has_table(&a->slot->db, "evaluation_trust", &has_room, err);
        return code || has_room ? code
                                : tp_fail(err, CODE_STATE,
                                          "%s was begun by an older build: its file has no place for what an evaluation trusts otherwise "
                                          "(schema 2 has); let the run end, then have it computed with `tipplane evaluate`",
                                          a->slot->name);
}

enum code run_offer(struct apply *a, const struct fact *f, struct tp_error *err)
{
        bool has_room = false;
        enum code code = offer_has_room(&a->slot->db, &has_room, err);
        return code || !has_room ? code
                                 : db_run(&a->slot->db, err, "INSERT INTO offer VALUES(0,?,?,?,?,?,?,?,?)", "tiiiiTTi", f->of.offer.id,
                                          (int64_t)f->of.offer.entry, f->of.offer.suspects, f->of.offer.devices, f->of.offer.numbers,
                                          f->of.offer.spec_json, f->of.offer.build ? f->of.offer.build : a->s->build, a->now_us);
}

enum code run_evaluation_trust(struct apply *a, const struct fact *f, struct tp_error *err)
{
        bool has_room = true, offered = f->of.evaluation_trust.evaluation == EVALUATION_OFFERED;
        enum code code = offered ? offer_has_room(&a->slot->db, &has_room, err) : CODE_OK;
        if (!code && !offered)
                code = trust_needs_room(a, err);
        if (code || !has_room)
                return code;
        return db_run(&a->slot->db, err,
                      offered ? "INSERT INTO offer_trust VALUES(?,?,?,?) ON CONFLICT DO NOTHING"
                              : "INSERT INTO evaluation_trust VALUES(?,?,?,?) ON CONFLICT DO NOTHING",
                      "iitT", f->of.evaluation_trust.evaluation, f->of.evaluation_trust.touchdown, f->of.evaluation_trust.trust,
                      f->of.evaluation_trust.reason);
}

/* A parameter computed twice from the same sweep in the same evaluation is the same parameter: the first stays, unless the second knows
   more. */
enum code run_parameter(struct apply *a, const struct fact *f, struct tp_error *err)
{
        struct db *db = &a->slot->db;
        bool has_room = true, offered = f->of.parameter.evaluation == EVALUATION_OFFERED;
        enum code code = offered ? offer_has_room(db, &has_room, err) : CODE_OK;
        for (size_t i = 0; i < f->of.parameter.n && !code && has_room; i++) {
                const struct parameter_fact *p = &f->of.parameter.rows[i];
                code = db_run(db, err, "INSERT INTO quantity(name,unit,plane) VALUES(?,?,?) ON CONFLICT DO NOTHING", "ttt", p->quantity,
                              p->unit, p->plane);
                if (code)
                        break;
                /* NaN binds as NULL; where there is no value there is a reason */
                const char *reason = p->reason[0] ? p->reason : p->has_value && p->value == p->value ? NULL : "not resolvable";
                const double nan = __builtin_nan("");
                code = db_run(db, err,
                              offered ? "INSERT INTO offer_parameter SELECT ?,id,?,?,?,?,?,?,?,?,? FROM quantity WHERE name=? AND "
                                        "unit=? AND plane=? ON CONFLICT DO NOTHING"
                              : f->of.parameter.replaces
                                      ? "INSERT INTO parameter SELECT ?,id,?,?,?,?,?,?,?,?,? FROM quantity WHERE name=? AND "
                                        "unit=? AND plane=? ON CONFLICT DO UPDATE SET value=excluded.value,u95=excluded.u95,"
                                        "lo_hz=excluded.lo_hz,hi_hz=excluded.hi_hz,verdict=excluded.verdict,"
                                        "reason=excluded.reason,budget=excluded.budget"
                                      : "INSERT INTO parameter SELECT ?,id,?,?,?,?,?,?,?,?,? FROM quantity WHERE name=? AND "
                                        "unit=? AND plane=? ON CONFLICT DO NOTHING",
                              "iidddddttt"
                              "ttt",
                              f->of.parameter.evaluation, p->sweep, p->freq_hz, p->has_value ? p->value : nan, p->has_value ? p->u95 : nan,
                              p->has_range ? p->lo_hz : nan, p->has_range ? p->hi_hz : nan, p->verdict, reason,
                              p->budget[0] ? p->budget : NULL, p->quantity, p->unit, p->plane);
        }
        return code;
}
