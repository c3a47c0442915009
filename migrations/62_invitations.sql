-- Letters that ask a client back.
CREATE TABLE invitation (
    id         TEXT    NOT NULL PRIMARY KEY,
    client_id  TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    service_id TEXT    NOT NULL REFERENCES service (id),
    opens_on   TEXT    NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;
CREATE INDEX invitation_by_client ON invitation (client_id, created_at);

-- Its link: leads to the free times once, for whoever knows her date of birth, and ends all such letters for ever.
-- Tokens are never stored, only their SHA-256.
CREATE TABLE invitation_link (
    token_hash    TEXT    NOT NULL PRIMARY KEY,
    invitation_id TEXT    NOT NULL REFERENCES invitation (id) ON DELETE CASCADE,
    created_at    INTEGER NOT NULL,
    tries         INTEGER NOT NULL DEFAULT 0,
    used_at       INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX invitation_link_by_invitation ON invitation_link (invitation_id);

ALTER TABLE studio ADD COLUMN invite_again_days INTEGER NOT NULL DEFAULT 21 CHECK (invite_again_days BETWEEN 1 AND 365);
