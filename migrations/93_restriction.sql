-- She asked to be erased, and what may not go yet is only kept for claims: nobody meets her anywhere else.
ALTER TABLE client ADD COLUMN restricted_at INTEGER;
CREATE INDEX client_restricted ON client (restricted_at) WHERE restricted_at IS NOT NULL;

CREATE TRIGGER restricted_stays BEFORE UPDATE ON client WHEN OLD.restricted_at IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'a restricted record is not changed'); END;
CREATE TRIGGER restricted_takes_no_answers BEFORE INSERT ON answers
WHEN EXISTS (SELECT 1 FROM client WHERE id = NEW.client_id AND restricted_at IS NOT NULL)
BEGIN SELECT RAISE(ABORT, 'a restricted record is not added to'); END;
CREATE TRIGGER restricted_takes_no_visit BEFORE INSERT ON visit
WHEN EXISTS (SELECT 1 FROM client WHERE id = NEW.client_id AND restricted_at IS NOT NULL)
BEGIN SELECT RAISE(ABORT, 'a restricted record is not added to'); END;
CREATE TRIGGER restricted_takes_no_version BEFORE INSERT ON treatment_version
WHEN EXISTS (SELECT 1 FROM treatment t JOIN client c ON c.id = t.client_id
             WHERE t.id = NEW.treatment_id AND c.restricted_at IS NOT NULL)
BEGIN SELECT RAISE(ABORT, 'a restricted record is not added to'); END;

-- She waits for the owner, who has a month (GDPR, art. 12 (3)).
CREATE TABLE erasure_request (
    client_id TEXT    NOT NULL PRIMARY KEY REFERENCES client (id) ON DELETE CASCADE,
    asked_at  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- The retouch list leaves her out.
CREATE TRIGGER retouch_leaves_out BEFORE INSERT ON retouch_part
WHEN EXISTS (SELECT 1 FROM client WHERE id = NEW.client_id AND restricted_at IS NOT NULL)
BEGIN SELECT RAISE(IGNORE); END;
CREATE TRIGGER retouch_after_restriction AFTER UPDATE OF restricted_at ON client
BEGIN
    INSERT INTO retouch_stale VALUES (NEW.id);
END;
