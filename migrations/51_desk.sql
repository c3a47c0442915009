-- Whether it was given up after the studio's limit.
ALTER TABLE visit ADD COLUMN late INTEGER NOT NULL DEFAULT 0 CHECK (late IN (0, 1));

-- Money that was handed over for a visit beforehand, as the studio notes it; nothing is charged here.
CREATE TABLE deposit (
    visit_id     TEXT    NOT NULL PRIMARY KEY REFERENCES visit (id) ON DELETE CASCADE,
    amount_minor INTEGER NOT NULL CHECK (amount_minor BETWEEN 1 AND 4000000000),
    currency     TEXT    NOT NULL,
    how          TEXT    NOT NULL CHECK (how IN ('cash', 'card', 'transfer', 'other')),
    fate         TEXT    NOT NULL DEFAULT 'held' CHECK (fate IN ('held', 'kept', 'returned', 'counted')),
    noted_by     TEXT    NOT NULL,
    noted_at     INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
