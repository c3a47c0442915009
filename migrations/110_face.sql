-- The studio's own colour, and its logo: a small JPEG, made anew from what the owner chose.
ALTER TABLE studio ADD COLUMN accent TEXT NOT NULL DEFAULT '#1f5646' CHECK (accent GLOB '#[0-9a-f][0-9a-f][0-9a-f][0-9a-f][0-9a-f][0-9a-f]');

CREATE TABLE logo (
    id     INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
    sha256 TEXT    NOT NULL,
    width  INTEGER NOT NULL CHECK (width BETWEEN 1 AND 480),
    height INTEGER NOT NULL CHECK (height BETWEEN 1 AND 480),
    body   BLOB    NOT NULL CHECK (length(body) BETWEEN 1 AND 12000)
) STRICT;
