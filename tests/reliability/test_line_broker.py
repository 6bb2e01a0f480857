"""The line's broker as configs/line sets it up: TLS, a login each, own topics only; tried with mosquitto."""

import asyncio
import contextlib
import gc
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import aiomqtt
import psycopg
import pytest
import yaml

from acquire.clock import RealClock
from acquire.files.toml_file import read_toml
from acquire.journal.store import Journal
from acquire.line.collecting import Collector
from acquire.line.collector_file import CollectorSettings, LineBroker, load_collector
from acquire.outlets.mqtt import Broker, open_connection
from acquire.outlets.mqtt_outlet import CURSOR, LineOutlet
from acquire.outlets.outlet import BackOff, Health, OutletFailed, drain
from acquire.outlets.topics import ACK, EVIDENCE, LINE_TOPIC_OF_KIND
from tests.brokers import Mosquitto, needs_mosquitto
from tests.known_records import verdicts
from tests.postgres import database, needs_postgres  # noqa: F401  (a fixture)
from tests.reliability.test_mqtt_getting_in import authority
from tests.waiting import until

CONFIGS = Path(__file__).resolve().parents[2] / "configs" / "line"
# paho leaves the socket of a failed handshake to the garbage collector, which closes it with a warning.
pytestmark = [
    pytest.mark.filterwarnings("ignore:.*unclosed <ssl.SSLSocket:ResourceWarning"),
    pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket"),
]
LOGINS = ("bench-1", "bench-2", "collector-1", "line-page")


@pytest.fixture(autouse=True)
def sockets_closed_here():
    """What the collector closes is closed within the test whose mark forgives it, not in a later one."""
    yield
    gc.collect()


@dataclass
class Guarded(Mosquitto):
    """mosquitto with the shipped configuration; only the paths and the port are its own."""

    certificates: Path = Path()

    def start(self):
        """Write the paths in, make the logins, start it."""
        self.folder.mkdir(exist_ok=True)
        (self.folder / "acl").write_text((CONFIGS / "acl").read_text())
        passwords = self.folder / "passwords"
        passwords.touch(mode=0o600)
        for name in LOGINS:
            subprocess.run(["mosquitto_passwd", "-b", str(passwords), name, f"word of {name}"], check=True)
        text = (CONFIGS / "mosquitto.conf").read_text()
        for written, ours in (
            ("listener 8883", f"listener {self.port} 127.0.0.1"),
            ("/etc/mosquitto/certificates", str(self.certificates)),
            ("/var/lib/mosquitto/", f"{self.folder}/"),
            ("/etc/mosquitto", str(self.folder)),
        ):
            assert written in text, written
            text = text.replace(written, ours)
        self.more = text
        return super().start()


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    """An authority of our own."""
    return authority(tmp_path_factory.mktemp("tls") / "ours", ["broker"])


@pytest.fixture
def guarded(tmp_path, certificates):
    """The line's broker."""
    if shutil.which("mosquitto_passwd") is None:
        pytest.fail("mosquitto_passwd is missing: it comes with mosquitto")
    with Guarded(tmp_path / "broker", certificates=certificates) as broker:
        yield broker


def of(guarded, name, **changes):
    """How one of the line's programs logs in."""
    authority = str(guarded.certificates / "ca.pem")
    words = {"host": "localhost", "port": guarded.port, "tls": True, "ca": authority,
             "user": name, "password": f"word of {name}", "answer_s": 3.0}  # fmt: skip
    return Broker(**{**words, **changes})


@contextlib.asynccontextmanager
async def connected(guarded, name, **changes):
    """One of them, logged in."""
    connection = await open_connection(
        of(guarded, name, **changes), name, f"steadyohm/v2/{name}/status", b"{}"
    )
    try:
        yield connection
    finally:
        await connection.close()


