-- entries and cursors
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
-- AUTOINCREMENT: a sequence number is never given twice, even after entries went to an archive.
-- Evidence comes last: whoever reads only what stands before it never touches its pages.
CREATE TABLE entry (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    kind TEXT NOT NULL
        CHECK (kind IN ('verdict', 'unit_started', 'unit_result', 'lead_zero', 'notice')),
    utc_s REAL NOT NULL,
    serial TEXT NOT NULL,
    batch TEXT NOT NULL,
    payload TEXT NOT NULL,
    evidence TEXT
) STRICT;
CREATE TABLE cursor (name TEXT PRIMARY KEY, seq INTEGER NOT NULL, utc_s REAL NOT NULL) STRICT;
-- Every index costs each commit a page, so they hold only what is asked for.
CREATE INDEX entry_by_serial ON entry (serial) WHERE serial <> '';
CREATE INDEX entry_by_batch ON entry (batch) WHERE batch <> '';
CREATE INDEX entry_by_time ON entry (utc_s);
CREATE INDEX entry_marks ON entry (kind, seq) WHERE kind IN ('unit_started', 'lead_zero');
