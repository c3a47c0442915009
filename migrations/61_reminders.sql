-- A reminder that was put in the outbox: place 1 is the earlier one, 2 the later. A visit that moves is reminded of anew.
CREATE TABLE reminder (
    visit_id  TEXT    NOT NULL REFERENCES visit (id) ON DELETE CASCADE,
    starts_at INTEGER NOT NULL,
    place     INTEGER NOT NULL CHECK (place IN (1, 2)),
    PRIMARY KEY (visit_id, starts_at, place)
) STRICT, WITHOUT ROWID;

ALTER TABLE studio ADD COLUMN remind_first_hours  INTEGER NOT NULL DEFAULT 48 CHECK (remind_first_hours BETWEEN 0 AND 336);
ALTER TABLE studio ADD COLUMN remind_second_hours INTEGER NOT NULL DEFAULT 24 CHECK (remind_second_hours BETWEEN 0 AND 336);
