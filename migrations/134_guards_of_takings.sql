-- What 91_leaving.sql asks of every table that hangs on a client, of two that came later.
CREATE TRIGGER taking_leaves BEFORE DELETE ON taking
WHEN NOT EXISTS (SELECT 1 FROM leaving l JOIN visit p ON p.client_id = l.client_id
                 WHERE p.id = OLD.visit_id AND l.part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
CREATE TRIGGER past_visit_leaves BEFORE DELETE ON past_visit
WHEN NOT EXISTS (SELECT 1 FROM leaving WHERE client_id = OLD.client_id AND part = 'record')
BEGIN SELECT RAISE(ABORT, 'records leave by their period or on request'); END;
