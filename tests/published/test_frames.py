"""Every frame of tests/data/frames.json through the driver that claims it.

Sources: see the head of that file and of each decoder's module.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from drivers.answers import parse_answer
from drivers.frame import FrameRefused, NotMeasured
from drivers.handheld.ascii14 import Ascii14
from drivers.handheld.options import TwoLineOptions
from drivers.handheld.parity11 import Parity11
from drivers.handheld.segments14 import Segments14
from drivers.handheld.status14 import Status14
from drivers.handheld.stx16 import Stx16
from drivers.handheld.two_line import TwoLine
from drivers.reading import UNIT_OF, Kind, Quantity
from drivers.scpi.language import parse_configuration, parse_error, parse_identity, parse_numbers

DATA = Path(__file__).parent.parent / "data"
FRAMES = json.loads((DATA / "frames.json").read_text(encoding="utf-8"))["frames"]
STREAMS = json.loads((DATA / "frames_streams.json").read_text(encoding="utf-8"))["streams"]
PROTOCOLS = {
    "status14": Status14(),
    "parity11": Parity11(),
    "segments14": Segments14(),
    "stx16": Stx16(),
    "ascii14": Ascii14(counts=0),
}
FLAGS = {"auto": "auto_range", "max": "maximum", "min": "minimum", "rel": "relative", "apo": "auto_off"}
SHAPES = {"ack-first": "first", "single": "none", "prompt-last": "last"}


def asks_for_a_reading(vector):
    """Some two-line vectors answer other questions (function, range), which the driver does not ask."""
    return vector["function"] != "reply" or "nan" in vector["flags"] or vector["protocol"] != "two_line"


def of(*protocols):
    chosen = [frame for frame in FRAMES if frame["protocol"] in protocols and asks_for_a_reading(frame)]
    assert chosen
    return pytest.mark.parametrize("vector", chosen, ids=lambda vector: vector["id"])


def same(found, vector):
    kind = Kind.OVERLOAD if vector["overload"] else Kind.NO_READING if vector["value"] is None else Kind.VALUE
    assert found.kind is kind
    assert found.quantity.value == vector["function"]
    unit = {"degC": "°C"}.get(vector["unit"], vector["unit"])
    assert UNIT_OF[found.quantity] == unit
    if kind is Kind.VALUE:
        assert found.value_si == pytest.approx(
            vector["value"], rel=1e-12, abs=0.0 if vector["value"] else 1e-300
        )
    if vector.get("resolution") is not None:
        assert found.resolution_si == pytest.approx(vector["resolution"], rel=1e-9)


@of(*PROTOCOLS)
def test_frames_of_hand_meters_say_what_they_show(vector):
    protocol = PROTOCOLS[vector["protocol"]]
    frame = bytes.fromhex(vector["hex"])
    if vector["flags"] == ["secondary"]:
        protocol = Stx16(display=2)
    if vector.get("error"):
        with pytest.raises(FrameRefused):
            protocol.decode(frame)
        return
    found = protocol.decode(frame)
    same(found, vector)
    wanted = {FLAGS.get(flag, flag) for flag in vector["flags"]} - {"secondary"}
    assert {flag.value for flag in found.flags} == wanted
    if vector.get("range") and vector["protocol"] != "ascii14":
        assert found.range_full_scale_si == pytest.approx(vector["range"])


@pytest.mark.parametrize("stream", STREAMS, ids=lambda stream: f"{stream['protocol']}: {stream['name']}")
@pytest.mark.parametrize("chunk", [1, 5, 1000])
def test_a_damaged_stream_gives_its_good_frames_and_nothing_else(stream, chunk):
    protocol = PROTOCOLS[stream["protocol"]]
    framer = protocol.framer()
    data = bytes.fromhex(stream["hex"])
    frames = [frame for at in range(0, len(data), chunk) for frame in framer.feed(data[at : at + chunk])]
    found = [protocol.decode(frame) for frame in frames]
    assert [decoded.value_si for decoded in found] == [
        None if wanted["value"] is None else pytest.approx(wanted["value"]) for wanted in stream["expect"]
    ]
    assert framer.thrown_bytes == stream["dropped_bytes"]


@of("two_line")
def test_answers_in_two_lines_say_what_they_show(vector):
    shape = SHAPES[vector.get("variant", "ack-first")]
    protocol = TwoLine(TwoLineOptions(acknowledgement=shape, quantity=Quantity.RESISTANCE))
    (answer,) = protocol.framer().feed(vector["text"].encode())
    if vector.get("error"):
        with pytest.raises(NotMeasured, match=vector["error"]):
            protocol.decode(answer)
        return
    found = protocol.decode(answer)
    same(
        found,
        {
            **vector,
            "function": "resistance" if vector["function"] == "reply" else vector["function"],
            "unit": vector["unit"] or "ohm",
        },
    )


@of("line")
def test_plain_lines_say_what_they_show(vector):
    text = vector["text"].strip("\r\n")
    if vector.get("error") == "grammar" and text.startswith("#"):
        assert parse_answer(text) is None
        return
    if vector.get("error"):
        with pytest.raises(ValueError):
            parse_answer(text)
        return
    found = parse_answer(text)
    wanted = vector["function"]
    if "4w" in vector["flags"]:
        wanted = "resistance_4w"
    same(found, {**vector, "function": wanted})


@of("scpi")
def test_scpi_answers_say_what_they_show(vector):
    text = vector["text"].strip()
    if vector["query"] in {"READ?", "FETC?"}:
        number = parse_numbers(text)[0]
        assert number.value_si == vector["value"]
        wanted = (
            Kind.OVERLOAD
            if vector["overload"]
            else Kind.NO_READING
            if "nan" in vector["flags"]
            else Kind.VALUE
        )
        assert number.kind in {wanted, Kind.NEGATIVE_OVERLOAD if vector["overload"] else wanted}
    elif vector["query"] == "SYST:ERR?":
        assert parse_error(text).code == int(text.split(",")[0])
    elif vector["query"] == "*IDN?":
        assert parse_identity(text).raw == text
    elif vector["query"] in {"CONF?", "FUNC?"}:
        assert parse_configuration(text).function in {"FRES", "RES", "VOLT"}
    else:
        assert parse_numbers(text)[0].value_si is not None


def test_a_blank_field_of_the_stx_frame_means_what_the_options_say():
    """What they send beyond range is not printed in their manuals: workshop choice."""
    blank = bytes.fromhex("02 34 31 33 38 30 32 20 20 20 20 20 20 20 20 0d")
    assert Stx16().decode(blank).kind is Kind.NO_READING
    assert Stx16(blank_means="overload").decode(blank).kind is Kind.OVERLOAD
    one_digit_damaged = bytes.fromhex("02 34 31 33 38 30 32 30 30 30 30 31 3a 33 34 0d")
    with pytest.raises(FrameRefused, match="a digit is none"):
        Stx16().decode(one_digit_damaged)
