-- What was looked at before the first product was opened, in the words that she ticked, and the steps as they stood then.
CREATE TABLE visit_check (
    visit_id   TEXT    NOT NULL PRIMARY KEY REFERENCES visit (id) ON DELETE CASCADE,
    on_the_day TEXT    NOT NULL CHECK (json_valid(on_the_day)),
    hygiene    TEXT    NOT NULL CHECK (json_valid(hygiene)),
    traits     TEXT    NOT NULL CHECK (json_valid(traits)),
    steps      TEXT    NOT NULL CHECK (json_valid(steps)),
    checked_by TEXT    NOT NULL,
    checked_at INTEGER NOT NULL
) STRICT;

CREATE TRIGGER visit_check_stays BEFORE UPDATE ON visit_check
BEGIN SELECT RAISE(ABORT, 'what was checked stays as it was'); END;

-- Lengths in tenths of a millimetre. The newest row of a visit holds.
CREATE TABLE visit_shield (
    id         INTEGER NOT NULL PRIMARY KEY,
    visit_id   TEXT    NOT NULL REFERENCES visit (id) ON DELETE CASCADE,
    inner_len  INTEGER NOT NULL CHECK (inner_len BETWEEN 10 AND 200),
    middle_len INTEGER NOT NULL CHECK (middle_len BETWEEN 10 AND 200),
    outer_len  INTEGER NOT NULL CHECK (outer_len BETWEEN 10 AND 200),
    effect     TEXT    NOT NULL CHECK (effect IN ('soft', 'even', 'strong')),
    used       TEXT    NOT NULL DEFAULT '',
    written_by TEXT    NOT NULL,
    written_at INTEGER NOT NULL
) STRICT;
CREATE INDEX visit_shield_by_visit ON visit_shield (visit_id, id);

-- What was pressed at the chair, on whose clock, to the second. The id is made where it was pressed, so that an event which
-- is sent twice is stored once. ahead: how many seconds the device's clock was before the studio's when it was sent.
CREATE TABLE chair_event (
    id          TEXT    NOT NULL PRIMARY KEY,
    visit_id    TEXT    NOT NULL REFERENCES visit (id) ON DELETE CASCADE,
    kind        TEXT    NOT NULL CHECK (kind IN ('on', 'set', 'off', 'take_back')),
    step        INTEGER NOT NULL CHECK (step BETWEEN 0 AND 19),
    side        TEXT    NOT NULL CHECK (side IN ('left', 'right')),
    at          INTEGER NOT NULL,
    seconds     INTEGER CHECK (seconds BETWEEN 0 AND 7200),
    taken_back  TEXT,
    ahead       INTEGER NOT NULL,
    pressed_by  TEXT    NOT NULL,
    received_at INTEGER NOT NULL,
    CHECK ((kind IN ('on', 'set')) = (seconds IS NOT NULL)),
    CHECK ((kind = 'take_back') = (taken_back IS NOT NULL))
) STRICT, WITHOUT ROWID;
CREATE INDEX chair_event_by_visit ON chair_event (visit_id, at);

CREATE TRIGGER chair_event_stays BEFORE UPDATE ON chair_event
BEGIN SELECT RAISE(ABORT, 'what was pressed stays as it was'); END;

-- How long each step was on each side, in each version of a record. up_at: when its time was up; nothing when it was taken off before.
CREATE TABLE treatment_time (
    treatment_id TEXT    NOT NULL,
    version      INTEGER NOT NULL,
    position     INTEGER NOT NULL,
    step         TEXT    NOT NULL CHECK (length(step) BETWEEN 1 AND 60),
    side         TEXT    NOT NULL CHECK (side IN ('left', 'right')),
    on_at        INTEGER NOT NULL,
    up_at        INTEGER,
    off_at       INTEGER NOT NULL,
    most_seconds INTEGER NOT NULL,
    PRIMARY KEY (treatment_id, version, position),
    CHECK (on_at <= off_at AND (up_at IS NULL OR on_at <= up_at AND up_at <= off_at)),
    FOREIGN KEY (treatment_id, version) REFERENCES treatment_version (treatment_id, version) ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

CREATE TRIGGER treatment_time_stays BEFORE UPDATE ON treatment_time
BEGIN SELECT RAISE(ABORT, 'a treatment record is corrected by a new version'); END;

-- Whether the eyes were rinsed; nothing where a tint followed or nobody said.
ALTER TABLE treatment_version ADD COLUMN rinsed INTEGER CHECK (rinsed IN (0, 1));
