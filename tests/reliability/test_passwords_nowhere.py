"""Bench, collector and line's page with passwords and a token, right and wrong: none is ever written down."""

from __future__ import annotations

import base64
import contextlib
import os
import subprocess
import sys
import time
from urllib.parse import quote, quote_plus

import paho.mqtt.client as mqtt
import psycopg
import pytest

from acquire.journal.history import JournalReader, Query
from tests.brokers import Mosquitto, free_port, needs_mosquitto
from tests.page_client import NUMBERS, asked, posted, until_served
from tests.postgres import needs_postgres, server
from tests.scene.test_typed_readings import BENCH as CABLELESS
from tests.unit.test_steps_dial import SHEET
from tests.waiting import wait_until
from tests.whole_bench import CONFIGS, csv_rows

BENCH, COLLECTOR, DATABASE = "Birke%2F/7 &x", "Linde+8:y@z", "Eiche%40 9#w"
WRONG = "Fichte=3?v"
"""With whatever an address, a shell or a file of settings may take for something else."""

TOKEN = "Ahorn-5_und-viele-Zeichen"  # noqa: S105
"""Of the bench's page; the sort that a token may be of."""


def spelt(password):
    """Each way in which a password could be written down."""
    raw = password.encode()
    return {
        raw,
        quote(password).encode(),
        quote_plus(password).encode(),
        base64.b64encode(raw),
        raw.hex().encode(),
    }


@pytest.fixture
def broker(tmp_path):
    """A broker that knows both by their passwords, and tells all that it can in its log."""
    broker = Mosquitto(tmp_path / "broker")
    broker.folder.mkdir()
    words = broker.folder / "words"
    for user, password in (("bench-1", BENCH), ("collector-1", COLLECTOR)):
        new = [] if words.exists() else ["-c"]
        subprocess.run(
            ["mosquitto_passwd", "-b", *new, words, user, password], check=True, capture_output=True
        )
    broker.more = f"allow_anonymous false\npassword_file {words}\nlog_type all\n"
    with broker:
        yield broker


@pytest.fixture
def postgres():
    """A database that asks for a password."""
    with server() as postgres:
        with psycopg.connect(postgres.address(), autocommit=True) as owner:
            owner.execute(f"CREATE ROLE anna LOGIN SUPERUSER PASSWORD '{DATABASE}'")
            hosts = postgres.folder / "data" / "pg_hba.conf"
            hosts.write_text("host all all 127.0.0.1/32 scram-sha-256\n")
            owner.execute("SELECT pg_reload_conf()")
        yield postgres


@contextlib.contextmanager
def command(folder, name, *words, **environment):
    """One of our commands; what it writes goes to a file, what `ps` shows of it to another."""
    with (folder / f"{name}.out").open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "acquire", *map(str, words)],
            stdin=subprocess.PIPE, stdout=out, stderr=subprocess.STDOUT, cwd=folder,
            env={**os.environ, **environment},
        )  # fmt: skip
        try:
            looked = ["ps", "-ww", "-o", "args=", "-p", str(process.pid)]
            shown = subprocess.run(looked, check=True, capture_output=True)
            (folder / f"{name}.ps").write_bytes(shown.stdout)
            yield process
        finally:
            process.terminate()
            process.wait(30)
            process.stdin.close()


@contextlib.contextmanager
def hearing(file, broker):
    """Everything that goes through the broker."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.username_pw_set("bench-1", BENCH)
    with file.open("wb") as out:
        client.on_message = lambda *heard: out.write(repr((heard[-1].topic, heard[-1].payload)).encode())
        client.on_connect = lambda *_: client.subscribe("#")
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        yield
        client.loop_stop()


def let_in(page):
    """The cookie that the page gives to whoever shows its token."""
    wait_until(lambda: served(page))
    status, fields, _ = asked(page, f"/?token={TOKEN}")
    assert status == 200, fields
    cookie = fields["set-cookie"].partition(";")[0]
    assert TOKEN in cookie
    return cookie


def served(page):
    """Whether somebody answers there yet."""
    with contextlib.suppress(OSError):
        return asked(page, "/now")[0] == 401
    return False


def told(page, cookie, order, **words):
    """An order of a browser that has been let in; gives the answer."""
    body = {"command": order, "correlation": f"told-{next(NUMBERS)}", **words}
    status, _, answer = posted(page, "/orders", body, Cookie=cookie)
    assert status == 200, answer
    return answer


def said(folder, name, *texts):
    """Wait until a command has said one of these."""
    file = folder / f"{name}.out"
    wait_until(lambda: any(text in file.read_text(errors="replace") for text in texts), why=file.read_text)


def files_of(folder, broker, postgres):
    """A bench without a cable, a broker's password in its environment, a token for its page; a collector."""
    network = (
        f'[mqtt]\nhost = "127.0.0.1"\nport = {broker.port}\nline = true\ncommands = true\nuser_env = "WHO"\n'
        'password_env = "BENCH_WORD"\n'
    )
    port = free_port()
    page = f'[page]\nhost = "0.0.0.0"\nport = {port}\ntoken_file = "secret/token"\n'
    (folder / "teal.toml").write_text(SHEET)
    bench = folder / "bench.toml"
    bench.write_text(CABLELESS.format(model=CONFIGS / "meters" / "hand-2000.toml") + network + page)
    (folder / "secret").mkdir()
    (folder / "secret" / "token").write_text(f"{TOKEN}\n")
    (folder / "secret" / "token").chmod(0o600)
    (folder / "secret" / "word").write_text(f"{COLLECTOR}\n")
    collector = folder / "collector.toml"
    board = free_port()
    collector.write_text(
        f'[collector]\nname = "collector-1"\n[broker]\nhost = "127.0.0.1"\nport = {broker.port}\n'
        'user_env = "WHO"\npassword_file = "secret/word"\n'
        f'[database]\naddress = "postgresql://anna@127.0.0.1:{postgres.port}/postgres"\n'
        'password_env = "WORD"\n'
        f"migrate = true\n[line]\nport = {board}\n"
    )
    denied = folder / "denied.toml"
    denied.write_text(
        collector.read_text().replace("-1", "-2").replace("[broker]", 'group = "other"\n[broker]')
    )
    return bench, port, collector, board, denied


