-- What counts for a joint beside its own judgement, worked out when it is recorded, so that every reader is told the same.
-- The outcome of a joint, and of a judgement, is the worst of all that.
ALTER TABLE joints ADD COLUMN outcome_of_judgement TEXT;          -- that of its record alone
ALTER TABLE joints ADD COLUMN recorded TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(recorded));
UPDATE joints SET outcome_of_judgement = outcome;
