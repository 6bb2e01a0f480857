"""Serials, batches, operators and reasons are hostile text: no file outside the folders, no damage inside."""

import asyncio

import pytest

from acquire.clock import HandClock
from acquire.files.settings import load_bench
from acquire.records import Ending, GiveUpUnit, Judged, Note, Prompt, StartUnit, UnitResult
from tests.obedient_meter import StillBench
from tests.whole_bench import bench_file, csv_rows, journal_entries

HOSTILE = [
    "../../../outside",
    "/tmp/outside",  # noqa: S108  (only a text here)
    "..",
    "a/b\\c:d*e?f",
    "CON",
    "-rf",
    "~root",
    "$(touch outside)",
    "'; DROP TABLE entry; --",
    "=cmd|' /C calc'!A0",
    "[bold red]markup[/]",
    "\x1b]0;title\x07\x1b[2J",
    "a\r\nb\x00c",
    "\u202egnp.exe",
    "\ud800",
    "😀" * 50,
    "x" * 199,
    "steadyohm/v2/#",
]


def everything_under(folder):
    """Every file, with its size and time."""
    return {path for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("split", ["day", "batch"])
async def test_no_name_leads_out_of_the_folders(tmp_path, split):
    """As serial, batch, operator, note and reason, through the real daemon into journal and CSV."""
    home = tmp_path / "a" / "b" / "c" / "home"
    home.mkdir(parents=True)
    changes = [('"22.5 °C"', '"20 °C"'), ('folder = "csv"', f'folder = "csv"\nper = "{split}"')]
    file = bench_file(home, meter="tcp:127.0.0.1:9", changes=changes)
    before = everything_under(tmp_path)
    still = await StillBench(load_bench(file), HandClock(100.0)).assembled()
    stop = asyncio.Event()
    async with asyncio.TaskGroup() as group:
        group.create_task(still.daemon.run(stop), name="daemon")
        await still.until(lambda b: b.of(Prompt))
        for number, text in enumerate(HOSTILE):
            await still.daemon.command(StartUnit(text, batch=text, operator=text))
            await still.daemon.command(Note(text))
            await still.until(lambda b, n=number: len({j.verdict.serial for j in b.of(Judged)}) > n)
            await still.daemon.command(GiveUpUnit(text))
        await still.until(lambda b: len(b.of(UnitResult)) == len(HOSTILE))
        still.meter.calm = None
        stop.set()
    new = everything_under(tmp_path) - before
    assert {path.relative_to(home).parts[0] for path in new} == {"journal", "csv"}
    assert all(len(path.relative_to(home).parts) == 2 for path in new), "a folder was made of a name"
    assert len(csv_rows(home)) == len(journal_entries(home, "verdict")) >= len(HOSTILE)
    ended = [entry.record for entry in journal_entries(home, "unit_result")]
    assert {result.ending for result in ended} == {Ending.EARLY}
    assert len({result.serial for result in ended}) == len(HOSTILE)
