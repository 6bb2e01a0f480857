"""Orders taken before a restart are known after it."""

import asyncio
import contextlib
import json

from acquire.outlets.orders import CUT_OFF, FILE, REMEMBERED, Desk, OrderAnswer, OrderFile
from acquire.records import Note


async def done(_order):
    """Whatever it is, it is done."""
    return OrderAnswer(done=True)


async def cut_off(_order):
    """The power fails while it is under way."""
    raise asyncio.CancelledError


async def handed_in(desk, correlation, now_s=0.0, obey=done):
    """As an outlet and a page do; gives what was taken."""
    taken = desk.take(order(correlation), now_s)
    if taken.order is not None:
        with contextlib.suppress(asyncio.CancelledError):
            await desk.carry_out(taken.correlation, taken.order, obey)
    return taken


def order(correlation):
    return json.dumps({"command": "note", "correlation": correlation, "text": "x"}).encode()


async def test_an_order_is_carried_out_once_whatever_restarts_in_between(tmp_path):
    """Its copy gets the answer of then; one cut off before its answer is not done a second time either."""
    first = Desk.kept(tmp_path)
    assert (await handed_in(first, "a")).order == Note("x")
    await handed_in(first, "b", obey=cut_off)

    second = Desk.kept(tmp_path)
    assert (await handed_in(second, "a")).answer == OrderAnswer(done=True)
    assert (await handed_in(second, "b")).answer == CUT_OFF
    assert (await handed_in(second, "c")).order == Note("x")
    assert (await handed_in(Desk.kept(tmp_path), "b")).answer == CUT_OFF


async def test_a_torn_line_is_an_order_that_was_not_begun(tmp_path):
    """The line is on the disk before the order is handed out."""
    await handed_in(Desk.kept(tmp_path), "whole", obey=cut_off)
    with (tmp_path / FILE).open("ab") as file:
        file.write(b'["to')
    again = Desk.kept(tmp_path)
    assert (await handed_in(again, "whole")).answer == CUT_OFF
    assert (await handed_in(again, "to", obey=cut_off)).order is not None
    assert (await handed_in(Desk.kept(tmp_path), "to")).answer == CUT_OFF


def test_the_file_stays_small_and_its_folder_may_be_read_only(tmp_path):
    kept = OrderFile(tmp_path)
    for number in range(4 * REMEMBERED + 1):
        kept.known[str(number)] = None
    (tmp_path / FILE).write_text("".join(f'["{n}", true, ""]\n' for n in range(4 * REMEMBERED + 1)))
    again = OrderFile(tmp_path)
    assert list(again.known) == [str(n) for n in range(3 * REMEMBERED + 1, 4 * REMEMBERED + 1)]
    assert len((tmp_path / FILE).read_text().splitlines()) == REMEMBERED
    OrderFile(tmp_path / "nowhere").note("a", None)