@contextlib.asynccontextmanager
async def ear(guarded, name, topic="steadyohm/#"):
    """What this login hears, by plain aiomqtt."""
    import ssl

    tls = ssl.create_default_context(cafile=guarded.certificates / "ca.pem")
    heard = []
    async with aiomqtt.Client("localhost", guarded.port, username=name, password=f"word of {name}",
                              tls_context=tls) as client:  # fmt: skip
        await client.subscribe(topic, qos=1)

        async def listen():
            async for each in client.messages:
                heard.append(str(each.topic))  # noqa: PERF401  (seen while it grows)

        task = asyncio.create_task(listen(), name="ear")
        try:
            yield heard
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)


@needs_mosquitto
async def test_a_bench_publishes_on_its_own_topics_and_for_nobody_else(guarded):
    """What is said for another is refused, and nobody hears it."""
    async with ear(guarded, "collector-1") as heard:
        async with connected(guarded, "bench-1") as bench:
            for last in (
                *LINE_TOPIC_OF_KIND.values(),
                EVIDENCE,
                "status",
                "prompt",
                "reading",
                "command/reply",
            ):
                await bench.publish(f"steadyohm/v2/bench-1/{last}", b"{}", qos=1)
        for topic in (
            "steadyohm/v2/bench-2/verdict",
            "steadyohm/v2/bench-2/status",
            "steadyohm/v2/bench-1/ack",
            "steadyohm/v2/bench-2/command",
            "steadyohm/v2/bench-1/verdict/more",
            "something/else",
        ):
            async with connected(guarded, "bench-1") as bench:
                with pytest.raises(OutletFailed, match="refuses what is published"):
                    await bench.publish(topic, b"{}", qos=1)
        wanted = {"verdict", "unit", "notice", "evidence", "zero"}
        await until(lambda: wanted <= {topic.rpartition("/")[2] for topic in heard})
        await asyncio.sleep(0.2)  # and nothing else
    assert {topic.split("/")[2] for topic in heard} == {"bench-1"}


@needs_mosquitto
async def test_a_bench_hears_what_is_said_to_it_and_not_what_others_say(guarded):
    """Nor does the page hear more than it shows."""
    async with ear(guarded, "bench-2") as bench, ear(guarded, "line-page") as page:
        async with connected(guarded, "bench-1") as one:
            await one.publish("steadyohm/v2/bench-1/verdict", b"{}", qos=1)
            await one.publish("steadyohm/v2/bench-1/evidence", b"{}", qos=1)
        async with connected(guarded, "collector-1") as collector:
            for name in ("bench-1", "bench-2"):
                await collector.publish(f"steadyohm/v2/{name}/{ACK}", b"{}", qos=1)
            with pytest.raises(OutletFailed):
                await collector.publish("steadyohm/v2/bench-1/verdict", b"{}", qos=1)
        await until(lambda: bench and "steadyohm/v2/bench-1/verdict" in page)
        await asyncio.sleep(0.2)  # and nothing else
    assert bench == ["steadyohm/v2/bench-2/ack"]
    assert not [topic for topic in page if topic.endswith(("/evidence", "/ack"))]


@needs_mosquitto
@pytest.mark.parametrize(
    "changes",
    [
        {"password": "guessed"},
        {"user": None, "password": None},
        {"user": "stranger"},
        {"tls": False, "ca": None},
        {"ca": None},
    ],
    ids=["password", "nobody", "stranger", "plain", "unknown authority"],
)
async def test_nobody_gets_in_otherwise(guarded, changes):
    """In a sentence, without the password."""
    with pytest.raises(OutletFailed) as told:
        async with connected(guarded, "bench-1", **changes):
            pass
    assert "word of" not in str(told.value)


