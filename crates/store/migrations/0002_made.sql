-- What is worked out from the facts and can be worked out again; `program` is the one that did it.
CREATE TABLE made (
    kind    TEXT NOT NULL,
    id      TEXT NOT NULL,
    program TEXT NOT NULL,
    version BIGINT NOT NULL,
    rank    BIGINT NOT NULL,
    body    BYTEA NOT NULL,
    PRIMARY KEY (kind, id)
);
CREATE INDEX made_rank ON made (kind, rank, id);

-- Lists that are paged by time, and the audit of one row.
CREATE INDEX subject_opened ON subject (kind, opened_ms);
CREATE INDEX audit_row ON audit (kind, id);
