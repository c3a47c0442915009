-- Visits from before the studio came here, as its papers tell them: a client, a service and a day, and no record. They
-- move retouch windows; nothing else follows from them.
CREATE TABLE past_visit (
    id         TEXT    NOT NULL PRIMARY KEY,
    client_id  TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    service_id TEXT    NOT NULL REFERENCES service (id),
    day        TEXT    NOT NULL,
    starts_at  INTEGER NOT NULL,
    note       TEXT    NOT NULL DEFAULT '' CHECK (length(note) <= 500),
    taken_at   INTEGER NOT NULL,
    UNIQUE (client_id, service_id, day)
) STRICT;

-- A file that is being taken over. Its bytes go when it was, or a day after it came.
CREATE TABLE takeover (
    id         TEXT    NOT NULL PRIMARY KEY,
    body       BLOB    NOT NULL,
    charset    TEXT    NOT NULL DEFAULT '',
    separator  TEXT    NOT NULL DEFAULT '',
    day_order  TEXT    NOT NULL DEFAULT 'day_first' CHECK (day_order IN ('day_first', 'month_first')),
    mapping    TEXT    NOT NULL DEFAULT '' CHECK (mapping = '' OR json_valid(mapping)),
    report     TEXT    NOT NULL DEFAULT '' CHECK (report = '' OR json_valid(report)),
    added_by   TEXT    NOT NULL,
    added_at   INTEGER NOT NULL,
    done_at    INTEGER
) STRICT;

DROP VIEW retouch_done;
CREATE VIEW retouch_done AS
SELECT t.client_id, k.part, x.service_id, v.starts_at, t.id AS treatment_id,
       CAST(julianday(substr(v.civil_start, 1, 10)) + 0.5 AS INTEGER) AS day
FROM treatment t
JOIN visit v ON v.id = t.visit_id
JOIN treatment_version x ON x.treatment_id = t.id
    AND x.version = (SELECT max(version) FROM treatment_version WHERE treatment_id = t.id)
JOIN service s ON s.id = x.service_id
JOIN retouch_kind_part k ON k.kind = s.kind
WHERE x.outcome <> 'stopped'
UNION ALL
SELECT p.client_id, k.part, p.service_id, p.starts_at, p.id, CAST(julianday(p.day) + 0.5 AS INTEGER)
FROM past_visit p
JOIN service s ON s.id = p.service_id
JOIN retouch_kind_part k ON k.kind = s.kind;

CREATE TRIGGER retouch_after_taking_over AFTER INSERT ON past_visit
BEGIN
    INSERT INTO retouch_stale VALUES (NEW.client_id);
END;
CREATE TRIGGER retouch_after_giving_up AFTER DELETE ON past_visit
BEGIN
    INSERT INTO retouch_stale VALUES (OLD.client_id);
END;
