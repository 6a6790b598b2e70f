-- Setups and inspections that were recorded on their own, before or after the log of their joint, or without one: they
-- belong to the joints with their serial.
CREATE TABLE documents (
  id               INTEGER PRIMARY KEY,
  kind             TEXT NOT NULL CHECK (kind IN ('setup', 'inspection')),
  serial           TEXT COLLATE NOCASE,
  sha256           TEXT NOT NULL CHECK (length(sha256) = 64),  -- of `text`
  file             TEXT NOT NULL,       -- as it was named; empty where it was only typed in
  procedure_sha256 TEXT NOT NULL REFERENCES procedures,
  outcome          TEXT NOT NULL,       -- proven, not proven, broken, not asked
  signed_by        TEXT,                -- initials of a setup, inspector of an inspection; null: nobody signed it
  signed_at        TEXT,
  added_at         TEXT NOT NULL,       -- RFC 3339, UTC, by the clock of the computer
  program          TEXT NOT NULL,       -- which version judged it
  text             TEXT NOT NULL,       -- the whole file
  record           TEXT NOT NULL CHECK (json_valid(record))  -- all that the command told of it
) STRICT;
CREATE UNIQUE INDEX documents_once ON documents (kind, sha256, procedure_sha256, ifnull(serial, ''));
CREATE INDEX documents_by_serial ON documents (serial, kind, id);
