-- The door through which records leave. A row here lets the records of one client be taken away, in the transaction that
-- takes them away: `shut` refers to a row that is never there, so while the row stands nothing can be committed. What leaves
-- is written into the audit first, and nothing leaves that is held. Whether the period is over is the program's to say.
CREATE TABLE no_row (
    id INTEGER NOT NULL PRIMARY KEY CHECK (id IS NULL)
) STRICT;

CREATE TABLE leaving (
    client_id TEXT    NOT NULL PRIMARY KEY,
    part      TEXT    NOT NULL CHECK (part IN ('record', 'photos')),
    audit_seq INTEGER NOT NULL,
    shut      INTEGER NOT NULL DEFAULT 1 REFERENCES no_row (id) DEFERRABLE INITIALLY DEFERRED
) STRICT;

CREATE TRIGGER leaving_is_lawful BEFORE INSERT ON leaving
BEGIN
    SELECT RAISE(ABORT, 'one client at a time leaves') WHERE EXISTS (SELECT 1 FROM leaving);
    SELECT RAISE(ABORT, 'a hold keeps these records')
    WHERE EXISTS (SELECT 1 FROM hold WHERE client_id = NEW.client_id AND lifted_at IS NULL);
    SELECT RAISE(ABORT, 'an open report of a reaction keeps these records')
    WHERE EXISTS (SELECT 1 FROM reaction WHERE client_id = NEW.client_id AND state <> 'settled');
    SELECT RAISE(ABORT, 'what leaves is written down first')
    WHERE NOT EXISTS (SELECT 1 FROM audit WHERE seq = NEW.audit_seq AND seq = (SELECT max(seq) FROM audit)
                      AND client_id = NEW.client_id AND action = NEW.part || '.erased');
    SELECT RAISE(ABORT, 'a visit keeps these records')
    WHERE EXISTS (SELECT 1 FROM visit WHERE client_id = NEW.client_id AND NEW.part = 'record'
                  AND state IN ('booked', 'arrived', 'in_treatment')
                  AND ends_at > (SELECT at FROM audit WHERE seq = NEW.audit_seq));
END;
CREATE TRIGGER leaving_stays BEFORE UPDATE ON leaving
BEGIN SELECT RAISE(ABORT, 'a door is shut, not moved'); END;

CREATE TRIGGER answers_leaves BEFORE DELETE ON answers
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER consent_leaves BEFORE DELETE ON consent
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER consent_withdrawal_leaves BEFORE DELETE ON consent_withdrawal
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER skin_test_leaves BEFORE DELETE ON skin_test
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER treatment_leaves BEFORE DELETE ON treatment
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER letter_leaves BEFORE DELETE ON letter
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER reaction_leaves BEFORE DELETE ON reaction
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER hold_leaves BEFORE DELETE ON hold
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER client_leaves BEFORE DELETE ON client
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER file_leaves BEFORE DELETE ON file
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id
                 AND (part = 'record' OR OLD.purpose IN ('before', 'after')))
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER visit_leaves BEFORE DELETE ON visit
WHEN OLD.state NOT IN ('held', 'hold_expired')
     AND NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;

