-- The retouch list: what each client returns for and when, so that the list of a hundred thousand clients is a few
-- reads. Everything here follows from the treatments, the services' rules and the clients' names, and can be made anew.
-- Days are Julian day numbers.
CREATE TABLE retouch_kind_part (
    kind TEXT NOT NULL,
    part TEXT NOT NULL,
    PRIMARY KEY (kind, part)
) STRICT, WITHOUT ROWID;
INSERT INTO retouch_kind_part (kind, part) VALUES
    ('lash_lift', 'lash_lift'), ('lash_tint', 'lash_tint'), ('lift_and_tint', 'lash_lift'), ('lift_and_tint', 'lash_tint'),
    ('brow_lamination', 'brow_lamination'), ('brow_tint', 'brow_tint');

-- Of each single kind that a client ever had: the service in which she had it last with its day, and her two newest
-- days, which are all that a window looks at.
CREATE TABLE retouch_part (
    client_id  TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    part       TEXT    NOT NULL,
    service_id TEXT    NOT NULL REFERENCES service (id),
    service_on INTEGER NOT NULL,
    last_on    INTEGER NOT NULL,
    before_on  INTEGER,
    PRIMARY KEY (client_id, part)
) STRICT, WITHOUT ROWID;

-- The rule of each part of a service in days; written by the program, which alone can read a rule.
CREATE TABLE retouch_rule (
    service_id   TEXT    NOT NULL REFERENCES service (id) ON DELETE CASCADE,
    part         TEXT    NOT NULL,
    since_last   INTEGER NOT NULL,
    since_before INTEGER,
    due          INTEGER NOT NULL,
    lapsed       INTEGER NOT NULL,
    PRIMARY KEY (service_id, part)
) STRICT, WITHOUT ROWID;

-- name_key is the client's name in small letters, written by the program; empty until then.
CREATE TABLE retouch_line (
    client_id  TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    service_id TEXT    NOT NULL REFERENCES service (id),
    last_on    INTEGER NOT NULL,
    opens      INTEGER NOT NULL,
    due        INTEGER NOT NULL,
    lapsed     INTEGER NOT NULL,
    name_key   TEXT    NOT NULL DEFAULT '',
    PRIMARY KEY (client_id, service_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX retouch_line_by_opens ON retouch_line (opens, client_id, service_id, due, lapsed);
CREATE INDEX retouch_line_by_due ON retouch_line (due, client_id, service_id, lapsed);
CREATE INDEX retouch_line_by_lapsed ON retouch_line (lapsed DESC, client_id, service_id);
CREATE INDEX retouch_line_by_name ON retouch_line (name_key, client_id, service_id);

CREATE VIEW retouch_done AS
SELECT t.client_id, k.part, x.service_id, v.starts_at, t.id AS treatment_id,
       CAST(julianday(substr(v.civil_start, 1, 10)) + 0.5 AS INTEGER) AS day
FROM treatment t
JOIN visit v ON v.id = t.visit_id
JOIN treatment_version x ON x.treatment_id = t.id
    AND x.version = (SELECT max(version) FROM treatment_version WHERE treatment_id = t.id)
JOIN service s ON s.id = x.service_id
JOIN retouch_kind_part k ON k.kind = s.kind
WHERE x.outcome <> 'stopped';

CREATE VIEW retouch_edges AS
SELECT l.client_id, l.service_id, max(l.service_on) AS last_on,
       max(max(p.last_on + r.since_last, coalesce(p.before_on + r.since_before, 0))) AS opens,
       max(max(p.last_on + r.since_last, coalesce(p.before_on + r.since_before, 0), p.last_on + r.due)) AS due,
       max(max(p.last_on + r.since_last, coalesce(p.before_on + r.since_before, 0), p.last_on + r.due,
               p.last_on + r.lapsed)) AS lapsed
FROM retouch_part l
JOIN retouch_rule r ON r.service_id = l.service_id
JOIN retouch_part p ON p.client_id = l.client_id AND p.part = r.part
GROUP BY l.client_id, l.service_id;

-- Whoever is put in here has her part of the list made anew.
CREATE TABLE retouch_stale (
    client_id TEXT NOT NULL PRIMARY KEY
) STRICT, WITHOUT ROWID;

CREATE TRIGGER retouch_made_anew AFTER INSERT ON retouch_stale
BEGIN
    DELETE FROM retouch_line WHERE client_id = NEW.client_id;
    DELETE FROM retouch_part WHERE client_id = NEW.client_id;
    INSERT INTO retouch_part (client_id, part, service_id, service_on, last_on, before_on)
    SELECT client_id, part, max(service_id) FILTER (WHERE newest = 1), max(day) FILTER (WHERE newest = 1),
           max(day), max(day) FILTER (WHERE place > 1)
    FROM (SELECT client_id, part, service_id, day,
                 row_number() OVER (PARTITION BY client_id, part ORDER BY starts_at DESC, treatment_id DESC) AS newest,
                 dense_rank() OVER (PARTITION BY client_id, part ORDER BY day DESC) AS place
          FROM retouch_done WHERE client_id = NEW.client_id)
    WHERE EXISTS (SELECT 1 FROM client WHERE id = NEW.client_id)
    GROUP BY client_id, part;
    INSERT INTO retouch_line (client_id, service_id, last_on, opens, due, lapsed)
    SELECT client_id, service_id, last_on, opens, due, lapsed FROM retouch_edges WHERE client_id = NEW.client_id;
    DELETE FROM retouch_stale WHERE client_id = NEW.client_id;
END;

CREATE TRIGGER retouch_after_record AFTER INSERT ON treatment_version
BEGIN
    INSERT INTO retouch_stale SELECT client_id FROM treatment WHERE id = NEW.treatment_id;
END;
CREATE TRIGGER retouch_after_removal AFTER DELETE ON treatment
BEGIN
    INSERT INTO retouch_stale VALUES (OLD.client_id);
END;
CREATE TRIGGER retouch_after_hand_over AFTER UPDATE OF client_id ON treatment WHEN OLD.client_id <> NEW.client_id
BEGIN
    INSERT INTO retouch_stale VALUES (OLD.client_id), (NEW.client_id);
END;
CREATE TRIGGER retouch_after_move AFTER UPDATE OF starts_at, civil_start ON visit
WHEN EXISTS (SELECT 1 FROM treatment WHERE visit_id = NEW.id)
BEGIN
    INSERT INTO retouch_stale SELECT client_id FROM treatment WHERE visit_id = NEW.id;
END;
CREATE TRIGGER retouch_after_naming AFTER UPDATE OF name ON client WHEN OLD.name <> NEW.name
BEGIN
    UPDATE retouch_line SET name_key = '' WHERE client_id = NEW.id;
END;

INSERT INTO retouch_stale SELECT DISTINCT client_id FROM treatment;
