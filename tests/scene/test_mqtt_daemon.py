"""The whole daemon with a real broker: what a subscriber hears, and what it may order."""

import asyncio
import contextlib
import json

import aiomqtt
import pytest

from acquire.bench.service import service_of
from acquire.bench.systemd import Supervisor
from acquire.clock import HandClock
from acquire.files.settings import load_bench
from acquire.outlets.metrics import exposition
from acquire.records import Judged, Prompt, StartUnit, UnitResult
from tests.brokers import Mosquitto, needs_mosquitto, subscriber
from tests.obedient_meter import StillBench
from tests.whole_bench import bench_file, csv_rows, journal_entries

pytestmark = needs_mosquitto
ROOT = "steadyohm/v2/bench-1"


@pytest.fixture(autouse=True)
async def library_at_rest():
    """The client library's own task ends a moment after its connection."""
    yield
    await asyncio.sleep(0.05)


@contextlib.asynccontextmanager
async def at_work(folder, port, environment=None, more=""):
    """A bench that publishes."""
    mqtt = f'[mqtt]\nhost = "127.0.0.1"\nport = {port}\nkeepalive = "2 s"\ncommands = true\n{more}\n[journal]'
    changes = [('"22.5 °C"', '"20 °C"'), ("[journal]", mqtt)]
    file = bench_file(folder, meter="tcp:127.0.0.1:9", changes=changes)
    stop = asyncio.Event()
    still = StillBench(load_bench(file), HandClock(100.0))
    await still.assembled(stop=stop, environment=environment)
    still.stop = stop
    still.meter.pace_s = 0.001
    still.service = service_of(still.daemon, still.bench, Supervisor())
    async with asyncio.TaskGroup() as group:
        still.task = group.create_task(still.service.run(stop, asyncio.Event()), name="service")
        try:
            await still.until(lambda b: b.of(Prompt))
            yield still
        finally:
            still.meter.calm = None
            stop.set()


class Sender:
    """Sends commands and waits for their replies."""

    def __init__(self, client, ear):
        self._client, self._ear, self._number = client, ear, 0

    async def order(self, command, **fields):
        """The reply to a command."""
        self._number += 1
        correlation = f"test-{self._number}"
        payload = json.dumps({"command": command, "correlation": correlation, **fields})
        await self._client.publish(f"{ROOT}/command", payload, qos=1)
        await self._ear.until(lambda _: self._answer(correlation))
        return self._answer(correlation)

    def _answer(self, correlation):
        replies = self._ear.of("command/reply")
        return next((reply for reply in replies if reply["correlation"] == correlation), None)


async def test_a_unit_is_ordered_measured_and_published(tmp_path):
    """Status, prompts, unit and verdicts as a subscriber hears them; orders answered; the end announced."""
    with Mosquitto(tmp_path / "broker") as broker:
        async with subscriber(broker.port) as ear, aiomqtt.Client("127.0.0.1", broker.port) as client:
            sender = Sender(client, ear)
            async with at_work(tmp_path, broker.port) as still:
                await ear.until(lambda e: e.of("status") and e.of("status")[-1]["state"] == "online")
                assert (await sender.order("start_unit", serial="NET-1"))["done"]
                refused = await sender.order("start_unit", serial="NET-1")
                assert (refused["done"], "on the bench already" in refused["reason"]) == (False, True)
                await still.until(lambda b: b.of(UnitResult))
                refused = await sender.order("give_up_unit", reason="no unit there")
                assert "no unit on the bench" in refused["reason"]
                refused = await sender.order("launch_rocket")
                assert "No such command" in refused["reason"]
                assert (await sender.order("note", text="a remark"))["done"]
                assert (await sender.order("type_temperature", celsius=21.5))["done"]
                refused = await sender.order("type_temperature", celsius=215.0)
                assert "between -20 and 60" in refused["reason"]
                assert still.daemon.pipeline.conditions.temperature.celsius == 21.5
                ordered = [n.facts for n in still.notices("order.taken")]
                assert {"way": "mqtt", "order": "type_temperature"} in ordered
                typed = "insulation = 120 Mohm, 500 V, accuracy 5 %"
                assert (await sender.order("type_result", text=typed))["done"]
                await ear.until(lambda e: [p["typed"] for p in e.of("result")] == [typed])
                total = len(journal_entries(tmp_path, "verdict"))
                await ear.until(lambda e: len(e.of("verdict")) == total)
                assert still.service.facts().commands_refused == 4
            await ear.until(lambda e: e.of("status")[-1]["state"] == "stopped")
            assert ear.of("prompt")[-1] is None
            ids = [entry.id for entry in journal_entries(tmp_path, "verdict")]
            assert (
                [payload["id"] for payload in ear.of("verdict")]
                == ids
                == [r["id"] for r in csv_rows(tmp_path)]
            )
            results = csv_rows(tmp_path, "typed_result")
            assert [row["id"] for row in results] == [payload["id"] for payload in ear.of("result")]
            asked = [p["ask"] for p in ear.of("prompt") if p]
            assert {"start_unit", "short_probes", "touch"} <= set(asked)
            assert [
                e.payload["facts"]["note"]
                for e in journal_entries(tmp_path, "notice")
                if e.payload["code"] == "note"
            ] == ["a remark (over MQTT)"]


