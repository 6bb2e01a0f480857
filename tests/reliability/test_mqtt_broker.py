"""The MQTT outlet with a real broker, Debian's mosquitto, and an independent subscriber."""

import asyncio
import json
import time
from dataclasses import replace

import aiomqtt
import jsonschema
import pytest

from acquire.outlets.orders import OrderAnswer
from acquire.outlets.payload import as_json, payload_of
from acquire.outlets.schemas import CHANNELS, json_schemas, last_of, messages_of
from acquire.outlets.topics import Topics
from acquire.records import Approach, Ask, LiftOff, Pair, Prompt, StartUnit
from drivers.reading import Quantity
from tests.brokers import needs_mosquitto, subscriber
from tests.known_records import BATCH, CHECK, NOTICE, RESULT, STARTED, TYPED, ZERO, verdict, verdicts
from tests.relay import Relay
from tests.reliability.conftest import publishing

pytestmark = needs_mosquitto

VERSIONS = pytest.mark.parametrize("version", ["5", "3.1.1"])
PROMPT = Prompt(Ask.TOUCH, "PL80-1", Pair("1", "2"), "slow charge", 0, 4)

MARK = "mark"


def reading(value_ohm):
    return Approach("bench meter", Quantity.RESISTANCE, value_ohm, 3.0, 1.0, 2.0)


async def retained(port, last):
    """What a newcomer is told on a topic; None for nothing."""
    async with aiomqtt.Client("127.0.0.1", port) as client:
        await client.subscribe([(Topics("north bench").of(last), 0), (MARK, 0)])
        await client.publish(MARK)  # behind what the broker keeps: it sends that with its answer
        message = await anext(aiter(client.messages))
        return None if str(message.topic) == MARK else json.loads(message.payload)


async def ask(port, plain, *, retain=False, raw=None):
    """Send a command as any program would."""
    async with aiomqtt.Client("127.0.0.1", port) as client:
        payload = raw if raw is not None else json.dumps({"correlation": "c-1", **plain})
        await client.publish(Topics("north bench").of("command"), payload, qos=1, retain=retain)


# ---------------------------------------------------------------------- what goes out


@VERSIONS
async def test_verdicts_and_units_arrive_in_order_and_the_cursor_follows(journal, mosquitto, version):
    """Every verdict once, with the id the journal gave it."""
    written = await journal.append(
        [(STARTED, None), *verdicts(3), (NOTICE, None), (RESULT, None), (ZERO, None)]
    )
    async with subscriber(mosquitto.port) as ear, publishing(journal, mosquitto.port, version=version):
        await ear.until(lambda e: len(e.of("verdict")) == 3 and len(e.of("unit")) == 2)
        written += await journal.append([(verdict(4), None)])
        await ear.until(lambda e: len(e.of("verdict")) == 4)

    sent = [entry for entry in written if entry.kind not in ("notice", "lead_zero")]
    heard = [p for topic, p, _ in ear.heard if topic.endswith(("/verdict", "/unit"))]
    assert heard == [json.loads(as_json(payload_of(entry))) for entry in sent]
    assert await journal.cursor("mqtt") == 8


@VERSIONS
async def test_how_the_latest_unit_stands_is_kept_for_whoever_comes_later(journal, mosquitto, version):
    """Retained, and replaced by the next revision of it."""
    changed = replace(RESULT, revision=1, utc_s=RESULT.utc_s + 60.0, ended_utc_s=RESULT.utc_s)
    async with subscriber(mosquitto.port) as ear, publishing(journal, mosquitto.port, version=version):
        await journal.append([(STARTED, None), (RESULT, None)])
        await ear.until(lambda e: e.of("latest"))
        assert (await retained(mosquitto.port, "latest"))["revision"] == 0
        await journal.append([(changed, None)])
        await ear.until(lambda e: len(e.of("latest")) == 2)
    kept = await retained(mosquitto.port, "latest")
    assert (kept["serial"], kept["revision"], kept["outcome"]) == (RESULT.serial, 1, "fail")


