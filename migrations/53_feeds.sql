-- The secret address at which a practitioner's calendar program reads her visits; the token is stored hashed.
CREATE TABLE feed (
    practitioner_id TEXT    NOT NULL PRIMARY KEY REFERENCES practitioner (id) ON DELETE CASCADE,
    token_hash      TEXT    NOT NULL UNIQUE,
    created_at      INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- A calendar elsewhere whose busy times count for a practitioner.
CREATE TABLE outside_calendar (
    practitioner_id TEXT    NOT NULL PRIMARY KEY REFERENCES practitioner (id) ON DELETE CASCADE,
    url             TEXT    NOT NULL,
    due_at          INTEGER NOT NULL,
    failures        INTEGER NOT NULL DEFAULT 0,
    read_at         INTEGER,
    trouble         TEXT    NOT NULL DEFAULT ''
) STRICT, WITHOUT ROWID;

CREATE TABLE outside_busy (
    practitioner_id TEXT    NOT NULL REFERENCES outside_calendar (practitioner_id) ON DELETE CASCADE,
    starts_at       INTEGER NOT NULL,
    ends_at         INTEGER NOT NULL,
    CHECK (starts_at < ends_at)
) STRICT;
CREATE INDEX outside_busy_by_start ON outside_busy (starts_at);
