"""From names to meters, and from wrong names to sentences."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest

from drivers.errors import AddressInvalid, DriverUnknown, MeterError
from drivers.meter import Meter
from drivers.registry import list_drivers, open_meter


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
    with pytest.raises(MeterError, match=r"baudd is unknown \(known are reply_timeout_s, "):
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
