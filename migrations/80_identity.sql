-- Whose file this is: in the header, for whoever looks at it from outside ("Palp"), and a number that every copy shares.
PRAGMA application_id = 1348562032;
CREATE TABLE identity (
    id    INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
    value TEXT    NOT NULL
) STRICT;
INSERT INTO identity (id, value) VALUES (1, lower(hex(randomblob(16))));
