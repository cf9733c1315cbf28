-- Facts: added to, never changed. Instants are milliseconds since 1970-01-01 UTC.
CREATE TABLE fact (
    id           TEXT PRIMARY KEY NOT NULL,
    subject_kind TEXT NOT NULL,
    subject      TEXT NOT NULL,
    version      BIGINT NOT NULL,
    happened_ms  BIGINT NOT NULL,
    recorded_ms  BIGINT NOT NULL,
    entry        TEXT NOT NULL,
    hash         TEXT NOT NULL,
    UNIQUE (subject_kind, subject, version)
);

-- Where each subject stands; made from its facts in the same transaction.
CREATE TABLE subject (
    kind       TEXT NOT NULL,
    id         TEXT NOT NULL,
    version    BIGINT NOT NULL,
    head       TEXT NOT NULL,
    about      TEXT,
    open       BIGINT NOT NULL,
    opened_ms  BIGINT NOT NULL,
    changed_ms BIGINT NOT NULL,
    PRIMARY KEY (kind, id)
);
CREATE INDEX subject_open ON subject (kind, open, opened_ms);
CREATE INDEX subject_about ON subject (kind, about);

CREATE TABLE seal (
    number   BIGINT PRIMARY KEY NOT NULL,
    job      TEXT NOT NULL UNIQUE,
    version  BIGINT NOT NULL,
    head     TEXT NOT NULL,
    previous TEXT NOT NULL,
    hash     TEXT NOT NULL
);

-- Plain rows: people, prices, settings, keepers of cars. They change and can be erased.
CREATE TABLE plain (
    kind TEXT NOT NULL,
    id   TEXT NOT NULL,
    word TEXT NOT NULL,
    body TEXT NOT NULL,
    PRIMARY KEY (kind, id)
);
CREATE INDEX plain_word ON plain (kind, word);

CREATE TABLE audit (
    number BIGINT PRIMARY KEY NOT NULL,
    kind   TEXT NOT NULL,
    id     TEXT NOT NULL,
    at_ms  BIGINT NOT NULL,
    by     TEXT NOT NULL,
    before TEXT,
    after  TEXT
);
