-- Answers that somebody of the team took down: who did, and whose words they are, said here or on the phone. NULL for what
-- the client filled in herself.
ALTER TABLE answers ADD COLUMN taken_by TEXT CHECK (taken_by <> '');
ALTER TABLE answers ADD COLUMN told TEXT CHECK (told IN ('client_here', 'client_phone', 'guardian_here', 'guardian_phone'));
