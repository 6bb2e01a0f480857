"""Orders of the network: what is answered with "done" is on the record, or is said not to be."""

from __future__ import annotations

import asyncio
import sqlite3

from acquire.bench import publishing as module
from acquire.bench.publishing import NOT_YET, Orders
from acquire.outlets.orders import Stop
from acquire.records import GiveUpUnit, Note, StartUnit, TypeResult
from tests.unit.test_bench_daemon import at_work
from tests.whole_bench import journal_entries


async def test_done_is_said_when_the_journal_has_it(tmp_path):
    """No waiting between the answer and the look into the journal, for twenty orders."""
    async with at_work(tmp_path) as bench:
        orders = Orders(bench.daemon, asyncio.Event())
        for number in range(20):
            answer = await orders(StartUnit(f"A{number}"))
            assert (answer.done, answer.reason) == (True, "")
            kept = journal_entries(tmp_path, "unit_started")
            assert [e.serial for e in kept] == [f"A{n}" for n in range(number + 1)]
            told = [e.payload["facts"] for e in journal_entries(tmp_path, "notice")]
            assert told.count({"way": "mqtt", "order": "start_unit"}) == number + 1


async def test_a_refused_order_is_answered_with_the_reason(tmp_path):
    """Nothing is on the bench, so nothing can be given up."""
    async with at_work(tmp_path) as bench:
        answer = await Orders(bench.daemon, asyncio.Event())(GiveUpUnit("dropped"))
    assert not answer.done
    assert answer.reason.endswith(".")


async def test_a_result_that_could_not_be_judged_is_answered_with_what_that_means(tmp_path):
    """9 V prove nothing where the sheet asks for 500 V; a result that was judged needs no word."""
    async with at_work(tmp_path) as bench:
        orders = Orders(bench.daemon, asyncio.Event())
        await orders(StartUnit("A1"))
        doubtful = await orders(TypeResult("insulation = 900 Mohm, 9 V, accuracy 5 %"))
        judged = await orders(TypeResult("insulation = 900 Mohm, 500 V, accuracy 5 %"))
    assert doubtful.done
    assert doubtful.reason.startswith("This could not be judged, so A1 cannot pass until it is measured or")
    assert "9 V only" in doubtful.reason
    assert (judged.done, judged.reason) == (True, "")


async def test_a_journal_that_cannot_be_written_is_said_and_the_order_is_written_later(tmp_path, monkeypatch):
    """Another program locks the file: the answer comes in time and does not claim a record."""
    monkeypatch.setattr(module, "ON_RECORD_S", 0.2)
    async with at_work(tmp_path) as bench:
        orders = Orders(bench.daemon, asyncio.Event(), way="page")
        with sqlite3.connect(bench.daemon.journal.path, isolation_level=None) as other:
            other.execute("BEGIN IMMEDIATE")
            answer = await orders(Note("bobbin chipped"))
            assert (answer.done, answer.reason) == (True, NOT_YET)
            other.execute("ROLLBACK")
        other.close()
        await asyncio.wait_for(bench.daemon.written(), 20)
        notes = [e.payload["facts"].get("note") for e in journal_entries(tmp_path, "notice")]
        assert "bobbin chipped (on the page)" in notes


async def test_a_stop_is_answered_before_it_is_obeyed(tmp_path):
    """The connection goes with the bench, so the answer has to be first."""
    async with at_work(tmp_path) as bench:
        stop = asyncio.Event()
        answer = await Orders(bench.daemon, stop)(Stop())
        assert answer.done
        assert not stop.is_set()
        await asyncio.wait_for(stop.wait(), 5)
