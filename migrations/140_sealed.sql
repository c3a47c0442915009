-- Health answers, photos and letters, and what is being filled in, are sealed under keys that lie in another file. What was
-- written before that stands here until the program, which has the keys, has sealed it: only such rows may be changed.
CREATE TABLE unsealed (
    what TEXT NOT NULL,
    id   TEXT NOT NULL,
    PRIMARY KEY (what, id)
) STRICT, WITHOUT ROWID;

-- The day whose key sealed what is filled in; nothing where nothing is.
ALTER TABLE draft ADD COLUMN key_day TEXT NOT NULL DEFAULT '';

INSERT INTO unsealed (what, id)
SELECT 'answers', id FROM answers
UNION ALL SELECT 'file', id FROM file
UNION ALL SELECT 'draft', id FROM draft WHERE answers <> '{}' OR consent IS NOT NULL;

CREATE TRIGGER unsealed_shut BEFORE INSERT ON unsealed
BEGIN SELECT RAISE(ABORT, 'what is sealed stays sealed'); END;

-- sha256 is no longer filled: answers are so few that whoever has the hash can guess them.
DROP TRIGGER answers_stay;
CREATE TRIGGER answers_stay BEFORE UPDATE OF id, client_id, questionnaire_version, given_by, given_on, is_return, given_at ON answers
BEGIN SELECT RAISE(ABORT, 'answers are followed, not changed'); END;
CREATE TRIGGER answers_stay_sealed BEFORE UPDATE OF body, sha256 ON answers
WHEN NOT EXISTS (SELECT 1 FROM unsealed WHERE what = 'answers' AND id = OLD.id)
BEGIN SELECT RAISE(ABORT, 'answers are followed, not changed'); END;

DROP TRIGGER file_stays;
CREATE TRIGGER file_stays BEFORE UPDATE OF id, client_id, purpose, about, kind, sha256, added_by, added_at ON file
BEGIN SELECT RAISE(ABORT, 'a file is not changed'); END;
CREATE TRIGGER file_stays_sealed BEFORE UPDATE OF body, thumbnail ON file
WHEN NOT EXISTS (SELECT 1 FROM unsealed WHERE what = 'file' AND id = OLD.id)
BEGIN SELECT RAISE(ABORT, 'a file is not changed'); END;
