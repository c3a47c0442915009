-- The studio itself: one row, with everything that the owner sets for the whole house.
CREATE TABLE studio (
    id                    INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
    name                  TEXT    NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    address               TEXT    NOT NULL DEFAULT '',
    phone                 TEXT    NOT NULL DEFAULT '',
    mail                  TEXT    NOT NULL DEFAULT '',
    zone                  TEXT    NOT NULL,
    currency              TEXT    NOT NULL CHECK (length(currency) = 3),
    home_dial             TEXT    NOT NULL DEFAULT '+44',
    jurisdiction          TEXT    NOT NULL DEFAULT 'eu_uk' CHECK (jurisdiction IN ('eu_uk', 'us', 'other')),
    hold_minutes          INTEGER NOT NULL DEFAULT 20  CHECK (hold_minutes BETWEEN 5 AND 240),
    notice_minutes        INTEGER NOT NULL DEFAULT 120 CHECK (notice_minutes BETWEEN 0 AND 20160),
    horizon_days          INTEGER NOT NULL DEFAULT 120 CHECK (horizon_days BETWEEN 7 AND 400),
    grid_minutes          INTEGER NOT NULL DEFAULT 15  CHECK (grid_minutes IN (5, 10, 15, 20, 30, 60)),
    cancel_limit_hours    INTEGER NOT NULL DEFAULT 24  CHECK (cancel_limit_hours BETWEEN 0 AND 336),
    skin_test_minutes     INTEGER NOT NULL DEFAULT 10  CHECK (skin_test_minutes BETWEEN 5 AND 60),
    skin_test_floor_hours INTEGER NOT NULL DEFAULT 48  CHECK (skin_test_floor_hours BETWEEN 24 AND 72),
    skin_test_valid_days  INTEGER NOT NULL DEFAULT 183 CHECK (skin_test_valid_days BETWEEN 30 AND 366),
    demo                  INTEGER NOT NULL DEFAULT 0   CHECK (demo IN (0, 1)),
    created_at            INTEGER NOT NULL
) STRICT;

CREATE TABLE practitioner (
    id         TEXT    NOT NULL PRIMARY KEY,
    name       TEXT    NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    active     INTEGER NOT NULL DEFAULT 1 CHECK (active IN (0, 1)),
    created_at INTEGER NOT NULL
) STRICT;

-- Several rows a weekday are hours with breaks. Minutes count from midnight on the wall clock.
CREATE TABLE hours (
    practitioner_id TEXT    NOT NULL REFERENCES practitioner (id) ON DELETE CASCADE,
    weekday         INTEGER NOT NULL CHECK (weekday BETWEEN 1 AND 7),
    opens_minute    INTEGER NOT NULL CHECK (opens_minute BETWEEN 0 AND 1439),
    closes_minute   INTEGER NOT NULL CHECK (closes_minute BETWEEN 1 AND 1440),
    CHECK (opens_minute < closes_minute),
    PRIMARY KEY (practitioner_id, weekday, opens_minute)
) STRICT, WITHOUT ROWID;

-- Whole days off; without a practitioner the studio is closed.
CREATE TABLE time_off (
    id              TEXT NOT NULL PRIMARY KEY,
    practitioner_id TEXT REFERENCES practitioner (id) ON DELETE CASCADE,
    from_day        TEXT NOT NULL,
    to_day          TEXT NOT NULL,
    reason          TEXT NOT NULL DEFAULT '',
    CHECK (from_day <= to_day)
) STRICT;
CREATE INDEX time_off_by_day ON time_off (to_day);

CREATE TABLE room (
    id     TEXT    NOT NULL PRIMARY KEY,
    name   TEXT    NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    active INTEGER NOT NULL DEFAULT 1 CHECK (active IN (0, 1))
) STRICT;
