"""The report of a batch for its screen, made by a process of its own: it takes a second of a whole processor.

`python -m acquire.page.batch_read` reads one JSON object from its input (journal, name) and writes one to its
output. Nothing that somebody asks for becomes an argument. Not for how a report is made (reports).
"""

from __future__ import annotations

import asyncio
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from acquire.errors import InputImpossible, SteadyohmError
from acquire.journal.history import JournalReader
from acquire.page.behind import Unknown
from system.processes import heard

Plain = dict[str, Any]

PATIENCE_S = 30.0
"""A report that takes longer is given up."""

MOST_NAMES = 200
"""Batches in the list to choose from."""

MOST_ROWS = 400
"""Units in the table."""

KEPT_S = 20.0
"""So long a report is shown again as it is; its pictures are asked for right after it."""

CHART = "/batch/chart"


@dataclass(slots=True)
class BatchReports:
    """Asks for reports, one at a time, and keeps the latest for its pictures.

    Attributes:
        folder: of the journal.
    """

    folder: Path
    _name: str | None = None
    _made: Plain = field(default_factory=dict)
    _at_s: float = float("-inf")
    _turn: asyncio.Lock = field(default_factory=asyncio.Lock)

    async def report(self, words: dict[str, str]) -> Plain:
        """Figures, sentences, tables and the addresses of the pictures of a batch.

        Raises:
            Unknown: there is no such batch.
            SteadyohmError: a library is missing, or the record cannot be read.
            TimeoutError: it takes too long.
        """
        found = await self._found(words.get("name", ""))
        return {key: value for key, value in found.items() if key != "pictures"}

    async def picture(self, words: dict[str, str]) -> tuple[bytes, str]:
        """One drawing as SVG.

        Raises:
            Unknown: there is none of this name.
        """
        found = await self._found(words.get("name", ""))
        drawing = found.get("pictures", {}).get(words.get("chart", ""))
        if drawing is None:
            raise Unknown("There is no such picture.")
        return str(drawing).encode(), "image/svg+xml"

    async def _found(self, name: str) -> Plain:
        async with self._turn:
            now_s = asyncio.get_running_loop().time()
            if name != self._name or now_s - self._at_s > KEPT_S:
                self._made = await self._ask(name)
                self._name, self._at_s = name, asyncio.get_running_loop().time()
            return self._made

    async def _ask(self, name: str) -> Plain:
        words = (sys.executable, "-P", "-m", "acquire.page.batch_read")
        question = json.dumps({"journal": str(self.folder), "name": name}).encode()
        told = (await heard(words, question, within_s=PATIENCE_S)).out
        try:
            answer = json.loads(told)
        except ValueError:
            raise SteadyohmError("The report of this batch could not be made.") from None
        if unknown := answer.get("unknown"):
            raise Unknown(str(unknown))
        if fault := answer.get("fault"):
            raise SteadyohmError(str(fault))
        return dict(answer)


def main() -> None:
    """Answer one question."""
    asked = json.loads(sys.stdin.read())
    try:
        answer = made(Path(asked["journal"]), str(asked["name"]))
    except InputImpossible as error:
        answer = {"unknown": " ".join(str(error).split())}
    except SteadyohmError as error:
        answer = {"fault": " ".join(str(error).split())}
    json.dump(answer, sys.stdout)


def made(journal: Path, name: str) -> Plain:
    """Make a report in plain JSON values.

    Args:
        journal: its folder.
        name: of the batch; empty gives only the names that there are.

    Raises:
        InputImpossible: there is no such batch.
        JournalUnusable: the record cannot be read.
        LibraryMissing: matplotlib is not installed.
    """
    with JournalReader(journal) as reader:
        names = [each for each, _ in reader.batches() if each][:MOST_NAMES]
        if not name:
            return {"name": "", "names": names, "figures": [], "tables": [], "charts": [], "sentences": []}
        from acquire.reports.batch import batch_report  # noqa: PLC0415  (slow to import)

        report = batch_report(reader, name)
    from acquire.reports import batch_document as words  # noqa: PLC0415  (as above)
    from acquire.reports.batch_pictures import svg_pictures  # noqa: PLC0415  (as above, and matplotlib)
    from acquire.reports.figures import share_text  # noqa: PLC0415  (as above)

    drawn = svg_pictures(report)
    return {
        "name": report.name,
        "names": names,
        "figures": [
            {"label": "passed at first", "value": share_text(report.first_pass)},
            {"label": "pass by now", "value": share_text(report.now)},
            *({"label": label, "value": value} for label, value in words.facts_of(report)),
        ],
        "sentences": [*report.findings, *words.notes_of(report)],
        "tables": [*_tables(report)],
        "charts": [*_charts(report, drawn)],
        "pictures": drawn,
    }


def _tables(report: Any) -> Iterator[Plain]:
    from acquire.reports import batch_document as words  # noqa: PLC0415  (only a report needs it)
    from acquire.reports.figures import moment, per_cent, share_text  # noqa: PLC0415  (as above)

    yield {
        "title": "Yield",
        "head": ["step", "passed at first"],
        "rows": [[each.name, share_text(each.passed)] for each in report.yields],
    }
    found = [[bar.kind, str(bar.count), per_cent(bar.share)] for bar in report.pareto]
    yield {"title": "What was not as it should be", "head": ["kind", "units", "share"], "rows": found}
    for series in report.series:
        rows = [[label, value] for label, value in words.figures_of(series)]
        rows += [["", sentence] for sentence in words.sentences_of(series)]
        title = f"{series.name} ({series.pair})"
        yield {"title": title, "step": title, "head": ["figure", "value"], "rows": rows}
    units = [
        [
            line.serial,
            moment(line.utc_s)[:16],
            words.outcome_text(line),
            str(line.stays),
            line.spools,
            line.why,
        ]
        for line in report.units[-MOST_ROWS:]
    ]
    head = ["serial", "first measured (UTC)", "verdict", "stays", "spools", "why"]
    yield {"title": "Units", "head": head, "rows": units}


def _charts(report: Any, drawn: dict[str, str]) -> Iterator[Plain]:
    from acquire.reports.batch_document import sentences_of  # noqa: PLC0415  (only a report needs it)

    for name in drawn:
        kind, _, number = name.partition("-")
        series = report.series[int(number) - 1]
        step = f"{series.name} ({series.pair})"
        title = step + (", means" if kind == "means" else "")
        address = f"{CHART}?name={quote(report.name, safe='')}&chart={quote(name, safe='')}"
        yield {
            "title": title,
            "step": step,
            "alt": f"Chart of {title}. {' '.join(sentences_of(series))}",
            "src": address,
        }


if __name__ == "__main__":
    main()
