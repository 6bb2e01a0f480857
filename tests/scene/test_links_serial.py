"""Serial channels on real pseudo terminals, over rfc2217, and against other programs."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

import pytest

from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable
from drivers.link.opening import channel_for
from system.devices import holders_of, why_no_permission

HOLDER = (
    "import fcntl, os, sys; f = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY); "
    "fcntl.flock(f, fcntl.LOCK_EX); print('held', flush=True); sys.stdin.read()"
)


@pytest.fixture
def pty_pair():
    master, slave = os.openpty()
    tty.setraw(slave)
    yield master, os.ttyname(slave)
    os.close(master)
    os.close(slave)


async def test_bytes_go_both_ways_and_the_object_can_be_opened_again(pty_pair):
    master, path = pty_pair
    channel = channel_for(f"serial:{path}?baud=19230&dtr=on&rts=off")
    for _ in range(2):
        await channel.open()
        await channel.write(b"*IDN?\n", 1.0)
        assert os.read(master, 64) == b"*IDN?\n"
        os.write(master, b"abc")
        assert await channel.read_some(1.0) == b"abc"
        await channel.close()


async def test_a_cancelled_read_loses_no_byte(pty_pair):
    master, path = pty_pair
    channel = channel_for(f"serial:{path}")
    await channel.open()
    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.05):
            await channel.read_some(5.0)
    os.write(master, b"late")
    assert await channel.read_some(1.0) == b"late"
    with pytest.raises(LinkTimeout):
        await channel.read_some(0.05)
    await channel.close()


async def test_draining_takes_what_comes_until_it_is_quiet(pty_pair):
    master, path = pty_pair
    channel = channel_for(f"serial:{path}")
    await channel.open()

    async def trickle():
        for _ in range(5):
            os.write(master, b"x" * 10)
            await asyncio.sleep(0.02)

    feeding = asyncio.create_task(trickle())
    assert await channel.drain(0.15) == b"x" * 50
    await feeding
    await channel.close()


async def test_an_unplugged_port_is_lost_for_reading_and_writing():
    master, slave = os.openpty()
    channel = channel_for(f"serial:{os.ttyname(slave)}")
    await channel.open()
    reading = asyncio.create_task(channel.read_some(5.0))
    await asyncio.sleep(0.05)
    os.close(slave)
    os.close(master)
    with pytest.raises(LinkLost, match="went away"):
        await asyncio.wait_for(reading, 1.0)
    with pytest.raises(LinkLost):
        await channel.write(b"x", 1.0)
    await channel.close()
    with pytest.raises(LinkLost, match="closed"):
        await channel.read_some(0.1)


async def test_a_port_that_does_not_exist_is_said_so():
    channel = channel_for("serial:/dev/ttyNOTHERE")
    with pytest.raises(LinkUnavailable, match="there is no such port"):
        await channel.open()


async def test_two_owners_of_one_port_are_refused(pty_pair):
    _, path = pty_pair
    first, second = channel_for(f"serial:{path}"), channel_for(f"serial:{path}")
    await first.open()
    with pytest.raises(LinkUnavailable, match="in use"):
        await second.open()
    await first.close()
    await second.open()
    await second.close()


async def test_another_program_on_the_port_is_named(pty_pair):
    _, path = pty_pair
    holder = subprocess.Popen(  # noqa: ASYNC220 - it starts at once and is only waited for in a thread
        [sys.executable, "-c", HOLDER, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        assert await asyncio.to_thread(holder.stdout.readline) == "held\n"
        assert any(str(holder.pid) in name for name in holders_of(path))
        channel = channel_for(f"serial:{path}")
        with pytest.raises(LinkUnavailable, match=rf"in use by python.*\(process {holder.pid}\)"):
            await channel.open()
    finally:
        holder.communicate("")


async def test_a_port_that_a_program_without_locks_holds_is_refused_too(tmp_path):
    """Not every program locks its port; who holds it is then seen in the list of open files."""
    device = tmp_path / "port"
    device.touch()
    with subprocess.Popen(["tail", "-f", str(device)], stdout=subprocess.DEVNULL) as holder:  # noqa: ASYNC220
        while not holders_of(str(device)):
            time.sleep(0.01)  # noqa: ASYNC251 - nothing else runs here
        with pytest.raises(LinkUnavailable, match=rf"in use by tail \(process {holder.pid}\)"):
            await channel_for(f"serial:{device}").open()
        holder.terminate()


def test_permission_denied_names_the_group_to_join(tmp_path):
    device = tmp_path / "port"
    device.touch()
    device.chmod(0o660)
    sentence = why_no_permission(str(device))
    import grp

    assert f"usermod -aG {grp.getgrgid(device.stat().st_gid).gr_name} $USER" in sentence
    device.chmod(0o600)
    assert "Only its owner" in why_no_permission(str(device))


def open_descriptors():
    return len(list(Path("/proc/self/fd").iterdir()))


async def test_opening_and_closing_leaks_neither_threads_nor_descriptors(pty_pair):
    _, path = pty_pair
    channel = channel_for(f"serial:{path}")
    await channel.open()
    await channel.close()
    descriptors, threads = open_descriptors(), threading.active_count()
    for _ in range(20):
        await channel.open()
        await channel.close()
    assert open_descriptors() == descriptors
    assert threading.active_count() == threads


async def test_a_port_that_carries_only_8_bits_opens_again_and_again():
    """A pty refuses 7 bits as soon as nothing else changes; decoders mask the eighth."""
    master, slave = os.openpty()
    tty.setraw(slave)
    address = f"serial:{os.ttyname(slave)}?baud=1200&bits=7&stop=2"
    for _ in range(3):
        channel = channel_for(address)
        await channel.open()
        os.write(master, b"\xb1\r")
        assert (await channel.read_some(2.0))[:1] in {b"1", b"\xb1"}
        await channel.close()
    os.close(master)
    os.close(slave)
