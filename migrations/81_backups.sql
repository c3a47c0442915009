-- Every try to make a backup; trouble is empty when it was made. Rows say what became of it, not whether its file is
-- still there: the rotation takes files away.
CREATE TABLE backup (
    id        INTEGER NOT NULL PRIMARY KEY,
    tried_at  INTEGER NOT NULL,
    file      TEXT    NOT NULL,
    bytes     INTEGER NOT NULL DEFAULT 0,
    sha256    TEXT    NOT NULL DEFAULT '',
    encrypted INTEGER NOT NULL CHECK (encrypted IN (0, 1)),
    trouble   TEXT    NOT NULL DEFAULT '',
    CHECK ((trouble = '') = (sha256 <> ''))
) STRICT;
CREATE INDEX backup_by_time ON backup (tried_at);
