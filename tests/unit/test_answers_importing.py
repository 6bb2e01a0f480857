"""Results typed in without a bench at work: on the same record, judged by the same rules."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from acquire.answers.importing import result
from acquire.cli import app
from acquire.clock import RealClock
from acquire.errors import InputImpossible, JournalUnusable
from acquire.journal.history import JournalReader
from acquire.journal.store import Journal
from acquire.records import Outcome, TypedResult, UnitResult
from tests.commands import printed
from tests.known_records import RESULT, STARTED
from tests.known_visits import INSULATION, TURNS
from tests.whole_bench import bench_file

ENDED = replace(
    RESULT, serial="A1", sheet="Plover 80", outcome=Outcome.PASS, measured=Outcome.PASS, hypotheses=(),
    untested=(INSULATION, TURNS),
)  # fmt: skip


@pytest.fixture
def bench(tmp_path):
    """A bench file with a journal beside it in which one unit is on record."""
    file = bench_file(tmp_path, meter="tcp:127.0.0.1:5025")

    async def fill():
        journal = await opened(tmp_path)
        await journal.append([(replace(STARTED, serial="A1", sheet="Plover 80"), None)])
        await journal.close()

    asyncio.run(fill())
    return file


def type_in(bench, serial, texts):
    """What the command says of each result, as a program reads it."""
    return [json.loads(line) for line in printed(result, bench, texts, serial=serial, as_json=True)]


async def opened(folder):
    """The journal, open for writing as a bench has it."""
    return await asyncio.to_thread(
        lambda: Journal.open(folder / "journal", bench="bench-1", clock=RealClock())
    )


def test_a_result_goes_on_the_record_of_its_unit(bench, tmp_path):
    """Judged by the sheet that the bench file names."""
    (record,) = type_in(bench, "A1", ["insulation = 120 Mohm, 500 V, by IR-2, accuracy 5 %"])
    assert record["outcome"] == Outcome.PASS
    with JournalReader(tmp_path / "journal") as journal:
        assert journal.by_serial("A1")[-1].payload == record


def test_what_it_makes_of_the_unit_goes_on_the_record_with_it(bench, tmp_path):
    """The next revision of its result, by the same function as at the bench; none where nothing changes."""

    async def end():
        journal = await opened(tmp_path)
        await journal.append([(ENDED, None)])
        await journal.close()

    asyncio.run(end())
    type_in(bench, "A1", ["insulation = 1 Mohm, 500 V, by IR-2, accuracy 5 %"])
    type_in(bench, "A1", ["insulation = 120 Mohm, 500 V, by IR-2, accuracy 5 %", "bearing = smooth"])
    type_in(bench, "A1", ["bearing = smooth"])
    with JournalReader(tmp_path / "journal") as journal:
        results = [e.record for e in journal.by_serial("A1") if isinstance(e.record, UnitResult)]
    assert [(each.revision, each.outcome) for each in results] == [
        (0, Outcome.PASS),
        (1, Outcome.FAIL),
        (2, Outcome.PASS),
    ]
    assert results[-1].untested == (TURNS,)


def test_a_sister_coil_typed_earlier_may_be_the_pattern(bench):
    """Looked up on the record, since the unit was started."""
    type_in(bench, "A1", ["L P1 = 6.02 H, 100 Hz"])
    (record,) = type_in(bench, "A1", ["L P2 = 5.98 H, 100 Hz, against L P1, within 3 %, accuracy 0.5 %"])
    assert (record["pattern"], record["outcome"]) == ("L P1", Outcome.PASS)


def test_of_several_results_all_or_none_are_recorded(bench, tmp_path):
    """A slip in the second leaves the first out too."""
    with pytest.raises(InputImpossible):
        type_in(bench, "A1", ["surge = fine, pass", "insulation = 120 Mohm"])
    with JournalReader(tmp_path / "journal") as journal:
        assert not [each for each in journal.by_serial("A1") if isinstance(each.record, TypedResult)]


def test_a_unit_that_was_never_here_is_refused(bench):
    """A slip in the serial must not make a new unit."""
    with pytest.raises(InputImpossible, match="never on bench"):
        type_in(bench, "A2", ["surge = fine, pass"])


async def test_a_bench_at_work_keeps_its_journal(bench, tmp_path):
    """The sentence says where to type instead."""
    journal = await opened(tmp_path)
    try:
        with pytest.raises(JournalUnusable, match=r"type \.result at the bench"):
            await asyncio.to_thread(type_in, bench, "A1", ["surge = fine, pass"])
    finally:
        await journal.close()


def test_the_command_says_what_a_result_means_that_cannot_be_judged(bench):
    """At once, as at the bench itself."""
    words = ["result", str(bench), "insulation = 120 Mohm, 500 V, 21 °C", "--serial", "A1"]
    told = CliRunner().invoke(app, words)
    assert told.exit_code == 0, told.output
    assert "cannot judge: This could not be judged, so A1 cannot pass until it is measured" in told.output


def test_what_is_wanted_can_be_asked(bench):
    """Names, limits, cautions, and how to write it."""
    said = CliRunner().invoke(app, ["result", str(bench)]).output
    assert "at 500 V: at least 50.0 MΩ" in said
    assert "hands off" in said
