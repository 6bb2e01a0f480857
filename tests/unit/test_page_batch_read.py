"""A batch's report for its screen: made by a process of its own, asked for once, in JSON."""

from __future__ import annotations

import asyncio
import json

import pytest

from acquire.page.batch_read import BatchReports
from acquire.page.behind import Unknown
from tests.known_records import NOON_S
from tests.known_visits import journal_with, visit


@pytest.fixture(scope="module")
def journal(tmp_path_factory):
    """Eight units of one batch."""
    records = []
    for number in range(8):
        factors = {"fast charge": 1.0 + 0.003 * ((number * 5) % 8 - 4)}
        records += visit(f"PL80-{number:04d}", utc_s=NOON_S + 600.0 * number, factors=factors)
    return journal_with(tmp_path_factory.mktemp("journal"), records)


async def test_figures_sentences_tables_and_pictures(journal):
    reports = BatchReports(journal)
    report = await reports.report({"name": "lot 7"})
    json.dumps(report, allow_nan=False)
    assert (report["name"], report["names"]) == ("lot 7", ["lot 7"])
    assert report["figures"][0] == {"label": "passed at first", "value": report["figures"][0]["value"]}
    assert report["figures"][0]["value"].startswith("8 of 8")
    assert report["tables"][-1]["title"] == "Units"
    assert len(report["tables"][-1]["rows"]) == 8
    assert "pictures" not in report
    chart = next(each for each in report["charts"] if each["title"].startswith("fast charge"))
    assert chart["alt"].startswith("Chart of fast charge")
    words = dict(part.split("=") for part in chart["src"].partition("?")[2].split("&"))
    picture = await reports.picture({"name": "lot 7", "chart": words["chart"]})
    assert picture[0].startswith(b"<svg")
    assert b"<script" not in picture[0]
    with pytest.raises(Unknown):
        await reports.picture({"name": "lot 7", "chart": "../../x"})


async def test_names_alone_and_a_batch_that_is_not_there(journal):
    reports = BatchReports(journal)
    assert (await reports.report({}))["names"] == ["lot 7"]
    with pytest.raises(Unknown, match="no batch"):
        await reports.report({"name": '"; drop table entry; --'})


async def test_a_report_that_nobody_waits_for_any_more_is_ended(journal):
    reports = BatchReports(journal)
    task = asyncio.create_task(reports.report({"name": "lot 7"}))
    await asyncio.sleep(0.1)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert task.cancelled()
