-- The link in a mail with which a client reports what she sees of a skin test, and nothing else. It works as often as she
-- has something to tell. Tokens are never stored, only their SHA-256.
CREATE TABLE skin_test_link (
    token_hash   TEXT    NOT NULL PRIMARY KEY,
    skin_test_id TEXT    NOT NULL REFERENCES skin_test (id) ON DELETE CASCADE,
    created_at   INTEGER NOT NULL,
    expires_at   INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX skin_test_by_product ON skin_test (product_id);
