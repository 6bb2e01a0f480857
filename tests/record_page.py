"""Writes the tables of docs/record.md: notices, their facts and sentences, and the columns of CSV files.

    python -m tests.record_page

Run it after a change of a code, a sentence or a column; a test fails while it is out of step. Not a test.
"""

from __future__ import annotations

from pathlib import Path

from acquire.outlets.payload import COLUMNS_OF
from acquire.words.notices import said
from tests.told import REFUSED, TOLD

PAGE = Path(__file__).resolve().parents[1] / "docs" / "record.md"
START, END = "<!-- {}: written by `python -m tests.record_page` -->\n", "<!-- end of {} -->\n"
FILES = {"verdict": "verdicts-….csv", "typed_result": "results-….csv", "unit_result": "units-….csv"}


def notices() -> str:
    """As Markdown: one row an example of a notice, then one a refusal."""
    rows = ["| notice | facts | for example |", "|---|---|---|"]
    for notice, _ in sorted(TOLD, key=lambda told: told[0].code):
        rows.append(f"| `{notice.code}` | {_names(notice.facts)} | {_one_line(said(notice))} |")
    rows += ["", "| refusal | facts | what is said |", "|---|---|---|"]
    for refused in REFUSED:
        sentence = _one_line(said(refused.notice(0.0)))
        rows.append(f"| `{refused.refusal}` | {_names(refused.facts)} | {sentence} |")
    return "\n".join(rows) + "\n"


def columns() -> str:
    """As Markdown: one table a kind of file."""
    parts = []
    for kind, held in COLUMNS_OF.items():
        rows = [f"| `{column.name}` | {column.about} |" for column in held]
        parts.append("\n".join([f"`{FILES[kind]}`", "", "| column | what it holds |", "|---|---|", *rows]))
    return "\n\n".join(parts) + "\n"


def _names(facts: object) -> str:
    return ", ".join(f"`{name}`" for name in dict(facts))  # type: ignore[call-overload]


def _one_line(sentence: str) -> str:
    return sentence.replace("\n", " / ").replace("|", "\\|")


def with_tables(page: str) -> str:
    """The page with tables that are in step."""
    for name, table in (("notices", notices()), ("columns", columns())):
        start, end = START.format(name), END.format(name)
        before, _, rest = page.partition(start)
        page = f"{before}{start}{table}{end}{rest.partition(end)[2]}"
    return page


if __name__ == "__main__":
    PAGE.write_text(with_tables(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
