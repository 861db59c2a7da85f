-- A night is one telling of the whole job.
CREATE TABLE night (
    number INTEGER NOT NULL,
    as_of  DATE    NOT NULL
);

-- One delivered file on one night; the five outcomes add up to the rows read.
CREATE TABLE file (
    file_id       INTEGER NOT NULL,
    night         INTEGER NOT NULL,
    feed          VARCHAR NOT NULL,
    source        VARCHAR NOT NULL,
    name          VARCHAR NOT NULL,
    sha256        VARCHAR NOT NULL,
    whole         BOOLEAN NOT NULL, -- delivered as a whole: a key missing from it is closed
    stamp         DOUBLE,           -- the moment its name declares, as a position
    newest_day    INTEGER,          -- the newest event day of its rows
    refused_whole VARCHAR NOT NULL, -- why nothing of it was used; '' when it was
    notes         VARCHAR NOT NULL, -- JSON: columns left unread, byte order mark, blank lines
    rows_read     BIGINT  NOT NULL,
    rows_new      BIGINT  NOT NULL,
    rows_duplicate   BIGINT NOT NULL,
    rows_superseding BIGINT NOT NULL,
    rows_refused  BIGINT  NOT NULL,
    rows_waiting  BIGINT  NOT NULL
);

-- A row stops being the one in force from a night on: another version of its key took its place, or a
-- whole export no longer holds the key. Rows are never changed: "known until" is read from here.
CREATE TABLE ended (
    row_id  BIGINT  NOT NULL,
    night   INTEGER NOT NULL,
    by_row  BIGINT,             -- the version that took its place; NULL when the key went missing
    by_file INTEGER NOT NULL,
    how     VARCHAR NOT NULL    -- 'superseded', 'missing'
);

-- A row that was refused when it came in, or a file refused as a whole (line 0).
CREATE TABLE refused (
    row_id      BIGINT  NOT NULL,
    night       INTEGER NOT NULL,
    file_id     INTEGER NOT NULL,
    line        INTEGER NOT NULL,
    feed        VARCHAR NOT NULL,
    reason      VARCHAR NOT NULL,
    column_name VARCHAR NOT NULL,
    found       VARCHAR NOT NULL,
    wanted      VARCHAR NOT NULL,
    subject     VARCHAR NOT NULL,
    raw         VARCHAR NOT NULL,
    key         UHUGEINT         -- of the rows that could be told apart
);

-- A refusal is no longer open: the key came again, the same text was refused again, the file was read
-- again or a person settled it.
CREATE TABLE answered (
    row_id BIGINT  NOT NULL,
    night  INTEGER NOT NULL,
    how    VARCHAR NOT NULL
);

-- The raw text of rows that waited when they came in.
CREATE TABLE waited (
    row_id BIGINT  NOT NULL,
    night  INTEGER NOT NULL,
    raw    VARCHAR NOT NULL
);
