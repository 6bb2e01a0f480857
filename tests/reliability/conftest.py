"""What the tests of accidents share: a journal, a broker, a bench's outlet."""

import asyncio
import contextlib

import pytest

from acquire.clock import RealClock
from acquire.journal.store import Journal
from acquire.outlets.mqtt import Broker
from acquire.outlets.mqtt_outlet import MqttOutlet
from acquire.outlets.outlet import BackOff, Health, drain
from tests.brokers import Mosquitto


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
async def publishing(journal, port, *, on_command=None, **broker):
    """An outlet at work; it ends with a clean stop."""
    how = {"answer_s": 0.5, **broker}
    outlet = MqttOutlet(
        Broker(host="127.0.0.1", port=port, **how),
        bench="north bench",
        clock=RealClock(),
        software="steadyohm test",
        on_command=on_command,
    )
    stop, health = asyncio.Event(), Health("mqtt")
    back_off = BackOff(0.02, 0.1)
    work = drain(journal, outlet, "mqtt", stop, health=health, back_off=back_off)
    task = asyncio.create_task(work, name="mqtt outlet")
    outlet.health = health  # so that a test has both in hand
    try:
        yield outlet
    finally:
        stop.set()
        await asyncio.wait_for(task, 30.0)
