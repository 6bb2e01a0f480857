"""Bench, collector and line's page with passwords, right and wrong: none of them is ever written anywhere."""

from __future__ import annotations

import base64
import contextlib
import os
import subprocess
import sys
import time
from urllib.parse import quote, quote_plus

import psycopg
import pytest

from acquire.journal.history import JournalReader, Query
from tests.brokers import Mosquitto, free_port, needs_mosquitto
from tests.page_client import asked, ordered, until_served
from tests.postgres import needs_postgres, server
from tests.waiting import wait_until
from tests.whole_bench import bench_file

BENCH, COLLECTOR, DATABASE = "Birke%2F/7 &x", "Linde+8:y@z", "Eiche%40 9#w"
WRONG = "Fichte=3?v"
"""With whatever an address, a shell or a file of settings may take for something else."""


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


def said(folder, name, *texts):
    """Wait until a command has said one of these."""
    file = folder / f"{name}.out"
    wait_until(lambda: any(text in file.read_text(errors="replace") for text in texts), why=file.read_text)


def files_of(folder, broker, postgres):
    """A bench file with a broker's password by environment and a page; a collector's file."""
    mqtt = (
        f'[mqtt]\nhost = "127.0.0.1"\nport = {broker.port}\nline = true\norders = true\nuser_env = "WHO"\n'
        'password_env = "BENCH_WORD"\n'
    )
    port = free_port()
    bench = bench_file(
        folder, meter="tcp:127.0.0.1:9", changes=[("[csv]", f"{mqtt}\n[page]\nport = {port}\n\n[csv]")]
    )
    (folder / "secret").mkdir()
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
        until_served(page)
        until_served(board)
        for number in range(3):
            ordered(page, "start_unit", serial=f"P80-000{number}", sure=True)
            ordered(page, "note", text="nothing to hide")
        login = {"host": "127.0.0.1", "port": postgres.port, "dbname": "postgres", "user": "anna"}
        with psycopg.connect(password=DATABASE, autocommit=True, **login) as eye:
            there, stored = "SELECT to_regclass('steadyohm.entry')", "SELECT count(*) FROM steadyohm.entry"
            wait_until(lambda: eye.execute(there).fetchone()[0])
            wait_until(
                lambda: eye.execute(stored).fetchone()[0] >= 5, why=(tmp_path / "collect.out").read_text
            )
            rows = eye.execute("SELECT entry::text FROM steadyohm.entry").fetchall()
            (kept / "database").write_text(repr(rows))
        for number, (port, path) in enumerate(
            (port, path) for port in (page, board) for path in ("/now", "/")
        ):
            (kept / f"answer-{number}").write_bytes(repr(asked(port, path)).encode())
        said(tmp_path, "denied", "password", "authentication")
        postgres.kill()
        broker.kill()
        ordered(page, "note", text="and now nobody listens")
        said(tmp_path, "collect", "cannot be reached", "connection")
        time.sleep(1.0)  # both try again meanwhile, and tell
        for process in begun:
            process.terminate()
    with JournalReader(tmp_path / "journal") as journal:
        assert list(journal.find(Query(kinds=("unit_started",))))
    files = [file for file in tmp_path.rglob("*") if file.is_file() and file.parent.name != "secret"]
    assert {"bench.out", "bench.ps", "collect.out", "line.out", "journal.db", "database"} <= {
        file.name for file in files
    }
    for password in (BENCH, COLLECTOR, DATABASE, WRONG):
        for text in spelt(password):
            assert not [str(file) for file in files if text in file.read_bytes()], text
