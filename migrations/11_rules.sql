-- Which rules belong to which questions, who reviewed them and why they were published.
CREATE TABLE rule_publication (
    rules_version         INTEGER NOT NULL PRIMARY KEY REFERENCES rule_table (version),
    questionnaire_version INTEGER NOT NULL REFERENCES questionnaire (version),
    reviewed_by           TEXT    NOT NULL,
    reviewed_on           TEXT,
    reason                TEXT    NOT NULL,
    published_by          TEXT    NOT NULL,
    published_at          INTEGER NOT NULL
) STRICT;
INSERT INTO rule_publication
SELECT version, (SELECT max(version) FROM questionnaire), '', NULL, 'As the program ships them.', 'The program', published_at
FROM rule_table;
CREATE TRIGGER rule_publication_stays BEFORE UPDATE ON rule_publication
BEGIN SELECT RAISE(ABORT, 'a publication is followed, not changed'); END;

-- The next version while it is being edited: one at a time.
CREATE TABLE rule_draft (
    id            INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
    questionnaire TEXT    NOT NULL CHECK (json_valid(questionnaire)),
    rules         TEXT    NOT NULL CHECK (json_valid(rules)),
    from_version  INTEGER NOT NULL REFERENCES rule_table (version),
    changed_by    TEXT    NOT NULL,
    changed_at    INTEGER NOT NULL
) STRICT;
