"""Broker killed, frozen, gone for long, moved; network that drops and delays: nothing lost, nobody waits."""

import asyncio
import time
from pathlib import Path

from tests.brokers import Mosquitto, needs_mosquitto, subscriber
from tests.known_records import verdict, verdicts
from tests.relay import Relay
from tests.reliability.conftest import publishing
from tests.waiting import crowding, until

pytestmark = needs_mosquitto


def agreed(ear, entries):
    """Every entry was heard, first hearings in order; copies are equal. How many copies there were."""
    first = {}
    for payload in ear.of("verdict"):
        if payload["id"] in first:
            assert first[payload["id"]] == payload, "a copy differs"
        else:
            first[payload["id"]] = payload
    assert list(first) == [entry.id for entry in entries]
    return len(ear.of("verdict")) - len(first)


async def all_heard(ear, entries, timeout_s=30.0):
    wanted = {entry.id for entry in entries}
    await ear.until(lambda e: wanted <= {payload["id"] for payload in e.of("verdict")}, timeout_s)


async def test_hours_of_outage_are_caught_up_in_order(journal, tmp_path):
    """200 verdicts while there is no broker at all; each append takes its usual time."""
    broker = Mosquitto(tmp_path / "broker")
    entries, slowest_s = [], 0.0
    async with publishing(journal, broker.port) as outlet:
        for number in range(200):
            before_s = time.perf_counter()
            entries += await journal.append([(verdict(number), None)])
            slowest_s = max(slowest_s, time.perf_counter() - before_s)
        assert outlet.health.failures > 0
        with broker:
            async with subscriber(broker.port) as ear:
                await all_heard(ear, entries)
                assert agreed(ear, entries) == 0
            await outlet_at(outlet, 200)
    assert slowest_s < 0.5 * crowding(), "the bench waited for the broker"


async def outlet_at(outlet, seq):
    await until(lambda: outlet.health.cursor >= seq)


async def test_a_broker_killed_again_and_again_loses_nothing(journal, mosquitto):
    """Verdicts go on being written meanwhile; the broker forgets everything each time."""
    entries = []
    async with publishing(journal, mosquitto.port) as outlet:
        heard = []
        for round_ in range(4):
            async with subscriber(mosquitto.port) as ear:
                for number in range(30):
                    entries += await journal.append([(verdict(100 * round_ + number), None)])
                    await asyncio.sleep(0.002)
                await outlet_at(outlet, len(entries))
                await all_heard(ear, entries[-1:])
                heard += ear.of("verdict")
                mosquitto.kill()
            entries += await journal.append([(verdict(100 * round_ + 99), None)])
            mosquitto.start()
        await outlet_at(outlet, len(entries))

    # Between two subscribers nobody listens, so only what the broker had confirmed is looked at: all of it.
    assert outlet.health.cursor == len(entries)
    assert {payload["id"] for payload in heard} <= {entry.id for entry in entries}
    assert len({payload["id"] for payload in heard}) >= 120


async def test_a_frozen_broker_gets_copies_with_the_same_id(journal, mosquitto):
    """SIGSTOP: it takes bytes and answers nothing. The bench does not wait; after SIGCONT all is there."""
    async with subscriber(mosquitto.port) as ear, publishing(journal, mosquitto.port) as outlet:
        entries = await journal.append(verdicts(5))
        await all_heard(ear, entries)
        mosquitto.freeze()
        before_s = time.perf_counter()
        for number in range(6, 40):
            entries += await journal.append([(verdict(number), None)])
        assert time.perf_counter() - before_s < 2.0 * crowding()
        await until(lambda: outlet.health.failing)
        mosquitto.thaw()
        await all_heard(ear, entries)
        await outlet_at(outlet, len(entries))
        copies = agreed(ear, entries)

    assert copies >= 1, "the publish that timed out arrives all the same, and again"


