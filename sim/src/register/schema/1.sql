-- What was laid, judged and found, one row a thing. Times are as the logs tell them; lengths in mm.
CREATE TABLE procedures (
  sha256   TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  file     TEXT NOT NULL,           -- as it was named when it was first used
  name     TEXT,
  revision TEXT,
  text     TEXT NOT NULL            -- the whole file
) STRICT, WITHOUT ROWID;

CREATE TABLE layouts (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  file   TEXT NOT NULL,
  text   TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE logs (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  bytes  INTEGER NOT NULL CHECK (bytes >= 0),
  path   TEXT                       -- where it was last read; null where it came through a pipe
) STRICT, WITHOUT ROWID;

-- One log judged once. The same log under another procedure, or with another context, is another one.
CREATE TABLE judgements (
  id               INTEGER PRIMARY KEY,
  log_sha256       TEXT NOT NULL REFERENCES logs,
  procedure_sha256 TEXT REFERENCES procedures,
  layout_sha256    TEXT REFERENCES layouts,
  record_sha256    TEXT NOT NULL CHECK (length(record_sha256) = 64),
  added_at         TEXT NOT NULL,   -- RFC 3339, UTC, by the clock of the computer
  program          TEXT NOT NULL,   -- which version judged it
  outcome          TEXT NOT NULL,
  record           TEXT NOT NULL CHECK (json_valid(record))  -- all that `replay --json` told of the log
) STRICT;
CREATE UNIQUE INDEX judgements_once ON judgements (log_sha256, ifnull(procedure_sha256, ''), record_sha256);

CREATE TABLE joints (
  id                  INTEGER PRIMARY KEY,
  judgement_id        INTEGER NOT NULL REFERENCES judgements ON DELETE CASCADE,
  joint               INTEGER NOT NULL,      -- its number in the log, from 1
  serial              TEXT COLLATE NOCASE,
  end                 TEXT,                  -- pin or box
  machine             TEXT COLLATE NOCASE,
  operator            TEXT COLLATE NOCASE,
  spool               TEXT,
  bottle              TEXT,
  gas_certificate     TEXT,
  tip                 TEXT,
  procedure           TEXT COLLATE NOCASE,
  revision            TEXT,
  work                TEXT,                  -- new or repair
  old_bands           INTEGER,               -- 1: laid over old bands
  outside_diameter_mm REAL,
  ambient_c           REAL,
  welded_at           TEXT,                  -- when it began, as the log or the joint's record tells it
  day                 TEXT,                  -- the date in it
  start_s             REAL,                  -- in the log
  end_s               REAL,
  bands               INTEGER NOT NULL,
  bands_expected      INTEGER,
  outcome             TEXT NOT NULL,         -- proven, not proven, broken, not asked
  reasons             TEXT NOT NULL CHECK (json_valid(reasons)),
  text_metric         TEXT NOT NULL,         -- as `replay` told it when it was recorded
  text_inch           TEXT NOT NULL,
  UNIQUE (judgement_id, joint)
) STRICT;
CREATE INDEX joints_by_serial  ON joints (serial);
CREATE INDEX joints_by_machine ON joints (machine, day);
CREATE INDEX joints_by_day     ON joints (day);

-- Places on a joint: pin and box, or one.
CREATE TABLE groups (
  joint_id INTEGER NOT NULL REFERENCES joints ON DELETE CASCADE,
  place    INTEGER NOT NULL,        -- from 1
  bands    INTEGER NOT NULL,
  outcome  TEXT NOT NULL,           -- that of its worst band
  PRIMARY KEY (joint_id, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE bands (
  joint_id               INTEGER NOT NULL REFERENCES joints ON DELETE CASCADE,
  band                   INTEGER NOT NULL,
  place                  INTEGER NOT NULL,
  start_s                REAL,
  end_s                  REAL,
  arc_time_s             REAL,
  turns                  REAL,
  turn_time_s            REAL,
  overlap_deg            REAL,
  current_a              REAL,      -- means, where there are several figures
  voltage_v              REAL,
  gas_lpm                REAL,
  arc_power_w            REAL,
  arc_energy_kj_per_mm   REAL,
  weave_per_min          REAL,
  weave_width_mm         REAL,
  weave_centre_drift_mm  REAL,
  step_over_mm           REAL,
  wire_mm_per_min        REAL,
  band_height_mm         REAL,
  work_at_start_c        REAL,
  outcome                TEXT NOT NULL,
  PRIMARY KEY (joint_id, band)
) STRICT, WITHOUT ROWID;

-- Limits of the procedure that did not hold: broken, or not proven and why.
CREATE TABLE limits_not_held (
  joint_id     INTEGER NOT NULL REFERENCES joints ON DELETE CASCADE,
  band         INTEGER NOT NULL,    -- 0: of the joint as a whole
  rule         TEXT NOT NULL,
  outcome      TEXT NOT NULL,
  judged_share REAL,                -- of the arc time, 0 to 1
  reason       TEXT,
  PRIMARY KEY (joint_id, band, rule)
) STRICT, WITHOUT ROWID;
CREATE INDEX limits_not_held_by_rule ON limits_not_held (rule);

CREATE TABLE alarms (
  judgement_id INTEGER NOT NULL REFERENCES judgements ON DELETE CASCADE,
  number       INTEGER NOT NULL,    -- in the order they were raised, from 1
  joint_id     INTEGER REFERENCES joints ON DELETE CASCADE,  -- null: after the last joint of the log
  rule         TEXT NOT NULL,
  severity     TEXT NOT NULL,       -- advise, warn, stop
  channel      TEXT,
  band         INTEGER,
  raised_s     REAL,
  cleared_s    REAL,
  turn         INTEGER,
  clock_deg    REAL,
  worst        REAL,                -- in the unit of its rule
  limit_value  REAL,
  PRIMARY KEY (judgement_id, number)
) STRICT, WITHOUT ROWID;
CREATE INDEX alarms_by_joint ON alarms (joint_id);
CREATE INDEX alarms_by_rule  ON alarms (rule);

CREATE TABLE findings (
  judgement_id INTEGER NOT NULL REFERENCES judgements ON DELETE CASCADE,
  number       INTEGER NOT NULL,    -- most likely first, from 1
  joint_id     INTEGER REFERENCES joints ON DELETE CASCADE,
  cause        TEXT NOT NULL,
  score        REAL,
  band         INTEGER,
  from_deg     REAL,
  to_deg       REAL,
  words        TEXT,
  look_at      TEXT,
  evidence     TEXT NOT NULL CHECK (json_valid(evidence)),
  PRIMARY KEY (judgement_id, number)
) STRICT, WITHOUT ROWID;
CREATE INDEX findings_by_joint ON findings (joint_id);
CREATE INDEX findings_by_cause ON findings (cause);

-- The newest judgement of every log.
CREATE VIEW newest_judgements AS
SELECT * FROM judgements AS one
WHERE NOT EXISTS (SELECT 1 FROM judgements AS other WHERE other.log_sha256 = one.log_sha256 AND other.id > one.id);

-- The joints of it: what most questions are about.
CREATE VIEW newest_joints AS
SELECT joints.* FROM joints JOIN newest_judgements ON newest_judgements.id = joints.judgement_id;
