-- What the rules said of a booked visit: when it was booked, and when it was judged last. latest is compared with what
-- they say now, so that a change is told once. changed_at is set while the visit stands worse than it was booked.
CREATE TABLE visit_verdict (
    visit_id   TEXT    NOT NULL PRIMARY KEY REFERENCES visit (id) ON DELETE CASCADE,
    booked     TEXT    NOT NULL CHECK (json_valid(booked)),
    latest     TEXT    NOT NULL CHECK (json_valid(latest)),
    judged_at  INTEGER NOT NULL,
    changed_at INTEGER
) STRICT;
