"""A batch of forty transformers through simulator, daemon and journal: its story must show in the report.

Spool A for units 1 to 22, spool B from 23; S2 of unit 17 short of turns, inside its limits but not matching
S1; P2 of unit 31 the wrong way round, which ohms cannot show and an inductance meter does.
"""

from __future__ import annotations

import asyncio
import io
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from rich.console import Console

from acquire.journal.history import JournalReader
from acquire.journal.plain import spelt
from acquire.records import BatchEvent, BatchState, Outcome
from acquire.reports.batch import batch_report, batches_of
from acquire.reports.batch_document import batch_document
from acquire.reports.export import batch_csv
from acquire.reports.pictures import svg_pictures
from acquire.reports.printing import as_html, as_terminal
from acquire.simulated.demo import DemoOptions, run_demo
from tests.whole_bench import QUIET

OUTPUT = Path(__file__).parents[1] / "output"
NAME = "F7 autumn"


def rows(report):
    return {series.name: series for series in report.series}


def words_of(report):
    """The report as a terminal shows it."""
    out = io.StringIO()
    Console(file=out, width=110).print(as_terminal(batch_document(report)))
    return out.getvalue()


async def worked(folder, units, speed):
    """The scene through the real daemon."""
    out = Console(file=io.StringIO(), width=110)
    options = DemoOptions(folder, "fathom-7", units=units, speed=speed)
    assert await run_demo(options, out) == 0, out.file.getvalue()
    return folder / "journal"


async def test_the_first_units_of_the_batch_in_short(tmp_path):
    """Two units: begun, spools said, first unit as predicted, polarity typed, finished."""
    journal = await worked(tmp_path / "run", 2, 10.0)
    with JournalReader(journal) as record:
        report, (line,) = batch_report(record, NAME), batches_of(record)
    assert [deed.deed for deed in report.deeds] == [
        BatchEvent.OPENED,
        BatchEvent.SPOOL_CHANGED,
        BatchEvent.SPOOL_CHANGED,
        BatchEvent.FIRST_UNIT,
        BatchEvent.FINISHED,
    ]
    assert "F7-0001 is as predicted" in report.deeds[3].text
    assert [line.outcome for line in report.units] == [Outcome.PASS] * 2
    assert {each.name for each in report.yields} == {"P1", "P2", "S1", "S2", "secondaries", "polarity"}
    assert (report.state, report.expected, report.first_pass.of) == (BatchState.FINISHED, 40, 2)
    assert {line.spools for line in report.units} == {"36-A, 24-K"}
    assert (line.name, line.units, line.passed) == (NAME, 2, 2)


@pytest.mark.long
@pytest.mark.timeout(600)
def test_the_whole_story_shows_in_the_report(tmp_path):
    """Forty units; about two and a half minutes."""
    journal = asyncio.run(worked(tmp_path / "run", None, 6.0))
    with JournalReader(journal) as record:
        report = batch_report(record, NAME, subgroup=5)
    OUTPUT.mkdir(exist_ok=True)
    page = as_html(batch_document(report, svg=svg_pictures(report)))
    (OUTPUT / "fathom-7-batch.html").write_bytes(page)
    tell_the_story(report, words_of(report), page.decode())
    command = [sys.executable, "-m", "acquire", "batch", NAME, "--journal", str(journal), "--json"]
    told = subprocess.run(command, capture_output=True, text=True, env=QUIET, timeout=60, check=True).stdout
    assert json.loads(told)["findings"] == list(report.findings)


def tell_the_story(report, terminal, page):
    """All that a reader must find."""
    of = rows(report)
    assert (report.first_pass.count, report.first_pass.of) == (38, 40)
    assert report.state is BatchState.FINISHED

    for name in ("P1", "P2"):
        (change,) = of[name].changes
        assert of[name].points[change.of.at].serial == "F7-0023"
        assert change.of.shift / change.of.before == pytest.approx(0.976 / 1.012 - 1.0, abs=0.006)
        assert [(cause.what, cause.before, cause.after) for cause in change.causes] == [
            ("spool", "36-A", "36-B")
        ]
        low, high = of[name].lower, of[name].upper
        assert all(low < point.value < high for point in of[name].points)  # all within the sheet's limits
        assert not of[name].beyond()  # and the chart is calm within each spool
    assert not of["S1"].changes
    first = report.findings[0]
    assert re.match(r"From F7-0023 on P1 is 3\.\d % lower and P2 is 3\.\d % lower", first)
    assert "the spool changes from 36-A to 36-B" in first

    match = of["secondaries"]
    (place,) = match.beyond()
    assert match.points[place].serial == "F7-0017"
    assert match.points[place].value == pytest.approx(-1.5, abs=0.35)
    assert [p.serial for p in match.points if p.outcome is Outcome.FAIL] == ["F7-0017"]
    assert of["S2"].points[16].outcome is Outcome.PASS  # inside its own limits

    failed = {line.serial: line for line in report.units if line.outcome is not Outcome.PASS}
    assert set(failed) == {"F7-0017", "F7-0031"}
    assert failed["F7-0031"].kind == "polarity"
    assert "differ by 1." in failed["F7-0017"].why
    assert {bar.kind for bar in report.pareto} == {"polarity", failed["F7-0017"].kind}

    for text in (terminal, page):
        for said in ("F7-0017", "F7-0031", "F7-0023", "36-A", "36-B", "38 of 40", "polarity"):
            assert said in re.sub(r"(<small>|\s)+", " ", text), said
    assert "://" not in re.sub(r'xmlns(:xlink)?="[^"]+"', "", page)  # nothing from elsewhere
    plain = spelt(report)
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    csv_rows = batch_csv(report).splitlines()
    assert len(csv_rows) == 1 + 5 * 40
