"""The conformance kit, run as a third party runs it, over every driver of our own and over one of theirs."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from drivers.conformance import test_driver as kit
from drivers.conformance.vectors import Vector
from drivers.decode import decoder_of

ROOT = Path(__file__).parent.parent.parent
FRAMES = json.loads((ROOT / "tests" / "data" / "frames.json").read_text(encoding="utf-8"))["frames"]
FLAGS = {"auto": "auto_range", "max": "maximum", "min": "minimum", "rel": "relative", "apo": "auto_off"}
KINDS = {"two_line": ("two_line", {"acknowledgement": "first"}), "ascii14": ("ascii14", {"counts": 0})}


def vector_of(frame):
    """One entry of frames.json in the kit's own form."""
    body = {"hex": frame["hex"]} if "hex" in frame else {"text": frame["text"].strip("\r\n")}
    if frame["protocol"] in {"stx16", "two_line"} and "text" in frame:
        body = {"text": frame["text"]}
    if frame.get("error"):
        return {"name": frame["id"], **body, "refused": True}
    kind = "overload" if frame["overload"] else "value" if frame["value"] is not None else "no_reading"
    flags = sorted(FLAGS.get(flag, flag) for flag in frame["flags"])
    extra = {"flags": flags} if frame["protocol"] in {"status14", "parity11", "segments14"} else {}
    return {
        "name": frame["id"],
        **body,
        "quantity": frame["function"],
        "kind": kind,
        "value": frame["value"],
        **extra,
    }


def run_kit(driver, frames, tmp_path, options=None):
    file = tmp_path / "vectors.json"
    file.write_text(json.dumps({"source": "tests/data/frames.json", "frames": frames}), encoding="utf-8")
    command = [sys.executable, "-m", "drivers.conformance", driver, str(file)]
    command += ["--options", json.dumps(options or {})]
    return subprocess.run(
        command,
        cwd=ROOT,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": f"{tmp_path}:{ROOT}", "PATH": "/usr/bin", "PYTHONDONTWRITEBYTECODE": "1"},
        timeout=50,
        check=False,
    )


def check_in_here(driver, frames, options):
    """The kit's checks called one by one, without the cost of a process each."""
    protocol = decoder_of(driver, options)
    vectors = [Vector.model_validate(frame) for frame in frames]
    good = [vector for vector in vectors if not vector.refused]
    for vector in vectors:
        kit.test_each_vector_says_what_it_shows(protocol, vector)
    for chunk in (1, 3, 1000):
        kit.test_frames_are_found_however_the_link_cuts_them(protocol, good, chunk)
    kit.test_a_stream_joined_midway_or_hit_by_noise_finds_its_feet(protocol, good)
    kit.test_damaged_bytes_neither_raise_nor_pile_up(protocol, good)
    kit.test_capabilities_are_honest(driver, options, protocol, good)
    kit.test_options_are_a_documented_frozen_model(driver)


def frames_for(protocol):
    chosen = [frame for frame in FRAMES if frame["protocol"] == protocol]
    chosen = [frame for frame in chosen if frame.get("flags") != ["secondary"]]
    if protocol == "two_line":
        chosen = [frame for frame in chosen if frame.get("variant") == "ack-first"]
    return [vector_of(frame) for frame in chosen]


@pytest.mark.parametrize("protocol", ["status14", "parity11", "segments14", "stx16", "ascii14", "two_line"])
def test_our_own_drivers_conform(protocol):
    driver, options = KINDS.get(protocol, (protocol.removesuffix("_11"), {}))
    check_in_here(driver, frames_for(protocol), options)


