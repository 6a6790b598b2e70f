-- Which judgement of a log was told last: the same one again makes it the newest again. And what its record was when it
-- was written, so that a change of it is seen.
ALTER TABLE judgements ADD COLUMN told INTEGER NOT NULL DEFAULT 0;  -- the larger, the later
ALTER TABLE judgements ADD COLUMN text_sha256 TEXT;                 -- of the text in `record`
UPDATE judgements SET told = id;
CREATE INDEX judgements_by_log  ON judgements (log_sha256, told);
CREATE INDEX judgements_by_told ON judgements (told);

DROP VIEW newest_joints;
DROP VIEW newest_judgements;

-- The judgement of every log that was told last.
CREATE VIEW newest_judgements AS
SELECT * FROM judgements AS one
WHERE NOT EXISTS (SELECT 1 FROM judgements AS other WHERE other.log_sha256 = one.log_sha256 AND other.told > one.told);

-- The joints of it: what most questions are about.
CREATE VIEW newest_joints AS
SELECT joints.* FROM joints JOIN newest_judgements ON newest_judgements.id = joints.judgement_id;
