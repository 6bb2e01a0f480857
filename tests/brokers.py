"""Real MQTT brokers for tests: Debian's mosquitto, each on a free loopback port with its own configuration.

Not a test itself. `make test` says so when there is no mosquitto; the continuous integration installs it.
"""

import asyncio
import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import aiomqtt
import pytest

from tests.waiting import PATIENCE_S, until

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")

needs_mosquitto = pytest.mark.skipif(
    MOSQUITTO is None and not os.environ.get("STEADYOHM_REQUIRE_PEERS"),
    reason="mosquitto is not installed: the tests against a real broker are left out",
)
"""Skips on a user's machine without a broker, but never in .ci/run, which says that it must be there."""


def free_port():
    """A TCP port that nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@dataclass
class Mosquitto:
    """A broker that can be killed, frozen and started again on the same port."""

    folder: Path
    more: str = ""
    port: int = field(default_factory=free_port)
    process: subprocess.Popen | None = None

    def start(self):
        """Start it and wait until it listens."""
        assert MOSQUITTO, "mosquitto is not installed (Debian: apt install mosquitto)"
        self.folder.mkdir(exist_ok=True)
        settings = self.folder / "mosquitto.conf"
        plain = "" if "listener" in self.more else f"listener {self.port} 127.0.0.1\n"
        anonymous = "" if "allow_anonymous" in self.more else "allow_anonymous true\n"
        settings.write_text(f"{plain}{anonymous}user root\n{self.more}\n")
        log = (self.folder / "mosquitto.log").open("ab")
        with log:
            self.process = subprocess.Popen([MOSQUITTO, "-c", str(settings)], stdout=log, stderr=log)
        for _ in range(3000):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 0.2):
                return self
            if self.process.poll() is not None:
                break
            signal.sigtimedwait([], 0.01)
        raise AssertionError((self.folder / "mosquitto.log").read_text())

    def kill(self):
        """As a power cut does."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None

    def freeze(self):
        """It stays connected and answers nothing."""
        self.process.send_signal(signal.SIGSTOP)

    def thaw(self):
        """It continues."""
        self.process.send_signal(signal.SIGCONT)

    def __enter__(self):
        return self.start()

    def __exit__(self, *_):
        if self.process is not None:
            self.thaw()
        self.kill()


@dataclass
class Subscriber:
    """An independent listener (plain aiomqtt) that keeps everything it hears."""

    heard: list = field(default_factory=list)  # (topic, payload as JSON or None, retained)
    ready: asyncio.Event = field(default_factory=asyncio.Event)

    def of(self, last, retained=None):
        """Payloads heard on a topic that ends so."""
        return [
            payload
            for topic, payload, kept in self.heard
            if topic.endswith(f"/{last}") and (retained is None or kept == retained)
        ]

    async def until(self, condition, timeout_s=PATIENCE_S):
        """Wait for something to have been heard."""
        await until(lambda: condition(self), timeout_s)


def plain(payload):
    """JSON as its value, nothing as None, anything else as its bytes."""
    try:
        return json.loads(payload) if payload else None
    except ValueError:
        return payload


@contextlib.asynccontextmanager
async def subscriber(port, topic="steadyohm/#", **client):
    """Listen in the background, also over restarts of the broker."""
    ear = Subscriber()

    async def listen():
        while True:
            try:
                async with aiomqtt.Client("127.0.0.1", port, timeout=3, **client) as session:
                    await session.subscribe(topic, qos=1)
                    ear.ready.set()
                    async for message in session.messages:
                        ear.heard.append((str(message.topic), plain(message.payload), message.retain))
            except aiomqtt.MqttError:
                ear.ready.clear()
                await asyncio.sleep(0.05)

    task = asyncio.create_task(listen(), name="subscriber")
    try:
        await asyncio.wait_for(ear.ready.wait(), PATIENCE_S)
        yield ear
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
