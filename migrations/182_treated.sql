-- What windows look at, for bookings and for the retouch list alike: every treatment whose record stands, visits from
-- before, and treatments that are begun and not written down yet. One that was stopped counts as soon as a lotion or a tint
-- may have touched her: it is named in the record, minutes or times of it stand there, or a timer was started at the chair
-- and not taken back. Shield glue alone lifts nothing.
CREATE VIEW treated AS
SELECT t.id, t.client_id, x.service_id, substr(v.civil_start, 1, 10) AS day, v.starts_at, x.outcome = 'stopped' AS stopped
FROM treatment t
JOIN visit v ON v.id = t.visit_id
JOIN treatment_version x ON x.treatment_id = t.id
    AND x.version = (SELECT max(version) FROM treatment_version WHERE treatment_id = t.id)
WHERE x.outcome <> 'stopped'
   OR x.lotion_one_minutes > 0 OR x.lotion_two_minutes > 0 OR x.tint_minutes > 0
   OR EXISTS (SELECT 1 FROM treatment_product p JOIN product i ON i.id = p.product_id
              WHERE p.treatment_id = t.id AND p.version = x.version AND i.chemistry <> 'adhesive')
   OR EXISTS (SELECT 1 FROM treatment_time m WHERE m.treatment_id = t.id AND m.version = x.version)
   OR EXISTS (SELECT 1 FROM chair_event e WHERE e.visit_id = t.visit_id AND e.kind = 'on'
                  AND NOT EXISTS (SELECT 1 FROM chair_event b WHERE b.visit_id = e.visit_id AND b.taken_back = e.id))
UNION ALL
SELECT id, client_id, service_id, day, starts_at, 0 FROM past_visit
UNION ALL
SELECT v.id, v.client_id, v.service_id, substr(v.civil_start, 1, 10), v.starts_at, 0
FROM visit v
JOIN visit_start b ON b.visit_id = v.id
WHERE v.state = 'in_treatment' AND NOT EXISTS (SELECT 1 FROM treatment WHERE visit_id = v.id);

DROP VIEW retouch_done;
CREATE VIEW retouch_done AS
SELECT d.client_id, k.part, d.service_id, d.starts_at, d.id AS treatment_id,
       CAST(julianday(d.day) + 0.5 AS INTEGER) AS day
FROM treated d
JOIN service s ON s.id = d.service_id
JOIN retouch_kind_part k ON k.kind = s.kind;

CREATE TRIGGER retouch_after_start AFTER INSERT ON visit_start
BEGIN
    INSERT INTO retouch_stale SELECT client_id FROM visit WHERE id = NEW.visit_id AND client_id IS NOT NULL;
END;
DROP TRIGGER retouch_after_move;
CREATE TRIGGER retouch_after_move AFTER UPDATE OF state, starts_at, civil_start ON visit
WHEN (OLD.state, OLD.starts_at, OLD.civil_start) IS NOT (NEW.state, NEW.starts_at, NEW.civil_start)
    AND (EXISTS (SELECT 1 FROM treatment WHERE visit_id = NEW.id) OR EXISTS (SELECT 1 FROM visit_start WHERE visit_id = NEW.id))
BEGIN
    INSERT INTO retouch_stale
    SELECT client_id FROM treatment WHERE visit_id = NEW.id UNION SELECT NEW.client_id WHERE NEW.client_id IS NOT NULL;
END;
-- Of the record's products and times, which come after its version; and of what a device sends later.
CREATE TRIGGER retouch_after_product AFTER INSERT ON treatment_product
BEGIN
    INSERT INTO retouch_stale
    SELECT t.client_id FROM treatment t JOIN treatment_version x ON x.treatment_id = t.id AND x.version = NEW.version
    WHERE t.id = NEW.treatment_id AND x.outcome = 'stopped';
END;
CREATE TRIGGER retouch_after_time AFTER INSERT ON treatment_time
BEGIN
    INSERT INTO retouch_stale
    SELECT t.client_id FROM treatment t JOIN treatment_version x ON x.treatment_id = t.id AND x.version = NEW.version
    WHERE t.id = NEW.treatment_id AND x.outcome = 'stopped';
END;
CREATE TRIGGER retouch_after_press AFTER INSERT ON chair_event
WHEN NEW.kind IN ('on', 'take_back')
BEGIN
    INSERT INTO retouch_stale SELECT client_id FROM treatment WHERE visit_id = NEW.visit_id;
END;
CREATE TRIGGER retouch_after_other_chemistry AFTER UPDATE OF chemistry ON product WHEN OLD.chemistry <> NEW.chemistry
BEGIN
    INSERT INTO retouch_stale
    SELECT DISTINCT t.client_id FROM treatment_product p JOIN treatment t ON t.id = p.treatment_id
    JOIN treatment_version x ON x.treatment_id = p.treatment_id AND x.version = p.version
    WHERE p.product_id = NEW.id AND x.outcome = 'stopped';
END;

INSERT INTO retouch_stale
SELECT t.client_id FROM treatment t JOIN treatment_version x ON x.treatment_id = t.id WHERE x.outcome = 'stopped'
UNION SELECT client_id FROM visit WHERE state = 'in_treatment' AND client_id IS NOT NULL;

-- A bottle that runs out is followed by one of another batch: both stay with the visit.
CREATE TABLE chair_bottle (
    visit_id   TEXT    NOT NULL REFERENCES visit (id) ON DELETE CASCADE,
    product_id TEXT    NOT NULL,
    number     TEXT    NOT NULL,
    checked_by TEXT    NOT NULL,
    checked_at INTEGER NOT NULL,
    PRIMARY KEY (visit_id, product_id, number),
    FOREIGN KEY (product_id, number) REFERENCES batch (product_id, number)
) STRICT, WITHOUT ROWID;
INSERT INTO chair_bottle SELECT visit_id, product_id, number, checked_by, checked_at FROM chair_batch;
DROP TABLE chair_batch;
ALTER TABLE chair_bottle RENAME TO chair_batch;
