-- Keys on the team's devices that answer in the place of a code (W3C, Web Authentication). `key` and `state` are written and
-- read by the library: the public half, and a counter with what else changes when the key is used.
CREATE TABLE passkey (
    id         TEXT    NOT NULL PRIMARY KEY,
    account_id TEXT    NOT NULL REFERENCES account (id) ON DELETE CASCADE,
    credential BLOB    NOT NULL UNIQUE CHECK (length(credential) BETWEEN 16 AND 1023),
    transports INTEGER NOT NULL CHECK (transports BETWEEN 0 AND 255),
    key        BLOB    NOT NULL,
    state      BLOB    NOT NULL,
    name       TEXT    NOT NULL,
    made_at    INTEGER NOT NULL,
    used_at    INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX passkey_by_account ON passkey (account_id, made_at);

-- What a session was asked to answer with a key: once, and for a few minutes.
CREATE TABLE passkey_challenge (
    session_hash TEXT    NOT NULL REFERENCES session (token_hash) ON DELETE CASCADE,
    purpose      TEXT    NOT NULL CHECK (purpose IN ('add', 'use')),
    kept         BLOB    NOT NULL,
    asked_at     INTEGER NOT NULL,
    PRIMARY KEY (session_hash, purpose)
) STRICT, WITHOUT ROWID;
