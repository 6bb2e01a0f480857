"""The meter of plain lines over a pty and over TCP."""

from __future__ import annotations

import asyncio
import os
import time
import tty

import pytest

from drivers.errors import FrameGarbled, LinkLost, LinkTimeout
from drivers.handheld.meters import LineMeter
from drivers.handheld.options import LineMeterOptions
from drivers.meter import Meter, Setup
from drivers.reading import Flag, Kind, Origin, Quantity


def clock():
    return time.monotonic(), time.time()


def meter_at(address, **options):
    return LineMeter(meter_id="t1", address=address, clock=clock, options=LineMeterOptions(**options))


@pytest.fixture
def pty_pair():
    master, slave = os.openpty()
    tty.setraw(slave)
    yield master, os.ttyname(slave)
    for descriptor in (master, slave):
        os.close(descriptor)


async def feed_later(master, *lines, pause_s=0.02):
    await asyncio.sleep(0.1)
    for line in lines:
        os.write(master, line)
        await asyncio.sleep(pause_s)


async def take(meter, count):
    taken = []
    stream = meter.readings()
    async for reading in stream:
        taken.append(reading)
        if len(taken) == count:
            break
    await stream.aclose()
    return taken


async def test_a_thermometer_on_a_pty_is_read_in_celsius(pty_pair):
    master, path = pty_pair
    async with meter_at(f"serial:{path}") as meter:
        assert isinstance(meter, Meter)
        feeding = asyncio.create_task(feed_later(master, b"3.40 C\r\n", b"23.41 C\r\n", b"23.4", b"2 C\r\n"))
        readings = await take(meter, 2)
        await feeding
    assert [r.value_si for r in readings] == [23.41, 23.42], (
        "the first line may be half a line and is dropped"
    )
    assert readings[0].quantity is Quantity.TEMPERATURE
    assert (readings[0].resolution_si, readings[0].range_origin) == (0.01, Origin.INFERRED)
    assert readings[0].conversion == 1


async def test_what_arrived_while_nobody_listened_is_not_read_as_now(pty_pair):
    master, path = pty_pair
    async with meter_at(f"serial:{path}") as meter:
        os.write(master, b"11.1 C\n12.2 C\n13.3 C\n")
        await asyncio.sleep(0.1)
        feeding = asyncio.create_task(feed_later(master, b"20.0 C\n", b"20.1 C\n"))
        (reading,) = await take(meter, 1)
        await feeding
    assert reading.value_si == 20.0


async def test_flags_overload_and_comments_are_told_apart(pty_pair):
    master, path = pty_pair
    async with meter_at(f"serial:{path}") as meter:
        feeding = asyncio.create_task(
            feed_later(
                master, b"\n", b"# rig ready\n", b"101.2 ohm HOLD\n", b"OL\n", b"rubbish\n", b"-OL ohm\n"
            )
        )
        held, over, under = await take(meter, 3)
        await feeding
    assert (held.value_si, held.flags) == (101.2, {Flag.HOLD})
    assert Flag.HOLD in held.flags_visible
    assert (over.kind, over.quantity) == (Kind.OVERLOAD, Quantity.RESISTANCE)
    assert under.kind is Kind.NEGATIVE_OVERLOAD


async def test_a_meter_turned_to_another_quantity_is_answered_with_what_to_turn(pty_pair):
    master, path = pty_pair
    async with meter_at(f"serial:{path}") as meter:
        feeding = asyncio.create_task(feed_later(master, b"\n", b"5.0 V\n"))
        await take(meter, 1)
        await feeding
        held = await meter.configure(Setup(Quantity.RESISTANCE))
    assert held.quantity is Quantity.VOLTAGE_DC
    assert held.please_turn == ("Set the dial to ohms.",)


async def test_silence_is_a_timeout(pty_pair):
    _, path = pty_pair
    async with meter_at(f"serial:{path}", silence_s=0.2) as meter:
        with pytest.raises(LinkTimeout, match=r"no frame for 0\.2 s"):
            await take(meter, 1)


async def test_a_stream_of_rubbish_says_to_check_the_line_settings(pty_pair):
    master, path = pty_pair
    async with meter_at(f"serial:{path}") as meter:
        feeding = asyncio.create_task(feed_later(master, *[b"\xfe\x81\x90\n"] * 25, pause_s=0))
        with pytest.raises(FrameGarbled, match="baud rate"):
            await take(meter, 1)
        await feeding


