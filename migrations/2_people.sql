-- Sign-ins of the owner and of practitioners. Clients have no password: they sign in by a link in a mail.
CREATE TABLE account (
    id              TEXT    NOT NULL PRIMARY KEY,
    role            TEXT    NOT NULL CHECK (role IN ('owner', 'practitioner')),
    mail            TEXT    NOT NULL UNIQUE,
    name            TEXT    NOT NULL,
    password_hash   TEXT    NOT NULL,
    practitioner_id TEXT    UNIQUE REFERENCES practitioner (id),
    disabled_at     INTEGER,
    created_at      INTEGER NOT NULL
) STRICT;

CREATE TABLE client (
    id         TEXT    NOT NULL PRIMARY KEY,
    name       TEXT    NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    mail       TEXT    NOT NULL,
    phone      TEXT    NOT NULL,
    born_on    TEXT    NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;
CREATE INDEX client_by_mail ON client (mail);

-- Tokens are never stored, only their SHA-256.
CREATE TABLE session (
    token_hash TEXT    NOT NULL PRIMARY KEY,
    account_id TEXT    REFERENCES account (id) ON DELETE CASCADE,
    client_id  TEXT    REFERENCES client (id) ON DELETE CASCADE,
    created_at INTEGER NOT NULL,
    seen_at    INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    CHECK ((account_id IS NULL) <> (client_id IS NULL))
) STRICT, WITHOUT ROWID;
CREATE INDEX session_by_account ON session (account_id);
CREATE INDEX session_by_client ON session (client_id);

CREATE TABLE sign_in_link (
    token_hash TEXT    NOT NULL PRIMARY KEY,
    client_id  TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    draft_id   TEXT,
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at    INTEGER
) STRICT, WITHOUT ROWID;