async def test_days_with_a_frozen_broker_use_no_more_sockets_and_tasks(journal, mosquitto):
    """It takes every connection and answers none; the library would keep a socket and a task for each."""

    def in_use():
        return len(list(Path("/proc/self/fd").iterdir())), len(asyncio.all_tasks())

    async with publishing(journal, mosquitto.port, answer_s=0.05) as outlet:
        await journal.append(verdicts(1))
        await outlet_at(outlet, 1)
        before = in_use()
        mosquitto.freeze()
        await journal.append(verdicts(1))
        await until(lambda: outlet.health.failures >= 25)
        after = in_use()
        mosquitto.thaw()
        await outlet_at(outlet, 2)

    assert after[0] <= before[0] + 2
    assert after[1] <= before[1] + 2


async def test_nothing_is_sent_again_inside_a_connection(journal, mosquitto):
    """[MQTT-4.4.0-1]: a slow broker gets each publish once, however long the answer takes."""
    async with (
        subscriber(mosquitto.port) as ear,
        Relay(mosquitto.port, delay_s=0.1) as relay,
        publishing(journal, relay.port, answer_s=2.0) as outlet,
    ):
        entries = await journal.append(verdicts(6))
        await all_heard(ear, entries)
        await outlet_at(outlet, 6)

        assert agreed(ear, entries) == 0
        assert outlet.health.failures == 0


async def test_a_network_that_drops_connections_loses_nothing(journal, mosquitto):
    """Cut again and again while verdicts flow; each cut hits a living connection."""
    entries, cuts = [], 7

    async def write_until(condition):
        while not condition():
            entries.extend(await journal.append([(verdict(len(entries)), None)]))
            await asyncio.sleep(0.005)

    async with (
        subscriber(mosquitto.port) as ear,
        Relay(mosquitto.port, delay_s=0.001) as relay,
        publishing(journal, relay.port) as outlet,
    ):
        for cut in range(cuts):
            enough = len(entries) + 17
            await write_until(lambda enough=enough: len(entries) >= enough and outlet.connected)
            relay.cut()
            await write_until(lambda cut=cut: outlet.health.failures > cut)
        await all_heard(ear, entries)
        await outlet_at(outlet, len(entries))
        agreed(ear, entries)
        assert outlet.health.failures >= cuts


async def test_a_cable_that_leads_nowhere_is_noticed_by_the_next_verdict(journal, mosquitto):
    """Nothing passes and nothing is told; it ends with the time for an answer."""
    async with (
        subscriber(mosquitto.port) as ear,
        Relay(mosquitto.port) as relay,
        publishing(journal, relay.port) as outlet,
    ):
        await ear.until(lambda e: e.of("status"))
        relay.flowing.clear()
        entries = await journal.append(verdicts(3))
        await until(lambda: outlet.health.failing)
        relay.flowing.set()
        await all_heard(ear, entries)
        agreed(ear, entries)


async def test_a_broker_that_moves_is_found_again(journal, mosquitto, tmp_path):
    """The same address leads to another machine from one moment to the next."""
    with Mosquitto(tmp_path / "elsewhere") as elsewhere:
        async with Relay(mosquitto.port) as relay, publishing(journal, relay.port) as outlet:
            await journal.append(verdicts(3))
            await outlet_at(outlet, 3)
            async with subscriber(elsewhere.port) as ear:
                relay.target = elsewhere.port
                relay.cut()
                entries = await journal.append(verdicts(3))
                await all_heard(ear, entries)

    assert ear.of("status")[0]["state"] == "online"


async def test_a_stop_while_the_broker_is_frozen_takes_no_longer_than_allowed(journal, mosquitto):
    """systemd gives five seconds; the cursor stands where it got to."""
    async with publishing(journal, mosquitto.port) as outlet:
        await journal.append(verdicts(2))
        await outlet_at(outlet, 2)
        mosquitto.freeze()
        await journal.append(verdicts(2))
        before_s = time.perf_counter()
    assert time.perf_counter() - before_s < 4.0 * crowding()
    assert await journal.cursor("mqtt") == 2