@VERSIONS
async def test_everything_really_sent_keeps_the_published_schemas(journal, mosquitto, version):
    """Each message against the schema of its channel, as AsyncAPI names it; no topic is undocumented."""
    checks = {n: jsonschema.Draft202012Validator(schema) for n, schema in json_schemas().items()}
    await journal.append(
        [(STARTED, None), *verdicts(2), (TYPED, None), (CHECK, None), (BATCH, None), (RESULT, None)]
    )

    async def done(order):
        return OrderAnswer(done=True)

    async with (
        subscriber(mosquitto.port) as ear,
        publishing(journal, mosquitto.port, version=version, on_command=done) as outlet,
    ):
        await ear.until(lambda e: e.of("unit"))
        outlet.show(PROMPT)
        outlet.show(reading(46.0))
        await ask(mosquitto.port, {"command": "zero_leads"})
        await ear.until(lambda e: e.of("prompt") and e.of("reading") and e.of("command/reply"))
        outlet.show(LiftOff("bench meter", 1.0, 2.0))
        await ear.until(lambda e: len(e.of("reading")) == 2)

    kinds = {last_of(name): messages_of(name) for name in CHANNELS}
    seen = set()
    for topic, payload, _ in ear.heard:
        last = topic.removeprefix("steadyohm/v2/north%20bench/")
        if payload is not None:
            (fits, *_) = [name for name in kinds[last] if checks[name].is_valid(payload)]
            seen.add(fits)
    of_a_line = {"lead_zero", "imported_result", "notice", "evidence", "ack"}  # test_line_outlet.py
    assert seen == {name for names in kinds.values() for name in names} - of_a_line


@VERSIONS
async def test_the_status_tells_online_and_stopped(journal, mosquitto, version):
    """Retained, so that a newcomer knows; a clean stop is told as one, and asks nobody to do anything."""
    async with publishing(journal, mosquitto.port, version=version) as outlet:
        outlet.show(PROMPT)
        async with subscriber(mosquitto.port) as ear:
            await ear.until(lambda e: e.of("status") and e.of("prompt"))
        status = await retained(mosquitto.port, "status")
        assert (status["state"], status["journal"]) == ("online", journal.birth)
        assert (await retained(mosquitto.port, "prompt"))["text"] == "Touch 1–2 (slow charge)."

    assert (await retained(mosquitto.port, "status"))["state"] == "stopped"
    assert await retained(mosquitto.port, "prompt") is None


@VERSIONS
async def test_a_connection_that_breaks_is_told_by_the_will_and_mended(journal, mosquitto, version):
    """Cut between bench and broker: lost, then online again, without a verdict being needed to notice."""
    async with (
        subscriber(mosquitto.port) as ear,
        Relay(mosquitto.port) as relay,
        publishing(journal, relay.port, version=version),
    ):
        await ear.until(lambda e: e.of("status"))
        relay.cut()
        await ear.until(lambda e: len(e.of("status")) == 3)

    assert [status["state"] for status in ear.of("status")][:3] == ["online", "lost", "online"]


@VERSIONS
async def test_a_bench_that_stays_away_is_lost_to_newcomers_too(journal, mosquitto, version):
    """The will is retained: whoever looks later is not told that the bench is online."""
    async with (
        subscriber(mosquitto.port) as ear,
        Relay(mosquitto.port) as relay,
        publishing(journal, relay.port, version=version),
    ):
        await ear.until(lambda e: e.of("status"))
        relay.target = 1  # nobody listens there
        relay.cut()
        await ear.until(lambda e: e.of("status")[-1]["state"] == "lost")
        assert (await retained(mosquitto.port, "status"))["state"] == "lost"


async def test_the_present_prompt_is_told_again_after_a_cut(journal, mosquitto):
    """A broker without memory learns it anew."""
    async with subscriber(mosquitto.port) as ear, publishing(journal, mosquitto.port) as outlet:
        outlet.show(PROMPT)
        await ear.until(lambda e: e.of("prompt"))
        mosquitto.kill()
        mosquitto.start()
        await ear.until(lambda e: len(e.of("prompt")) >= 2)
        assert await retained(mosquitto.port, "prompt") is not None


