-- The studio's own papers: practitioners' certificates, and with no practitioner the insurance policy. A paper that is
-- removed is kept: what counted on a day must stay provable.
CREATE TABLE paper (
    id              TEXT    NOT NULL PRIMARY KEY,
    practitioner_id TEXT    REFERENCES practitioner (id),
    number          TEXT    NOT NULL CHECK (length(number) BETWEEN 1 AND 60),
    issuer          TEXT    NOT NULL CHECK (length(issuer) BETWEEN 1 AND 120),
    expires_on      TEXT,
    kind            TEXT    NOT NULL,
    sha256          TEXT    NOT NULL,
    body            BLOB    NOT NULL,
    warned          INTEGER NOT NULL DEFAULT 0 CHECK (warned IN (0, 1)),
    added_by        TEXT    NOT NULL,
    added_at        INTEGER NOT NULL,
    removed_at      INTEGER
) STRICT;

CREATE TABLE paper_service (
    paper_id   TEXT NOT NULL REFERENCES paper (id),
    service_id TEXT NOT NULL REFERENCES service (id),
    PRIMARY KEY (paper_id, service_id)
) STRICT, WITHOUT ROWID;

-- Whether nobody is booked for what no certificate of hers names.
ALTER TABLE studio ADD COLUMN keeps_certificates INTEGER NOT NULL DEFAULT 0 CHECK (keeps_certificates IN (0, 1));
