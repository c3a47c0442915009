-- Written in the transaction of the change that causes it; sent afterwards by the outbox job.
CREATE TABLE outbox (
    id         TEXT    NOT NULL PRIMARY KEY,
    to_mail    TEXT    NOT NULL,
    body       TEXT    NOT NULL CHECK (json_valid(body)),
    state      TEXT    NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'sent', 'given_up')),
    due_at     INTEGER NOT NULL,
    tries      INTEGER NOT NULL DEFAULT 0,
    last_error TEXT    NOT NULL DEFAULT '',
    created_at INTEGER NOT NULL,
    sent_at    INTEGER
) STRICT;
CREATE INDEX outbox_waiting ON outbox (due_at) WHERE state = 'waiting';
