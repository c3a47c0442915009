-- A client would rather come earlier than she is booked. Weekdays and parts of the day are bits: Monday is 1, Tuesday 2 …;
-- morning 1, afternoon 2, evening 4.
CREATE TABLE wish (
    id         TEXT    NOT NULL PRIMARY KEY,
    client_id  TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    visit_id   TEXT    NOT NULL REFERENCES visit (id) ON DELETE CASCADE,
    from_day   TEXT    NOT NULL,
    weekdays   INTEGER NOT NULL CHECK (weekdays BETWEEN 1 AND 127),
    parts      INTEGER NOT NULL CHECK (parts BETWEEN 1 AND 7),
    state      TEXT    NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'fulfilled', 'ended')),
    created_at INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX wish_of_visit ON wish (visit_id) WHERE state = 'open';
CREATE INDEX wish_by_age ON wish (created_at) WHERE state = 'open';

-- A time that opened and is kept for one wish at a time, as a held visit. The token of its link is stored hashed.
CREATE TABLE offer (
    id           TEXT    NOT NULL PRIMARY KEY,
    wish_id      TEXT    NOT NULL REFERENCES wish (id) ON DELETE CASCADE,
    held_id      TEXT    NOT NULL REFERENCES visit (id) ON DELETE CASCADE,
    state        TEXT    NOT NULL DEFAULT 'open' CHECK (state IN ('open', 'claimed', 'declined', 'lapsed')),
    -- The stretch that opened, which is passed on when nobody claims; each wish is asked once an opening.
    opening      TEXT    NOT NULL,
    opened_from  INTEGER NOT NULL,
    opened_until INTEGER NOT NULL,
    token_hash   TEXT,
    expires_at   INTEGER NOT NULL,
    created_at   INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX offer_of_wish ON offer (wish_id) WHERE state = 'open';
CREATE UNIQUE INDEX offer_by_token ON offer (token_hash) WHERE token_hash IS NOT NULL;
CREATE INDEX offer_by_end ON offer (expires_at) WHERE state = 'open';
CREATE INDEX offer_by_wish ON offer (wish_id);
CREATE INDEX offer_by_held ON offer (held_id);
