"""The MQTT outlet with a real broker, Debian's mosquitto, and an independent subscriber."""

import asyncio
import json
import subprocess

import aiomqtt
import jsonschema
import pytest

from acquire.outlets.orders import Answer
from acquire.outlets.payload import as_json, payload_of
from acquire.outlets.schemas import CHANNELS, json_schemas
from acquire.outlets.topics import Topics
from acquire.records import Approach, Ask, LiftOff, Pair, Prompt, StartUnit
from drivers.reading import Quantity
from tests.brokers import Mosquitto, needs_mosquitto, subscriber
from tests.known_records import BATCH, CHECK, NOTICE, RESULT, STARTED, TYPED, ZERO, verdict, verdicts
from tests.relay import Relay
from tests.reliability.conftest import publishing
from tests.waiting import until

pytestmark = needs_mosquitto

VERSIONS = pytest.mark.parametrize("version", ["5", "3.1.1"])
PROMPT = Prompt(Ask.TOUCH, "Touch 1 and 2.", "PL80-1", Pair("1", "2"), "slow charge", 0, 4)

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
async def test_everything_really_sent_keeps_the_published_schemas(journal, mosquitto, version):
    """Each message against the schema of its channel, as AsyncAPI names it; no topic is undocumented."""
    checks = {n: jsonschema.Draft202012Validator(schema) for n, schema in json_schemas().items()}
    await journal.append(
        [(STARTED, None), *verdicts(2), (TYPED, None), (CHECK, None), (BATCH, None), (RESULT, None)]
    )

    async def done(order):
        return Answer(done=True)

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

    kinds = {last: names for last, names, _ in CHANNELS.values()}
    seen = set()
    for topic, payload, _ in ear.heard:
        last = topic.removeprefix("steadyohm/v1/north%20bench/")
        if payload is not None:
            (fits, *_) = [name for name in kinds[last] if checks[name].is_valid(payload)]
            seen.add(fits)
    of_a_line = {"lead_zero", "imported_result", "notice", "evidence", "kept"}  # test_line_outlet.py
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
        assert (await retained(mosquitto.port, "prompt"))["text"] == "Touch 1 and 2."

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
        for number in range(100):
            outlet.show(reading(float(number)))
            await asyncio.sleep(0.01)
        await ear.until(lambda e: e.of("reading")[-1]["value_si"] == 99.0)

    assert 5 <= len(ear.of("reading")) <= 8


# ---------------------------------------------------------------------- getting in


def authority(folder, names):
    """An authority of our own with certificates for the names, made by openssl."""
    folder.mkdir()

    def openssl(*words):
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)

    curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    openssl(
        "req", "-x509", *curve, "-keyout", "ca.key", "-out", "ca.pem", "-days", "2", "-subj", "/CN=own CA"
    )
    for name in names:
        openssl("req", *curve, "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}")
        (folder / "names").write_text("subjectAltName=IP:127.0.0.1,DNS:localhost")
        signing = ["-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-days", "2", "-extfile", "names"]
        openssl("x509", "-req", "-in", f"{name}.csr", "-out", f"{name}.pem", *signing)
    return folder


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    return authority(tmp_path_factory.mktemp("tls") / "ours", ["broker", "bench"])


@pytest.fixture
def guarded(tmp_path, certificates):
    """A broker that wants certificates of our own authority."""
    broker = Mosquitto(tmp_path / "guarded")
    broker.more = (
        f"listener {broker.port} 127.0.0.1\ncafile {certificates}/ca.pem\n"
        f"certfile {certificates}/broker.pem\n"
        f"keyfile {certificates}/broker.key\nrequire_certificate true\n"
    )
    with broker:
        yield broker


@VERSIONS
async def test_tls_with_an_own_authority_and_client_certificates(journal, guarded, certificates, version):
    """Both ends show a certificate of the same authority."""
    ours = {
        "tls": True,
        "ca": certificates / "ca.pem",
        "certificate": certificates / "bench.pem",
        "key": certificates / "bench.key",
        "version": version,
        "answer_s": 3.0,
    }
    await journal.append(verdicts(2))
    async with publishing(journal, guarded.port, **ours) as outlet:
        async with asyncio.timeout(30.0):
            await journal_at(journal, 2)
        assert outlet.health.failures == 0


