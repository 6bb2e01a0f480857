"""A collector between a real broker and a real database: what it acknowledges is committed."""

import asyncio
import contextlib
import os
import signal
import time
from dataclasses import replace

import aiomqtt
import psutil
import psycopg
import pytest
from structlog.testing import capture_logs

from acquire.clock import RealClock
from acquire.line import collecting as collecting_module
from acquire.line import sql
from acquire.line.collecting import Collector, identifier
from acquire.line.collector_file import CollectorSettings
from acquire.line.migrating import DatabaseUnfit
from acquire.outlets.mqtt import Broker
from tests.brokers import Mosquitto, needs_mosquitto, subscriber
from tests.known_records import ALL, verdict
from tests.postgres import database, needs_postgres, server  # noqa: F401  (a fixture)
from tests.unit.test_line_incoming import message
from tests.waiting import PATIENCE_S, crowding
from tests.waiting import until as until_in_the_loop

pytestmark = [needs_mosquitto, needs_postgres]


@pytest.fixture
def mosquitto(tmp_path):
    """A broker that lets many messages be under way."""
    with Mosquitto(tmp_path / "broker", "max_inflight_messages 0\nset_tcp_nodelay true") as broker:
        yield broker


@contextlib.asynccontextmanager
async def collecting(port, address, **rules):
    """A collector at work; it ends with a clean stop."""
    settings = CollectorSettings(**{"name": "one", **rules})
    collector = Collector(settings, Broker(host="127.0.0.1", port=port, answer_s=1.0), address, RealClock())
    stop = asyncio.Event()
    task = asyncio.create_task(collector.run(stop), name="collector")
    try:
        async with asyncio.timeout(10.0):
            while "collects" not in collector.state:  # noqa: ASYNC110
                await asyncio.sleep(0.01)
        yield collector
    finally:
        stop.set()
        await asyncio.wait_for(task, 6.0)


async def publish(port, *messages):
    """As benches do."""
    async with aiomqtt.Client("127.0.0.1", port) as client:
        for topic, payload in messages:
            await client.publish(topic, payload, qos=1)


def verdicts(count, first=1):
    """Messages in order."""
    return [message(verdict(n), n) for n in range(first, first + count)]


def count(address, table="entry"):
    """What another client sees."""
    with psycopg.connect(address) as connection:
        if connection.execute("SELECT to_regclass(%s)", (f"steadyohm.{table}",)).fetchone()[0] is None:
            return 0
        return connection.execute(f"SELECT count(*) FROM steadyohm.{table}").fetchone()[0]  # noqa: S608


async def until(condition, within_s=PATIENCE_S):
    """Wait for something that a query tells, which the loop must not wait for."""
    await until_in_the_loop(lambda: asyncio.to_thread(condition), within_s)


def children(process):
    """Numbers of the processes that one has started."""
    return [child.pid for child in psutil.Process(process).children()]


def tell(processes, number):
    """Send a signal to processes; one that served a query may have ended meanwhile."""
    for process in processes:
        with contextlib.suppress(ProcessLookupError):
            os.kill(process, number)


@contextlib.contextmanager
def locked(address):
    """Somebody holds the table: every batch waits."""
    with psycopg.connect(address) as connection:
        connection.execute("LOCK TABLE steadyohm.entry IN ACCESS EXCLUSIVE MODE")
        yield connection


async def test_all_kinds_arrive_and_the_bench_is_told_how_far(mosquitto, database):  # noqa: F811
    """One message each; `ack` says what is complete."""
    ours = [replace(r, bench="north bench") if hasattr(r, "bench") else r for r in ALL]
    messages = [message(record, n) for n, record in enumerate(ours, start=1)]
    async with subscriber(mosquitto.port, "steadyohm/v2/+/ack") as ear, collecting(mosquitto.port, database):
        await publish(mosquitto.port, *messages)
        await until(lambda: count(database) == len(messages))
        await ear.until(lambda e: e.of("ack"))
    said = ear.of("ack")[-1]
    assert (said["bench"], said["journal"], said["schema"]) == ("north bench", "0123456789abcdef", 2)
    assert said["seq"] == len(ALL)


