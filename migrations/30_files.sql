-- Photos and letters, kept in the database so that one backup holds all. about is the id of what the file belongs to:
-- a letter, a treatment, a reaction, a skin test. by_client tells who added it, added_by names a member of the team.
CREATE TABLE file (
    id        TEXT    NOT NULL PRIMARY KEY,
    client_id TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    purpose   TEXT    NOT NULL CHECK (purpose IN ('letter', 'before', 'after', 'reaction', 'skin_test')),
    about     TEXT    NOT NULL,
    kind      TEXT    NOT NULL CHECK (kind IN ('jpeg', 'pdf')),
    sha256    TEXT    NOT NULL,
    body      BLOB    NOT NULL CHECK (length(body) BETWEEN 1 AND 16000000),
    thumbnail BLOB,
    added_by  TEXT    NOT NULL,
    added_at  INTEGER NOT NULL,
    CHECK ((kind = 'jpeg') = (thumbnail IS NOT NULL))
) STRICT;
CREATE INDEX file_by_client ON file (client_id, added_at);
CREATE INDEX file_by_about ON file (about);

CREATE TRIGGER file_stays BEFORE UPDATE ON file
BEGIN SELECT RAISE(ABORT, 'a file is not changed'); END;
