"""The columns of the CSV files, of verdicts, typed results and units. A name never changes its meaning.

They are listed in `columns.csv` beside this module, those of a kind in order. Not for the cells (payload) nor
for the files (csv_log).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class CsvColumn:
    """One column of a CSV file.

    Attributes:
        name: in the header; ends with its unit of measure where it has one.
        about: for people.
        text: True where the content may come from a person or a file, so that a spreadsheet must be kept
            from taking it for a formula.
    """

    name: str
    about: str
    text: bool = False


def _listed() -> dict[str, tuple[CsvColumn, ...]]:
    found: dict[str, tuple[CsvColumn, ...]] = {}
    with Path(__file__).with_suffix(".csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            column = CsvColumn(row["name"], row["about"], text=bool(row["text"]))
            found[row["kind"]] = (*found.get(row["kind"], ()), column)
    return found


COLUMNS_OF = _listed()
"""Kinds of entries that have a row, with their columns. The first is `schema`, because a reader that does not
know the byte order mark sees it glued to this name."""

COLUMNS = COLUMNS_OF["verdict"]
"""The columns of a verdict's row, in order."""
