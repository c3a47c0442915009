-- What was decided at the chair before the first product was opened.
CREATE TABLE visit_start (
    visit_id   TEXT    NOT NULL PRIMARY KEY REFERENCES visit (id) ON DELETE CASCADE,
    verdict    TEXT    NOT NULL,
    readiness  TEXT    NOT NULL CHECK (json_valid(readiness)),
    reason     TEXT    NOT NULL DEFAULT '',
    started_by TEXT    NOT NULL,
    started_at INTEGER NOT NULL
) STRICT;

-- A record is corrected by a further version with its reason.
CREATE TABLE treatment (
    id         TEXT    NOT NULL PRIMARY KEY,
    client_id  TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    visit_id   TEXT    NOT NULL UNIQUE REFERENCES visit (id),
    created_at INTEGER NOT NULL
) STRICT;
CREATE INDEX treatment_by_client ON treatment (client_id);

CREATE TABLE treatment_version (
    treatment_id       TEXT    NOT NULL REFERENCES treatment (id) ON DELETE CASCADE,
    version            INTEGER NOT NULL CHECK (version > 0),
    service_id         TEXT    NOT NULL REFERENCES service (id),
    practitioner_id    TEXT    NOT NULL REFERENCES practitioner (id),
    started_at         INTEGER NOT NULL,
    ended_at           INTEGER NOT NULL,
    shield             TEXT    NOT NULL DEFAULT '',
    lotion_one_minutes INTEGER CHECK (lotion_one_minutes BETWEEN 0 AND 60),
    lotion_two_minutes INTEGER CHECK (lotion_two_minutes BETWEEN 0 AND 60),
    tint_minutes       INTEGER CHECK (tint_minutes BETWEEN 0 AND 60),
    notes              TEXT    NOT NULL DEFAULT '',
    aftercare_given    INTEGER NOT NULL CHECK (aftercare_given IN (0, 1)),
    outcome            TEXT    NOT NULL CHECK (outcome IN ('as_wished', 'less_than_wished', 'stopped', 'reaction')),
    counted            INTEGER CHECK (counted BETWEEN 1 AND 400),
    still_lifted       INTEGER CHECK (still_lifted BETWEEN 0 AND 400),
    reason             TEXT    NOT NULL DEFAULT '',
    written_by         TEXT    NOT NULL,
    written_at         INTEGER NOT NULL,
    CHECK (started_at <= ended_at),
    CHECK (version = 1 OR reason <> ''),
    CHECK ((counted IS NULL) = (still_lifted IS NULL) AND (counted IS NULL OR still_lifted <= counted)),
    PRIMARY KEY (treatment_id, version)
) STRICT, WITHOUT ROWID;

CREATE TABLE treatment_product (
    treatment_id TEXT    NOT NULL,
    version      INTEGER NOT NULL,
    product_id   TEXT    NOT NULL REFERENCES product (id),
    batch        TEXT    NOT NULL CHECK (length(batch) BETWEEN 1 AND 60),
    PRIMARY KEY (treatment_id, version, product_id, batch),
    FOREIGN KEY (treatment_id, version) REFERENCES treatment_version (treatment_id, version) ON DELETE CASCADE
) STRICT, WITHOUT ROWID;
CREATE INDEX treatment_product_by_batch ON treatment_product (product_id, batch);

CREATE TRIGGER treatment_version_stays BEFORE UPDATE ON treatment_version
BEGIN SELECT RAISE(ABORT, 'a treatment record is corrected by a new version'); END;
