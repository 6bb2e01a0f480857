"""Ways out of the journal."""
