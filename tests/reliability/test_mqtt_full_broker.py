"""A broker that is full, refuses or has moved: what waits stays on the journal, and the bench never waits."""

import asyncio
import os
import subprocess
import time
from collections import deque

import aiomqtt
import pytest

from acquire.records import Ask, Pair, Prompt
from tests.brokers import Mosquitto, Subscriber, needs_mosquitto, plain, subscriber
from tests.known_records import verdict, verdicts
from tests.reliability.conftest import publishing
from tests.stand_in_broker import StandIn
from tests.waiting import crowding, until

PROMPT = Prompt(Ask.TOUCH, "PL80-1", Pair("1", "2"), "slow charge", 0, 4)

QUOTA_EXCEEDED, SERVER_BUSY, CONNECTION_RATE, SERVER_MOVED, SHUTTING_DOWN = 0x97, 0x89, 0x9F, 0x9D, 0x8B
"""Reason codes of MQTT 5, 2.4."""


@pytest.fixture(autouse=True)
async def library_at_rest():
    """The client library's own task ends a moment after its connection."""
    yield
    await asyncio.sleep(0.05)


async def written(journal, count):
    """Verdicts as a bench at work writes them; the slowest of them must not have waited for a broker."""
    entries, slowest_s = [], 0.0
    for number in range(1, count + 1):
        before_s = time.perf_counter()
        entries += await journal.append([(verdict(number), None)])
        slowest_s = max(slowest_s, time.perf_counter() - before_s)
    assert slowest_s < 0.5 * crowding(), "the bench waited for the broker"
    return [entry.id for entry in entries]


# ---------------------------------------------------------------------- answers that only a stand-in gives


async def test_a_quota_exceeded_keeps_the_verdict_until_it_is_taken(journal):
    """PUBACK 0x97 is no acknowledgement: the cursor stays, the reason is told, later all comes in order."""
    async with StandIn(publish_codes={"verdict": deque([0, QUOTA_EXCEEDED, QUOTA_EXCEEDED])}) as broker:
        async with publishing(journal, broker.port) as outlet:
            ids = await written(journal, 5)
            await until(lambda: outlet.health.failing)
            assert "Quota exceeded" in outlet.health.failing
            assert "stays on the journal" in outlet.health.failing
            await until(lambda: len(broker.ids()) == 5)
            await until(lambda: outlet.health.cursor == 5)
            assert outlet.health.failures == 2
        assert broker.ids() == ids
        assert broker.connections == 3


@pytest.mark.parametrize("code", [QUOTA_EXCEEDED, SERVER_BUSY, CONNECTION_RATE, SERVER_MOVED])
async def test_a_broker_that_does_not_let_us_in_is_asked_again(journal, code):
    """CONNACK with a reason: told in words, tried again, nothing lost."""
    async with StandIn(connect_codes=deque([code] * 3)) as broker:
        async with publishing(journal, broker.port) as outlet:
            ids = await written(journal, 3)
            await until(lambda: outlet.health.failing)
            words = {0x97: "Quota exceeded", 0x89: "Server busy", 0x9F: "rate exceeded", 0x9D: "moved"}
            assert words[code] in outlet.health.failing
            await until(lambda: len(broker.ids()) == 3)
        assert broker.ids() == ids
        assert broker.connections == 4


@pytest.mark.parametrize("code", [QUOTA_EXCEEDED, SERVER_MOVED, SHUTTING_DOWN])
async def test_a_broker_that_says_goodbye_in_the_middle_gets_the_verdict_again(journal, code):
    """DISCONNECT from its side while a publish waits for its answer."""
    async with StandIn(goodbye=code) as broker:
        async with publishing(journal, broker.port) as outlet:
            ids = await written(journal, 3)
            await until(lambda: len(broker.ids()) == 3)
            assert outlet.health.failures == 1
        assert broker.ids() == ids


async def test_a_refusal_beside_another_answer_is_not_taken_for_that_one(journal):
    """The PUBACK of the status and the refusal of a verdict in one piece: the verdict was not taken.

    Two publishes wait at once when a prompt changes while a verdict is on its way. Whichever is woken first
    must not use up the refusal of the other, or a verdict would be taken for delivered.
    """
    codes = {"verdict": deque([QUOTA_EXCEEDED])}
    async with StandIn(publish_codes=codes, held={"prompt"}) as broker:
        async with publishing(journal, broker.port) as outlet:
            await until(lambda: outlet.connected and any(last == "status" for last, _ in broker.taken))
            outlet.show(PROMPT)
            await until(lambda: not broker.held)
            ids = await written(journal, 2)
            await until(lambda: len(broker.ids()) == 2)
        assert broker.ids() == ids


