"""The bench behind its page: what it knows of itself, batches taken up where the record left them."""

from __future__ import annotations

import asyncio
import contextlib

import pytest

from acquire.bench.assembly import assemble
from acquire.clock import HandClock
from acquire.files.settings import load_bench
from acquire.outlets.orders import order_of
from acquire.page.app import Pages
from acquire.page.view import BenchView
from acquire.records import Code, GiveUpUnit, Note, OpenBatch, StartUnit
from tests.waiting import until
from tests.whole_bench import bench_file, free_port


@contextlib.asynccontextmanager
async def at_work(folder, more=""):
    """A bench with a page, running, whose meter does not answer; gives daemon and page."""
    file = bench_file(folder, meter=f"tcp:127.0.0.1:{free_port()}")
    with file.open("a", encoding="utf-8") as text:
        text.write(f"\n[page]\nport = {free_port()}\n{more}")
    stop = asyncio.Event()
    daemon = await assemble(
        load_bench(file), clock=HandClock(100.0, 1.7e9), show=lambda _event: None, stop=stop
    )
    page = daemon.displays["page"].__self__
    task = asyncio.create_task(daemon.run(stop))
    try:
        yield daemon, page
    finally:
        stop.set()
        await asyncio.wait_for(task, 10.0)


async def settled(fits):
    """Wait for something to come true, and see that it stays so while everything under way goes on."""
    await until(fits)
    for _ in range(300):
        await asyncio.sleep(0)
    assert fits()


async def test_facts_are_those_of_the_bench(tmp_path):
    async with at_work(tmp_path) as (daemon, page):
        facts = page.pages.backend.facts()
        assert (facts.utc_s, [each.code for each in facts.due]) == (1.7e9, [Code.LEADS_NONE])
        daemon.halted = True
        assert Code.JOURNAL_HALTED in [each.code for each in page.pages.backend.facts().due]
        daemon.halted = False


async def test_orders_are_carried_out_as_if_typed_and_say_whence(tmp_path):
    async with at_work(tmp_path) as (_, page):
        answer = await page.pages.backend.obey(order_of({"command": "give_up_unit", "reason": "x"}))
        assert not answer.done
        assert "no unit on the bench" in answer.reason
        assert (await page.pages.backend.obey(Note("hello"))).done
        await settled(lambda: "hello (on the page)" in [n["text"] for n in page.stream.state()["notes"]])


async def test_a_batch_is_taken_up_where_the_record_left_it(tmp_path):
    """Over a restart, and when another one is opened in between."""
    async with at_work(tmp_path) as (daemon, page):
        await daemon.command(OpenBatch("lot 1", 40))
        for serial in ("a", "b"):
            await daemon.command(StartUnit(serial))
        await settled(lambda: (page.stream.state()["batch"] or {}).get("measured") == 1)
        await daemon.command(OpenBatch("lot 2"))
        await settled(lambda: page.stream.state()["batch"]["name"] == "lot 2")
        assert page.stream.state()["batch"]["expected"] is None
        await daemon.command(GiveUpUnit("enough"))
    async with at_work(tmp_path) as (daemon, page):
        await settled(lambda: (page.stream.state()["batch"] or {}).get("name") == "lot 2")
        await daemon.command(OpenBatch("lot 1"))
        await settled(lambda: page.stream.state()["batch"]["name"] == "lot 1")
        await settled(lambda: page.stream.state()["batch"]["measured"] == 2)
        assert page.stream.state()["batch"]["expected"] == 40


async def test_a_bench_without_orders_gives_its_page_none(tmp_path):
    async with at_work(tmp_path, "orders = false\n") as (_, page):
        assert page.pages.backend.obey is None
        assert page.stream.state()["orders"] is False


async def test_a_machine_without_a_voice_says_so_once(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    async with at_work(tmp_path, 'speech = "machine"\n') as (_, page):
        assert page.speaker is None
        await settled(lambda: any(note["code"] == "page.mute" for note in page.stream.state()["notes"]))


async def test_the_port_is_free_again_afterwards(tmp_path):
    async with at_work(tmp_path) as (_, page):
        port = page.port
        assert isinstance(page.pages, Pages)
    with pytest.raises(OSError, match="Connect call failed"):
        await asyncio.open_connection("127.0.0.1", port)


async def test_a_fault_of_the_page_stops_no_bench(tmp_path, monkeypatch):
    """It is logged; the next event is shown again."""
    async with at_work(tmp_path) as (daemon, page):
        with monkeypatch.context() as broken:
            broken.setattr(BenchView, "_take", lambda *_: {}["nothing"])
            await daemon.command(Note("unseen"))
            await settled(lambda: daemon.journal.last_seq > 0 and daemon._events.empty())
            await asyncio.sleep(0.05)
        await daemon.command(Note("seen"))
        await settled(lambda: "seen" in [n["text"] for n in page.stream.state()["notes"]])