@needs_mosquitto
@needs_postgres
def test_no_password_is_in_anything_that_is_written_or_shown(tmp_path, broker, postgres):
    """What they say, log, journal, export, send and serve, and what `ps` shows, in good times and bad."""
    bench, page, collector, board, denied = files_of(tmp_path, broker, postgres)
    of_collector = {"WHO": "collector-1", "WORD": DATABASE}
    kept = tmp_path / "kept"
    kept.mkdir()
    ours = (
        ("bench", ("run", bench, "--log-level", "debug"), {"WHO": "bench-1", "BENCH_WORD": BENCH}),
        ("collect", ("collect", collector, "--log-level", "debug"), of_collector),
        ("line", ("line", collector), of_collector),
        ("denied", ("collect", denied), of_collector | {"WORD": WRONG}),
    )
    with contextlib.ExitStack() as stack:
        begun = [stack.enter_context(command(tmp_path, name, *words, **env)) for name, words, env in ours]
        until_served(board)
        cookie = let_in(page)
        stack.enter_context(hearing(kept / "mqtt", broker))
        for number in range(3):
            told(page, cookie, "start_unit", serial=f"T-000{number}", sure=True)
            for shown in ("0.2", "20,8", "441") if number == 0 else ("20,9", "442"):
                told(page, cookie, "type_reading", text=shown)
            told(page, cookie, "note", text="nothing to hide")
        login = {"host": "127.0.0.1", "port": postgres.port, "dbname": "postgres", "user": "anna"}
        with psycopg.connect(password=DATABASE, autocommit=True, **login) as eye:
            there, stored = "SELECT to_regclass('steadyohm.entry')", "SELECT count(*) FROM steadyohm.entry"
            wait_until(lambda: eye.execute(there).fetchone()[0])
            wait_until(
                lambda: eye.execute(stored).fetchone()[0] >= 5, why=(tmp_path / "collect.out").read_text
            )
            rows = eye.execute("SELECT entry::text FROM steadyohm.entry").fetchall()
            (kept / "database").write_text(repr(rows))
        for number, path in enumerate(("/now", "/", f"/now?token={WRONG}", "/papers/serials")):
            shown = asked(page, path, Cookie=cookie) if number != 2 else asked(page, quote(path, safe="/?="))
            (kept / f"answer-{number}").write_bytes(repr(shown).encode())
            (kept / f"board-{number}").write_bytes(repr(asked(board, path)).encode())
        said(tmp_path, "denied", "password", "authentication")
        postgres.kill()
        broker.kill()
        told(page, cookie, "note", text="and now nobody listens")
        said(tmp_path, "collect", "cannot be reached", "connection")
        time.sleep(1.0)  # both try again meanwhile, and tell
        for process in begun:
            process.terminate()
    with JournalReader(tmp_path / "journal") as journal:
        verdicts = list(journal.find(Query(kinds=("verdict",))))
    assert len(verdicts) == len(csv_rows(tmp_path)) >= 3
    assert b"/verdict" in (kept / "mqtt").read_bytes()
    files = [file for file in tmp_path.rglob("*") if file.is_file() and file.parent.name != "secret"]
    assert {"bench.out", "bench.ps", "collect.out", "line.out", "journal.db", "database", "mqtt"} <= {
        file.name for file in files
    }
    for password in (BENCH, COLLECTOR, DATABASE, WRONG, TOKEN):
        for text in spelt(password):
            assert not [str(file) for file in files if text in file.read_bytes()], text
