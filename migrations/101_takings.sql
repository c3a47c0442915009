-- The price that was taken for a visit, as the studio notes it; nothing is charged here. counted_minor is the part that a
-- deposit had paid beforehand; day is the one on which it was first noted, on the studio's calendar.
CREATE TABLE taking (
    visit_id      TEXT    NOT NULL PRIMARY KEY REFERENCES visit (id) ON DELETE CASCADE,
    price_minor   INTEGER NOT NULL CHECK (price_minor BETWEEN 0 AND 4000000000),
    counted_minor INTEGER NOT NULL CHECK (counted_minor BETWEEN 0 AND price_minor),
    currency      TEXT    NOT NULL,
    how           TEXT    NOT NULL CHECK (how IN ('cash', 'card', 'transfer', 'other')),
    day           TEXT    NOT NULL,
    noted_by      TEXT    NOT NULL,
    noted_at      INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX taking_by_day ON taking (day);
