"""Which kinds of links this machine can open, and what is missing for the others. Opens nothing."""

from __future__ import annotations

from ctypes.util import find_library
from dataclasses import dataclass
from importlib.util import find_spec

from system.devices import EXAMPLE


@dataclass(frozen=True, slots=True)
class LinkKind:
    """One way to an instrument.

    Attributes:
        address: how it is written in a bench file.
        what: in words.
        missing: what to install; empty where it can be used.
    """

    address: str
    what: str
    missing: str = ""


def link_kinds() -> list[LinkKind]:
    """Every kind of link, in the order in which workshops use them."""
    return [
        LinkKind(f"serial:{EXAMPLE}", "serial ports, USB adapters"),
        LinkKind("tcp:HOST:PORT", "sockets, such as SCPI on port 5025"),
        LinkKind("rfc2217:HOST:PORT", "serial ports behind a network"),
        LinkKind("visa:TCPIP::HOST::INSTR", "LAN instruments: VXI-11, HiSLIP, sockets"),
        LinkKind("visa:USB0::…::INSTR", "USBTMC instruments", missing_for_usb()),
        LinkKind("visa:GPIB0::N::INSTR", "GPIB boards", missing_for_gpib()),
        LinkKind("visa:GPIB0::N::INSTR?adapter=tcp:HOST:PORT", 'GPIB through a "++" adapter'),
    ]


def missing_for_usb() -> str:
    """What to install for USBTMC; empty where nothing is missing."""
    if find_spec("usb") is None:
        return 'pip install "steadyohm[usb]", and libusb on the machine'
    return "" if find_library("usb-1.0") else "install libusb 1.0 on the machine"


def missing_for_gpib() -> str:
    """What to install for GPIB boards; empty where nothing is missing."""
    if find_spec("gpib") is not None or find_spec("gpib_ctypes") is not None:
        return ""
    return "install the board's driver and its package gpib or gpib-ctypes"
