"""Hand meters on a pty: streams, questions, repeats, agreement, dial and damage."""

from __future__ import annotations

import asyncio
import os
import select
import threading
import time
import tty

import pytest

from drivers.errors import FrameGarbled, LinkLost, LinkTimeout
from drivers.handheld.hand_meter import RECENT_S
from drivers.handheld.meters import Ascii14Meter, Parity11Meter, Segments14Meter, Status14Meter, TwoLineMeter
from drivers.meter import Meter, Setup
from drivers.reading import Flag, Kind, Origin, Quantity
from tests.waiting import crowding

OHM_12_3 = bytes.fromhex("2b 30 31 32 33 20 34 21 00 00 20 00 0d 0a")
OHM_12_4 = bytes.fromhex("2b 30 31 32 34 20 34 21 00 00 20 00 0d 0a")
OHM_OPEN = bytes.fromhex("2b 3f 30 3a 3f 20 32 20 00 10 20 00 0d 0a")
OHM_123_BY_A_FLIPPED_BIT = bytes.fromhex("2b 30 31 32 33 20 30 21 00 00 20 00 0d 0a")
OHM_MANUAL_4M = bytes.fromhex("2b 30 30 30 31 20 31 00 00 10 20 00 0d 0a")
VOLT_DC = bytes.fromhex("2d 31 32 33 34 20 31 31 00 00 80 8c 0d 0a")
ES_12_3 = bytes.fromhex("30 30 31 32 33 33 30 30 32 0d 0a")


def clock():
    return time.monotonic(), time.time()


@pytest.fixture
def pty_pair():
    master, slave = os.openpty()
    tty.setraw(slave)
    yield master, os.ttyname(slave)
    os.close(master)
    os.close(slave)


def meter_at(kind, path, **options):
    return kind(meter_id="h", address=f"serial:{path}", clock=clock, options=kind.Options(**options))


async def send(master, *frames, pause_s=0.03):
    await asyncio.sleep(0.1)
    for frame in frames:
        os.write(master, frame)
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


async def test_two_agreeing_frames_make_two_readings_and_a_lonely_one_none(pty_pair):
    master, path = pty_pair
    async with meter_at(Status14Meter, path) as meter:
        assert isinstance(meter, Meter)
        frames = (OHM_12_3, OHM_123_BY_A_FLIPPED_BIT, OHM_12_4, OHM_12_3, OHM_OPEN, OHM_OPEN)
        sending = asyncio.create_task(send(master, *frames))
        readings = await take(meter, 4)
        await sending
    assert [r.value_si for r in readings] == [12.4, 12.3, None, None]
    assert [r.conversion for r in readings] == [3, 4, 5, 6]
    assert readings[2].kind is Kind.OVERLOAD
    first = readings[0]
    assert (first.resolution_si, first.range_full_scale_si, first.range_origin) == (
        0.1,
        600.0,
        Origin.INFERRED,
    )
    assert first.flags == {Flag.AUTO_RANGE}
    assert Flag.HOLD in first.flags_visible
    assert first.raw == OHM_12_4


async def test_without_agreement_every_frame_counts(pty_pair):
    master, path = pty_pair
    async with meter_at(Status14Meter, path, agreement="off") as meter:
        sending = asyncio.create_task(send(master, OHM_12_3, OHM_123_BY_A_FLIPPED_BIT))
        readings = await take(meter, 2)
        await sending
    assert [r.value_si for r in readings] == [12.3, 123.0]


async def test_a_frame_sent_twice_is_one_conversion(pty_pair):
    master, path = pty_pair
    async with meter_at(Parity11Meter, path) as meter:
        pairs = [ES_12_3 + ES_12_3] * 3
        sending = asyncio.create_task(send(master, *pairs, pause_s=0.2))
        readings = await take(meter, 3)
        await sending
        assert Flag.HOLD not in meter.capabilities.flags_visible, "this chip does not send HOLD"
    assert [r.conversion for r in readings] == [1, 2, 3]
    assert readings[2].monotonic_s - readings[0].monotonic_s == pytest.approx(0.4, abs=0.15)


async def test_half_frames_and_noise_cost_frames_but_give_no_reading(pty_pair):
    master, path = pty_pair
    async with meter_at(Status14Meter, path) as meter:
        pieces = (OHM_12_3[5:], OHM_12_3, b"\xff\x00", OHM_12_3[:9], OHM_12_3[9:], OHM_12_3)
        sending = asyncio.create_task(send(master, *pieces))
        readings = await take(meter, 2)
        await sending
    assert {r.value_si for r in readings} == {12.3}


async def test_configure_says_what_to_turn_before_it_costs_a_verdict(pty_pair):
    master, path = pty_pair
    async with meter_at(Status14Meter, path, look_s=0.5) as meter:
        held = await meter.configure(Setup(Quantity.RESISTANCE, expected_si=20.0))
        assert held.please_turn == ("Switch the meter on and set the dial to ohms.",)
        sending = asyncio.create_task(send(master, VOLT_DC, VOLT_DC))
        held = await meter.configure(Setup(Quantity.RESISTANCE, expected_si=20.0))
        await sending
        assert held.please_turn == ("Set the dial to ohms.",)
        await asyncio.sleep(RECENT_S)
        sending = asyncio.create_task(send(master, OHM_MANUAL_4M))
        held = await meter.configure(Setup(Quantity.RESISTANCE, expected_si=20.0))
        await sending
        assert held.please_turn == ()  # only the bench knows which ranges there are
        assert held.range_full_scale_si == 6e6
        await asyncio.sleep(RECENT_S)
        sending = asyncio.create_task(send(master, OHM_12_3))
        held = await meter.configure(Setup(Quantity.RESISTANCE, expected_si=20.0))
        await sending
        assert held.please_turn == ()
        assert held.range_full_scale_si == 600.0


