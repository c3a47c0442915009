-- What a client signed, why a skin test no longer counts, what a letter covers and why it was set aside, why her records are held, notes on visits from before,
-- and a file that is being taken over are sealed too (140_sealed.sql).
DROP TRIGGER unsealed_shut;
INSERT INTO unsealed (what, id)
SELECT 'consent', id FROM consent
UNION ALL SELECT 'letter', id FROM letter
UNION ALL SELECT 'hold', id FROM hold
UNION ALL SELECT 'skin_test.voided', id FROM skin_test WHERE voided IS NOT NULL
UNION ALL SELECT 'past_visit', id FROM past_visit
UNION ALL SELECT 'takeover', id FROM takeover WHERE done_at IS NULL;
CREATE TRIGGER unsealed_shut BEFORE INSERT ON unsealed
BEGIN SELECT RAISE(ABORT, 'what is sealed stays sealed'); END;

-- Whether it was signed or refused: withdrawing and inviting look for it.
ALTER TABLE consent ADD COLUMN signed INTEGER NOT NULL DEFAULT 0 CHECK (signed IN (0, 1));
UPDATE consent SET signed = 1 WHERE json_type(body, '$.signed') = 'object';
DROP TRIGGER consent_stays;
CREATE TRIGGER consent_stays BEFORE UPDATE OF id, client_id, visit_id, text_version, answers_id, invitations, given_at, signed ON consent
BEGIN SELECT RAISE(ABORT, 'a signed consent is withdrawn, not changed'); END;
CREATE TRIGGER consent_stays_sealed BEFORE UPDATE OF body ON consent
WHEN NOT EXISTS (SELECT 1 FROM unsealed WHERE what = 'consent' AND id = OLD.id)
BEGIN SELECT RAISE(ABORT, 'a signed consent is withdrawn, not changed'); END;

-- The day whose key sealed a file that is being taken over; nothing once it was.
ALTER TABLE takeover ADD COLUMN key_day TEXT NOT NULL DEFAULT '';

-- A sealed text is longer than what is in it, so three tables are made anew with other bounds.
ALTER TABLE past_visit ADD COLUMN words TEXT NOT NULL DEFAULT '';
UPDATE past_visit SET words = note;
ALTER TABLE past_visit DROP COLUMN note;
ALTER TABLE past_visit RENAME COLUMN words TO note;

CREATE TABLE kept AS SELECT * FROM letter;
DROP TABLE letter;
CREATE TABLE letter (
    id            TEXT    NOT NULL PRIMARY KEY,
    client_id     TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    file_id       TEXT    NOT NULL REFERENCES file (id),
    body          TEXT    NOT NULL CHECK (json_valid(body)),
    added_by      TEXT    NOT NULL,
    added_at      INTEGER NOT NULL,
    read_by       TEXT,
    read_at       INTEGER,
    set_aside_by  TEXT,
    set_aside_at  INTEGER,
    set_aside_why TEXT,
    CHECK ((read_by IS NULL) = (read_at IS NULL)),
    CHECK ((set_aside_by IS NULL) = (set_aside_at IS NULL) AND (set_aside_by IS NULL) = (set_aside_why IS NULL))
) STRICT;
INSERT INTO letter SELECT * FROM kept;
DROP TABLE kept;
CREATE INDEX letter_by_client ON letter (client_id, added_at);
CREATE INDEX letter_by_file ON letter (file_id);
CREATE TRIGGER letter_stays BEFORE UPDATE OF id, client_id, file_id, added_by, added_at ON letter
BEGIN SELECT RAISE(ABORT, 'a letter is set aside, not changed'); END;
CREATE TRIGGER letter_stays_sealed BEFORE UPDATE OF body ON letter
WHEN NOT EXISTS (SELECT 1 FROM unsealed WHERE what = 'letter' AND id = OLD.id)
BEGIN SELECT RAISE(ABORT, 'a letter is set aside, not changed'); END;
CREATE TRIGGER letter_leaves BEFORE DELETE ON letter
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;

CREATE TABLE kept AS SELECT * FROM hold;
DROP TABLE hold;
CREATE TABLE hold (
    id         TEXT    NOT NULL PRIMARY KEY,
    client_id  TEXT    NOT NULL REFERENCES client (id),
    why        TEXT    NOT NULL CHECK (why <> ''),
    set_by     TEXT    NOT NULL,
    set_at     INTEGER NOT NULL,
    lifted_why TEXT    CHECK (lifted_why <> ''),
    lifted_by  TEXT,
    lifted_at  INTEGER,
    CHECK ((lifted_at IS NULL) = (lifted_by IS NULL) AND (lifted_at IS NULL) = (lifted_why IS NULL))
) STRICT;
INSERT INTO hold SELECT * FROM kept;
DROP TABLE kept;
CREATE INDEX hold_by_client ON hold (client_id, set_at);
CREATE INDEX hold_open ON hold (set_at) WHERE lifted_at IS NULL;
CREATE TRIGGER hold_stays BEFORE UPDATE OF id, client_id, set_by, set_at ON hold
BEGIN SELECT RAISE(ABORT, 'a hold is lifted, not changed'); END;
CREATE TRIGGER hold_stays_sealed BEFORE UPDATE OF why ON hold
WHEN NOT EXISTS (SELECT 1 FROM unsealed WHERE what = 'hold' AND id = OLD.id)
BEGIN SELECT RAISE(ABORT, 'a hold is lifted, not changed'); END;
CREATE TRIGGER hold_is_lifted_once BEFORE UPDATE ON hold
WHEN OLD.lifted_at IS NOT NULL AND NOT EXISTS (SELECT 1 FROM unsealed WHERE what = 'hold' AND id = OLD.id)
BEGIN SELECT RAISE(ABORT, 'a hold is lifted once'); END;
CREATE TRIGGER hold_leaves BEFORE DELETE ON hold
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
