-- What the team shows besides a password: a secret that an app on her phone shares, and codes for the day it is lost.
CREATE TABLE second_factor (
    account_id TEXT    NOT NULL PRIMARY KEY REFERENCES account (id) ON DELETE CASCADE,
    secret     BLOB    NOT NULL CHECK (length(secret) = 20),
    -- The time step of the last code that was taken: RFC 6238, 5.2 lets none be taken twice.
    used_step  INTEGER NOT NULL,
    made_at    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Only hashes: each code has 120 random bits.
CREATE TABLE recovery_code (
    code_hash  TEXT    NOT NULL PRIMARY KEY,
    account_id TEXT    NOT NULL REFERENCES account (id) ON DELETE CASCADE,
    used_at    INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX recovery_code_by_account ON recovery_code (account_id);

-- A practitioner may put the second factor off once.
ALTER TABLE account ADD COLUMN factor_put_off_at INTEGER;

-- How far a session of the team has come: a code is still asked for, the second factor is still to be set up, or
-- everything is open to her. Then when she last gave her password or a code, and what kind of device it was.
ALTER TABLE session ADD COLUMN stage TEXT NOT NULL DEFAULT 'open' CHECK (stage IN ('code', 'set_up', 'open'));
ALTER TABLE session ADD COLUMN proved_at INTEGER NOT NULL DEFAULT 0;
ALTER TABLE session ADD COLUMN device TEXT NOT NULL DEFAULT '';

-- Browsers that somebody of the team has signed in with: a new one is told of by mail, and a known one is not held back
-- when others guess at her password.
CREATE TABLE known_browser (
    account_id TEXT    NOT NULL REFERENCES account (id) ON DELETE CASCADE,
    token_hash TEXT    NOT NULL,
    seen_at    INTEGER NOT NULL,
    PRIMARY KEY (account_id, token_hash)
) STRICT, WITHOUT ROWID;
