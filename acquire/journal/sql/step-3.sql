-- entries that are no verdicts, by kind
-- A few of each kind among all verdicts. A commit of verdicts does not touch it.
CREATE INDEX entry_besides ON entry (kind, seq) WHERE kind <> 'verdict';