async def test_a_bench_of_version_1_is_collected_and_told_on_its_own_topic(mosquitto, database):  # noqa: F811
    """It knows neither the other root nor the other word."""
    topic, payload = message(verdict(), 1)
    old = topic.replace("/v2/", "/v1/"), payload.replace(b'"schema":2', b'"schema":1')
    async with subscriber(mosquitto.port, "steadyohm/v1/+/kept") as ear, collecting(mosquitto.port, database):
        await publish(mosquitto.port, old)
        await ear.until(lambda e: e.of("kept"))
    said = ear.of("kept")[-1]
    assert (said["journal"], said["seq"], said["schema"]) == ("0123456789abcdef", 1, 1)


async def test_nothing_is_acknowledged_before_it_is_committed(mosquitto, database):  # noqa: F811
    """A collector that dies while the database holds its batch up leaves all of it to the next."""
    async with collecting(mosquitto.port, database):
        await publish(mosquitto.port, *verdicts(1))
        await until(lambda: count(database) == 1)
    with locked(database):
        doomed = Collector(
            CollectorSettings(name="one"),
            Broker(host="127.0.0.1", port=mosquitto.port),
            database,
            RealClock(),
        )
        task = asyncio.create_task(doomed.run(asyncio.Event()), name="doomed")
        await publish(mosquitto.port, *verdicts(40, 2))
        async with asyncio.timeout(5.0):
            while not doomed._committing:  # noqa: ASYNC110
                await asyncio.sleep(0.01)
        task.cancel()  # as abrupt as can be inside a process; tests.whole_line kills whole ones
        with contextlib.suppress(asyncio.CancelledError):
            await task
    assert count(database) == 1
    async with collecting(mosquitto.port, database) as collector:
        await until(lambda: count(database) == 41)
        assert collector.store.copies == 0


async def test_what_is_under_way_is_bounded_while_the_database_hangs(mosquitto, database):  # noqa: F811
    """Receive Maximum: the broker keeps the rest, and the collector's memory stays small."""
    async with collecting(mosquitto.port, database, in_flight=10, messages=4) as collector:
        await publish(mosquitto.port, *verdicts(1))
        await until(lambda: count(database) == 1)
        with locked(database):
            await publish(mosquitto.port, *verdicts(60, 2))
            await asyncio.sleep(0.5)
            client = collector.subscriber._client
            assert 0 < len(client.heard) <= 10
        await until(lambda: count(database) == 61)


async def test_poison_is_put_aside_and_blocks_nothing(mosquitto, database):  # noqa: F811
    """It is acknowledged as well, else it would come for ever."""
    poison = [
        ("steadyohm/v2/b/verdict", b"\xff"),
        ("steadyohm/v2/b/unit", b""),
        ("steadyohm/v2/b/notice", b"{}"),
    ]
    async with collecting(mosquitto.port, database):
        await publish(mosquitto.port, poison[0], *verdicts(3), *poison[1:], *verdicts(2, 4))
        await until(lambda: count(database) == 5 and count(database, "rejected") == 3)
    async with collecting(mosquitto.port, database) as again:
        await asyncio.sleep(0.3)
        assert (again.store.written, again.store.copies, again.store.rejected) == (0, 0, 0)


async def test_collectors_of_a_group_share_and_each_has_a_session(mosquitto, database):  # noqa: F811
    """Every message to one of them; one that is away finds what waited for it."""
    async with collecting(mosquitto.port, database), collecting(mosquitto.port, database, name="two") as two:
        sent = 0
        async with asyncio.timeout(PATIENCE_S):
            while not 0 < two.store.written < sent:  # the broker shares them as it likes
                await publish(mosquitto.port, *verdicts(60, sent + 1))
                sent += 60
                await until(lambda of=sent: count(database) == of)
    await publish(mosquitto.port, *verdicts(20, sent + 1))
    async with collecting(mosquitto.port, database), collecting(mosquitto.port, database, name="two"):
        await until(lambda: count(database) == sent + 20)
    assert identifier(CollectorSettings(name="one")) != identifier(CollectorSettings(name="two"))


