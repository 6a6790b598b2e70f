-- A register with the first version of the schema, as SQLite dumps it; invented. Never changed.
PRAGMA application_id = 1650552420;
PRAGMA user_version = 1;
PRAGMA foreign_keys = OFF;
BEGIN TRANSACTION;
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
INSERT INTO "alarms" VALUES(1,1,1,'gas-low','stop',NULL,1,20.0,25.0,NULL,NULL,3.0,12.0);
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
INSERT INTO "bands" VALUES(1,1,1,10.0,70.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'broken');
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
INSERT INTO "findings" VALUES(1,1,1,'gas-bottle-empty',0.8,1,NULL,NULL,NULL,NULL,'["gas fell"]');
CREATE TABLE groups (
  joint_id INTEGER NOT NULL REFERENCES joints ON DELETE CASCADE,
  place    INTEGER NOT NULL,        -- from 1
  bands    INTEGER NOT NULL,
  outcome  TEXT NOT NULL,           -- that of its worst band
  PRIMARY KEY (joint_id, place)
) STRICT, WITHOUT ROWID;
INSERT INTO "groups" VALUES(1,1,1,'broken');
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
INSERT INTO "joints" VALUES(1,1,1,'TJ-7',NULL,'bay-1',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2026-03-04T07:15:00','2026-03-04',10.0,70.0,1,1,'broken','[]','metric','inch');
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
INSERT INTO "judgements" VALUES(1,'d8af90025d487f26eed214b2adf7fd89298fa2090d7405d356109f2317efaa4a','4dcf1ce60b7932d3479219bffdb106165f02477daa3bb0962a8e71c66f6b425d',NULL,'392885f2eb7d126a706b9ce41c79515755f231223f765ed50680839e4ff278eb','2026-03-04T08:00:00Z','0.1.0','broken','{"trace": {"path": "joint-7.csv", "samples": 100, "start": "2026-03-04T07:15:00"}, "outcome": "broken", "joints": [{"joint": 1, "start_s": 10.0, "end_s": 70.0, "bands": 1, "bands_expected": 1, "outcome": "broken", "broken": ["gas-low"], "not_proven": [], "reasons": []}], "bands": [{"joint": 1, "band": 1, "group": 1, "start_s": 10.0, "end_s": 70.0, "outcome": "broken", "limits": {"gas-low": {"outcome": "broken", "judged_share": 1.0, "reason": null}}}], "alarms": [{"rule": "gas-low", "severity": "stop", "joint": 1, "band": 1, "raised_s": 20.0, "cleared_s": 25.0, "worst": 3.0, "limit": 12.0}], "findings": [{"cause": "gas-bottle-empty", "score": 0.8, "joint": 1, "band": 1, "evidence": ["gas fell"]}], "context": {"serial": "TJ-7", "machine": "bay-1"}, "setup": {"file": "joint-7.setup.toml", "sha256": "8fb6d5f37e8055ce720bd0b1d56587f88c0071f285966ba17e72b2b12672aa73", "joint": "TJ-7", "outcome": "proven", "signed": {"initials": "AE", "time": "2026-03-04T07:00:00"}}, "inspection": {"file": "joint-7.inspection.toml", "sha256": "3b1957f394d1b896c8064464feca7a2fcdcacad82e22ee7413eca63e5e7cc596", "by": "BE", "date": "2026-03-05", "outcome": "proven"}}');
CREATE TABLE layouts (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  file   TEXT NOT NULL,
  text   TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE limits_not_held (
  joint_id     INTEGER NOT NULL REFERENCES joints ON DELETE CASCADE,
  band         INTEGER NOT NULL,    -- 0: of the joint as a whole
  rule         TEXT NOT NULL,
  outcome      TEXT NOT NULL,
  judged_share REAL,                -- of the arc time, 0 to 1
  reason       TEXT,
  PRIMARY KEY (joint_id, band, rule)
) STRICT, WITHOUT ROWID;
INSERT INTO "limits_not_held" VALUES(1,1,'gas-low','broken',1.0,NULL);
CREATE TABLE logs (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  bytes  INTEGER NOT NULL CHECK (bytes >= 0),
  path   TEXT                       -- where it was last read; null where it came through a pipe
) STRICT, WITHOUT ROWID;
INSERT INTO "logs" VALUES('d8af90025d487f26eed214b2adf7fd89298fa2090d7405d356109f2317efaa4a',12,'/logs/joint-7.csv');
CREATE TABLE procedures (
  sha256   TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  file     TEXT NOT NULL,           -- as it was named when it was first used
  name     TEXT,
  revision TEXT,
  text     TEXT NOT NULL            -- the whole file
) STRICT, WITHOUT ROWID;
INSERT INTO "procedures" VALUES('4dcf1ce60b7932d3479219bffdb106165f02477daa3bb0962a8e71c66f6b425d','p.toml','invented','1','# invented
');
CREATE UNIQUE INDEX judgements_once ON judgements (log_sha256, ifnull(procedure_sha256, ''), record_sha256);
CREATE INDEX joints_by_serial  ON joints (serial);
CREATE INDEX joints_by_machine ON joints (machine, day);
CREATE INDEX joints_by_day     ON joints (day);
CREATE INDEX limits_not_held_by_rule ON limits_not_held (rule);
CREATE INDEX alarms_by_joint ON alarms (joint_id);
CREATE INDEX alarms_by_rule  ON alarms (rule);
CREATE INDEX findings_by_joint ON findings (joint_id);
CREATE INDEX findings_by_cause ON findings (cause);
CREATE VIEW newest_judgements AS
SELECT * FROM judgements AS one
WHERE NOT EXISTS (SELECT 1 FROM judgements AS other WHERE other.log_sha256 = one.log_sha256 AND other.id > one.id);
CREATE VIEW newest_joints AS
SELECT joints.* FROM joints JOIN newest_judgements ON newest_judgements.id = joints.judgement_id;
COMMIT;
