"""A line: many benches, one record. The collector, its database, and the page that shows all benches."""

from pathlib import Path


def sql(name: str) -> bytes:
    """Statements for PostgreSQL, by the name of their file in `sql`."""
    return Path(__file__).with_name("sql").joinpath(f"{name}.sql").read_bytes()