async def test_a_stop_finishes_the_batch_and_is_quick(mosquitto, database):  # noqa: F811
    """Also while the database is away: the batch comes again next time."""
    async with collecting(mosquitto.port, database):
        await publish(mosquitto.port, *verdicts(1))
        await until(lambda: count(database) == 1)
    began_s = time.monotonic()
    with locked(database):
        async with collecting(mosquitto.port, database) as collector:
            await publish(mosquitto.port, *verdicts(5, 2))
            async with asyncio.timeout(5.0):
                while not collector._committing:  # noqa: ASYNC110
                    await asyncio.sleep(0.01)
        took_s = time.monotonic() - began_s
    assert took_s < 8.0
    async with collecting(mosquitto.port, database):
        await until(lambda: count(database) == 6)


async def test_a_database_that_goes_and_comes_back_is_told_once_and_loses_nothing(mosquitto, database):  # noqa: F811
    """With its connections cut, again and again."""
    with capture_logs() as logs:
        async with collecting(mosquitto.port, database) as collector:
            for start in range(1, 200, 20):
                await publish(mosquitto.port, *verdicts(20, start))
                with psycopg.connect(database, autocommit=True) as admin:
                    admin.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE"
                                  " pid <> pg_backend_pid() AND datname = current_database()")  # fmt: skip
            await until(lambda: count(database) == 200)
            await until(lambda: "collects" in collector.state)
    events = [line["event"] for line in logs]
    assert events.count("collect.database_away") == events.count("collect.database_back") > 0
    assert "postgres@" not in str(logs)


@pytest.mark.long
async def test_a_database_that_hangs_is_given_up_and_tried_again(mosquitto, tmp_path, monkeypatch):
    """Its processes stand still, its connections stay open: nothing would ever come of waiting."""
    monkeypatch.setattr(collecting_module, "LONGEST_BATCH_S", 1.0)
    with server() as own:
        address = own.address()
        async with collecting(mosquitto.port, address) as collector:
            await publish(mosquitto.port, *verdicts(2))
            await until(lambda: count(address) == 2)
            processes = [own.process.pid, *children(own.process.pid)]
            tell(processes, signal.SIGSTOP)
            try:
                await publish(mosquitto.port, *verdicts(3, 3))
                await until(lambda: "too long" in collector.state, 20.0)
            finally:
                tell(processes, signal.SIGCONT)
            await until(lambda: count(address) == 5, 20.0)


async def test_a_stop_does_not_wait_for_a_database_that_hangs(mosquitto):
    """The service manager's patience is eight seconds."""
    with server() as own:
        address, processes = own.address(), []
        try:
            async with collecting(mosquitto.port, address) as collector:
                await publish(mosquitto.port, *verdicts(2))
                await until(lambda: count(address) == 2)
                processes = [own.process.pid, *children(own.process.pid)]
                tell(processes, signal.SIGSTOP)
                await publish(mosquitto.port, *verdicts(3, 3))
                while not collector._committing:  # noqa: ASYNC110
                    await asyncio.sleep(0.01)
                began_s = time.monotonic()
            assert time.monotonic() - began_s < 8.0 * crowding()
        finally:
            tell(processes, signal.SIGCONT)


async def test_tables_that_may_not_be_made_end_it_with_a_sentence(mosquitto, database):  # noqa: F811
    """Trying again would not help."""
    with psycopg.connect(database, autocommit=True) as admin:
        admin.execute(sql("roles"))
        login = "c_" + database.rpartition("/")[2]
        admin.execute(f"CREATE ROLE {login} LOGIN IN ROLE steadyohm_collector")
    address = database.replace("postgres@", f"{login}@")
    collector = Collector(
        CollectorSettings(name="one"), Broker(host="127.0.0.1", port=mosquitto.port), address, RealClock()
    )
    with pytest.raises(DatabaseUnfit, match="--migrate"):
        await asyncio.wait_for(collector.run(asyncio.Event()), 10.0)
