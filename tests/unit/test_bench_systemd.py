"""Readiness and watchdog over real datagram sockets, and the unit files themselves."""

import configparser
import os
import shutil
import socket
import subprocess
import time
from pathlib import Path

import pytest

from acquire.bench.systemd import Supervisor, from_environment

UNITS = Path(__file__).parents[2] / "configs" / "systemd"


@pytest.fixture
def receiver(tmp_path):
    """Stands in for systemd."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(1.0)
        yield listening


def supervisor(receiver, **more):
    return Supervisor.of({"NOTIFY_SOCKET": receiver.getsockname(), **more}, 4711)


def heard(receiver):
    return receiver.recv(4096).decode().split("\n")


def test_readiness_and_stopping_are_told(receiver):
    """As sd_notify(3) writes it, with one line of status."""
    told = supervisor(receiver)

    assert told.ready("north bench:\n reading")
    assert heard(receiver) == ["READY=1", "STATUS=north bench: reading"]
    assert told.stopping()
    assert heard(receiver) == ["STOPPING=1"]
    assert told.reloading(123)
    assert heard(receiver) == ["RELOADING=1", "MONOTONIC_USEC=123"]


def test_an_abstract_socket_is_reached():
    """systemd may use one: its address begins with @, the real one with NUL."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(f"\0steadyohm-test-{os.getpid()}")
        listening.settimeout(1.0)
        assert Supervisor(f"@steadyohm-test-{os.getpid()}").ready()
        assert heard(listening) == ["READY=1"]


def test_the_watchdog_is_fed_only_when_all_has_moved(receiver):
    """A daemon that runs but does nothing must be restarted."""
    told = supervisor(receiver, WATCHDOG_USEC="30000000")

    assert told.feed_every_s == 15.0
    assert told.feed(10, 3)
    assert heard(receiver) == ["WATCHDOG=1"]
    assert not told.feed(10, 3)
    assert not told.feed(11, 3), "readings come, and the journal hangs"
    assert told.feed(12, 4)


@pytest.mark.parametrize(
    "environment",
    [
        {"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"},
        {"WATCHDOG_USEC": "0"},
        {"WATCHDOG_USEC": "soon"},
        {},
    ],
)
def test_a_watchdog_meant_for_another_or_for_nobody_is_not_fed(receiver, environment):
    """sd_watchdog_enabled(3): only the process named in WATCHDOG_PID is meant."""
    told = supervisor(receiver, **environment)

    assert told.watchdog_s is None
    assert not told.feed(1)


def test_without_systemd_nothing_happens():
    """Nobody is told, nothing fails."""
    assert not Supervisor.of({}, 1).ready()
    assert not Supervisor.of({"NOTIFY_SOCKET": "vsock:2:1234"}, 1).ready()
    assert not Supervisor("/nowhere/at/all").ready()
    assert from_environment().say("READY=1") is bool(os.environ.get("NOTIFY_SOCKET"))


def test_a_receiver_that_does_not_read_never_holds_up_the_bench(receiver):
    """Its queue fills after some messages; then we are told no, at once."""
    told = supervisor(receiver)
    before_s = time.perf_counter()
    answers = [told.say("WATCHDOG=1") for _ in range(2000)]

    assert answers[0] is True
    assert answers[-1] is False
    assert time.perf_counter() - before_s < 1.0


# ---------------------------------------------------------------------- unit files


def unit(name):
    """A unit file's settings; a key may stand more than once."""

    class Several(dict):
        def __setitem__(self, key, value):
            if key in self and isinstance(value, list):
                self[key].extend(value)
            else:
                super().__setitem__(key, value)

    parser = configparser.RawConfigParser(strict=False, dict_type=Several, delimiters="=", interpolation=None)
    parser.optionxform = str
    parser.read(UNITS / name)
    return parser


def test_the_template_is_the_single_unit_with_a_name_filled_in():
    """One is never hardened without the other."""
    single, template = unit("steadyohm.service")["Service"], unit("steadyohm@.service")["Service"]
    named = {"ExecStart", "EnvironmentFile", "StateDirectory", "WorkingDirectory"}

    assert {key: value for key, value in single.items() if key not in named} == {
        key: value for key, value in template.items() if key not in named
    }
    assert all("%i" in template[key] for key in named)


def test_the_units_run_as_nobody_in_particular_and_stop_in_time():
    """Unprivileged; bad input is not tried again; the daemon drains within 5 s, which must fit."""
    service = unit("steadyohm.service")["Service"]

    assert service["DynamicUser"] == service["NoNewPrivileges"] == "yes"
    assert service["CapabilityBoundingSet"] == ""
    assert service["ProtectSystem"] == "strict"
    assert service["RestartPreventExitStatus"] == "2"
    assert float(service["TimeoutStopSec"]) > 5


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="this machine has no systemd-analyze")
def test_systemd_itself_finds_nothing_to_say(tmp_path):
    """`systemd-analyze verify`, with a program that exists in place of ours."""
    for name, new in (
        ("steadyohm.service", "steadyohm.service"),
        ("steadyohm@.service", "steadyohm@n.service"),
    ):
        text = (UNITS / name).read_text().replace("/opt/steadyohm/bin/steadyohm", "/bin/true")
        (tmp_path / new).write_text(text)
        words = ["systemd-analyze", "verify", "--man=no", str(tmp_path / new)]
        said = subprocess.run(words, capture_output=True, text=True, timeout=30, check=False)
        assert said.returncode == 0, said.stderr
        assert name.split("@")[0].split(".")[0] not in said.stderr
