"""The command line: exit codes, sentences in place of tracebacks, and an answer to --help at once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest
import typer.main
from typer.core import TyperOption
from typer.testing import CliRunner

from acquire import cli
from acquire.errors import SteadyohmError
from drivers.errors import LinkLost, ModelInvalid
from tests.commanded import commanded
from tests.whole_bench import CONFIGS, QUIET, bench_file


def said(*words):
    """A command as it is typed: its exit code, what it said, and what it complained of."""
    done = commanded(*words)
    return done.returncode, done.stdout, done.stderr


EXTRAS = ("cryptography", "fontTools", "matplotlib", "psycopg", "pyarrow", "pymodbus", "typst", "usb")
"""What an install without extras lacks (pyproject.toml)."""


def test_an_install_without_extras_has_every_command():
    """What an extra brings is imported where it is used, so that a bench starts without any of them."""
    code = (
        "import sys\n"
        f"sys.modules |= dict.fromkeys({EXTRAS!r})\n"  # an import of one fails as if it were not there
        "from acquire.cli import Commands, COMMANDS, UNTYPED\n"
        "import acquire.bench.run, acquire.simulated.demo, acquire.study.run\n"
        "found = [Commands(name='x').get_command(None, name) for name in (*COMMANDS, *UNTYPED)]\n"
        "assert all(found) and len(found) > 30\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_help_imports_nothing_heavy():
    """What --help needs is on the way out in a moment; neither numpy nor pyvisa nor rich nor asyncio is."""
    code = (
        "import sys; sys.argv = ['steadyohm', '--help']\n"
        "from acquire.cli import main\n"
        "try: main()\n"
        "except SystemExit as done: assert not done.code\n"
        "heavy = {'numpy', 'pyvisa', 'pydantic', 'aiomqtt', 'structlog', 'scipy', 'acquire.records'}\n"
        "heavy &= set(sys.modules)\n"
        "print('heavy:', sorted(heavy))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=30, check=True
    )
    assert "heavy: []" in done.stdout


def test_output_into_a_full_disk_ends_in_a_sentence():
    """Not in a fault of ours; /dev/full is a disk without room."""
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "acquire", "schema"],
            stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr == (
        "The output cannot be written (No space left on device). Make room and run it again.\n"
    )


def test_every_command_has_a_sentence_of_help():
    """And every option of it."""
    group, ctx = typer.main.get_command(cli.app), None
    listed = " ".join(group.get_help(typer.Context(group)).split())
    for name, (_, about) in cli.COMMANDS.items():
        command = group.get_command(ctx, name)
        shown = command.get_help(typer.Context(command))
        assert command.help.split(".")[0] in " ".join(shown.split()), name
        assert all(option.help for option in command.params if isinstance(option, TyperOption)), name
        assert f"{name} {about}" in listed


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["check", "nope.toml"], "nope.toml"),
        (["run"], "bench"),
        (["run", "x.toml", "--log-level", "loud"], "loud"),
        (["demo", "--units", "0"], "--units"),
        (["demo", "--units", "two"], "'two' is no whole number."),
        (["demo", "--speed", "fast"], "'fast' is no number."),
        (["demo", "--scene", "none"], "'--scene': 'none' is not one of 'plover-80'"),
        (["history", "x", "--outcome", "good"], "'--outcome': 'good' is not one of 'pass'"),
        (["decode", "none", "00"], "There is no driver 'none'; there are ascii14"),
        (["find", "--tcp", "nowhere"], "tcp:nowhere"),
        (["demo", "--speed", "99"], "--speed"),
        (["frobnicate"], "frobnicate"),
        (["check", "\x1b]0;x\x07.toml"], '"�]0;x�.toml" holds signs that cannot be shown.'),
        (["demo", "--units", "\x1b[31m2"], '"�[31m2" holds signs that cannot be shown.'),
        (["history", "9" * 5000], "cannot be used (File name too long)"),
        (["install-shortcut", "--folder", "/dev/null"], '"/dev/null" cannot be used (File exists)'),
    ],
)
def test_bad_input_is_a_sentence_and_exit_code_2(words, sentence):
    """With what and where; nothing on standard output."""
    code, out, errors = said(*words)
    assert (code, out) == (2, "")
    assert sentence in errors


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["run", "nope.toml"], "there is no such bench file"),
        (["demo", "--dir", "/dev/null"], "/dev/null cannot be made a folder"),
    ],
)
def test_a_file_that_cannot_be_used_is_bad_input_as_well(words, sentence):
    """Exit code 2, one line, no traceback."""
    code, out, errors = said(*words)
    assert (code, out) == (2, "")
    assert sentence in errors
    assert errors.count("\n") == 1


def test_a_broken_meter_file_is_bad_input(tmp_path):
    """Exit code 2, as for every file."""
    (tmp_path / "meter.toml").write_text('name = "x"\n', encoding="utf-8")
    model = (str(CONFIGS / "meters" / "bench-6-digit.toml"), "meter.toml")
    code, _, errors = said("run", str(bench_file(tmp_path, meter="tcp:127.0.0.1:9", changes=(model,))))
    assert code == 2
    assert "meter.toml" in errors
    assert not (tmp_path / "journal").exists()


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (SteadyohmError("It failed.", "Do this."), 1, "It failed. Do this."),
        (ModelInvalid("bad file", port="", hint="Mend it."), 2, "Bad file. Mend it."),
        (LinkLost("it hung up", port="tcp:x"), 1, "it hung up"),
        (ExceptionGroup("g", [ExceptionGroup("h", [LinkLost("it hung up", port="tcp:x")])]), 1, "it hung up"),
        (ExceptionGroup("g", [KeyError("oops")]), 1, "fault of steadyohm itself: KeyError: 'oops'"),
        (ZeroDivisionError("by zero"), 1, "fault of steadyohm itself: ZeroDivisionError"),
    ],
)
def test_whatever_is_raised_ends_in_sentences(monkeypatch, capsys, error, code, words):
    """Also out of the tasks that run side by side."""
    monkeypatch.delenv("STEADYOHM_DEBUG", raising=False)

    def failing():
        raise error

    monkeypatch.setattr(cli, "app", failing)
    with pytest.raises(SystemExit) as left:
        cli.main()
    assert left.value.code == code
    assert words in capsys.readouterr().err


def test_a_traceback_comes_when_it_is_asked_for(monkeypatch):
    """With STEADYOHM_DEBUG in the environment."""
    monkeypatch.setenv("STEADYOHM_DEBUG", "1")

    def failing():
        raise ZeroDivisionError

    monkeypatch.setattr(cli, "app", failing)
    with pytest.raises(ZeroDivisionError):
        cli.main()


def test_a_reader_that_leaves_is_no_fault():
    """`steadyohm schema | head -1`."""
    reader, writer = os.pipe()
    process = subprocess.Popen(
        [sys.executable, "-m", "acquire", "schema"], stdout=writer, stderr=subprocess.PIPE, text=True
    )
    os.close(writer)
    os.close(reader)
    _, errors = process.communicate(timeout=30)
    assert "Traceback" not in errors
    assert "fault of steadyohm" not in errors


@pytest.mark.parametrize("after_s", [pytest.param(0.5, marks=pytest.mark.long), 1.5])
def test_ctrl_c_in_the_demo_ends_it_at_any_time(tmp_path, after_s):
    """No traceback, and no simulation left behind."""
    process = subprocess.Popen(
        [sys.executable, "-m", "acquire", "demo", "--dir", str(tmp_path / "run"), "--units", "2"],
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, stdin=subprocess.DEVNULL, env=QUIET,
    )  # fmt: skip
    try:
        time.sleep(after_s)
        children = psutil.Process(process.pid).children(recursive=True)
        process.send_signal(signal.SIGINT)
        output, _ = process.communicate(timeout=15)
    finally:
        process.kill()
        process.wait()
    assert process.returncode != 0
    assert "Traceback" not in output
    assert not [child for child in children if child.is_running()]


def test_a_bench_without_a_fixture_has_no_relays_to_try(tmp_path):
    """Bad input, in one sentence; and a meter that is away is a failed run."""
    file = bench_file(tmp_path, meter="tcp:127.0.0.1:9")
    code, out, errors = said("fixture", str(file))
    assert (code, out) == (2, "")
    assert errors.endswith("has no [fixture] table. configs/README.md shows one.\n")
    table = "[fixture]\nhigh = { 1 = 101, 2 = 102 }\nlow = { 1 = 201, 2 = 202 }\n\n[temperature]"
    file = bench_file(tmp_path, meter="tcp:127.0.0.1:9", changes=[("[temperature]", table)])
    code, _, errors = said("fixture", str(file))
    assert code == 1
    assert "nothing listens there" in errors


@pytest.mark.parametrize("command", ["history", "chart"])
def test_a_limit_that_no_list_can_have_is_bad_input(command, tmp_path):
    result = CliRunner().invoke(cli.app, [command, str(tmp_path), "--limit", "9" * 20])
    assert result.exit_code == 2
    assert "--limit" in result.output + result.stderr


def test_a_foreign_package_of_one_of_our_names_is_told(tmp_path):
    """Their names are common words; a stranger in front of ours would be imported in its place."""
    (tmp_path / "sim").mkdir()
    (tmp_path / "sim" / "__init__.py").write_text("", encoding="utf-8")
    said = subprocess.run(
        [sys.executable, "-m", "acquire", "--help"],
        env=os.environ | {"PYTHONPATH": str(tmp_path)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert said.returncode == 1
    assert str(tmp_path / "sim") in said.stderr
    assert "environment of its own" in said.stderr
