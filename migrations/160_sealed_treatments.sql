-- What was decided, seen and done at the chair is sealed as answers are (140_sealed.sql): verdicts with their reasons, what was
-- looked at, notes on treatments and skin tests, and what was written to reports of reactions.
DROP TRIGGER unsealed_shut;
INSERT INTO unsealed (what, id)
SELECT 'visit_verdict', visit_id FROM visit_verdict
UNION ALL SELECT 'visit_start', visit_id FROM visit_start
UNION ALL SELECT 'visit_check', visit_id FROM visit_check
UNION ALL SELECT 'treatment_version', treatment_id || '/' || version FROM treatment_version
UNION ALL SELECT 'skin_test', id FROM skin_test
UNION ALL SELECT 'skin_test_reading', CAST(id AS TEXT) FROM skin_test_reading
UNION ALL SELECT 'reaction_entry', CAST(id AS TEXT) FROM reaction_entry;
CREATE TRIGGER unsealed_shut BEFORE INSERT ON unsealed
BEGIN SELECT RAISE(ABORT, 'what is sealed stays sealed'); END;

-- A sealed text is longer than what is in it.
ALTER TABLE skin_test ADD COLUMN spot TEXT NOT NULL DEFAULT '';
UPDATE skin_test SET spot = site;
ALTER TABLE skin_test DROP COLUMN site;
ALTER TABLE skin_test RENAME COLUMN spot TO site;

DROP TRIGGER visit_check_stays;
CREATE TRIGGER visit_check_stays BEFORE UPDATE ON visit_check
WHEN NOT EXISTS (SELECT 1 FROM unsealed WHERE what = 'visit_check' AND id = OLD.visit_id)
BEGIN SELECT RAISE(ABORT, 'what was checked stays as it was'); END;

DROP TRIGGER treatment_version_stays;
CREATE TRIGGER treatment_version_stays BEFORE UPDATE ON treatment_version
WHEN NOT EXISTS (SELECT 1 FROM unsealed WHERE what = 'treatment_version' AND id = OLD.treatment_id || '/' || OLD.version)
BEGIN SELECT RAISE(ABORT, 'a treatment record is corrected by a new version'); END;

DROP TRIGGER reaction_entry_stays;
CREATE TRIGGER reaction_entry_stays BEFORE UPDATE ON reaction_entry
WHEN NOT EXISTS (SELECT 1 FROM unsealed WHERE what = 'reaction_entry' AND id = CAST(OLD.id AS TEXT))
BEGIN SELECT RAISE(ABORT, 'a reaction report is added to, not changed'); END;
