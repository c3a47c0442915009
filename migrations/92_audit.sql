CREATE INDEX audit_by_actor ON audit (actor_id, seq);

-- What each nightly look at the chain found: how far it reached and the hash there, so that the next look sees a chain whose
-- end was cut off. trouble: 'breaks' at a row, or 'cut_off' before it.
CREATE TABLE audit_check (
    id      INTEGER NOT NULL PRIMARY KEY,
    at      INTEGER NOT NULL,
    reached INTEGER NOT NULL,
    head    TEXT    NOT NULL,
    trouble TEXT    NOT NULL CHECK (trouble IN ('', 'breaks', 'cut_off')),
    at_row  INTEGER NOT NULL
) STRICT;

CREATE TRIGGER audit_check_stays BEFORE UPDATE ON audit_check
BEGIN SELECT RAISE(ABORT, 'a look at the chain is followed by another, not changed'); END;
