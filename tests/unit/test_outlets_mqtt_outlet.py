"""A bench of a line: the whole record goes out, and again until the line says that it is kept."""

import asyncio
import contextlib
import json

import aiomqtt
import jsonschema
import pytest
from structlog.testing import capture_logs

from acquire.clock import RealClock
from acquire.journal.archive import Policy
from acquire.journal.store import Journal
from acquire.outlets.mqtt import Broker
from acquire.outlets.mqtt_outlet import CURSOR, LineOutlet
from acquire.outlets.outlet import BackOff, Health, drain
from acquire.outlets.schemas import CHANNELS, json_schemas, last_of, messages_of
from acquire.outlets.topics import EVIDENCE as EVIDENCE_TOPIC
from acquire.outlets.topics import LINE_TOPIC_OF_KIND, Topics
from acquire.records import Approach
from drivers.reading import Quantity
from tests.brokers import Mosquitto, needs_mosquitto, subscriber
from tests.known_records import ALL, EVIDENCE, VERDICT, verdict, verdicts
from tests.waiting import until

pytestmark = needs_mosquitto
TOPICS = Topics("north bench")


@pytest.fixture
async def journal(tmp_path):
    """An open journal in a folder of its own."""
    opened = Journal.open(tmp_path / "journal", bench="north bench", clock=RealClock())
    yield opened
    await opened.close()


@pytest.fixture
def mosquitto(tmp_path):
    """A broker on a free port."""
    with Mosquitto(tmp_path / "broker") as broker:
        yield broker


@contextlib.asynccontextmanager
async def of_a_line(journal, port, **how):
    """The outlet at work; it ends with a clean stop."""
    words = {"with_evidence": True, "patience_s": 0.6, **how}
    broker = Broker(host="127.0.0.1", port=port, answer_s=0.5)
    words |= {"bench": "north bench", "clock": RealClock(), "software": "steadyohm test"}
    outlet = LineOutlet(broker, **words)
    stop, health = asyncio.Event(), Health("mqtt")
    work = drain(journal, outlet, "mqtt", stop, health=health, back_off=BackOff(0.02, 0.1))
    task = asyncio.create_task(work, name="line outlet")
    try:
        yield outlet
    finally:
        stop.set()
        await asyncio.wait_for(task, 10.0)


async def say_kept(port, journal, seq, /, **changes):
    """As a collector does."""
    said = {
        "schema": 2,
        "bench": "north bench",
        "journal": journal.birth,
        "seq": seq,
        "utc_s": 0.0,
        **changes,
    }
    async with aiomqtt.Client("127.0.0.1", port) as client:
        await client.publish(TOPICS.of("ack"), json.dumps(said), qos=1)


async def test_the_whole_record_goes_out_as_one_chain(journal, mosquitto):
    """Each message says what went before it, evidence before its verdict; each keeps its schema."""
    assert {*LINE_TOPIC_OF_KIND.values(), EVIDENCE_TOPIC} <= set(map(last_of, CHANNELS))
    await journal.append([(record, EVIDENCE if record is VERDICT else None) for record in ALL])
    async with subscriber(mosquitto.port) as ear, of_a_line(journal, mosquitto.port):
        await ear.until(lambda e: len([p for _, p, _ in e.heard if p and "seq" in p]) == len(ALL) + 1)
    checks = {name: jsonschema.Draft202012Validator(schema) for name, schema in json_schemas().items()}
    kinds = {last_of(name): messages_of(name) for name in CHANNELS}
    sent = [(topic.rpartition("/")[2], p) for topic, p, _ in ear.heard if p and "seq" in p]

    assert [p["seq"] for _, p in sent] == [1, *range(1, len(ALL) + 1)]
    assert [p["after"] for _, p in sent] == [0, 1, *range(1, len(ALL))]
    assert sent[0][0] == "evidence"
    for last, payload in sent:
        assert [name for name in kinds[last] if checks[name].is_valid(payload)], last


async def test_a_bench_with_an_archive_says_once_that_it_is_not_sent(journal, mosquitto):
    """Somebody must bring it; after the line has confirmed something, everything newer was sent."""
    await journal.append(verdicts(100))
    while await journal.archive((), Policy(largest_bytes=10_000, keep_entries=10)):
        pass
    for times in (1, 0):
        with capture_logs() as logs:
            async with of_a_line(journal, mosquitto.port, patience_s=60.0) as outlet:

                async def confirmed(outlet=outlet):
                    await say_kept(mosquitto.port, journal, 100)
                    return outlet.kept == 100

                await until(confirmed)
        assert [log["event"] for log in logs].count("line.archived") == times


