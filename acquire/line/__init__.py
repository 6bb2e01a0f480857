"""A line: many benches, one record. The collector, its database, and the page that shows all benches."""
