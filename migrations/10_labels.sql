-- What the studio does with clients under 16 and under 18. Tint under 16 is not among its choices.
ALTER TABLE studio ADD COLUMN under_16 TEXT NOT NULL DEFAULT 'refuse' CHECK (under_16 IN ('refuse', 'guardian_present'));
ALTER TABLE studio ADD COLUMN guardian_under_18 INTEGER NOT NULL DEFAULT 1 CHECK (guardian_under_18 IN (0, 1));

-- What a label says against the published limits, as JSON; nothing until somebody has gone through it.
ALTER TABLE product ADD COLUMN label TEXT CHECK (label IS NULL OR json_valid(label));

-- A parent or guardian was there when the client came.
CREATE TABLE visit_guardian (
    visit_id TEXT    NOT NULL PRIMARY KEY REFERENCES visit (id) ON DELETE CASCADE,
    name     TEXT    NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    noted_by TEXT    NOT NULL,
    noted_at INTEGER NOT NULL
) STRICT;