async def test_lines_that_can_be_read_by_eye_are_no_matter_of_the_baud_rate(pty_pair):
    """Dashes for an overload ended in "check the line settings"; what would cure them is named."""
    master, path = pty_pair
    async with meter_at(f"serial:{path}") as meter:
        heard = []
        meter.unread = lambda raw, why: heard.append((raw, why))
        feeding = asyncio.create_task(feed_later(master, *[b"------\r\n"] * 25, pause_s=0))
        with pytest.raises(FrameGarbled, match="overload_words") as caught:
            await take(meter, 1)
        await feeding
    assert "baud" not in str(caught.value)
    assert heard[0][0] == b"------"
    assert "overload_words" in heard[0][1]


async def test_a_cable_pulled_is_lost_and_the_object_can_be_entered_again():
    master, slave = os.openpty()
    tty.setraw(slave)
    meter = meter_at(f"serial:{os.ttyname(slave)}")
    async with meter:
        os.close(slave)
        os.close(master)
        with pytest.raises(LinkLost):
            await take(meter, 1)

    async def talk(_, writer):
        for line in (b"1.0 C\n", b"21.5 C\n", b"21."):
            writer.write(line)
            await asyncio.sleep(0.05)
        writer.close()

    server = await asyncio.start_server(talk, "127.0.0.1", 0)
    again = meter_at(f"tcp:127.0.0.1:{server.sockets[0].getsockname()[1]}")
    try:
        for _ in range(2):
            async with again:
                (reading,) = await take(again, 1)
                assert (reading.value_si, reading.conversion) == (21.5, 1)
                with pytest.raises(LinkLost, match="closed"):
                    await take(again, 1)
    finally:
        server.close()


async def test_a_meter_that_is_asked_gives_one_answer_per_question(pty_pair):
    master, path = pty_pair

    async def answer():
        for number in range(3):
            while not await asyncio.to_thread(os.read, master, 16):
                pass
            os.write(master, b"%d.5 ohm\r\n" % number)

    async with meter_at(f"serial:{path}", query="R?\r", poll_s=0.01) as meter:
        assert meter.capabilities.streaming is False
        answering = asyncio.create_task(answer())
        readings = await take(meter, 3)
        await answering
    assert [r.value_si for r in readings] == [0.5, 1.5, 2.5]


async def test_a_pattern_of_ones_own_takes_the_place_of_the_format(pty_pair):
    master, path = pty_pair
    pattern = r"CH1;(?P<value>[-+.\d]+|OL);(?P<prefix>k?)(?P<unit>R)?;"
    with pytest.raises(ValueError, match="named value"):
        LineMeterOptions(pattern="[0-9]+")
    async with meter_at(f"serial:{path}", pattern=pattern.replace("R", "ohm")) as meter:
        feeding = asyncio.create_task(feed_later(master, b"\n", b"CH1;4.70;kohm;\n", b"CH1;OL;;\n"))
        value, over = await take(meter, 2)
        await feeding
    assert (value.value_si, value.resolution_si) == (4700.0, 10.0)
    assert over.kind is Kind.OVERLOAD
    assert value.flags_visible == frozenset()


async def test_on_a_long_line_two_lines_must_agree_if_wanted(pty_pair):
    master, path = pty_pair
    async with meter_at(f"serial:{path}", agreement="near") as meter:
        lines = (b"\n", b"23.41 C\n", b"83.41 C\n", b"23.42 C\n", b"23.42 C\n")
        feeding = asyncio.create_task(feed_later(master, *lines))
        readings = await take(meter, 2)
        await feeding
    assert [(r.value_si, r.conversion) for r in readings] == [(23.42, 3), (23.42, 4)]


async def test_bytes_without_a_line_are_not_called_silence(pty_pair):
    master, path = pty_pair
    async with meter_at(f"serial:{path}", silence_s=0.3) as meter:
        feeding = asyncio.create_task(feed_later(master, *[b"\xff\xfe"] * 20))
        with pytest.raises(FrameGarbled, match="bytes arrive, but no frame"):
            await take(meter, 1)
        await feeding
