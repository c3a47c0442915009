-- The steps of a service: as the studio does it, or with one product as its label says. Without a row the shipped steps hold.
-- subject: a service's id, or 'skin_test'. Nothing is changed; the newest version holds.
CREATE TABLE step_plan (
    subject    TEXT    NOT NULL,
    product_id TEXT    NOT NULL DEFAULT '',
    version    INTEGER NOT NULL CHECK (version > 0),
    steps      TEXT    NOT NULL CHECK (json_valid(steps)),
    written_by TEXT    NOT NULL,
    written_at INTEGER NOT NULL,
    PRIMARY KEY (subject, product_id, version)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER step_plan_stays BEFORE UPDATE ON step_plan
BEGIN SELECT RAISE(ABORT, 'steps are changed by a new version'); END;

-- The studio's own lists in its own words, as JSON: 'shields', 'on_the_day', 'hygiene', 'aftercare_lash', 'aftercare_brow'.
CREATE TABLE studio_list (
    name       TEXT    NOT NULL,
    version    INTEGER NOT NULL CHECK (version > 0),
    entries    TEXT    NOT NULL CHECK (json_valid(entries)),
    written_by TEXT    NOT NULL,
    written_at INTEGER NOT NULL,
    PRIMARY KEY (name, version)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER studio_list_stays BEFORE UPDATE ON studio_list
BEGIN SELECT RAISE(ABORT, 'a list is changed by a new version'); END;
