-- Who saw or changed what. Each row hashes the one before it. Names are copied, so that a row outlives an account.
CREATE TABLE audit (
    seq        INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    at         INTEGER NOT NULL,
    actor_kind TEXT    NOT NULL CHECK (actor_kind IN ('visitor', 'client', 'practitioner', 'owner', 'program', 'command')),
    actor_id   TEXT    NOT NULL,
    actor_name TEXT    NOT NULL,
    action     TEXT    NOT NULL,
    client_id  TEXT    NOT NULL DEFAULT '',
    object_id  TEXT    NOT NULL DEFAULT '',
    detail     TEXT    NOT NULL DEFAULT '',
    prev_hash  TEXT    NOT NULL,
    hash       TEXT    NOT NULL UNIQUE
) STRICT;
CREATE INDEX audit_by_client ON audit (client_id, seq);

CREATE TRIGGER audit_stays BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit is only ever added to'); END;
CREATE TRIGGER audit_is_kept BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit is only ever added to'); END;

-- Every package that was made: the hashes tell a package that was changed on purpose from the one that left.
CREATE TABLE export (
    id              TEXT    NOT NULL PRIMARY KEY,
    made_by         TEXT    NOT NULL,
    why             TEXT    NOT NULL CHECK (length(why) BETWEEN 1 AND 500),
    scope           TEXT    NOT NULL CHECK (json_valid(scope)),
    clients         INTEGER NOT NULL,
    bytes           INTEGER NOT NULL,
    sha256          TEXT    NOT NULL,
    manifest_sha256 TEXT    NOT NULL,
    made_at         INTEGER NOT NULL
) STRICT;
CREATE INDEX export_by_time ON export (made_at);
