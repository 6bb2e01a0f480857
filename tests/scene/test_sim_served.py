"""The simulated bench as a process: started, plugged into by an independent client, and ended."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time

import psutil
import pytest
import pyvisa

from sim.__main__ import options
from tests.waiting import PATIENCE_S

SPEED = "20"


@contextlib.contextmanager
def bench(*words):
    """A simulated bench in a process of its own."""
    command = [sys.executable, "-m", "sim", "--speed", SPEED, *words]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
    ) as process:
        try:
            yield process
        finally:
            if process.poll() is None:
                process.stdin.close()
                process.wait(PATIENCE_S)


def heard(process):
    """The next JSON object that the bench prints."""
    return json.loads(process.stdout.readline())


def show(process, **what):
    """Let the hands see something."""
    process.stdin.write(json.dumps(what) + "\n")
    process.stdin.flush()


def addresses(process):
    """Kind of link and rest of the address, by instrument."""
    return {name: address.split(":", 1) for name, address in heard(process)["address"].items()}


@contextlib.contextmanager
def visa(resource):
    """The meter through pyvisa with the pyvisa-py back-end: a client that knows nothing of this project."""
    manager = pyvisa.ResourceManager("@py")
    instrument = manager.open_resource(resource, read_termination="\n", write_termination="\n", timeout=3000)
    try:
        yield instrument
    finally:
        instrument.close()
        manager.close()


def resource_of(kind, rest):
    """A VISA resource name for an address."""
    if kind == "tcp":
        host, port = rest.split(":")
        return f"TCPIP0::{host}::{port}::SOCKET"
    return f"ASRL{rest}::INSTR"


@pytest.mark.parametrize("link", ["tcp", "pty"])
def test_an_independent_client_measures_a_unit_in_the_hands(link):
    """pyvisa over TCP and over a pty: identity, configuration, a 4-wire reading, an error, an overload."""
    with bench("--meter-link", link) as process:
        kind, rest = addresses(process)["meter"]
        assert kind == {"tcp": "tcp", "pty": "serial"}[link]
        with visa(resource_of(kind, rest)) as meter:
            assert len(meter.query("*IDN?").split(",")) == 4
            meter.write("CONF:FRES 1000;:SENS:FRES:NPLC 1")
            assert meter.query("CONF?") == '"FRES +1.00000000E+03,+1.00000000E-03"'
            assert float(meter.query("READ?")) == 9.9e37
            show(process, show="start_unit")
            assert heard(process)["serial"] == "P80-0001"
            show(process, show="touch", pins=["1", "2"])
            assert heard(process) == {"hands": "touch", "pins": ["1", "2"]}
            time.sleep(0.3)  # six simulated seconds: any film is broken, any creep over
            ohm = float(meter.query("READ?"))
            assert 190 < ohm < 216
            meter.write("FROB 1")
            assert meter.query("SYST:ERR?") == '-113,"Undefined header"'
            assert meter.query("SYST:ERR?") == '+0,"No error"'


def test_serial_device_clear_takes_the_meter_out_of_a_long_conversion():
    """Ctrl-C on the serial line drops the pending answer; the next query gets its own."""
    with bench("--meter-link", "pty") as process, visa(resource_of(*addresses(process)["meter"])) as meter:
        meter.write("CONF:FRES 100;:SENS:FRES:NPLC 100;:READ?")
        meter.write_raw(b"\x03")
        assert meter.query("*OPC?") == "1"


def test_a_stalled_line_gives_the_late_answer_to_the_next_question():
    """After a timeout the answers are one behind; so a driver must drain the line."""
    with (
        bench("--trouble", "delay_s=0.4") as process,
        visa(resource_of(*addresses(process)["meter"])) as meter,
    ):
        meter.timeout = 200
        with pytest.raises(pyvisa.errors.VisaIOError):
            meter.query("READ?")
        meter.timeout = 3000
        assert meter.query("*IDN?").startswith("+9.9")
        assert meter.read().startswith("Invented")


def test_a_garbled_line_garbles():
    """Every byte for the test; with a small chance in use."""
    with bench("--trouble", "garble=1") as process, visa(resource_of(*addresses(process)["meter"])) as meter:
        meter.write("*IDN?")
        assert not meter.read_bytes(20).startswith(b"Invented Instruments")


def read_until(path, enough, within_s=PATIENCE_S):
    """What a serial port gives until that is enough, or the time is over."""
    end = time.monotonic() + within_s
    port = os.open(path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    data = b""
    try:
        while not enough(data) and time.monotonic() < end:
            with contextlib.suppress(BlockingIOError):
                data += os.read(port, 4096)
            time.sleep(0.02)
    finally:
        os.close(port)
    return data


def whole(data, ending):
    """The parts of which both ends were seen."""
    return data.split(ending)[1:-1]


def test_the_thermometer_sends_lines_on_a_pty():
    """`22.58 C`, and nothing old when nobody has listened for long."""
    with bench("--speed", "100") as process:
        kind, path = addresses(process)["thermometer"]
        assert kind == "serial"
        lines = whole(read_until(path, lambda data: len(whole(data, b"\r\n")) >= 3), b"\r\n")
        assert len(lines) >= 3
        for line in lines:
            celsius, unit = line.split()
            assert 20.8 < float(celsius) < 24.4
            assert unit == b"C"
        time.sleep(1.0)  # some 1300 bytes
        assert len(read_until(path, bool)) < 700


@pytest.mark.parametrize(
    ("words", "length", "ending"),
    [
        (("--meter", "hand-6000"), 14, b"\r\n"),
        (
            ("--meter", "hand-4000"),
            11,
            b"\r\x8a",
        ),  # CR and LF with their parity bits: 0Dh is odd already, 0Ah is not
        (("--meter", "hand-4000", "--voice", "stx16"), 16, b"\r"),
    ],
)
def test_hand_meters_stream_frames_of_their_kind(words, length, ending):
    """Whole frames, one after the other."""
    with bench(*words, "--meter-link", "pty") as process:
        data = read_until(addresses(process)["meter"][1], lambda data: len(whole(data, ending)) >= 2)
        frames = whole(data, ending)
        assert len(frames) >= 2
        assert {len(frame) + len(ending) for frame in frames} == {length}


def test_a_polled_hand_meter_answers_one_letter():
    """D for display."""
    with bench("--meter", "hand-2000", "--meter-link", "pty") as process:
        path = addresses(process)["meter"][1]
        assert read_until(path, bool, within_s=0.2) == b""
        port = os.open(path, os.O_RDWR | os.O_NOCTTY)
        try:
            os.write(port, b"D")
            answer = b""
            while len(answer) < 14:
                answer += os.read(port, 64)
        finally:
            os.close(port)
        assert answer == b"OH    .OL Ohm\r"  # its dial stands on the lowest range


def test_the_bench_ends_with_its_input_and_leaves_nothing_behind():
    """End of input: exit code 0, and no process of its own at any time."""
    with bench() as process:
        addresses(process)
        assert psutil.Process(process.pid).children() == []
        process.stdin.close()
        assert process.wait(PATIENCE_S) == 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_bench_ends_on_a_signal(number):
    """Exit code 0, also with a client on the line."""
    with bench() as process, visa(resource_of(*addresses(process)["meter"])) as meter:
        meter.query("*IDN?")
        process.send_signal(number)
        assert process.wait(PATIENCE_S) == 0


def test_the_truth_log_tells_unit_and_touch(tmp_path):
    """JSON lines, for whoever checks the verdicts."""
    log = tmp_path / "truth.jsonl"
    with bench("--truth", str(log)) as process:
        addresses(process)
        show(process, show="start_unit")
        heard(process)
        show(process, show="touch", pins=["1", "2"])
        heard(process)
        show(process, show="verdict", outcome="pass")
        heard(process)
        show(process, show="unit", outcome="pass")
        heard(process)
    facts = [json.loads(line) for line in log.read_text().splitlines()]
    assert [f["truth"] for f in facts] == ["unit", "touch", "aside"]
    assert facts[0]["verdict"] == "pass"
    assert facts[1]["true_ohm"] == pytest.approx(facts[0]["pairs"]["1-2"]["true_ohm_20"], rel=0.02)


def test_units_and_probes_can_be_moved_by_typing():
    """The bench for a second terminal."""
    with bench("--hands", "typed") as process:
        head = "".join(process.stdout.readline() for _ in range(10))
        assert 'link = "tcp:127.0.0.1:' in head
        assert 'link = "serial:/dev/' in head
        process.stdin.write("unit joint 2 12\nwhat\n1 2\n1 9\nunit nonsense\nquit\n")
        process.stdin.flush()
        said = process.stdout.read()
        assert process.wait(PATIENCE_S) == 0
        for words in (
            "joint at 2, 12",
            "probes on 1 and 2",
            "Not understood: '1 9'",
            "No fault is called 'nonsense'",
        ):
            assert words in said


@pytest.mark.parametrize(
    "words",
    [
        ["--fault", "open"],
        ["--meter", "no-such.toml"],
        ["--sheet", "no-such.toml"],
        ["--scene", "no-such.toml"],
        ["--units", "0"],
        ["--speed", "nan"],
        ["--speed", "0"],
        ["--meter", "hand-2000", "--voice", "scpi"],
        ["--meter", "bench-6-digit", "--voice", "parity11"],
        ["--meter", "hand-2000", "--fixed-range", "1e9"],
        ["--trouble", "gremlins=1"],
        ["--trouble", "drop=2"],
        ["--meter-port", "70000"],
    ],
)
def test_a_wrong_command_line_is_refused_in_a_sentence(words, capsys):
    """Exit code 2, and what is wrong with which option."""
    with pytest.raises(SystemExit) as left:
        options(words)
    assert left.value.code == 2
    said = capsys.readouterr().err.splitlines()[-1]
    assert f"argument {words[-2]}" in said or words[-2] in said or words[-1] in said


def test_a_port_in_use_is_named():
    """Exit code 1 and the reason."""
    with bench() as process:
        port = addresses(process)["meter"][1].split(":")[1]
        done = subprocess.run(
            [sys.executable, "-m", "sim", "--meter-port", port],
            capture_output=True,
            text=True,
            stdin=subprocess.DEVNULL,
            check=False,
        )
    assert done.returncode == 1
    assert "cannot be served" in done.stderr
    assert "Traceback" not in done.stderr