@needs_mosquitto
@needs_postgres
async def test_bench_and_collector_work_through_the_guarded_broker(guarded, tmp_path, database):  # noqa: F811
    """From journal to database and back to the bench's cursor, encrypted and with logins."""
    journal = Journal.open(tmp_path / "journal", bench="bench-1", clock=RealClock())
    await journal.append(verdicts(20, bench="bench-1"))
    stop, health = asyncio.Event(), Health("mqtt")
    outlet = LineOutlet(of(guarded, "bench-1"), with_evidence=True, patience_s=1.0, bench="bench-1",
                        clock=RealClock(), software="test")  # fmt: skip
    collector = Collector(
        CollectorSettings(name="collector-1"), of(guarded, "collector-1"), database, RealClock()
    )
    async with asyncio.TaskGroup() as group:
        group.create_task(drain(journal, outlet, "mqtt", stop, health=health, back_off=BackOff(0.1, 0.5)))
        group.create_task(collector.run(stop))
        async with asyncio.timeout(30.0):
            while await journal.cursor(CURSOR) < 20:  # noqa: ASYNC110
                await asyncio.sleep(0.05)
        stop.set()
    await journal.close()
    with psycopg.connect(database) as connection:
        assert connection.execute("SELECT count(*) FROM steadyohm.entry").fetchone() == (20,)
        assert connection.execute("SELECT count(*) FROM steadyohm.evidence").fetchone() == (20,)


# ---------------------------------------------------------------------- files that are only read here


def test_the_rights_name_every_topic():
    """A topic that is new must be allowed, or its bench cannot send it."""
    rights = set(re.findall(r"pattern write steadyohm/v2/%u/(\S+)", (CONFIGS / "acl").read_text()))
    assert {*LINE_TOPIC_OF_KIND.values(), EVIDENCE, "status", "prompt", "reading", "command/reply"} == rights


def test_the_collector_file_is_one(tmp_path):
    """As it is shipped, and with every setting that it shows taken in."""
    file = load_collector(CONFIGS / "collector.toml")
    assert (file.collector.name, file.collector.linger, file.broker.port) == ("collector-1", 0.02, 8883)
    text = (CONFIGS / "collector.toml").read_text()
    whole = re.sub(r"^# (?=\[|[a-z_]+ = )", "", text, flags=re.MULTILINE)
    whole = re.sub(r"^password_file.*\n", "", whole, flags=re.MULTILINE)
    (tmp_path / "whole.toml").write_text(whole)
    full = load_collector(tmp_path / "whole.toml")
    assert full.line.port == 8471
    assert full.broker.encrypted
    tree = read_toml(tmp_path / "whole.toml", "collector file").tree
    for table, model in (
        ("collector", full.collector),
        ("broker", full.broker),
        ("database", full.database),
        ("line", full.line),
    ):
        keys = {field.alias or name for name, field in type(model).model_fields.items()}
        assert keys - set(tree[table]) <= {"password_file", "version"}, table


def test_secrets_come_from_where_the_file_says(tmp_path):
    """Never from the file itself."""
    settings = LineBroker.model_validate({"host": "x", "user_env": "WHO", "password_env": "WORD"})
    broker = Broker.of(settings, {"WHO": "collector-1", "WORD": "secret"})
    assert (broker.user, broker.password) == ("collector-1", "secret")
    assert "secret" not in repr(broker)
    for address in ("postgresql://me:word@db/line", "postgresql://me@db/line?password=x", "mysql://db/line"):
        (tmp_path / "c.toml").write_text(
            f'[collector]\nname = "c"\n[broker]\nhost = "h"\n[database]\naddress = "{address}"\n'
        )
        with pytest.raises(Exception, match=r"password|postgresql"):
            load_collector(tmp_path / "c.toml")


def test_the_containers_file_is_well_formed():
    """Syntax and what it refers to; nobody starts it here."""
    plain = yaml.safe_load((CONFIGS / "compose.yaml").read_text())
    services = plain["services"]
    assert {"broker", "database", "collector-1", "collector-2", "page"} <= set(services)
    for name, service in services.items():
        assert {"image", "build"} & set(service), name
        for needed in service.get("depends_on", {}):
            assert needed in services
        for mount in service.get("volumes", []):
            source = mount.partition(":")[0]
            made = source in {"./certificates", "./passwords"}  # by whoever sets the line up
            assert made or source in plain["volumes"] or (CONFIGS / source).exists(), source
        for secret in service.get("secrets", []):
            assert secret in plain["secrets"]
