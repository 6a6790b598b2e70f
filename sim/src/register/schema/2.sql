-- What was measured before the arc and on the finished band, filled from the records that were there before.
CREATE TABLE setups (
  judgement_id INTEGER PRIMARY KEY REFERENCES judgements ON DELETE CASCADE,
  sha256       TEXT,                -- of the file
  file         TEXT,
  joint        TEXT,
  outcome      TEXT,
  signed_by    TEXT,                -- initials
  signed_at    TEXT,
  text         TEXT,                -- the file; null where the register had no place for it yet
  record       TEXT NOT NULL CHECK (json_valid(record))
) STRICT;

CREATE TABLE inspections (
  judgement_id INTEGER PRIMARY KEY REFERENCES judgements ON DELETE CASCADE,
  sha256       TEXT,                -- of the file
  file         TEXT,
  inspected_by TEXT,
  inspected_on TEXT,
  outcome      TEXT,
  record       TEXT NOT NULL CHECK (json_valid(record))
) STRICT;

CREATE INDEX joints_by_operator ON joints (operator, day);
