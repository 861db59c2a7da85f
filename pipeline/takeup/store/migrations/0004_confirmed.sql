-- A row said again under a later stamp is a duplicate and not stored, but its stamp counts: what it repeats
-- holds against every other version with an earlier one.
CREATE TABLE confirmed (
    row_id BIGINT  NOT NULL, -- the version that was repeated
    night  INTEGER NOT NULL,
    stamp  DOUBLE  NOT NULL
);
