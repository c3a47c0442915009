-- Other hours on one day. Hours of a practitioner stand in for those of her week; hours of the whole studio (nobody's
-- id) only cut everybody's. Written as 09:00-12:30, 13:15-18:00; empty means that nobody works.
CREATE TABLE day_hours (
    id              TEXT NOT NULL PRIMARY KEY,
    practitioner_id TEXT REFERENCES practitioner (id) ON DELETE CASCADE,
    on_day          TEXT NOT NULL,
    hours           TEXT NOT NULL,
    reason          TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX day_hours_once ON day_hours (on_day, ifnull(practitioner_id, ''));

-- A stretch in which a practitioner is not there for clients, or a room can't be used.
CREATE TABLE block (
    id              TEXT    NOT NULL PRIMARY KEY,
    practitioner_id TEXT    REFERENCES practitioner (id) ON DELETE CASCADE,
    room_id         TEXT    REFERENCES room (id) ON DELETE CASCADE,
    starts_at       INTEGER NOT NULL,
    ends_at         INTEGER NOT NULL,
    reason          TEXT    NOT NULL DEFAULT '',
    made_by         TEXT    NOT NULL,
    created_at      INTEGER NOT NULL,
    CHECK ((practitioner_id IS NULL) <> (room_id IS NULL)),
    CHECK (starts_at < ends_at AND ends_at - starts_at <= 90000)
) STRICT;
CREATE INDEX block_by_start ON block (starts_at);

ALTER TABLE studio ADD COLUMN shortest_gap_minutes INTEGER NOT NULL DEFAULT 0 CHECK (shortest_gap_minutes BETWEEN 0 AND 240);
ALTER TABLE studio ADD COLUMN claim_minutes INTEGER NOT NULL DEFAULT 30 CHECK (claim_minutes BETWEEN 5 AND 1440);
ALTER TABLE studio ADD COLUMN late_policy TEXT NOT NULL DEFAULT '';
-- The zone database that the booked visits' instants were last computed with.
ALTER TABLE studio ADD COLUMN zone_database TEXT NOT NULL DEFAULT '';

-- Neither a visit on a block nor a block on a visit. A block lasts 25 hours at most, so the look back is bounded.
CREATE TRIGGER visit_not_on_block_on_insert
BEFORE INSERT ON visit
WHEN NEW.state IN ('held', 'booked', 'arrived', 'in_treatment', 'done')
BEGIN
    SELECT RAISE(ABORT, 'visit overlaps a block')
    WHERE EXISTS (SELECT 1 FROM block b
                  WHERE (b.practitioner_id = NEW.practitioner_id OR b.room_id = NEW.room_id)
                    AND b.starts_at > NEW.starts_at - 90000 AND b.starts_at < NEW.busy_until AND b.ends_at > NEW.starts_at);
END;

CREATE TRIGGER visit_not_on_block_on_update
BEFORE UPDATE OF starts_at, busy_until, practitioner_id, room_id ON visit
WHEN NEW.state IN ('held', 'booked', 'arrived', 'in_treatment', 'done')
BEGIN
    SELECT RAISE(ABORT, 'visit overlaps a block')
    WHERE EXISTS (SELECT 1 FROM block b
                  WHERE (b.practitioner_id = NEW.practitioner_id OR b.room_id = NEW.room_id)
                    AND b.starts_at > NEW.starts_at - 90000 AND b.starts_at < NEW.busy_until AND b.ends_at > NEW.starts_at);
END;

CREATE TRIGGER block_not_on_visit
BEFORE INSERT ON block
BEGIN
    SELECT RAISE(ABORT, 'visit overlaps a block')
    WHERE EXISTS (SELECT 1 FROM visit v
                  WHERE (v.practitioner_id = NEW.practitioner_id OR v.room_id = NEW.room_id)
                    AND v.starts_at > NEW.starts_at - 86400 AND v.starts_at < NEW.ends_at AND v.busy_until > NEW.starts_at
                    AND v.state IN ('held', 'booked', 'arrived', 'in_treatment', 'done'));
END;
