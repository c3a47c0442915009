-- What a client took back, each agreement apart. A later signature may give it anew.
CREATE TABLE consent_withdrawal (
    id           INTEGER NOT NULL PRIMARY KEY,
    client_id    TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    tick         TEXT    NOT NULL CHECK (tick IN ('treatment', 'health_data', 'record_photos', 'publicity_photos', 'marketing')),
    withdrawn_at INTEGER NOT NULL
) STRICT;
CREATE INDEX consent_withdrawal_by_client ON consent_withdrawal (client_id);
CREATE TRIGGER consent_withdrawal_stays BEFORE UPDATE ON consent_withdrawal
BEGIN SELECT RAISE(ABORT, 'a withdrawal is not changed'); END;

-- Who had a consent text looked at before it was published, and why there is a new one.
ALTER TABLE consent_text ADD COLUMN published_by TEXT NOT NULL DEFAULT '';
ALTER TABLE consent_text ADD COLUMN reviewed_by TEXT NOT NULL DEFAULT '';
ALTER TABLE consent_text ADD COLUMN reason TEXT NOT NULL DEFAULT '';
