-- How long each class of records is kept. The newest version of a class holds; an earlier one stays, since records left by it.
CREATE TABLE retention (
    class      TEXT    NOT NULL CHECK (class IN ('treated', 'contact', 'invitations', 'letters')),
    version    INTEGER NOT NULL CHECK (version > 0),
    months     INTEGER NOT NULL CHECK (months BETWEEN 1 AND 600),
    -- Of whoever was under 18, at least to this age.
    until_age  INTEGER CHECK (until_age BETWEEN 18 AND 30),
    basis      TEXT    NOT NULL CHECK (length(basis) BETWEEN 1 AND 500),
    reason     TEXT    NOT NULL CHECK (length(reason) BETWEEN 1 AND 500),
    written_by TEXT    NOT NULL,
    written_at INTEGER NOT NULL,
    PRIMARY KEY (class, version)
) STRICT, WITHOUT ROWID;

INSERT INTO retention (class, version, months, until_age, basis, reason, written_by, written_at) VALUES
    ('treated', 1, 84, 25,
     'Common practice of insurers: seven years after the last treatment, of minors to the age of 25. The law may let a claim be made for less long, such as three years in England and Wales (Limitation Act 1980, s. 11).',
     'As the program ships it.', 'The program', 0),
    ('contact', 1, 12, NULL, 'Common practice, no source.', 'As the program ships it.', 'The program', 0),
    ('invitations', 1, 12, NULL,
     'Common practice, no source; twelve months cover the longest time between two invitations.',
     'As the program ships it.', 'The program', 0),
    ('letters', 1, 6, NULL, 'Common practice, no source.', 'As the program ships it.', 'The program', 0);

CREATE TRIGGER retention_stays BEFORE UPDATE ON retention
BEGIN SELECT RAISE(ABORT, 'a retention period is followed, not changed'); END;
CREATE TRIGGER retention_is_kept BEFORE DELETE ON retention
BEGIN SELECT RAISE(ABORT, 'a retention period is followed, not changed'); END;

-- A claim is made or expected: nothing of the client leaves until it is lifted. A reaction report that is open does the same.
CREATE TABLE hold (
    id         TEXT    NOT NULL PRIMARY KEY,
    client_id  TEXT    NOT NULL REFERENCES client (id),
    why        TEXT    NOT NULL CHECK (length(why) BETWEEN 1 AND 500),
    set_by     TEXT    NOT NULL,
    set_at     INTEGER NOT NULL,
    lifted_why TEXT    CHECK (length(lifted_why) BETWEEN 1 AND 500),
    lifted_by  TEXT,
    lifted_at  INTEGER,
    CHECK ((lifted_at IS NULL) = (lifted_by IS NULL) AND (lifted_at IS NULL) = (lifted_why IS NULL))
) STRICT;
CREATE INDEX hold_by_client ON hold (client_id, set_at);
CREATE INDEX hold_open ON hold (set_at) WHERE lifted_at IS NULL;

CREATE TRIGGER hold_stays BEFORE UPDATE OF id, client_id, why, set_by, set_at ON hold
BEGIN SELECT RAISE(ABORT, 'a hold is lifted, not changed'); END;
CREATE TRIGGER hold_is_lifted_once BEFORE UPDATE ON hold WHEN OLD.lifted_at IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'a hold is lifted once'); END;
