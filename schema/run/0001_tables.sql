-- ULID.run: one activity on one wafer or substrate; it explains itself.  Sealed at its close, never written again.
CREATE TABLE document(sha256 BLOB PRIMARY KEY CHECK(length(sha256)=32), kind TEXT NOT NULL, name TEXT NOT NULL, body TEXT NOT NULL) STRICT;
CREATE TABLE run(
  one INTEGER PRIMARY KEY CHECK(one=1), id TEXT NOT NULL, number INTEGER NOT NULL, station TEXT NOT NULL,
  kind TEXT NOT NULL CHECK(kind IN('wafer','calibration','qualification')), wafer TEXT, lot TEXT,
  recipe BLOB NOT NULL REFERENCES document, setup BLOB NOT NULL REFERENCES document, build TEXT NOT NULL,
  plan TEXT NOT NULL, began_us INTEGER NOT NULL, closed_us INTEGER) STRICT;
CREATE TABLE state(                                 -- how the run stands, for lists and maps: the last snapshot, overwritten; derived from the rest
  one INTEGER PRIMARY KEY CHECK(one=1), state TEXT NOT NULL, waiting_for TEXT NOT NULL, counts TEXT NOT NULL, map TEXT NOT NULL,
  at_us INTEGER NOT NULL) STRICT;
INSERT INTO state VALUES(1,'open','','{}','{}',0);
CREATE TABLE boot(id INTEGER PRIMARY KEY, boot BLOB NOT NULL CHECK(length(boot)=16), started_us INTEGER NOT NULL, build TEXT NOT NULL) STRICT;
CREATE TABLE journal(
  seq INTEGER PRIMARY KEY, step INTEGER NOT NULL, phase TEXT NOT NULL CHECK(phase IN('intend','outcome','note')), kind TEXT NOT NULL,
  rule INTEGER NOT NULL, result TEXT, boot INTEGER NOT NULL REFERENCES boot, boot_ns INTEGER NOT NULL, wall_us INTEGER NOT NULL,
  body TEXT NOT NULL, station_ns INTEGER,           -- of outcomes: the station's clock at the end of the step
  CHECK((phase='outcome')=(result IS NOT NULL))) STRICT;
CREATE UNIQUE INDEX journal_step ON journal(step,phase) WHERE phase<>'note'; -- one intention, one outcome per step: by the database
CREATE TABLE device(
  id INTEGER PRIMARY KEY, die_x INTEGER NOT NULL, die_y INTEGER NOT NULL, name TEXT NOT NULL, kind TEXT NOT NULL, pads TEXT NOT NULL,
  UNIQUE(name,die_x,die_y)) STRICT;
CREATE TABLE touchdown(                             -- id = seq of the intention that lowered
  id INTEGER PRIMARY KEY REFERENCES journal, device INTEGER REFERENCES device, place TEXT NOT NULL, setup BLOB NOT NULL REFERENCES document,
  replaces INTEGER REFERENCES touchdown, attempt INTEGER NOT NULL, x_um REAL NOT NULL, y_um REAL NOT NULL, z_um REAL NOT NULL,
  overtravel_um REAL NOT NULL,
  outcome TEXT CHECK(outcome IN('good','doubtful','absent','unknown','interrupted','not done')), evidence TEXT) STRICT;
CREATE INDEX touchdown_device ON touchdown(device,id);
CREATE TABLE touched(                               -- pads, copies, tips, cleaning cells
  touchdown INTEGER NOT NULL REFERENCES touchdown, port INTEGER NOT NULL, thing TEXT NOT NULL,
  PRIMARY KEY(touchdown,port,thing)) STRICT, WITHOUT ROWID;
CREATE TABLE axis(                                  -- f64 little-endian hertz, stored once
  id INTEGER PRIMARY KEY, sha256 BLOB NOT NULL CHECK(length(sha256)=32), points INTEGER NOT NULL, freq_hz BLOB NOT NULL,
  segments TEXT NOT NULL, CHECK(length(freq_hz)=8*points)) STRICT;
