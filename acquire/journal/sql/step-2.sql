-- entries of any kind
-- Which kinds there are is the program's to know (plain.KINDS): a new one must not need a new table.
CREATE TABLE entry_of_any_kind (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    kind TEXT NOT NULL,
    utc_s REAL NOT NULL,
    serial TEXT NOT NULL,
    batch TEXT NOT NULL,
    payload TEXT NOT NULL,
    evidence TEXT
) STRICT;
INSERT INTO entry_of_any_kind SELECT * FROM entry;
-- Numbers go on behind the highest ever given, which may have left for an archive.
DELETE FROM sqlite_sequence WHERE name = 'entry_of_any_kind';
INSERT INTO sqlite_sequence
    SELECT 'entry_of_any_kind', seq FROM sqlite_sequence WHERE name = 'entry';
DROP TABLE entry;
ALTER TABLE entry_of_any_kind RENAME TO entry;
CREATE INDEX entry_by_serial ON entry (serial) WHERE serial <> '';
CREATE INDEX entry_by_batch ON entry (batch) WHERE batch <> '';
CREATE INDEX entry_by_time ON entry (utc_s);
CREATE INDEX entry_marks ON entry (kind, seq) WHERE kind IN ('unit_started', 'lead_zero');
