-- Views with stable names: columns may be added at the end, never renamed or removed within one major version.
CREATE VIEW v_ledger AS
  SELECT t.kind, t.serial, t.part, t.budget, coalesce(sum(l.touches),0) AS touches, t.retired_us
  FROM thing t LEFT JOIN ledger l ON l.thing=t.id GROUP BY t.id;
CREATE VIEW v_run AS
  SELECT number, id, state, path, lower(hex(sealed_sha256)) AS sha256, strftime('%Y-%m-%dT%H:%M:%SZ', opened_us/1000000, 'unixepoch') AS opened
  FROM run;
CREATE VIEW v_audit AS
  SELECT seq, strftime('%Y-%m-%dT%H:%M:%SZ', at_us/1000000, 'unixepoch') AS at, token, what, target, body, result, lower(hex(digest)) AS digest
  FROM audit;
