-- When the bottle of a batch was opened, and when what was left of it was thrown away.
ALTER TABLE batch ADD COLUMN opened_on TEXT;
ALTER TABLE batch ADD COLUMN discarded_on TEXT CHECK (discarded_on IS NULL OR opened_on IS NULL OR opened_on <= discarded_on);

-- The batches that were checked at the chair, before they were used: the record's form is filled from them.
CREATE TABLE chair_batch (
    visit_id   TEXT    NOT NULL REFERENCES visit (id) ON DELETE CASCADE,
    product_id TEXT    NOT NULL,
    number     TEXT    NOT NULL,
    checked_by TEXT    NOT NULL,
    checked_at INTEGER NOT NULL,
    PRIMARY KEY (visit_id, product_id),
    FOREIGN KEY (product_id, number) REFERENCES batch (product_id, number)
) STRICT, WITHOUT ROWID;
