"""The way to several pages: bounded, in order, and the whole state for one that falls behind."""

from __future__ import annotations

import asyncio
import json

from hypothesis import given
from hypothesis import strategies as st

from acquire.page.backend import About
from acquire.page.spoken import Cue, Sound
from acquire.page.stream import MOST_PAGES, MOST_WAITING, PageQueue, Stream, spelt
from acquire.page.view import BenchView
from acquire.records import Code, Notice, Purpose, Severity


def stream():
    return Stream(BenchView(About("bench-1", Purpose.FINAL, "m", "", "steadyohm")), assets="abc")


def noted(text, severity=Severity.INFO):
    return Notice(severity, Code.NOTE, 1.0, facts={"note": text})


def parts(told):
    """Events of some bytes."""
    found = []
    for block in told.decode().split("\n\n")[:-1]:
        name, data = block.split("\n")
        found.append((name.removeprefix("event: "), json.loads(data.removeprefix("data: "))))
    return found


async def taken(way, line):
    return parts(await asyncio.wait_for(line.take(way.whole), 1.0))


async def test_the_first_thing_is_the_whole_state():
    way = stream()
    line = way.open()
    [(name, state)] = await taken(way, line)
    assert name == "state"
    assert {"start", "seq", "assets", "mode", "clock", "bench", "phase", "warnings", "trace"} <= set(state)
    assert (state["mode"], state["assets"]) == ("bench", "abc")


async def test_a_change_goes_out_at_once_and_whole():
    """Before anything that was put into the loop later."""
    way = stream()
    line = way.open()
    await taken(way, line)
    way.view.show(noted("one"))
    way.view.show(noted("two"))
    way.changed()
    later = asyncio.Event()
    asyncio.get_running_loop().call_soon(later.set)
    await later.wait()
    [(name, change)] = await taken(way, line)
    assert (name, change["seq"]) == ("change", 1)
    assert [note["text"] for note in change["notes"]] == ["two", "one"]


async def test_a_page_that_falls_behind_gets_the_whole_state_instead():
    way = stream()
    quick, slow = way.open(), way.open()
    await taken(way, quick)
    await taken(way, slow)
    for number in range(MOST_WAITING + 5):
        way.view.show(noted(f"note {number}"))
        way.changed()
        await asyncio.sleep(0)
        await taken(way, quick)
    [(name, state)] = await taken(way, slow)
    assert name == "state"
    assert state["notes"][0]["text"] == f"note {MOST_WAITING + 4}"
    way.view.show(noted("after"))
    way.changed()
    await asyncio.sleep(0)
    [(name, change)] = await taken(way, slow)
    assert (name, change["seq"]) == ("change", state["seq"] + 1)


async def test_nothing_is_kept_while_nobody_looks():
    way = stream()
    for number in range(1000):
        way.view.show(noted(f"note {number}", Severity.WARNING))
        way.changed()
    assert way.view.take_cues() == []
    assert not way.view.moving


async def test_no_more_pages_than_a_workshop_needs():
    way = stream()
    lines = [way.open() for _ in range(MOST_PAGES)]
    assert None not in lines
    assert way.open() is None
    way.leave(lines[0])
    assert way.open() is not None


async def test_the_end_is_told():
    way = stream()
    line = way.open()
    await taken(way, line)
    way.stop("The bench was stopped.")
    assert await taken(way, line) == [("bye", {"text": "The bench was stopped."})]
    assert await line.take(way.whole) == b""


async def test_another_bench_is_another_start_for_every_page():
    way = stream()
    line = way.open()
    [(_, before)] = await taken(way, line)
    way.replace(BenchView(About("bench-2", Purpose.FINAL, "m", "", "steadyohm")), "bench")
    [(_, after)] = await taken(way, line)
    assert after["start"] != before["start"]
    assert after["bench"]["name"] == "bench-2"


async def test_words_go_to_the_machine_where_it_speaks():
    said = []
    way = stream()
    way.speak = said.append
    line = way.open()
    await taken(way, line)
    way.view.show(Notice(Severity.WARNING, Code.PAIR_OTHER, 1.0, facts={"said": "That reads like 1–3."}))
    way.changed()
    await asyncio.sleep(0)
    told = await taken(way, line)
    assert [cue.say for cue in said if cue.say]
    cues = [data for name, data in told if name == "cue"]
    assert [(cue["sound"], cue["say"]) for cue in cues] == [("wrong_pair", "")]


async def test_a_line_that_was_closed_takes_nothing_more():
    line = PageQueue()
    line.close()
    line.put(b"late")
    assert await line.take(lambda: b"state") == b""


@given(st.text())
def test_one_event_is_one_event_whatever_it_holds(text):
    """Line breaks, end signs, half a surrogate pair: data stays one line and comes back as it was."""
    told = spelt("change", {"text": text})
    assert told.endswith(b"\n\n")
    assert told.count(b"\n") == 3
    [(name, data)] = parts(told)
    assert name == "change"
    assert data["text"] == text.encode("utf-8", "replace").decode()


def test_cues_are_few_words():
    cue = Cue(Sound.PASS, "Pass.")
    assert (cue.sound.value, cue.urgent) == ("pass", False)
