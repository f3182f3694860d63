-- Views with stable names: columns may be added at the end, never renamed or removed within one major version.
CREATE VIEW v_trust AS                              -- the newest word on each touchdown
  SELECT touchdown, quantity, trust, reason, max(entry) AS entry FROM trust GROUP BY touchdown, quantity;
CREATE VIEW v_touchdown AS
  SELECT t.id, d.die_x, d.die_y, d.name AS device, d.kind AS kind, t.place, t.x_um, t.y_um, t.z_um, t.overtravel_um, t.attempt, t.replaces,
    t.outcome, t.evidence,
    (SELECT trust FROM trust r WHERE r.touchdown=t.id AND r.quantity=0 ORDER BY entry DESC LIMIT 1) AS trust,
    (SELECT reason FROM trust r WHERE r.touchdown=t.id AND r.quantity=0 ORDER BY entry DESC LIMIT 1) AS trust_reason,
    (SELECT o.station_ns FROM journal i JOIN journal o ON o.step=i.step AND o.phase='outcome' AND o.phase<>'note' -- the index leaves notes out
      WHERE i.seq=t.id) AS station_ns
  FROM touchdown t LEFT JOIN device d ON d.id=t.device;
CREATE VIEW v_sweep AS
  SELECT s.id, s.touchdown, s.use, s.condition, s.axis, a.points, s.flags, d.die_x, d.die_y, d.name AS device, d.kind AS kind, t.outcome,
    t.x_um, t.y_um, s.bias, s.temps, s.stored
  FROM sweep s JOIN axis a ON a.id=s.axis LEFT JOIN touchdown t ON t.id=s.touchdown LEFT JOIN device d ON d.id=t.device;
CREATE VIEW v_parameter AS
  SELECT p.evaluation, p.sweep, s.touchdown, d.die_x, d.die_y, d.name AS device, q.name AS quantity, q.unit, q.plane, p.freq_hz, p.value, p.u95,
    p.lo_hz, p.hi_hz, p.verdict, p.reason, t.outcome AS contact,
    (SELECT trust FROM trust r WHERE r.touchdown=s.touchdown AND r.quantity IN(0,p.quantity) ORDER BY entry DESC, r.quantity DESC LIMIT 1) AS trust,
    (SELECT reason FROM trust r WHERE r.touchdown=s.touchdown AND r.quantity IN(0,p.quantity) ORDER BY entry DESC, r.quantity DESC LIMIT 1) AS trust_reason,
    p.budget, t.attempt, s.condition
  FROM parameter p JOIN quantity q ON q.id=p.quantity JOIN sweep s ON s.id=p.sweep
    LEFT JOIN touchdown t ON t.id=s.touchdown LEFT JOIN device d ON d.id=t.device;
CREATE VIEW v_map AS                                -- one row per die, device and quantity: the last touch speaks
  SELECT die_x, die_y, device, quantity, unit, freq_hz, value, u95, verdict, trust, contact, reason, evaluation, condition, max(sweep) AS sweep
  FROM v_parameter GROUP BY evaluation, die_x, die_y, device, quantity, freq_hz, condition;
CREATE VIEW v_journal AS
  SELECT j.seq, j.step, j.phase, j.kind, j.rule, j.result, strftime('%Y-%m-%dT%H:%M:%SZ', j.wall_us/1000000, 'unixepoch') AS at, j.body, j.station_ns
  FROM journal j;
CREATE VIEW v_check AS
  SELECT c.id, c.calibration, k.number AS calibration_number, c.ended, c.passed, c.cause, c.modes FROM check_done c LEFT JOIN calibration k ON k.id=c.calibration;
CREATE VIEW v_interval AS
  SELECT i.id, i.calibration, i.opened, i.closed, i.opening, i.closing, i.ended_by FROM interval i;
