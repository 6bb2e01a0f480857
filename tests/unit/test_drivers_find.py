"""Serial ports by what each system tells of them."""

from types import SimpleNamespace

import pytest
from serial import SerialException
from serial.tools import list_ports

from drivers.find import list_serial_ports
from drivers.link.address import SerialLine, parse_address
from drivers.link.serial_port import SerialChannel


def port(device, description, manufacturer=None, product=None):
    """As pyserial lists one."""
    name = device.rpartition("/")[2]
    return SimpleNamespace(
        device=device, name=name, description=description, manufacturer=manufacturer, product=product
    )


def test_ports_of_windows_and_macos_are_told_by_their_description(monkeypatch):
    """Windows gives no product but a text of its driver; a port without any is named alone."""
    listed = [
        port("COM3", "USB Serial Port (COM3)", manufacturer="Otterbeck"),
        port("COM1", "Communications Port (COM1)"),
        port("/dev/cu.usbserial-10", "Optical cable", "Otterbeck", "Optical cable"),
        port("/dev/cu.Bluetooth-Incoming-Port", "n/a"),
    ]
    monkeypatch.setattr(list_ports, "comports", lambda: listed)
    assert [(each.path, each.make) for each in list_serial_ports()] == [
        ("/dev/cu.Bluetooth-Incoming-Port", ""),
        ("/dev/cu.usbserial-10", "Otterbeck Optical cable"),
        ("COM1", "Communications Port (COM1)"),
        ("COM3", "Otterbeck USB Serial Port (COM3)"),
    ]


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("PermissionError(13, 'Access is denied.', None, 5)", "may not open"),
        (
            "FileNotFoundError(2, 'The system cannot find the file specified.', None, 2)",
            "there is no such port",
        ),
        ("OSError(22, 'The parameter is incorrect.', None, 87)", "it cannot be opened"),
    ],
)
def test_what_pyserial_says_on_windows_is_understood(said, meant):
    """It quotes the system's error in its own, without a number (serialwin32.py of pyserial 3.5)."""
    channel = SerialChannel(parse_address("serial:COM3"), SerialLine())
    assert meant in str(channel._why_not(SerialException(f"could not open port 'COM3': {said}")))
