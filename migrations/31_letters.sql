-- A clinician's letter: body is its scope as JSON, the paper itself is a file. One that the client added counts once
-- somebody of the team has read it. It is never changed: a wrong one is set aside, and added anew.
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
    set_aside_why TEXT    CHECK (length(set_aside_why) BETWEEN 1 AND 500),
    CHECK ((read_by IS NULL) = (read_at IS NULL)),
    CHECK ((set_aside_by IS NULL) = (set_aside_at IS NULL) AND (set_aside_by IS NULL) = (set_aside_why IS NULL))
) STRICT;
CREATE INDEX letter_by_client ON letter (client_id, added_at);

CREATE TRIGGER letter_stays BEFORE UPDATE OF client_id, file_id, body, added_by, added_at ON letter
BEGIN SELECT RAISE(ABORT, 'a letter is set aside, not changed'); END;
