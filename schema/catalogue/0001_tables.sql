-- catalogue.db: small and precious; only what no run file can give back.
CREATE TABLE document(                              -- recipes, layouts, setups: named by the SHA-256 of their bytes, never changed
  sha256 BLOB PRIMARY KEY CHECK(length(sha256)=32),
  kind TEXT NOT NULL CHECK(kind IN('recipe','layout','setup','dialect','mandate','site')),
  name TEXT NOT NULL, body TEXT NOT NULL, added_us INTEGER NOT NULL, added_by TEXT NOT NULL) STRICT;
CREATE INDEX document_kind ON document(kind, name, added_us);
CREATE TABLE wafer(
  id TEXT PRIMARY KEY, lot TEXT NOT NULL, carrier TEXT, slot INTEGER, scribed TEXT,
  layout BLOB REFERENCES document) STRICT;
CREATE TABLE thing(                                 -- what a ledger counts; pad: serial = wafer, part = die/device
  id TEXT PRIMARY KEY, kind TEXT NOT NULL CHECK(kind IN('pad','copy','tip','cell')), serial TEXT NOT NULL, part TEXT NOT NULL,
  budget INTEGER, retired_us INTEGER, UNIQUE(kind,serial,part)) STRICT;
CREATE TABLE ledger(                                -- (run, seq) is the intention that spends: spending twice is impossible
  thing TEXT NOT NULL REFERENCES thing, run TEXT NOT NULL, seq INTEGER NOT NULL, touches INTEGER NOT NULL, why TEXT NOT NULL,
  PRIMARY KEY(thing,run,seq)) STRICT, WITHOUT ROWID;
CREATE INDEX ledger_run ON ledger(run,seq);
CREATE TABLE run(
  id TEXT PRIMARY KEY, number INTEGER NOT NULL UNIQUE CHECK(number>0), path TEXT NOT NULL UNIQUE,
  state TEXT NOT NULL CHECK(state IN('open','sealed','damaged','gone')), sealed_sha256 BLOB CHECK(length(sealed_sha256)=32),
  opened_us INTEGER NOT NULL, schema INTEGER NOT NULL,
  CHECK(state<>'sealed' OR sealed_sha256 IS NOT NULL), CHECK(state<>'open' OR sealed_sha256 IS NULL)) STRICT;
CREATE INDEX run_open ON run(number) WHERE state='open';
CREATE TABLE alarm(
  id TEXT PRIMARY KEY, cause TEXT NOT NULL, run TEXT, raised_us INTEGER NOT NULL, sentence TEXT NOT NULL, action TEXT NOT NULL,
  acked_us INTEGER, acked_by TEXT, cleared_us INTEGER, latched INTEGER NOT NULL DEFAULT 0) STRICT;
CREATE UNIQUE INDEX alarm_one_per_cause ON alarm(cause) WHERE cleared_us IS NULL;
CREATE TABLE person(id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE token(                                 -- only the SHA-256 of a token is kept
  id TEXT PRIMARY KEY, person INTEGER NOT NULL REFERENCES person,
  role TEXT NOT NULL CHECK(role IN('watch','operate','engineer','safety','ship')),
  digest BLOB NOT NULL UNIQUE CHECK(length(digest)=32), made_us INTEGER NOT NULL, expires_us INTEGER, revoked_us INTEGER,
  label TEXT NOT NULL) STRICT;
CREATE TABLE command(                               -- idempotency: status NULL = accepted, not yet answered; kept 48 h
  key TEXT NOT NULL, token TEXT NOT NULL REFERENCES token, request_sha256 BLOB NOT NULL CHECK(length(request_sha256)=32), body TEXT,
  at_us INTEGER NOT NULL, status INTEGER, reply TEXT, PRIMARY KEY(token,key)) STRICT, WITHOUT ROWID;
CREATE TABLE audit(                                 -- digest = SHA-256 over the previous digest and the fields, see docs/database.md
  seq INTEGER PRIMARY KEY AUTOINCREMENT, at_us INTEGER NOT NULL, boot BLOB NOT NULL CHECK(length(boot)=16), boot_ns INTEGER NOT NULL,
  token TEXT, what TEXT NOT NULL, target TEXT NOT NULL, body TEXT NOT NULL, result TEXT NOT NULL,
  previous BLOB NOT NULL CHECK(length(previous)=32), digest BLOB NOT NULL UNIQUE CHECK(length(digest)=32)) STRICT;
CREATE TRIGGER audit_stays BEFORE UPDATE ON audit BEGIN SELECT RAISE(ABORT,'audit rows are never changed'); END;
CREATE TRIGGER audit_keeps BEFORE DELETE ON audit BEGIN SELECT RAISE(ABORT,'audit rows are never deleted'); END;
CREATE TABLE station_state(one INTEGER PRIMARY KEY CHECK(one=1), station TEXT NOT NULL, epoch INTEGER NOT NULL) STRICT;
INSERT INTO station_state VALUES(1,'',0);