async def journal_at(journal, seq):
    """Wait until the cursor has come so far."""
    while await journal.cursor("mqtt") < seq:  # noqa: ASYNC110  (a cursor has no event of its own)
        await asyncio.sleep(0.01)


# paho leaves the socket of a failed handshake to the garbage collector, which closes it with a warning.
@pytest.mark.filterwarnings("ignore:.*unclosed <ssl.SSLSocket:ResourceWarning")
@pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket")
@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"certificate": None, "key": None}, ""),
        ({"ca": None}, "CERTIFICATE_VERIFY_FAILED"),
        ({"tls": False}, ""),
        ({"ca": "missing.pem"}, "certificate file"),
        ({"key": "ca.pem"}, "certificate file"),
    ],
    ids=["no client certificate", "unknown authority", "no TLS", "missing file", "not the key"],
)
async def test_without_the_right_papers_nothing_goes_out_and_the_reason_is_told(
    journal, guarded, certificates, change, why
):
    """It keeps trying, says why, and loses nothing."""
    papers = {"ca": "ca.pem", "certificate": "bench.pem", "key": "bench.key", **change}
    ours = {name: certificates / value if isinstance(value, str) else value for name, value in papers.items()}
    await journal.append(verdicts(1))
    async with publishing(journal, guarded.port, **{"tls": True, **ours}) as outlet:
        await until(lambda: outlet.health.failures >= 2)
        assert str(guarded.port) in outlet.health.failing
        assert why in outlet.health.failing

    assert await journal.cursor("mqtt") == 0


@pytest.fixture
def with_passwords(tmp_path):
    """A broker with a user, and an access list that lets nobody write verdicts of another bench."""
    broker = Mosquitto(tmp_path / "passwords")
    broker.folder.mkdir()
    words = broker.folder / "words"
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", words, "bench", "s3cret"], check=True, capture_output=True
    )
    (broker.folder / "access").write_text(
        "user bench\ntopic readwrite steadyohm/v1/+/status\ntopic readwrite steadyohm/v1/+/prompt\n"
    )
    broker.more = f"allow_anonymous false\npassword_file {words}\nacl_file {broker.folder}/access"
    with broker:
        yield broker


LOGIN = {"user": "bench", "password": "s3cret"}


async def failing(outlet):
    await until(lambda: outlet.health.failing)
    return outlet.health.failing


@VERSIONS
async def test_a_wrong_password_is_told_but_never_shown(journal, with_passwords, version, capsys):
    """The sentence names the broker, not the password."""
    async with publishing(
        journal, with_passwords.port, **{**LOGIN, "password": "wr0ng"}, version=version
    ) as outlet:
        said = await failing(outlet)

    assert "uthori" in said
    assert "wr0ng" not in said + repr(outlet.broker) + capsys.readouterr().out


async def test_a_broker_that_refuses_a_topic_does_not_swallow_the_verdict(journal, with_passwords):
    """MQTT 5 says so in the PUBACK; the library passes over it, we do not: the cursor stays."""
    await journal.append(verdicts(1))
    async with publishing(journal, with_passwords.port, **LOGIN) as outlet:
        said = await failing(outlet)

    assert "refuses what is published on steadyohm/v1/north%20bench/verdict" in said
    assert await journal.cursor("mqtt") == 0


async def test_a_broker_that_takes_only_small_messages_does_not_swallow_the_verdict(journal, tmp_path):
    """MQTT 5 refuses; the verdict waits on the journal, and goes out when it may.

    With 3.1.1 a broker has no words for it: this one answers PUBACK and drops the message. So 5 by default.
    """
    with Mosquitto(tmp_path / "small", "message_size_limit 600") as broker:
        await journal.append(verdicts(1))
        async with publishing(journal, broker.port) as outlet:
            assert str(broker.port) in await failing(outlet)
            assert await journal.cursor("mqtt") == 0
            broker.kill()
            broker.more = ""
            broker.start()
            async with asyncio.timeout(30.0):
                await journal_at(journal, 1)


# ---------------------------------------------------------------------- what comes in


@VERSIONS
async def test_a_command_is_carried_out_once_and_answered(journal, mosquitto, version):
    """Sent twice with the same correlation, as QoS 1 may do."""
    orders = []

    async def carry_out(order):
        orders.append(order)
        return Answer(done=True, reason="on the bench")

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
        return Answer(done=True)

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
        return Answer(done=True)

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
