-- A reaction report. Nothing of its client is deleted while it stands: hence no cascade.
CREATE TABLE reaction (
    id           TEXT    NOT NULL PRIMARY KEY,
    client_id    TEXT    NOT NULL REFERENCES client (id),
    visit_id     TEXT    REFERENCES visit (id),
    skin_test_id TEXT    UNIQUE REFERENCES skin_test (id),
    state        TEXT    NOT NULL CHECK (state IN ('reported', 'followed_up', 'settled')),
    level        TEXT    NOT NULL CHECK (level IN ('expected', 'mild', 'moderate', 'serious', 'emergency')),
    began_at     INTEGER NOT NULL,
    reported_at  INTEGER NOT NULL,
    due_at       INTEGER,
    CHECK (began_at <= reported_at),
    CHECK (state <> 'settled' OR due_at IS NULL)
) STRICT;
CREATE INDEX reaction_by_client ON reaction (client_id, reported_at);
CREATE INDEX reaction_due ON reaction (due_at) WHERE due_at IS NOT NULL;

CREATE TABLE reaction_product (
    reaction_id TEXT NOT NULL REFERENCES reaction (id) ON DELETE CASCADE,
    product_id  TEXT NOT NULL REFERENCES product (id),
    batch       TEXT NOT NULL,
    PRIMARY KEY (reaction_id, product_id, batch)
) STRICT, WITHOUT ROWID;

CREATE TABLE reaction_entry (
    id          INTEGER NOT NULL PRIMARY KEY,
    reaction_id TEXT    NOT NULL REFERENCES reaction (id) ON DELETE CASCADE,
    body        TEXT    NOT NULL CHECK (json_valid(body)),
    written_by  TEXT    NOT NULL,
    written_at  INTEGER NOT NULL
) STRICT;
CREATE INDEX reaction_entry_by_reaction ON reaction_entry (reaction_id);

CREATE TRIGGER reaction_stays BEFORE UPDATE OF client_id, visit_id, skin_test_id, began_at, reported_at ON reaction
BEGIN SELECT RAISE(ABORT, 'a reaction report is added to, not changed'); END;
CREATE TRIGGER reaction_entry_stays BEFORE UPDATE ON reaction_entry
BEGIN SELECT RAISE(ABORT, 'a reaction report is added to, not changed'); END;
