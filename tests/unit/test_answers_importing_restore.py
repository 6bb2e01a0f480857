"""What a journal has lost comes back from its copies, entry by entry, under the same ids."""

from __future__ import annotations

import asyncio
import os
import shutil

import pytest

from acquire.answers.importing import restore, restored_lines
from acquire.clock import HandClock
from acquire.errors import InputImpossible, JournalUnusable
from acquire.journal.archive import Policy
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.journal.store import Journal
from acquire.outlets.columns import COLUMNS_OF
from acquire.outlets.csv_log import CsvLog, Split
from acquire.outlets.outlet import drain
from tests.known_records import EVIDENCE, RESULT, STARTED, TYPED, ZERO, verdict

SMALL = Policy(largest_bytes=10_000, keep_entries=30, archive_bytes=10_000)


def everything(folder):
    """Ids, payloads and evidence, in order."""
    with JournalReader(folder) as journal:
        found = journal.find(Query(with_evidence=True))
        return [(e.id, e.kind, e.utc_s, e.serial, e.payload, e.evidence) for e in found]


@pytest.fixture
async def lost(tmp_path):
    """A journal whose older half is archived, with its CSV beside it, and a copy of all of it elsewhere."""
    folder = tmp_path / "bench" / "journal"
    journal = Journal.open(folder, bench="bench-1", clock=HandClock())
    await journal.append([(ZERO, None), *[(verdict(n), EVIDENCE) for n in range(80)]])
    await journal.append([(STARTED, None), (TYPED, None), (RESULT, None)])
    stop = asyncio.Event()
    stop.set()
    for name, kind in (("csv", "verdict"), ("csv results", "typed_result"), ("csv units", "unit_result")):
        await drain(journal, CsvLog(tmp_path / "csv", Split.DAY, kind), name, stop)
    while await journal.archive((), SMALL):
        pass
    await journal.close()
    assert list((folder / "archive").iterdir())
    shutil.copytree(folder, tmp_path / "copy")
    return tmp_path


def test_a_journal_that_is_gone_is_built_again_entry_by_entry(lost):
    """From a copy with its archives; the bench then goes on behind the last number."""
    before = everything(lost / "copy")
    shutil.rmtree(lost / "bench" / "journal")
    done = restore(lost / "bench" / "journal", [str(lost / "copy")])
    assert everything(lost / "bench" / "journal") == before
    assert sum(done.entries.values()) == len(before)
    again = restore(lost / "bench" / "journal", [str(lost / "copy")])
    assert (again.entries, again.there) == ({}, len(before))
    assert list(restored_lines(again)) == [f"Nothing was missing: {len(before)} entries are there already."]


def test_what_an_archive_has_lost_comes_back_beside_it(lost):
    """Nothing that is there is changed."""
    before = everything(lost / "copy")
    for file in (lost / "bench" / "journal" / "archive").iterdir():
        file.unlink()
    kept = everything(lost / "bench" / "journal")
    assert len(kept) < len(before)
    restore(lost / "bench" / "journal", [str(lost / "copy")])
    assert everything(lost / "bench" / "journal") == before


async def test_a_journal_begun_since_keeps_its_own_numbers(lost):
    """The old one's entries stand beside it under their own birth id."""
    folder = lost / "bench" / "journal"
    before = everything(lost / "copy")
    shutil.rmtree(folder)
    journal = Journal.open(folder, bench="bench-1", clock=HandClock())
    [[new]] = [await journal.append([(verdict(500), EVIDENCE)])]
    await journal.close()
    restore(folder, [str(lost / "copy")])
    found = everything(folder)
    assert sorted(each[0] for each in found) == sorted([new.id, *(each[0] for each in before)])
    assert [each for each in found if each[0] != new.id] == before


def test_csv_rows_bring_verdicts_and_typed_results_under_their_ids(lost):
    """As far as a row tells; what it cannot tell is counted and said."""
    before = {each[0]: each for each in everything(lost / "copy")}
    shutil.rmtree(lost / "bench" / "journal")
    done = restore(lost / "bench" / "journal", [str(lost / "csv")])
    found = everything(lost / "bench" / "journal")
    kinds = {kind for _, kind, *_ in found}
    assert kinds == {"verdict", "typed_result"}
    assert len(found) == 81
    for identity, kind, utc_s, serial, payload, evidence in found:
        there = before[identity]
        assert (kind, utc_s, serial, evidence) == (*there[1:4], None)
        told = {column.name for column in COLUMNS_OF[kind]} & set(there[4])
        assert len(told) > 20
        assert {name: payload[name] for name in told} == {name: there[4][name] for name in told}
    assert done.unread == 1
    said = " ".join(restored_lines(done))
    assert "80 verdicts of them without the readings" in said
    assert "1 row cannot be read back" in said


def test_the_best_copy_comes_first_and_the_next_fills_the_gaps(lost):
    before = everything(lost / "copy")
    shutil.rmtree(lost / "copy" / "archive")
    folder = lost / "bench" / "journal"
    shutil.rmtree(folder)
    restore(folder, [str(lost / "copy"), str(lost / "csv")])
    found = {each[0]: each for each in everything(folder)}
    for each in everything(lost / "copy"):
        assert found[each[0]] == each
    assert {each[0] for each in before if each[1] == "verdict"} <= set(found)


def test_a_bench_at_work_and_places_without_a_copy_are_refused(lost, tmp_path):
    """In words, and nothing is written."""
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputImpossible, match="no journal and no CSV"):
        restore(lost / "bench" / "journal", [str(tmp_path / "empty")])
    journal = Journal.open(lost / "bench" / "journal", bench="bench-1", clock=HandClock())
    try:
        with pytest.raises(JournalUnusable, match="in use"):
            restore(lost / "bench" / "journal", [str(lost / "copy")])
    finally:
        journal._thread.submit(journal._end).result()
        os.close(journal._lock)
