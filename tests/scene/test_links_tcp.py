"""TCP channels on real sockets."""

from __future__ import annotations

import asyncio
import socket
import subprocess
import sys
import time

import pytest

from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable
from drivers.link.opening import channel_for
from tests.waiting import crowding


@pytest.fixture
async def peer():
    """A server that hands out its accepted connections."""
    accepted: asyncio.Queue = asyncio.Queue()
    server = await asyncio.start_server(lambda r, w: accepted.put_nowait((r, w)), "127.0.0.1", 0)
    yield server.sockets[0].getsockname()[1], accepted
    server.close()
    while not accepted.empty():
        accepted.get_nowait()[1].close()
    await asyncio.sleep(0)


async def test_bytes_go_both_ways_without_delay(peer):
    port, accepted = peer
    channel = channel_for(f"tcp:127.0.0.1:{port}")
    await channel.open()
    reader, writer = await accepted.get()
    await channel.write(b"READ?\n", 1.0)
    assert await reader.readline() == b"READ?\n"
    writer.write(b"+1.0\n")
    assert await channel.read_some(1.0) == b"+1.0\n"
    assert channel._writer.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
    writer.close()
    await channel.close()


async def test_silence_is_a_timeout_and_the_end_of_file_is_a_loss(peer):
    port, accepted = peer
    channel = channel_for(f"tcp:127.0.0.1:{port}")
    await channel.open()
    _, writer = await accepted.get()
    started_s = time.monotonic()
    with pytest.raises(LinkTimeout):
        await channel.read_some(0.1)
    assert 0.09 < time.monotonic() - started_s < 0.5 * crowding()
    writer.close()
    with pytest.raises(LinkLost, match="closed the connection"):
        await channel.read_some(1.0)
    await channel.close()


async def test_a_reset_connection_is_a_loss(peer):
    port, accepted = peer
    channel = channel_for(f"tcp:127.0.0.1:{port}")
    await channel.open()
    _, writer = await accepted.get()
    sock = writer.get_extra_info("socket")
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\x00\x00\x00\x00\x00\x00\x00")
    writer.transport.abort()
    with pytest.raises(LinkLost):
        await channel.read_some(1.0)
    await channel.close()


async def test_a_refused_port_and_an_unknown_name_are_told_apart():
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port = sock.getsockname()[1]
        with pytest.raises(LinkUnavailable, match="nothing listens"):
            await channel_for(f"tcp:127.0.0.1:{port}").open()
    with pytest.raises(LinkUnavailable, match=r"not known|cannot be reached"):
        await channel_for("tcp:no-such-host.invalid:5025").open()


HOLDER = """
import socket, sys
kept = socket.create_connection(("127.0.0.1", int(sys.argv[1])))
print("held", flush=True)
input()
"""


@pytest.mark.skipif(sys.platform != "linux", reason="no other system tells who is connected")
async def test_a_meter_that_another_program_here_asks_is_refused_and_its_holder_named(peer):
    """Only where questions are asked: a stream can be heard by several, and this program may come twice."""
    port, _ = peer
    own = channel_for(f"tcp:127.0.0.1:{port}")
    await own.open()
    asking = channel_for(f"tcp:localhost:{port}", alone=True)
    await asking.open()
    await asking.close()
    holder = await asyncio.create_subprocess_exec(
        sys.executable, "-c", HOLDER, str(port), stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    try:
        assert await holder.stdout.readline() == b"held\n"
        with pytest.raises(LinkUnavailable, match=rf"in use by python.*\(process {holder.pid}\)"):
            await asking.open()
        heard = channel_for(f"tcp:127.0.0.1:{port}")
        await heard.open()
        await heard.close()
    finally:
        await holder.communicate(b"\n")
    await asking.open()
    await asking.close()
    await own.close()