async def test_a_bench_never_waits_for_its_broker(tmp_path):
    """Killed in the middle of a unit: the unit ends all the same; back again, everything comes in order."""
    with Mosquitto(tmp_path / "broker") as broker:
        async with subscriber(broker.port, f"{ROOT}/verdict") as ear, at_work(tmp_path, broker.port) as still:
            still.daemon.out_of_reach.tell_after_s = 0.5
            await still.daemon.command(StartUnit("A"))
            await still.until(lambda b: b.of(Judged))
            broker.kill()
            await still.until(lambda b: b.of(UnitResult))
            await still.until(
                lambda _: any(each.failing for each in still.service.facts().outlets), within_s=20.0
            )
            facts = still.service.facts()
            assert facts.well, "the bench itself is well"
            assert any("mqtt" in trouble for trouble in facts.troubles())
            await still.until(lambda b: b.notices("outlet.failing"))
            assert f"127.0.0.1:{broker.port}" in still.notices("outlet.failing")[0].facts["cause"]
            broker.start()
            await asyncio.wait_for(ear.ready.wait(), 30.0)
            expected = [entry.id for entry in journal_entries(tmp_path, "verdict")]
            await ear.until(lambda e: {p["id"] for p in e.of("verdict")} == set(expected))
            await still.until(lambda b: b.notices("outlet.back"))
            assert len(still.notices("outlet.failing")) == 1
            codes = {e.payload["code"] for e in journal_entries(tmp_path, "notice")}
            assert not codes & {"outlet.failing", "outlet.back"}, "of no unit, so not on the record"
    heard = list(dict.fromkeys(p["id"] for p in ear.of("verdict")))
    assert heard == expected


async def test_the_order_to_stop_ends_the_bench_as_a_signal_does(tmp_path):
    """Everything is written, the status says that it was meant."""
    with Mosquitto(tmp_path / "broker") as broker:
        async with subscriber(broker.port) as ear, aiomqtt.Client("127.0.0.1", broker.port) as client:
            async with at_work(tmp_path, broker.port) as still:
                await ear.until(lambda e: e.of("status"))
                assert (await Sender(client, ear).order("stop"))["done"]
                still.meter.calm = None
                await asyncio.wait_for(asyncio.shield(still.task), 5.0)
            await ear.until(lambda e: e.of("status")[-1]["state"] == "stopped")


async def test_a_password_is_used_and_never_told(tmp_path):
    """From the environment into the broker's login; neither notices, journal nor metrics hold it."""
    with Mosquitto(tmp_path / "broker") as broker:
        more = 'user_env = "BENCH_USER"\npassword_env = "BENCH_WORD"'
        environment = {"BENCH_USER": "north", "BENCH_WORD": "correct-horse"}
        async with subscriber(broker.port) as ear, at_work(tmp_path, broker.port, environment, more) as still:
            await ear.until(lambda e: e.of("status"))
            told = repr(still.events) + exposition(still.service.facts()) + repr(still.daemon)
            assert "correct-horse" not in told
    assert "correct-horse" not in (tmp_path / "journal" / "journal.db").read_bytes().decode("latin-1")
