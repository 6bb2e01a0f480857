"""From names to meters, and from wrong names to sentences."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest

from drivers.errors import AddressInvalid, DriverUnknown, MeterError
from drivers.meter import Meter
from drivers.profiles import ProfileInvalid
from drivers.registry import list_drivers, open_meter, with_line


def clock():
    return time.monotonic(), time.time()


def make(driver="scpi", address="tcp:127.0.0.1:5025", options=None):
    return open_meter(driver, meter_id="m", address=address, clock=clock, options=options)


@pytest.mark.parametrize("driver", ["scpi", "lines"])
def test_a_meter_is_made_without_touching_its_link(driver):
    assert isinstance(make(driver, "tcp:192.0.2.1:5025"), Meter)  # TEST-NET-1, RFC 5737: nobody is there


def test_an_unknown_driver_is_answered_with_those_there_are():
    with pytest.raises(DriverUnknown, match=r"no driver 'scpy'; there are .*lines.*scpi"):
        make("scpy")


def test_a_wrong_option_names_itself_and_the_known_ones():
    with pytest.raises(MeterError, match=r"baudd is unknown \(known are fields, "):
        make(options={"baudd": 9600})
    with pytest.raises(MeterError, match="reply_timeout_s: input should be greater than 0"):
        make(options={"reply_timeout_s": -1})


def test_a_wrong_address_is_an_error_before_anything_opens():
    with pytest.raises(AddressInvalid):
        make(address="com3")


def test_every_driver_is_listed_with_capabilities_or_a_reason():
    entries = {entry.name: entry for entry in list_drivers()}
    assert {"scpi", "lines"} <= set(entries)
    for entry in entries.values():
        assert (entry.capabilities is None) == bool(entry.reason)


def test_importing_the_registry_imports_no_device_library():
    code = "import sys, drivers.registry; print({'serial', 'pyvisa', 'asyncio'} & set(sys.modules))"
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "serial" not in result.stdout
    assert "pyvisa" not in result.stdout


def test_every_shipped_profile_fits_its_driver_and_says_where_it_is_from():
    found = [(entry.name, profile) for entry in list_drivers() for profile in entry.profiles]
    assert len(found) >= 12
    for driver, profile in found:
        meter = open_meter(
            driver, meter_id="m", address="serial:/dev/ttyS9", clock=clock, options={"profile": profile}
        )
        assert meter.capabilities.verification in {"memory", "datasheet", "standard", "capture"}
        assert meter.capabilities.quantities


def test_a_profile_gives_serial_settings_that_the_address_may_overrule():
    assert with_line("serial:/dev/x", "baud=1200") == "serial:/dev/x?baud=1200"
    assert with_line("serial:/dev/x?baud=9600", "baud=1200") == "serial:/dev/x?baud=9600"
    assert with_line("tcp:a:1", "baud=1200") == "tcp:a:1"


def test_a_wrong_profile_is_answered_with_those_there_are(tmp_path):
    with pytest.raises(ProfileInvalid, match=r"no profile 'nope' .* there are: .*older_bench"):
        make(options={"profile": "nope"})
    with pytest.raises(ProfileInvalid, match="is for the driver 'status14', not 'parity11'"):
        make("parity11", options={"profile": "dmm_4000_counts"})
    own = tmp_path / "own.toml"
    own.write_text('title = "Mine"\ndriver = "scpi"\nverified = "hearsay"\nsource = "none"\n')
    with pytest.raises(ProfileInvalid, match="verified"):
        make(options={"profile": str(own)})
    with pytest.raises(ProfileInvalid, match="a device"):
        make(options={"profile": "/dev/zero"})
    own.write_text("title = ")
    with pytest.raises(ProfileInvalid, match="is not TOML"):
        make(options={"profile": str(own)})
    own.write_text(
        'title = "Mine"\ndriver = "scpi"\nverified = "capture"\nsource = "bench"\n[options]\nquiet_s = 0.3\n'
    )
    assert make(options={"profile": str(own)}).capabilities.verification == "capture"
    with pytest.raises(MeterError, match="field: input should be a valid integer"):
        make(options={"profile": str(own), "field": "x"})
