-- Check standards, lead zeros, batches: a handful among a thousand verdicts, and asked for by their kind.
CREATE INDEX entry_kind ON steadyohm.entry (kind, utc) WHERE kind <> 'verdict';
