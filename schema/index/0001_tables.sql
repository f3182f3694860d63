-- index.db: derived.  Delete it and it is made again from the run files; only the event window is then empty.
CREATE TABLE event(
  seq INTEGER PRIMARY KEY AUTOINCREMENT, epoch INTEGER NOT NULL, topic TEXT NOT NULL, ref TEXT NOT NULL, body TEXT NOT NULL,
  at_us INTEGER NOT NULL) STRICT;
CREATE TABLE run_row(                               -- n = number of the run in the catalogue
  n INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, lot TEXT, wafer TEXT, recipe BLOB, recipe_name TEXT NOT NULL,
  began_us INTEGER NOT NULL, state TEXT NOT NULL, waiting_for TEXT NOT NULL, counts TEXT NOT NULL, map TEXT NOT NULL,
  file_state TEXT NOT NULL) STRICT;
CREATE INDEX run_wafer ON run_row(wafer,n DESC);
CREATE INDEX run_lot ON run_row(lot,n);
