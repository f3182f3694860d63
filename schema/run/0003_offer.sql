-- An evaluation that the mandate did not grant: what it would say lies here, apart from what counts, until a person takes it.
CREATE TABLE offer(                                 -- one at most; its entry in the journal is the note rescue_offered
  n INTEGER PRIMARY KEY CHECK(n=0), id TEXT NOT NULL, entry INTEGER NOT NULL UNIQUE REFERENCES journal, suspects INTEGER NOT NULL,
  devices INTEGER NOT NULL, numbers INTEGER NOT NULL, spec TEXT NOT NULL, build TEXT NOT NULL, made_us INTEGER NOT NULL) STRICT;
CREATE TABLE offer_trust(
  offer INTEGER NOT NULL REFERENCES offer, touchdown INTEGER NOT NULL REFERENCES touchdown,
  trust TEXT NOT NULL CHECK(trust='rescued'), reason TEXT NOT NULL, PRIMARY KEY(offer,touchdown)) STRICT, WITHOUT ROWID;
CREATE TABLE offer_parameter(
  offer INTEGER NOT NULL REFERENCES offer, quantity INTEGER NOT NULL REFERENCES quantity, sweep INTEGER NOT NULL REFERENCES sweep,
  freq_hz REAL NOT NULL, value REAL, u95 REAL, lo_hz REAL, hi_hz REAL,
  verdict TEXT NOT NULL CHECK(verdict IN('pass','fail','marginal','none')), reason TEXT, budget TEXT,
  CHECK(value IS NOT NULL OR reason IS NOT NULL), PRIMARY KEY(offer,quantity,sweep,freq_hz)) STRICT, WITHOUT ROWID;
CREATE VIEW v_offer AS
  SELECT p.sweep, s.touchdown, d.die_x, d.die_y, d.name AS device, q.name AS quantity, q.unit, q.plane, p.freq_hz, p.value, p.u95,
    p.lo_hz, p.hi_hz, p.verdict, p.reason, t.outcome AS contact, x.trust, x.reason AS trust_reason, p.budget, t.attempt, s.condition
  FROM offer_parameter p JOIN quantity q ON q.id=p.quantity JOIN sweep s ON s.id=p.sweep
    LEFT JOIN offer_trust x ON x.offer=p.offer AND x.touchdown=s.touchdown
    LEFT JOIN touchdown t ON t.id=s.touchdown LEFT JOIN device d ON d.id=t.device;