async def test_live_readings_come_five_a_second_and_the_newest_counts(journal, mosquitto):
    """A fast meter does not flood the network."""
    async with subscriber(mosquitto.port) as ear, publishing(journal, mosquitto.port) as outlet:
        await ear.until(lambda e: e.of("status"))
        began_s = time.monotonic()
        for number in range(100):
            outlet.show(reading(float(number)))
            await asyncio.sleep(0.01)
        await ear.until(lambda e: e.of("reading") and e.of("reading")[-1]["value_si"] == 99.0)
        took_s = time.monotonic() - began_s

    assert 5 <= len(ear.of("reading")) <= 5 * took_s + 2


# ---------------------------------------------------------------------- what comes in


@VERSIONS
async def test_a_command_is_carried_out_once_and_answered(journal, mosquitto, version):
    """Sent twice with the same correlation, as QoS 1 may do."""
    orders = []

    async def carry_out(order):
        orders.append(order)
        return OrderAnswer(done=True, reason="on the bench")

    async with (
        subscriber(mosquitto.port) as ear,
        publishing(journal, mosquitto.port, on_command=carry_out, version=version),
    ):
        await ear.until(lambda e: e.of("status"))
        for _ in range(2):
            await ask(mosquitto.port, {"command": "start_unit", "serial": "PL80-7"})
        await ear.until(lambda e: len(e.of("command/reply")) == 2)

    assert orders == [StartUnit("PL80-7")]
    for reply in ear.of("command/reply"):
        assert (reply["correlation"], reply["done"], reply["reason"]) == ("c-1", True, "on the bench")


@VERSIONS
async def test_what_is_no_command_is_answered_with_the_reason(journal, mosquitto, version):
    """Nothing is done, and the connection goes on."""

    async def never(order):
        raise AssertionError(order)

    async with (
        subscriber(mosquitto.port) as ear,
        publishing(journal, mosquitto.port, on_command=never, version=version) as outlet,
    ):
        await ear.until(lambda e: e.of("status"))
        await ask(mosquitto.port, {}, raw=b"\xff not json")
        await ask(mosquitto.port, {"command": "start_unit"})
        await ear.until(lambda e: len(e.of("command/reply")) == 2)
        assert outlet.connected

    assert not any(reply["done"] for reply in ear.of("command/reply"))


@VERSIONS
async def test_a_command_kept_by_the_broker_is_not_carried_out(journal, mosquitto, version):
    """Neither at connecting nor later: it was meant for another moment."""
    orders = []

    async def carry_out(order):
        orders.append(order)
        return OrderAnswer(done=True)

    await ask(mosquitto.port, {"command": "stop"}, retain=True)
    async with (
        subscriber(mosquitto.port) as ear,
        publishing(journal, mosquitto.port, on_command=carry_out, version=version),
    ):
        await ear.until(lambda e: e.of("status"))
        await ask(mosquitto.port, {"command": "zero_leads", "correlation": "c-2"})
        await ear.until(lambda e: any(r["correlation"] == "c-2" for r in e.of("command/reply")))

    assert [type(order).__name__ for order in orders] == ["ZeroLeads"]


async def test_a_huge_command_does_not_get_in(journal, mosquitto):
    """MQTT 5: the broker is told the largest packet and keeps larger ones away; the bench goes on."""

    async def done(order):
        return OrderAnswer(done=True)

    async with (
        subscriber(mosquitto.port) as ear,
        publishing(journal, mosquitto.port, on_command=done) as outlet,
    ):
        await ear.until(lambda e: e.of("status"))
        await ask(mosquitto.port, {}, raw=b"x" * 1_000_000)
        await ask(mosquitto.port, {"command": "zero_leads", "correlation": "small"})
        await ear.until(lambda e: e.of("command/reply"))
        assert outlet.health.failures == 0

    assert [reply["correlation"] for reply in ear.of("command/reply")] == ["small"]
