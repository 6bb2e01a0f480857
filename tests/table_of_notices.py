"""Writes the table of notices into DEVELOPERS.md: every code with its facts and what is said of them.

    python -m tests.table_of_notices

Run it after a change of a code or a sentence; a test fails while the table is out of step. Not a test.
"""

from __future__ import annotations

from acquire.words.notices import said
from tests.map_of_rooms import GUIDE
from tests.told import REFUSED, TOLD

START = "<!-- notices: written by `python -m tests.table_of_notices` -->\n"
END = "<!-- end of the notices -->\n"


def the_table() -> str:
    """As Markdown: one row an example of a notice, then one a refusal."""
    rows = ["| notice | facts | for example |", "|---|---|---|"]
    for notice, _ in sorted(TOLD, key=lambda told: told[0].code):
        rows.append(f"| `{notice.code}` | {_names(notice.facts)} | {_one_line(said(notice))} |")
    rows += ["", "| refusal | facts | what is said |", "|---|---|---|"]
    for refused in REFUSED:
        sentence = _one_line(said(refused.notice(0.0)))
        rows.append(f"| `{refused.refusal}` | {_names(refused.facts)} | {sentence} |")
    return "\n".join(rows) + "\n"


def _names(facts: object) -> str:
    return ", ".join(f"`{name}`" for name in dict(facts))  # type: ignore[call-overload]


def _one_line(sentence: str) -> str:
    return sentence.replace("\n", " / ").replace("|", "\\|")


def with_table(guide: str) -> str:
    """The guide with a table that is in step."""
    before, _, rest = guide.partition(START)
    return f"{before}{START}{the_table()}{END}{rest.partition(END)[2]}"


if __name__ == "__main__":
    GUIDE.write_text(with_table(GUIDE.read_text(encoding="utf-8")), encoding="utf-8")
