CREATE TABLE product (
    id               TEXT    NOT NULL PRIMARY KEY,
    name             TEXT    NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    maker            TEXT    NOT NULL DEFAULT '',
    chemistry        TEXT    NOT NULL CHECK (chemistry IN ('lotion', 'tint', 'adhesive')),
    label_test_hours INTEGER CHECK (label_test_hours BETWEEN 24 AND 168),
    active           INTEGER NOT NULL DEFAULT 1 CHECK (active IN (0, 1))
) STRICT;

CREATE TABLE batch (
    product_id TEXT NOT NULL REFERENCES product (id),
    number     TEXT NOT NULL CHECK (length(number) BETWEEN 1 AND 60),
    expires_on TEXT,
    PRIMARY KEY (product_id, number)
) STRICT, WITHOUT ROWID;

-- retouch is the rule for the window, as JSON.
CREATE TABLE service (
    id                 TEXT    NOT NULL PRIMARY KEY,
    kind               TEXT    NOT NULL CHECK (kind IN ('lash_lift', 'lash_tint', 'lift_and_tint', 'brow_lamination', 'brow_tint')),
    name               TEXT    NOT NULL CHECK (length(name) BETWEEN 1 AND 120),
    description        TEXT    NOT NULL DEFAULT '',
    minutes            INTEGER NOT NULL CHECK (minutes BETWEEN 5 AND 480),
    turnaround_minutes INTEGER NOT NULL CHECK (turnaround_minutes BETWEEN 0 AND 120),
    price_minor        INTEGER NOT NULL CHECK (price_minor BETWEEN 0 AND 4000000000),
    retouch            TEXT    NOT NULL CHECK (json_valid(retouch)),
    position           INTEGER NOT NULL DEFAULT 0,
    active             INTEGER NOT NULL DEFAULT 1 CHECK (active IN (0, 1))
) STRICT;

CREATE TABLE service_practitioner (
    service_id      TEXT NOT NULL REFERENCES service (id) ON DELETE CASCADE,
    practitioner_id TEXT NOT NULL REFERENCES practitioner (id) ON DELETE CASCADE,
    PRIMARY KEY (service_id, practitioner_id)
) STRICT, WITHOUT ROWID;

-- A service needs a skin test of exactly these products; none, no test.
CREATE TABLE service_skin_test (
    service_id TEXT NOT NULL REFERENCES service (id) ON DELETE CASCADE,
    product_id TEXT NOT NULL REFERENCES product (id),
    PRIMARY KEY (service_id, product_id)
) STRICT, WITHOUT ROWID;
