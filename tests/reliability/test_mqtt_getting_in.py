"""How a bench gets in to a broker that is guarded: certificates, passwords, rights, sizes."""

import asyncio
import gc
import subprocess

import pytest

from tests.brokers import Mosquitto, needs_mosquitto
from tests.known_records import verdicts
from tests.reliability.conftest import publishing
from tests.waiting import until

pytestmark = needs_mosquitto

VERSIONS = pytest.mark.parametrize("version", ["5", "3.1.1"])


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
        "ca": str(certificates / "ca.pem"),
        "certificate": str(certificates / "bench.pem"),
        "key": str(certificates / "bench.key"),
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


@pytest.fixture(autouse=True)
def sockets_closed_here():
    """What the collector closes is closed within the test whose mark forgives it, not in a later one."""
    yield
    gc.collect()


# paho leaves the socket of a failed handshake to the garbage collector, which closes it with a warning.
@pytest.mark.filterwarnings("ignore:.*unclosed <ssl.SSLSocket:ResourceWarning")
@pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket")
@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"certificate": None, "key": None}, ""),
        ({"ca": None}, "CERTIFICATE_VERIFY_FAILED"),
        ({"tls": False, "ca": None, "certificate": None, "key": None}, ""),
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
    ours = {n: str(certificates / value) if isinstance(value, str) else value for n, value in papers.items()}
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
        "user bench\ntopic readwrite steadyohm/v2/+/status\ntopic readwrite steadyohm/v2/+/prompt\n"
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

    assert "refuses what is published on steadyohm/v2/north%20bench/verdict" in said
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