async def test_live_readings_can_be_left_out(journal, mosquitto):
    """What a large line cannot afford: five messages a second from each bench."""
    seen = Approach("meter", Quantity.RESISTANCE, 46.0, 3.0, 1.0, 2.0)
    async with subscriber(mosquitto.port) as ear:
        for readings in (False, True):
            async with of_a_line(journal, mosquitto.port, readings=readings) as outlet:
                await ear.until(lambda e: e.of("status")[-1:] and e.of("status")[-1]["state"] == "online")
                outlet.show(seen)
                await asyncio.sleep(0.3)
            assert len(ear.of("reading")) == readings


async def test_it_begins_behind_what_the_line_has_said_it_holds(journal, mosquitto):
    """A broker's word alone moves nothing but the broker's own cursor."""
    await journal.append(verdicts(5))
    async with subscriber(mosquitto.port) as ear:
        async with of_a_line(journal, mosquitto.port, patience_s=60.0) as outlet:
            await ear.until(lambda e: len(e.of("verdict")) == 5)
            await say_kept(mosquitto.port, journal, 3)

            async def noted():
                return await journal.cursor(CURSOR) == 3

            await until(noted)
        assert outlet.kept == 3
        assert await journal.cursor("mqtt") == 5
        async with of_a_line(journal, mosquitto.port, patience_s=60.0):
            await ear.until(lambda e: len(e.of("verdict")) == 7)
    assert [p["seq"] for p in ear.of("verdict")] == [1, 2, 3, 4, 5, 4, 5]
    assert [p["after"] for p in ear.of("evidence")][-2:] == [3, 4]


async def test_what_the_line_does_not_confirm_is_sent_again_while_it_can_be_heard(journal, mosquitto):
    """And not while it is silent, as when its database is away."""
    await journal.append(verdicts(3))
    async with subscriber(mosquitto.port) as ear, of_a_line(journal, mosquitto.port) as outlet:
        await ear.until(lambda e: len(e.of("verdict")) == 3)
        await asyncio.sleep(1.5)
        assert len(ear.of("verdict")) == 3
        await say_kept(mosquitto.port, journal, 1)
        await ear.until(lambda e: len(e.of("verdict")) >= 5)
        assert outlet.again >= 2
        await say_kept(mosquitto.port, journal, 3)
        await asyncio.sleep(1.0)
        quiet = len(ear.of("verdict"))
        await asyncio.sleep(1.0)
        assert len(ear.of("verdict")) == quiet
    assert await journal.cursor(CURSOR) == 3


async def test_a_database_that_forgot_gets_everything_it_lacks(journal, mosquitto):
    """An older copy of it was put back."""
    await journal.append(verdicts(4))
    async with subscriber(mosquitto.port) as ear, of_a_line(journal, mosquitto.port) as outlet:
        await ear.until(lambda e: len(e.of("verdict")) == 4)
        await say_kept(mosquitto.port, journal, 4)
        await say_kept(mosquitto.port, journal, 1)
        await ear.until(lambda e: [p["seq"] for p in e.of("verdict")][4:] == [2, 3, 4])
        assert outlet.kept == 1
        await say_kept(mosquitto.port, journal, 4)
    assert await journal.cursor(CURSOR) == 4


HOSTILE = {
    "another journal": {"journal": "f" * 16},
    "a text": {"seq": "4"},
    "true": {"seq": True},
    "below nothing": {"seq": -1},
    "another version": {"schema": 1},
}


async def test_words_about_other_journals_and_nonsense_move_nothing(journal, mosquitto):
    """Nor does a promise to hold what was never sent."""
    await journal.append([(verdict(1), None)])
    async with (
        subscriber(mosquitto.port) as ear,
        of_a_line(journal, mosquitto.port, patience_s=60.0) as outlet,
    ):
        await ear.until(lambda e: e.of("verdict"))
        for changes in HOSTILE.values():
            await say_kept(mosquitto.port, journal, 1, **changes)
        async with aiomqtt.Client("127.0.0.1", mosquitto.port) as client:
            for raw in (b"", b"\xff", b"[]", b"7"):
                await client.publish(TOPICS.of("ack"), raw, qos=1)
        await asyncio.sleep(0.2)
        assert outlet.kept == 0
        await say_kept(mosquitto.port, journal, 1000)

        async def noted():
            return await journal.cursor(CURSOR) == 1

        await until(noted)
        assert outlet.kept == 1
