-- What is asked, what answers mean, and what is signed: versioned texts that are never changed, only followed.
CREATE TABLE questionnaire (
    version      INTEGER NOT NULL PRIMARY KEY CHECK (version > 0),
    body         TEXT    NOT NULL CHECK (json_valid(body)),
    sha256       TEXT    NOT NULL,
    published_at INTEGER NOT NULL
) STRICT;

CREATE TABLE rule_table (
    version      INTEGER NOT NULL PRIMARY KEY CHECK (version > 0),
    body         TEXT    NOT NULL CHECK (json_valid(body)),
    sha256       TEXT    NOT NULL,
    published_at INTEGER NOT NULL
) STRICT;

CREATE TABLE consent_text (
    version      INTEGER NOT NULL PRIMARY KEY CHECK (version > 0),
    body         TEXT    NOT NULL CHECK (json_valid(body)),
    sha256       TEXT    NOT NULL,
    published_at INTEGER NOT NULL
) STRICT;

-- A later set of answers follows an earlier one; the earlier one stays, for it drove a decision.
CREATE TABLE answers (
    id                    TEXT    NOT NULL PRIMARY KEY,
    client_id             TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    questionnaire_version INTEGER NOT NULL REFERENCES questionnaire (version),
    body                  TEXT    NOT NULL CHECK (json_valid(body)),
    sha256                TEXT    NOT NULL,
    given_by              TEXT    NOT NULL CHECK (given_by IN ('client', 'practitioner')),
    given_on              TEXT    NOT NULL,
    is_return             INTEGER NOT NULL CHECK (is_return IN (0, 1)),
    given_at              INTEGER NOT NULL
) STRICT;
CREATE INDEX answers_by_client ON answers (client_id, given_at);

-- body holds the signature whole, or the refusal; what it was given for is named in it by hash.
CREATE TABLE consent (
    id           TEXT    NOT NULL PRIMARY KEY,
    client_id    TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    visit_id     TEXT    REFERENCES visit (id),
    text_version INTEGER NOT NULL REFERENCES consent_text (version),
    answers_id   TEXT    REFERENCES answers (id),
    body         TEXT    NOT NULL CHECK (json_valid(body)),
    invitations  INTEGER NOT NULL CHECK (invitations IN (0, 1)),
    given_at     INTEGER NOT NULL,
    withdrawn_at INTEGER
) STRICT;
CREATE INDEX consent_by_client ON consent (client_id, given_at);

CREATE TRIGGER questionnaire_stays BEFORE UPDATE ON questionnaire
BEGIN SELECT RAISE(ABORT, 'a published questionnaire is not changed'); END;
CREATE TRIGGER rule_table_stays BEFORE UPDATE ON rule_table
BEGIN SELECT RAISE(ABORT, 'a published rule table is not changed'); END;
CREATE TRIGGER consent_text_stays BEFORE UPDATE ON consent_text
BEGIN SELECT RAISE(ABORT, 'a published consent text is not changed'); END;
CREATE TRIGGER answers_stay BEFORE UPDATE ON answers
BEGIN SELECT RAISE(ABORT, 'answers are followed, not changed'); END;
CREATE TRIGGER consent_stays BEFORE UPDATE OF client_id, visit_id, text_version, answers_id, body, invitations, given_at ON consent
BEGIN SELECT RAISE(ABORT, 'a signed consent is withdrawn, not changed'); END;

CREATE TABLE skin_test (
    id              TEXT    NOT NULL PRIMARY KEY,
    client_id       TEXT    NOT NULL REFERENCES client (id) ON DELETE CASCADE,
    product_id      TEXT    NOT NULL REFERENCES product (id),
    visit_id        TEXT    REFERENCES visit (id),
    practitioner_id TEXT    REFERENCES practitioner (id),
    batch           TEXT    NOT NULL CHECK (length(batch) BETWEEN 1 AND 60),
    site            TEXT    NOT NULL CHECK (length(site) BETWEEN 1 AND 120),
    reliable        INTEGER NOT NULL CHECK (reliable IN (0, 1)),
    voided          TEXT,
    applied_at      INTEGER NOT NULL,
    recorded_at     INTEGER NOT NULL
) STRICT;
CREATE INDEX skin_test_by_client ON skin_test (client_id, applied_at);

CREATE TABLE skin_test_reading (
    id           INTEGER NOT NULL PRIMARY KEY,
    skin_test_id TEXT    NOT NULL REFERENCES skin_test (id) ON DELETE CASCADE,
    result       TEXT    NOT NULL,
    note         TEXT    NOT NULL DEFAULT '',
    read_by      TEXT    NOT NULL,
    read_at      INTEGER NOT NULL,
    recorded_at  INTEGER NOT NULL
) STRICT;
CREATE INDEX skin_test_reading_by_test ON skin_test_reading (skin_test_id, read_at);
