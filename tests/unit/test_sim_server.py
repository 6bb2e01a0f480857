"""Links of the simulated bench: loopback TCP and pty, and what can be wrong with a line."""

from __future__ import annotations

import asyncio
import os
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.bench import stream_session
from sim.clock import BenchClock
from sim.server import LineTrouble, on_pty, on_tcp


async def echo(wire):
    """A session that sends back what it hears."""
    while data := await wire.incoming.read(100):
        await wire.send(data)


async def over_tcp(address, message):
    """Send a message, give the answer."""
    _, host, port = address.split(":")
    incoming, outgoing = await asyncio.open_connection(host, int(port))
    outgoing.write(message)
    answer = await incoming.read(100)
    outgoing.close()
    await outgoing.wait_closed()
    return answer


async def test_a_session_is_served_to_several_clients_on_loopback_only():
    """One after the other and side by side."""
    async with on_tcp(echo) as address:
        assert address.startswith("tcp:127.0.0.1:")
        answers = await asyncio.gather(*(over_tcp(address, b"%d" % k) for k in range(3)))
    assert answers == [b"0", b"1", b"2"]


async def test_closing_the_server_ends_sessions_that_are_still_open():
    """No task is left; the client sees the end."""
    async with on_tcp(echo) as address:
        _, host, port = address.split(":")
        incoming, outgoing = await asyncio.open_connection(host, int(port))
        outgoing.write(b"x")
        assert await incoming.read(1) == b"x"
    assert await incoming.read(1) == b""
    outgoing.close()


async def test_a_pty_carries_every_byte_unchanged_and_survives_clients_that_come_and_go():
    """Raw mode: no echo, no translation of line ends."""
    message = bytes(range(256)).replace(b"\x03", b"")
    async with on_pty(echo) as address:
        path = address.removeprefix("serial:")
        for _ in range(2):
            port = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            os.write(port, message)
            got = b""
            while len(got) < len(message):
                await asyncio.sleep(0.01)
                try:
                    got += os.read(port, 1000)
                except BlockingIOError:
                    continue
            os.close(port)
            assert got == message


async def test_a_dead_session_on_a_pty_is_not_kept_secret():
    """Its error comes out where the port is closed."""

    async def broken(wire):
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        async with on_pty(broken):
            await asyncio.sleep(0.01)


async def test_a_stream_ends_when_its_client_hangs_up():
    """Messages come at the bench's pace."""
    async with on_tcp(stream_session(BenchClock(100.0), 0.5, lambda: b".")) as address:
        assert set(await over_tcp(address, b"")) == set(b".")  # the client may be slow


@given(st.binary(max_size=200))
def test_a_sound_line_changes_nothing(data):
    """No trouble, no dice."""
    assert LineTrouble().spoil(data) == data


def test_a_bad_line_loses_and_garbles_about_as_many_bytes_as_it_says():
    """One in ten each, of ten thousand."""
    data = b"U" * 10_000
    lossy = LineTrouble(drop=0.1, dice=random.Random(1)).spoil(data)
    assert 8_800 < len(lossy) < 9_200
    garbled = LineTrouble(garble=0.1, dice=random.Random(1)).spoil(data)
    assert len(garbled) == len(data)
    assert 850 < sum(byte != ord("U") for byte in garbled) < 1150


async def test_a_line_stalls_as_often_and_as_long_as_it_says():
    """Real seconds, since a line knows nothing of simulated ones."""
    loop = asyncio.get_running_loop()
    began_s = loop.time()
    await LineTrouble(stall=1.0, stall_s=0.1, delay_s=0.05).hold_back()
    assert loop.time() - began_s == pytest.approx(0.15, abs=0.08)
