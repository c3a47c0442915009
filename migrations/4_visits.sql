-- A booking that is being filled in. owner_hash is the SHA-256 of the browser's token: nobody else may open it.
CREATE TABLE draft (
    id         TEXT    NOT NULL PRIMARY KEY,
    owner_hash TEXT    NOT NULL,
    service_id TEXT    NOT NULL REFERENCES service (id),
    client_id  TEXT    REFERENCES client (id) ON DELETE CASCADE,
    state      TEXT    NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'booked')),
    details    TEXT    CHECK (details IS NULL OR json_valid(details)),
    answers    TEXT    NOT NULL DEFAULT '{}' CHECK (json_valid(answers)),
    sections   TEXT    NOT NULL DEFAULT '[]' CHECK (json_valid(sections)),
    consent    TEXT    CHECK (consent IS NULL OR json_valid(consent)),
    created_at INTEGER NOT NULL,
    touched_at INTEGER NOT NULL
) STRICT;
CREATE INDEX draft_by_touch ON draft (touched_at);

-- Instants are Unix seconds; civil_start is what the wall clock in zone shows, and is what was promised.
-- busy_until adds the turn-around, during which practitioner and room are taken.
CREATE TABLE visit (
    id              TEXT    NOT NULL PRIMARY KEY,
    purpose         TEXT    NOT NULL CHECK (purpose IN ('treatment', 'skin_test')),
    state           TEXT    NOT NULL CHECK (state IN ('held', 'booked', 'arrived', 'in_treatment', 'done',
                                                      'cancelled_by_client', 'cancelled_by_studio', 'no_show', 'hold_expired')),
    service_id      TEXT    NOT NULL REFERENCES service (id),
    practitioner_id TEXT    NOT NULL REFERENCES practitioner (id),
    room_id         TEXT    NOT NULL REFERENCES room (id),
    client_id       TEXT    REFERENCES client (id),
    draft_id        TEXT    REFERENCES draft (id) ON DELETE SET NULL,
    paired_test_id  TEXT    REFERENCES visit (id) ON DELETE SET NULL,
    starts_at       INTEGER NOT NULL,
    ends_at         INTEGER NOT NULL,
    busy_until      INTEGER NOT NULL,
    civil_start     TEXT    NOT NULL,
    zone            TEXT    NOT NULL,
    hold_until      INTEGER,
    price_minor     INTEGER NOT NULL,
    currency        TEXT    NOT NULL,
    sequence        INTEGER NOT NULL DEFAULT 0,
    created_at      INTEGER NOT NULL,
    changed_at      INTEGER NOT NULL,
    CHECK (starts_at < ends_at AND ends_at <= busy_until AND busy_until - starts_at <= 86400),
    CHECK ((state = 'held') = (hold_until IS NOT NULL)),
    CHECK (state IN ('held', 'hold_expired') OR client_id IS NOT NULL)
) STRICT;
CREATE INDEX visit_by_practitioner ON visit (practitioner_id, starts_at);
CREATE INDEX visit_by_room ON visit (room_id, starts_at);
CREATE INDEX visit_by_client ON visit (client_id, starts_at);
CREATE INDEX visit_by_draft ON visit (draft_id);
CREATE INDEX visit_by_start ON visit (starts_at);
CREATE INDEX visit_holds ON visit (hold_until) WHERE state = 'held';

-- Nobody is in two places at once. A visit lasts a day at most, so the look back is bounded and stays
-- as quick after a million past visits as after ten.
CREATE TRIGGER visit_no_overlap_on_insert
BEFORE INSERT ON visit
WHEN NEW.state IN ('held', 'booked', 'arrived', 'in_treatment', 'done')
BEGIN
    SELECT RAISE(ABORT, 'visit overlaps')
    WHERE EXISTS (SELECT 1 FROM visit v
                  WHERE v.practitioner_id = NEW.practitioner_id
                    AND v.starts_at > NEW.starts_at - 86400 AND v.starts_at < NEW.busy_until AND v.busy_until > NEW.starts_at
                    AND v.state IN ('held', 'booked', 'arrived', 'in_treatment', 'done'))
       OR EXISTS (SELECT 1 FROM visit v
                  WHERE v.room_id = NEW.room_id
                    AND v.starts_at > NEW.starts_at - 86400 AND v.starts_at < NEW.busy_until AND v.busy_until > NEW.starts_at
                    AND v.state IN ('held', 'booked', 'arrived', 'in_treatment', 'done'));
END;

CREATE TRIGGER visit_no_overlap_on_update
BEFORE UPDATE OF starts_at, ends_at, busy_until, practitioner_id, room_id, state ON visit
WHEN NEW.state IN ('held', 'booked', 'arrived', 'in_treatment', 'done')
BEGIN
    SELECT RAISE(ABORT, 'visit overlaps')
    WHERE EXISTS (SELECT 1 FROM visit v
                  WHERE v.practitioner_id = NEW.practitioner_id AND v.id <> NEW.id
                    AND v.starts_at > NEW.starts_at - 86400 AND v.starts_at < NEW.busy_until AND v.busy_until > NEW.starts_at
                    AND v.state IN ('held', 'booked', 'arrived', 'in_treatment', 'done'))
       OR EXISTS (SELECT 1 FROM visit v
                  WHERE v.room_id = NEW.room_id AND v.id <> NEW.id
                    AND v.starts_at > NEW.starts_at - 86400 AND v.starts_at < NEW.busy_until AND v.busy_until > NEW.starts_at
                    AND v.state IN ('held', 'booked', 'arrived', 'in_treatment', 'done'));
END;
