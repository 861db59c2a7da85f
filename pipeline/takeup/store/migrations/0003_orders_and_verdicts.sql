-- Orders as they stood after a night; the newest row of a number is the order.
CREATE TABLE order_book (
    number VARCHAR NOT NULL,
    night  INTEGER NOT NULL,
    state  VARCHAR NOT NULL,
    record VARCHAR NOT NULL -- JSON
);

CREATE TABLE order_event (
    night    INTEGER NOT NULL,
    position INTEGER NOT NULL, -- within the night
    number   VARCHAR NOT NULL,
    record   VARCHAR NOT NULL  -- JSON
);

-- Tables made by later steps of a night (survey, life, verdict) and the night that last wrote to them.
CREATE TABLE derived_write (
    name  VARCHAR NOT NULL,
    night INTEGER NOT NULL
);
