"""What find, decode and meters say; bench files that are written pass the check."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from acquire.answers.instruments import (
    bench_text_for,
    decoding_facts,
    decoding_lines,
    driver_facts,
    driver_lines,
    link_lines,
    measures_temperature,
)
from acquire.files.settings import load_bench
from drivers.decode import decode_bytes
from drivers.find import SearchStep
from drivers.link import available
from drivers.meter import Identity
from drivers.registry import BUILT_IN, DriverEntry, list_drivers

OHM = bytes.fromhex("2b 30 31 32 33 20 34 21 00 00 20 00 0d 0a")
WARM = b"23.41 C\r\n23.42 C\r\n"


def found(driver, address="serial:/dev/ttyUSB0?baud=2400", heard=b"", **more):
    """A meter that was found."""
    return SearchStep("found", 1, 1, address, f"{address} sends frames.", driver=driver, heard=heard, **more)


def loaded(tmp_path, *findings):
    """The bench of the file that is written for them."""
    file = tmp_path / "bench.toml"
    file.write_text(bench_text_for(findings), encoding="utf-8")
    return load_bench(file)


PROFILED = {"modbus": "float_ohmmeter", "two_line": "acknowledged_query", "ascii14": "one_letter_3_digit"}


@pytest.mark.parametrize("driver", sorted(set(BUILT_IN) - {"platinum"}))
def test_a_written_bench_file_is_in_order_for_every_driver(tmp_path, driver):
    """With the options that find proposes; a resistor is asked for where the format is from memory only."""
    options = {"profile": PROFILED[driver]} if driver in PROFILED else {}
    bench = loaded(tmp_path, found(driver, options=options))
    link = "" if driver == "typed" else "serial:/dev/ttyUSB0?baud=2400"
    assert (bench.meter.driver, bench.meter.link) == (driver, link)
    assert bench.meter.options == options
    from_memory = driver in {"status14", "segments14", "lcr", "ascii14", "two_line", "modbus"}
    assert (bench.meter.self_check == 470.0) is from_memory


def test_a_thermometer_that_was_found_first_does_not_become_the_meter(tmp_path):
    """What speaks of degrees goes to the table of the temperature."""
    warm = found("lines", "serial:/dev/ttyUSB1?baud=9600", WARM)
    bench = loaded(tmp_path, warm, found("status14", heard=OHM))
    assert bench.meter.driver == "status14"
    assert (bench.temperature.driver, bench.temperature.link) == ("lines", "serial:/dev/ttyUSB1?baud=9600")


def test_further_meters_are_named_in_a_comment(tmp_path):
    """The first is taken."""
    text = bench_text_for([found("status14", heard=OHM), found("scpi", "tcp:10.0.0.7:5025")])
    assert "# Also found: tcp:10.0.0.7:5025" in text
    assert loaded(tmp_path, found("scpi", "tcp:10.0.0.7:5025")).meter.self_check is None


@pytest.mark.parametrize(
    ("driver", "heard", "file"),
    [("scpi", b"", "bench-50000"), ("status14", b"", "hand-2000"), ("status14", OHM, "hand-6000")],
)
def test_the_accuracy_that_stands_in_is_of_the_meters_kind(tmp_path, driver, heard, file):
    """By the counts that it shows; where they are not known, of the poorest of its kind."""
    assert Path(loaded(tmp_path, found(driver, heard=heard)).meter.model).stem == file


def test_what_a_meter_says_of_itself_cannot_break_the_file(tmp_path):
    """Quotes, line ends and escapes of a stranger stay inside a comment."""
    evil = Identity('Ma"ker\n[meter]\nx = 1', "\x1b[2J", "7")
    bench = loaded(tmp_path, found("scpi", "tcp:10.0.0.7:5025", identity=evil))
    assert bench.meter.driver == "scpi"


@pytest.mark.parametrize(("heard", "warm"), [(WARM, True), (b"1.2 ohm\r\n" * 2, False), (b"", False)])
def test_a_thermometer_is_known_by_what_it_says(heard, warm):
    """All that it said were temperatures."""
    assert measures_temperature(found("lines", heard=heard)) is warm


def test_bytes_are_told_frame_by_frame():
    """With value and signs, or the reason why not."""
    lines = decoding_lines(decode_bytes("status14", OHM + b"+01\r\n" + OHM))
    good = f"{OHM.hex(' ')}  resistance: 12.3 ohm, range 600 ohm, count 0.1 ohm, auto_range"
    assert lines == [good, good, "5 bytes belong to no frame of status14."]
    assert "refused" in decoding_lines(decode_bytes("status14", b"+01"))[0]


def test_the_facts_for_programs_are_plain_json():
    """And say the same."""
    facts = json.loads(json.dumps(decoding_facts(decode_bytes("status14", OHM))))
    assert facts["frames"][0]["value_si"] == 12.3
    assert facts["frames"][0]["quantity"] == "resistance"


def test_every_driver_is_listed_with_what_it_was_verified_against():
    """In words, the self-check where it is owed; one that cannot be used says why."""
    entries = [*list_drivers(), DriverEntry("theirs", "their:Meter", None, "their package is missing")]
    text = "\n".join(driver_lines(entries))
    for name in BUILT_IN:
        assert f"\n{name:<12} " in f"\n{text}"
    assert "status14     set by hand, sends by itself; from memory: needs the self-check" in text
    told = "profile older_bench: from memory: needs the self-check before verdicts. Source: SCPI-1999 for the"
    assert told in text
    assert "profile one_line_query: verified against a data sheet. Source: A maker's printed manual" in text
    assert "theirs       not available: their package is missing" in text
    assert json.loads(json.dumps([driver_facts(entry) for entry in entries]))[-1]["available"] is False


def test_a_link_whose_library_is_missing_says_what_to_install(monkeypatch):
    """USBTMC needs a package and a library of the system; both are told."""
    monkeypatch.setattr(available, "find_spec", lambda _name: None)
    lines = link_lines(available.link_kinds())
    assert any("USBTMC" in line and 'pip install "steadyohm[usb]"' in line for line in lines)
    assert any("GPIB" in line and "missing" in line for line in lines)
    monkeypatch.setattr(available, "find_spec", lambda _name: object())
    monkeypatch.setattr(available, "find_library", lambda _name: None)
    assert "install libusb" in "\n".join(link_lines(available.link_kinds()))
    monkeypatch.setattr(available, "find_library", lambda _name: "libusb-1.0.so.0")
    assert "missing" not in "\n".join(link_lines(available.link_kinds()))
