-- Later revisions of a unit's result are looked up by its serial, for every unit of a day.
CREATE INDEX entry_result ON steadyohm.entry (serial, utc) WHERE kind = 'unit_result';
