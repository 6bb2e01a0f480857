"""The line's commands from their file: roles, tables, a missing library, a stop by signal."""

import os
import signal
import subprocess
import sys
import time

import psycopg
import pytest
from typer.testing import CliRunner

from acquire.cli import app
from acquire.errors import InputImpossible
from acquire.line import places, sql
from tests.brokers import Mosquitto, needs_mosquitto
from tests.commanded import commanded
from tests.postgres import database, needs_postgres  # noqa: F401  (a fixture)
from tests.waiting import PATIENCE_S, crowding, wait_until
from tests.whole_bench import CONFIGS

QUIET = {**os.environ, "PYTHONPATH": str(CONFIGS.parent)}


def collector_file(folder, address="postgresql://me@127.0.0.1:1/line", port=1, more=""):
    """A collector file without secrets."""
    file = folder / "collector.toml"
    file.write_text(
        f'[collector]\nname = "c"\n[broker]\nhost = "127.0.0.1"\nport = {port}\n'
        f'[database]\naddress = "{address}"\n{more}'
    )
    return file


def test_roles_are_printed_for_psql():
    """Nothing is opened for it."""
    said = CliRunner().invoke(app, ["collect", "--print-roles"])
    assert said.exit_code == 0
    assert said.output.encode() == sql("roles")


def test_without_a_file_it_asks_for_one():
    """In a sentence."""
    said = CliRunner().invoke(app, ["collect"])
    assert isinstance(said.exception, InputImpossible)
    assert "configs/line/collector.toml" in str(said.exception)


@pytest.mark.parametrize(
    "words", [["collect"], ["collect", "--migrate"], ["collect", "--journal", "journal"], ["line"]]
)
def test_a_missing_library_is_named_in_one_sentence(tmp_path, monkeypatch, words):
    """With what to install."""
    monkeypatch.setattr(places, "find_spec", lambda _: None)
    said = CliRunner().invoke(app, [words[0], str(collector_file(tmp_path)), *words[1:]])
    assert isinstance(said.exception, InputImpossible)
    assert 'pip install "steadyohm[line]"' in str(said.exception)


def test_help_and_other_commands_do_not_load_the_library():
    """Only who needs it pays for it."""
    check = (
        "import sys; import acquire.cli; sys.exit(any(m in sys.modules for m in ('psycopg', 'starlette')))"
    )
    assert subprocess.run([sys.executable, "-c", check], env=QUIET, check=False).returncode == 0


def test_the_files_faults_are_told_by_line(tmp_path):
    """As those of bench files."""
    file = collector_file(tmp_path, more='words = "x"\n')
    done = commanded("collect", file)
    assert done.returncode == 2
    assert f"{file}:8" in done.stderr


@needs_postgres
def test_tables_alone(tmp_path, database):  # noqa: F811
    """Twice does no harm; a database that is away is told."""
    file = str(collector_file(tmp_path, database))
    for _ in range(2):
        said = CliRunner().invoke(app, ["collect", file, "--migrate"])
        assert said.exit_code == 0, said.exception
        assert "are those of this version" in said.output
    with psycopg.connect(database) as connection:
        assert connection.execute("SELECT count(*) FROM steadyohm.migration").fetchone()[0] > 0
    said = CliRunner().invoke(app, ["collect", str(collector_file(tmp_path)), "--migrate"])
    assert "cannot be used now" in str(said.exception)
    assert "me@" not in str(said.exception)


@needs_mosquitto
def test_a_collector_waits_for_its_database_and_ends_when_told(tmp_path):
    """Exit code 0 within five seconds; what is missing is logged without secrets."""
    with Mosquitto(tmp_path / "broker") as broker, (tmp_path / "log").open("w+") as log:
        file = collector_file(tmp_path, port=broker.port, more='password_env = "LINE_WORD"\n')
        process = subprocess.Popen([sys.executable, "-m", "acquire", "collect", str(file), "--name", "c-7"],
                                   env={**QUIET, "LINE_WORD": "s3cret"}, stdout=log, stderr=log)  # fmt: skip
        try:
            wait_until(lambda: "collect.listening" in (tmp_path / "log").read_text())
            began_s = time.monotonic()
            process.send_signal(signal.SIGTERM)
            assert process.wait(PATIENCE_S) == 0
            assert time.monotonic() - began_s < 5.0 * crowding()
        finally:
            process.kill()
            process.wait()
        said = (tmp_path / "log").read_text()
    assert "collect.stopped" in said
    assert "s3cret" not in said