# ---------------------------------------------------------------------- a real broker that is full


@needs_mosquitto
async def test_a_broker_without_memory_left_keeps_nobody_waiting_and_loses_nothing(journal, tmp_path):
    """Its queue for a subscriber who is away fills its memory, and it throws publishers out."""
    with Mosquitto(tmp_path / "full", "memory_limit 200000\nmax_queued_messages 0") as broker:
        await away(broker.port)
        async with publishing(journal, broker.port, answer_s=3.0) as outlet:
            ids = await written(journal, 120)
            await until(lambda: outlet.health.failing)
            assert outlet.health.cursor < 120
            heard = await back(broker.port, lambda heard: len(set(heard)) == 120)
    assert list(dict.fromkeys(heard)) == ids


async def away(port):
    """Somebody who has asked for the verdicts and has gone home."""
    async with aiomqtt.Client("127.0.0.1", port, identifier="office", clean_session=False) as office:
        await office.subscribe("steadyohm/#", qos=1)


async def back(port, enough, within_s=60.0):
    """The same, back again: ids of the verdicts heard; comes again when the broker throws it out."""
    ear = Subscriber()
    async with asyncio.timeout(within_s):
        while True:
            try:
                async with aiomqtt.Client(
                    "127.0.0.1", port, identifier="office", clean_session=False, timeout=3
                ) as office:
                    async for message in office.messages:
                        ear.heard.append((str(message.topic), plain(message.payload), message.retain))
                        heard = [payload["id"] for payload in ear.of("verdict")]
                        if enough(heard):
                            return heard
            except aiomqtt.MqttError:
                await asyncio.sleep(0.05)


@needs_mosquitto
async def test_a_broker_without_room_for_one_more_client_is_asked_again(journal, tmp_path):
    """`max_connections`: it closes the door without a word, until somebody leaves."""
    with Mosquitto(tmp_path / "full", "max_connections 1") as broker:
        async with subscriber(broker.port) as ear:
            async with aiomqtt.Client("127.0.0.1", broker.port), publishing(journal, broker.port) as outlet:
                ids = await written(journal, 3)
                await until(lambda: outlet.health.failures >= 2)
                assert await journal.cursor("mqtt") == 0
            async with publishing(journal, broker.port):
                await ear.until(lambda e: len(e.of("verdict")) == 3)
    assert [payload["id"] for payload in ear.of("verdict")] == ids


@pytest.fixture
def full_disk(tmp_path):
    """A file system without a byte left."""
    disk = tmp_path / "disk"
    disk.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)]
    if os.geteuid() != 0 or subprocess.run(words, capture_output=True, check=False).returncode != 0:
        pytest.skip("this user may not mount a small tmpfs")
    room = os.statvfs(disk)
    (disk / "ballast").write_bytes(bytes(room.f_bavail * room.f_frsize))
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


@needs_mosquitto
async def test_a_broker_whose_own_disk_is_full_still_passes_everything_on(journal, tmp_path, full_disk):
    """It cannot save what it keeps; the bench neither waits nor loses, after a kill it sends what is left."""
    more = f"persistence true\npersistence_location {full_disk}/\nautosave_interval 1"
    with Mosquitto(tmp_path / "broker", more) as broker:
        async with subscriber(broker.port) as ear, publishing(journal, broker.port) as outlet:
            ids = await written(journal, 40)
            await ear.until(lambda e: len(e.of("verdict")) == 40)
            await until(lambda: "Saving in-memory" in (broker.folder / "mosquitto.log").read_text())
            assert not [f for f in full_disk.glob("mosquitto.db*") if f.stat().st_size], "it was saved"
            broker.kill()
            await until(lambda: not outlet.connected and not ear.ready.is_set())
            broker.start()
            await asyncio.wait_for(ear.ready.wait(), 30.0)
            ids += [entry.id for entry in await journal.append(verdicts(3))]
            await ear.until(lambda e: {p["id"] for p in e.of("verdict")} >= set(ids))
            await until(lambda: outlet.health.cursor == 43)
    assert list(dict.fromkeys(payload["id"] for payload in ear.of("verdict"))) == ids