LINES = [
    {"name": "thermometer", "text": "23.41 C", "quantity": "temperature", "value": 23.41},
    {"name": "open", "text": "OL ohm", "quantity": "resistance", "kind": "overload"},
    {"name": "glued", "text": "723 ohm 10.4", "refused": True},
]
SCPI = [
    {"name": "ohms", "text": "+1.04723000E+01", "quantity": "resistance", "value": 10.4723},
    {"name": "over", "text": "+9.90000000E+37", "quantity": "resistance", "kind": "overload"},
    {"name": "junk", "text": "ohm", "refused": True},
]
LCR = [
    {"name": "coil", "text": "+1.52340E-02,+3.41200E+00,+0", "quantity": "inductance", "value": 0.015234},
    {"name": "two fields", "text": "+1.5E-02,+3.4E+00", "refused": True},
]
MODBUS = [
    {"name": "100", "hex": "01 03 04 42 c8 00 00 6f b5", "quantity": "resistance_4w", "value": 100.0},
    {"name": "CRC", "hex": "01 03 04 42 c9 00 00 6f b5", "refused": True},
]


@pytest.mark.parametrize(
    ("driver", "frames", "options"),
    [
        ("lines", LINES, {}),
        ("scpi", SCPI, {}),
        ("lcr", LCR, {}),
        ("modbus", MODBUS, {"profile": "float_ohmmeter"}),
    ],
)
def test_drivers_of_text_and_registers_conform(driver, frames, options):
    check_in_here(driver, frames, options)


THEIRS = """
from drivers.frame import Decoded, FrameProtocol, FrameRefused
from drivers.handheld.hand_meter import HandMeter, capabilities_of
from drivers.handheld.options import HandMeterOptions
from drivers.link.address import SerialLine
from drivers.link.framing import LineFramer
from drivers.reading import Kind, Quantity


class Milliohm(FrameProtocol):
    name = "milliohm"
    usual_line = SerialLine(baud=9600)
    quantities = frozenset({Quantity.RESISTANCE_4W})
    verification = "capture"

    def framer(self):
        return LineFramer()

    def decode(self, frame):
        digits = frame.removeprefix(b"m")
        if digits == frame or not digits.isdigit():
            raise FrameRefused("not m and digits")
        if BROKEN and digits == b"0042":
            return Decoded(Quantity.TEMPERATURE, Kind.VALUE, 42.0)
        return Decoded(Quantity.RESISTANCE_4W, Kind.VALUE, int(digits) / 1000, 1e-3)


class MilliohmMeter(HandMeter):
    Options = HandMeterOptions
    Protocol = Milliohm
    capabilities = capabilities_of(Milliohm())
"""


@pytest.mark.parametrize(("broken", "code"), [(False, 0), (True, 1)])
def test_a_third_partys_driver_is_found_by_its_entry_point_and_judged(broken, code, tmp_path):
    (tmp_path / "their_meter.py").write_text(f"BROKEN = {broken}\n{THEIRS}", encoding="utf-8")
    info = tmp_path / "their_meter-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: their-meter\nVersion: 1.0\n", encoding="utf-8"
    )
    (info / "entry_points.txt").write_text(
        "[steadyohm.drivers]\nmilliohm = their_meter:MilliohmMeter\n", encoding="utf-8"
    )
    frames = [
        {"name": "1.234", "text": "m1234", "quantity": "resistance_4w", "value": 1.234},
        {"name": "0.042", "text": "m0042", "quantity": "resistance_4w", "value": 0.042},
        {"name": "junk", "text": "x", "refused": True},
    ]
    result = run_kit("milliohm", frames, tmp_path)
    assert result.returncode == code, result.stdout[-3000:] + result.stderr[-2000:]


def test_without_a_driver_the_kit_says_what_it_wants(tmp_path):
    command = [sys.executable, "-m", "pytest", "-p", "drivers.conformance.plugin", "--pyargs"]
    command += [
        "drivers.conformance",
        "-q",
        "-c",
        "/dev/null",
        "--rootdir",
        str(tmp_path),
        "-p",
        "no:cacheprovider",
    ]
    result = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=50, check=False)
    assert result.returncode == 2
    assert "--driver NAME" in result.stdout