CREATE TABLE sweep(                                 -- id = seq of the intention that swept
  id INTEGER PRIMARY KEY REFERENCES journal, touchdown INTEGER REFERENCES touchdown,
  use TEXT NOT NULL CHECK(use IN('device','standard','check','witness')), condition INTEGER NOT NULL,
  axis INTEGER NOT NULL REFERENCES axis, stored INTEGER REFERENCES journal, bias TEXT NOT NULL, flags INTEGER NOT NULL, temps TEXT NOT NULL) STRICT;
CREATE INDEX sweep_touchdown ON sweep(touchdown,condition);
CREATE TABLE trace(                                 -- raw: byte for byte as the instrument gave it
  sweep INTEGER NOT NULL REFERENCES sweep, name TEXT NOT NULL, dtype TEXT NOT NULL CHECK(dtype IN('c64le','c64be','c128le','c128be')),
  codec TEXT NOT NULL DEFAULT 'none' CHECK(codec IN('none','zstd')), digest BLOB NOT NULL CHECK(length(digest)=16), raw BLOB NOT NULL,
  PRIMARY KEY(sweep,name)) STRICT;
CREATE TABLE calibration(
  id TEXT PRIMARY KEY, number INTEGER NOT NULL, from_run TEXT NOT NULL, method TEXT NOT NULL, setup BLOB NOT NULL REFERENCES document,
  axis INTEGER NOT NULL REFERENCES axis, plane TEXT NOT NULL, z_ref_ohm REAL NOT NULL, domain TEXT NOT NULL, terms BLOB NOT NULL,
  covariance BLOB, diagnosis TEXT NOT NULL, state TEXT NOT NULL CHECK(state IN('proposed','accepted','refused')),
  solved INTEGER REFERENCES journal) STRICT;
CREATE TABLE standard(                              -- raw is filled when the sweep lies in another run
  calibration TEXT NOT NULL REFERENCES calibration, n INTEGER NOT NULL, standard TEXT NOT NULL, copy TEXT NOT NULL, model TEXT NOT NULL,
  sweep INTEGER REFERENCES sweep, raw BLOB, residual_db REAL, PRIMARY KEY(calibration,n)) STRICT, WITHOUT ROWID;
CREATE TABLE check_done(
  id INTEGER PRIMARY KEY, calibration TEXT REFERENCES calibration, ended INTEGER NOT NULL REFERENCES journal,
  passed INTEGER NOT NULL, cause TEXT, modes TEXT NOT NULL) STRICT;
CREATE TABLE interval(
  id INTEGER PRIMARY KEY, setup BLOB NOT NULL REFERENCES document, calibration TEXT REFERENCES calibration,
  opened INTEGER NOT NULL REFERENCES journal, closed INTEGER REFERENCES journal, opening INTEGER REFERENCES check_done,
  closing INTEGER REFERENCES check_done, ended_by TEXT) STRICT;
CREATE TABLE evaluation(
  n INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, spec TEXT NOT NULL, build TEXT NOT NULL, made_us INTEGER NOT NULL) STRICT;
CREATE TABLE quantity(id INTEGER PRIMARY KEY, name TEXT NOT NULL, unit TEXT NOT NULL, plane TEXT NOT NULL, UNIQUE(name,unit,plane)) STRICT;
CREATE TABLE parameter(
  evaluation INTEGER NOT NULL REFERENCES evaluation, quantity INTEGER NOT NULL REFERENCES quantity, sweep INTEGER NOT NULL REFERENCES sweep,
  freq_hz REAL NOT NULL, value REAL, u95 REAL, lo_hz REAL, hi_hz REAL,
  verdict TEXT NOT NULL CHECK(verdict IN('pass','fail','marginal','none')), reason TEXT, budget TEXT,
  CHECK(value IS NOT NULL OR reason IS NOT NULL), PRIMARY KEY(evaluation,quantity,sweep,freq_hz)) STRICT, WITHOUT ROWID;
CREATE INDEX parameter_sweep ON parameter(sweep,evaluation);
CREATE TABLE trust(                                 -- append-only: the newest row counts; quantity 0 = all
  touchdown INTEGER NOT NULL REFERENCES touchdown, entry INTEGER NOT NULL REFERENCES journal, quantity INTEGER NOT NULL DEFAULT 0,
  trust TEXT NOT NULL CHECK(trust IN('proven','open','suspect','rescued')), reason TEXT NOT NULL,
  PRIMARY KEY(touchdown,quantity,entry)) STRICT, WITHOUT ROWID;
