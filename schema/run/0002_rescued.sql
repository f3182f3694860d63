-- An evaluation may trust a touch in another way than the run's own does: one that corrects between two calibrations says "rescued".
CREATE TABLE evaluation_trust(                      -- what is not in here is trusted as the table trust says
  evaluation INTEGER NOT NULL REFERENCES evaluation, touchdown INTEGER NOT NULL REFERENCES touchdown,
  trust TEXT NOT NULL CHECK(trust IN('proven','open','suspect','rescued')), reason TEXT NOT NULL,
  PRIMARY KEY(evaluation,touchdown)) STRICT, WITHOUT ROWID;
DROP VIEW v_map;
DROP VIEW v_parameter;
CREATE VIEW v_parameter AS
  SELECT p.evaluation, p.sweep, s.touchdown, d.die_x, d.die_y, d.name AS device, q.name AS quantity, q.unit, q.plane, p.freq_hz, p.value, p.u95,
    p.lo_hz, p.hi_hz, p.verdict, p.reason, t.outcome AS contact,
    coalesce((SELECT trust FROM evaluation_trust x WHERE x.evaluation=p.evaluation AND x.touchdown=s.touchdown),
      (SELECT trust FROM trust r WHERE r.touchdown=s.touchdown AND r.quantity IN(0,p.quantity) ORDER BY entry DESC, r.quantity DESC LIMIT 1)) AS trust,
    coalesce((SELECT reason FROM evaluation_trust x WHERE x.evaluation=p.evaluation AND x.touchdown=s.touchdown),
      (SELECT reason FROM trust r WHERE r.touchdown=s.touchdown AND r.quantity IN(0,p.quantity) ORDER BY entry DESC, r.quantity DESC LIMIT 1)) AS trust_reason,
    p.budget, t.attempt, s.condition
  FROM parameter p JOIN quantity q ON q.id=p.quantity JOIN sweep s ON s.id=p.sweep
    LEFT JOIN touchdown t ON t.id=s.touchdown LEFT JOIN device d ON d.id=t.device;
CREATE VIEW v_map AS                                -- one row per die, device and quantity: the last touch speaks
  SELECT die_x, die_y, device, quantity, unit, freq_hz, value, u95, verdict, trust, contact, reason, evaluation, condition, max(sweep) AS sweep
  FROM v_parameter GROUP BY evaluation, die_x, die_y, device, quantity, freq_hz, condition;