-- What hangs on those is found through them, so it leaves before them.
CREATE TRIGGER treatment_version_leaves BEFORE DELETE ON treatment_version
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN treatment p ON p.client_id = l.client_id
                 WHERE p.id = OLD.treatment_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER treatment_product_leaves BEFORE DELETE ON treatment_product
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN treatment p ON p.client_id = l.client_id
                 WHERE p.id = OLD.treatment_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER treatment_time_leaves BEFORE DELETE ON treatment_time
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN treatment p ON p.client_id = l.client_id
                 WHERE p.id = OLD.treatment_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER skin_test_reading_leaves BEFORE DELETE ON skin_test_reading
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN skin_test p ON p.client_id = l.client_id
                 WHERE p.id = OLD.skin_test_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER reaction_entry_leaves BEFORE DELETE ON reaction_entry
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN reaction p ON p.client_id = l.client_id
                 WHERE p.id = OLD.reaction_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER reaction_product_leaves BEFORE DELETE ON reaction_product
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN reaction p ON p.client_id = l.client_id
                 WHERE p.id = OLD.reaction_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER visit_start_leaves BEFORE DELETE ON visit_start
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN visit p ON p.client_id = l.client_id
                 WHERE p.id = OLD.visit_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER visit_check_leaves BEFORE DELETE ON visit_check
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN visit p ON p.client_id = l.client_id
                 WHERE p.id = OLD.visit_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER visit_shield_leaves BEFORE DELETE ON visit_shield
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN visit p ON p.client_id = l.client_id
                 WHERE p.id = OLD.visit_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER visit_guardian_leaves BEFORE DELETE ON visit_guardian
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN visit p ON p.client_id = l.client_id
                 WHERE p.id = OLD.visit_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER chair_event_leaves BEFORE DELETE ON chair_event
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN visit p ON p.client_id = l.client_id
                 WHERE p.id = OLD.visit_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER deposit_leaves BEFORE DELETE ON deposit
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN visit p ON p.client_id = l.client_id
                 WHERE p.id = OLD.visit_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;

-- Money stays for the books when a client leaves, without her name.
CREATE TABLE past_money (
    id           INTEGER NOT NULL PRIMARY KEY,
    what         TEXT    NOT NULL CHECK (what IN ('deposit', 'price')),
    on_day       TEXT    NOT NULL,
    amount_minor INTEGER NOT NULL,
    currency     TEXT    NOT NULL,
    how          TEXT    NOT NULL,
    -- What became of a deposit; nothing for a price.
    fate         TEXT    NOT NULL DEFAULT ''
) STRICT;

-- What may leave, as it was found on a day; done once the owner has confirmed it.
CREATE TABLE retention_list (
    id      TEXT    NOT NULL PRIMARY KEY,
    month   TEXT    NOT NULL,
    letters INTEGER NOT NULL,
    made_at INTEGER NOT NULL,
    done_by TEXT,
    done_at INTEGER,
    CHECK ((done_by IS NULL) = (done_at IS NULL))
) STRICT;
CREATE INDEX retention_list_by_time ON retention_list (made_at);

-- No name: the line outlives the client.
CREATE TABLE retention_line (
    list_id   TEXT NOT NULL REFERENCES retention_list (id) ON DELETE CASCADE,
    client_id TEXT NOT NULL,
    part      TEXT NOT NULL CHECK (part IN ('record', 'invitations')),
    kept_to   TEXT NOT NULL,
    why       TEXT NOT NULL,
    outcome   TEXT CHECK (outcome IN ('gone', 'stayed')),
    PRIMARY KEY (list_id, client_id, part)
) STRICT, WITHOUT ROWID;

-- Whoever leaves is looked for by these.
CREATE INDEX consent_by_visit ON consent (visit_id) WHERE visit_id IS NOT NULL;
CREATE INDEX consent_by_answers ON consent (answers_id) WHERE answers_id IS NOT NULL;
CREATE INDEX skin_test_by_visit ON skin_test (visit_id) WHERE visit_id IS NOT NULL;
CREATE INDEX reaction_by_visit ON reaction (visit_id) WHERE visit_id IS NOT NULL;
CREATE INDEX letter_by_file ON letter (file_id);
CREATE INDEX visit_by_paired_test ON visit (paired_test_id) WHERE paired_test_id IS NOT NULL;
CREATE INDEX wish_by_visit ON wish (visit_id);
CREATE INDEX wish_by_client ON wish (client_id);
CREATE INDEX sign_in_link_by_client ON sign_in_link (client_id);
CREATE INDEX draft_of_client ON draft (client_id) WHERE client_id IS NOT NULL;
CREATE INDEX outbox_by_address ON outbox (to_mail);
