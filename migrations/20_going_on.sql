-- The link in a mail with which somebody goes on with a booking that she left. It ends with the booking, once it was used,
-- or after too many wrong dates of birth. Tokens are never stored, only their SHA-256.
CREATE TABLE draft_link (
    token_hash TEXT    NOT NULL PRIMARY KEY,
    draft_id   TEXT    NOT NULL REFERENCES draft (id) ON DELETE CASCADE,
    created_at INTEGER NOT NULL,
    tries      INTEGER NOT NULL DEFAULT 0,
    used_at    INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX draft_link_by_draft ON draft_link (draft_id);
CREATE INDEX draft_by_client ON draft (client_id) WHERE state = 'open';
