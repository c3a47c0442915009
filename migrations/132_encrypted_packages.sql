-- Whether a package was encrypted. With what is kept nowhere.
ALTER TABLE export ADD COLUMN encrypted INTEGER NOT NULL DEFAULT 0 CHECK (encrypted IN (0, 1));