async def test_configuring_while_readings_flow_watches_through_them(pty_pair):
    master, path = pty_pair
    async with meter_at(Status14Meter, path) as meter:
        stream = meter.readings()
        sending = asyncio.create_task(send(master, *[VOLT_DC] * 12))
        await anext(stream)
        consuming = asyncio.create_task(anext(stream))
        held = await meter.configure(Setup(Quantity.RESISTANCE))
        assert held.please_turn == ("Set the dial to ohms.",)
        await consuming
        await stream.aclose()
        await sending


async def test_configuring_between_two_readings_of_ones_own_loop_does_not_wait_for_itself(pty_pair):
    master, path = pty_pair
    async with meter_at(Status14Meter, path) as meter:
        sending = asyncio.create_task(send(master, *[OHM_12_3] * 40))
        stream = meter.readings()
        await anext(stream)
        await asyncio.sleep(RECENT_S + 0.1)  # the consumer was slow; what is known is old
        started_s = time.monotonic()
        held = await meter.configure(Setup(Quantity.RESISTANCE, expected_si=20.0))
        assert time.monotonic() - started_s < 0.5 * crowding()
        assert held.please_turn == ()
        assert (await anext(stream)).value_si == 12.3
        await stream.aclose()
        await sending


async def test_silence_loss_and_rubbish_are_told_apart(pty_pair):
    master, path = pty_pair
    async with meter_at(Status14Meter, path, silence_s=0.2) as meter:
        with pytest.raises(LinkTimeout, match=r"no frame for 0\.2 s"):
            await take(meter, 1)
    async with meter_at(Status14Meter, path, silence_s=2.0) as meter:
        sending = asyncio.create_task(send(master, *[b"\x80\x00\xe0" * 100] * 4, pause_s=0))
        with pytest.raises(FrameGarbled, match="not a frame of status14"):
            await take(meter, 1)
        await sending
    own_master, own_slave = os.openpty()
    async with meter_at(Status14Meter, os.ttyname(own_slave)) as meter:
        os.close(own_slave)
        os.close(own_master)
        with pytest.raises(LinkLost):
            await take(meter, 1)


@pytest.mark.parametrize(
    ("status", "words"),
    [("20 08", "switched itself off"), ("20 04", "battery was low"), ("20 00", "Is the meter busy")],
)
async def test_a_meter_that_falls_silent_is_told_why_it_may_have(pty_pair, status, words):
    master, path = pty_pair
    frame = bytes.fromhex(f"2b 30 31 32 33 20 34 {status} 00 20 00 0d 0a")
    async with meter_at(Status14Meter, path, silence_s=0.3) as meter:
        sending = asyncio.create_task(send(master, frame, frame))
        with pytest.raises(LinkTimeout, match=words):
            await take(meter, 3)
        await sending


async def answering(master, script):
    """Answer each question that arrives with the next of the script; None stays silent."""

    def play():
        for answer in script:
            question = os.read(master, 1)  # a letter is a question
            if answer is not None:
                os.write(master, answer(question))

    await asyncio.to_thread(play)


async def test_a_set_that_is_asked_with_a_letter_is_asked_again_after_silence(pty_pair):
    master, path = pty_pair
    asked = []

    def answer(question):
        asked.append(question)
        return b"OH  12.34 Ohm\r"

    async with meter_at(Ascii14Meter, path, poll_s=0.01, reply_timeout_s=0.1) as meter:
        assert meter.capabilities.streaming is False
        playing = asyncio.create_task(answering(master, [answer, None, answer]))
        readings = await take(meter, 2)
        await asyncio.wait_for(playing, 2)
    assert asked == [b"D", b"D"]
    assert [r.value_si for r in readings] == [12.34, 12.34]


async def test_an_answer_that_comes_late_is_not_the_next_ones(pty_pair):
    master, path = pty_pair
    stop = threading.Event()

    def play():
        late = True
        while not stop.is_set():
            if not select.select([master], [], [], 0.02)[0]:
                continue
            questions = os.read(master, 64).count(b"\r")
            if late:
                late = False
                time.sleep(0.25)  # after the timeout of 0.1 s, and after the second question
                os.write(master, b"0\r+9.900E+1,OHM,NORMAL,NONE\r")
                questions -= 1
            for _ in range(questions):
                os.write(master, b"0\r+1.047E+1,OHM,NORMAL,NONE\r")

    async with meter_at(TwoLineMeter, path, poll_s=0.02, reply_timeout_s=0.1) as meter:
        playing = asyncio.create_task(asyncio.to_thread(play))
        readings = await take(meter, 2)
        stop.set()
        await playing
    assert [r.value_si for r in readings] == [10.47, 10.47], "one stray answer has no neighbour that agrees"


async def test_segments_of_a_display_are_read(pty_pair):
    master, path = pty_pair
    frame = bytes.fromhex("13 27 3d 40 55 65 7b 89 9f a0 b0 c4 d0 e0")  # 012.3 ohm, AUTO, worked by hand
    async with meter_at(Segments14Meter, path) as meter:
        sending = asyncio.create_task(send(master, frame, frame))
        (reading, _) = await take(meter, 2)
        await sending
    assert reading.value_si == 12.3
