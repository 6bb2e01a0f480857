"""Channel on a VISA resource through pyvisa, by the pure-Python library or another; one thread each.

For USBTMC, GPIB, VXI-11 and HiSLIP instruments and for VISA addresses of sockets and serial ports that a
workshop already has written down. Not for plain sockets or ports of its own: `tcp:` and `serial:` see a lost
peer at once, this library by itself does not (measured: it spins until its timeout).

Pitfalls it works around, all seen with pyvisa 1.16 and pyvisa-py 0.8: a refused TCP port opens without an
error; the default termination makes every query of a socket time out; a lost peer looks like a slow one.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
import select
import socket
import struct
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pyvisa
from pyvisa import constants, errors

from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable
from drivers.link.address import Address, SerialLine
from drivers.link.available import missing_for_gpib, missing_for_usb
from drivers.link.channel import Channel, not_open

BACKEND = "@py"
PROBE_S = 2.0
_LAN_RESOURCE = re.compile(r"TCPIP\d*::(?P<host>[^:]+)(?:::(?P<rest>.+))?", re.IGNORECASE)
_BOARD = re.compile(r"GPIB(?P<board>\d*)::", re.IGNORECASE)
_VXI11_PORT = 111  # the portmapper, which a VXI-11 client asks first
_HISLIP_PORT = 4880
_PARITY = {"N": 0, "O": 1, "E": 2, "M": 3, "S": 4}
_ADAPTER_PATIENCE_MS = 3000
"""The longest a "++" adapter can be told to wait for an instrument (manuals of several such adapters). The
library tells it 50 ms, which is shorter than most conversions."""
_NO_ANSWER = constants.StatusCode.error_timeout
_LIBRARY_FAULTS = (
    errors.Error, OSError, ValueError, TypeError, AttributeError, RuntimeError, EOFError, struct.error
)  # fmt: skip
"""What pyvisa-py lets through: its own errors, those of sockets and pyserial (OSError), some of Python's. A
HiSLIP peer that dies is a RuntimeError; NotImplementedError is one too."""


def probe_target(resource: str) -> tuple[str, int] | None:
    """Host and port that must accept a connection before a LAN resource is worth opening."""
    match = _LAN_RESOURCE.fullmatch(resource.strip())
    if match is None:
        return None
    parts = (match["rest"] or "inst0::INSTR").upper().split("::")
    if parts[-1] == "SOCKET" and parts[0].isdecimal():
        return match["host"], int(parts[0])
    name, _, port = parts[0].partition(",")
    if name.startswith("HISLIP"):
        return match["host"], int(port) if port.isdecimal() else _HISLIP_PORT
    return match["host"], _VXI11_PORT


def adapter_resource(address: Address) -> str:
    """The library's name for the "++" adapter that carries a GPIB resource; it goes by the board's number."""
    adapter, match = address.adapter, _BOARD.match(address.target)
    if adapter is None or match is None:
        return ""
    if adapter.scheme == "tcp":
        return f"PRLGX-TCPIP{match['board']}::{adapter.target}::{adapter.port}::INTFC"
    return f"PRLGX-ASRL{match['board']}::{adapter.target}::INTFC"


class VisaChannel(Channel):
    """Bytes over one VISA resource; see `Channel` for what each method promises."""

    def __init__(self, address: Address, line: SerialLine) -> None:
        self.address = address.text
        self._resource_name = address.target
        self._adapter_name = adapter_resource(address)
        self._adapter_at = address.adapter
        self._adapter: Any = None
        self._line = line
        self._backend = address.backend or BACKEND
        self._resource: Any = None  # pyvisa's own types differ per interface
        self._thread: ThreadPoolExecutor | None = None
        self._reading: asyncio.Future[bytes] | None = None
        self._by_message = False

    async def open(self) -> None:
        """Open the resource. Raises: LinkUnavailable."""
        await self.close()
        target = probe_target(self._resource_name)
        if self._adapter_at is not None and self._adapter_at.scheme == "tcp":
            target = self._adapter_at.target, self._adapter_at.port
        if target is not None and self._backend == BACKEND:  # other libraries say it themselves
            await self._probe(*target)
        self._thread = ThreadPoolExecutor(1, thread_name_prefix=f"visa {self._resource_name}")
        try:
            await asyncio.get_running_loop().run_in_executor(self._thread, self._open)
        except Exception as error:  # pyvisa-py raises bare Exception for "could not connect"
            await self.close()
            raise self._why_not(error) from error

    def _why_not(self, error: BaseException) -> LinkUnavailable:
        """Say what is missing for this kind of resource, where that is it; else the library's first line."""
        kind = self._resource_name.upper()
        missing = missing_for_usb() if kind.startswith("USB") else ""
        missing = missing_for_gpib() if kind.startswith("GPIB") and not self._adapter_name else missing
        if missing:
            return LinkUnavailable(
                "a library for this kind of resource is missing", port=self.address, hint=f"To do: {missing}."
            )
        if "VI_ERROR_INV_RSRC_NAME" in str(error):
            hint = "Write it like visa:USB0::0x1234::0x5678::SERIAL::INSTR."
            return LinkUnavailable("this is no name of a VISA resource", port=self.address, hint=hint)
        first = str(error).partition("\n")[0].rstrip(". ")
        return LinkUnavailable(f"it cannot be opened ({first})", port=self.address)

    async def _probe(self, host: str, port: int) -> None:
        try:
            async with asyncio.timeout(PROBE_S):
                _, writer = await asyncio.open_connection(host, port)
        except (OSError, socket.gaierror) as error:
            raise LinkUnavailable(f"nothing answers at {host} port {port}", port=self.address) from error
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()

    def _open(self) -> None:
        manager = pyvisa.ResourceManager(self._backend)
        if self._adapter_name:
            self._adapter = manager.open_resource(self._adapter_name)
            _session_of(self._adapter).plus_plus_read = False  # nothing was asked yet
        resource: Any = manager.open_resource(self._resource_name)
        self._resource = resource
        self._by_message = resource.resource_class == "INSTR" and not isinstance(
            resource, pyvisa.resources.SerialInstrument
        )
        resource.write_termination = ""
        if self._by_message:
            return
        resource.read_termination = "\n"
        resource.set_visa_attribute(constants.ResourceAttribute.termchar_enabled, True)  # noqa: FBT003 - VISA's own call
        if isinstance(resource, pyvisa.resources.SerialInstrument):
            self._set_line(resource)

    def _set_line(self, resource: Any) -> None:
        resource.baud_rate = self._line.baud
        resource.data_bits = self._line.bits
        resource.parity = constants.Parity(_PARITY[self._line.parity or "N"])
        resource.stop_bits = constants.StopBits(int((self._line.stop_bits or 1) * 10))

    def _read(self, deadline_s: float) -> bytes:
        resource = self._resource
        if resource is None:
            raise not_open(self.address)
        if self._adapter is not None:
            _fetch(self._adapter, deadline_s)
        if _wait_for_bytes(self._adapter or resource, deadline_s):
            deadline_s = 0.001
        (self._adapter or resource).timeout = max(1, int(deadline_s * 1000))
        data: bytes = resource.read_raw()
        if self._by_message and not data.endswith(b"\n"):
            data += b"\n"  # END marked the end of the message; the framers look for a line feed
        return data

    async def read_some(self, deadline_s: float) -> bytes:
        """Give what has arrived. Raises: LinkTimeout, LinkLost."""
        if self._thread is None:
            raise not_open(self.address)
        if self._reading is None:  # else a cancelled call left one going, and its bytes are ours
            self._reading = asyncio.get_running_loop().run_in_executor(self._thread, self._read, deadline_s)
        try:
            async with asyncio.timeout(deadline_s + 1.0):
                data = await asyncio.shield(self._reading)
        except TimeoutError as error:
            raise LinkTimeout(f"silent for {deadline_s:g} s", port=self.address) from error
        except errors.VisaIOError as error:
            self._reading = None
            if error.error_code == _NO_ANSWER:
                raise LinkTimeout(f"silent for {deadline_s:g} s", port=self.address) from error
            raise LinkLost(f"the resource broke ({error})", port=self.address) from error
        except _LIBRARY_FAULTS as error:
            self._reading = None
            raise LinkLost(f"the resource broke ({error})", port=self.address) from error
        self._reading = None
        if not data:
            raise LinkLost("the peer closed the connection", port=self.address)
        return data

    async def write(self, data: bytes, deadline_s: float) -> None:
        """Send all of `data`. Raises: LinkTimeout, LinkLost."""
        if self._thread is None:
            raise not_open(self.address)
        loop = asyncio.get_running_loop()
        try:
            async with asyncio.timeout(deadline_s + 1.0):
                await loop.run_in_executor(self._thread, self._write, data)
        except TimeoutError as error:
            raise LinkTimeout(f"took nothing for {deadline_s:g} s", port=self.address) from error
        except errors.VisaIOError as error:
            if error.error_code == _NO_ANSWER:
                raise LinkTimeout(f"took nothing for {deadline_s:g} s", port=self.address) from error
            raise LinkLost(f"the resource broke ({error})", port=self.address) from error
        except _LIBRARY_FAULTS as error:
            raise LinkLost(f"the resource broke ({error})", port=self.address) from error

    def _write(self, data: bytes) -> None:
        _refuse_closed(_socket_of(self._adapter or self._resource))
        self._resource.write_raw(data)

    def _clear(self) -> None:
        if self._adapter is None:
            self._resource.clear()
            return
        session = _session_of(self._adapter)
        session.plus_plus_read = False  # what was asked before is not fetched any more
        session.write_oob(b"++clr\n")

    async def drain(self, quiet_s: float) -> bytes:
        """Clear the instrument where it can be cleared, then throw away what comes until it is quiet."""
        if self._by_message and self._thread is not None and self._reading is None:
            with contextlib.suppress(*_LIBRARY_FAULTS):
                await asyncio.get_running_loop().run_in_executor(self._thread, self._clear)
        return await super().drain(max(quiet_s, 0.02))

    async def close(self) -> None:
        """Close; harmless when closed already. A read in progress ends at its own deadline."""
        thread, self._thread = self._thread, None
        reading, self._reading = self._reading, None
        resources = [each for each in (self._resource, self._adapter) if each is not None]
        self._resource = self._adapter = None
        if reading is not None:
            reading.add_done_callback(_seen)
        if thread is None:
            return
        for resource in resources:
            with contextlib.suppress(*_LIBRARY_FAULTS):
                async with asyncio.timeout(3.0):
                    await asyncio.get_running_loop().run_in_executor(thread, _close, resource)
        thread.shutdown(wait=False)


def _session_of(resource: Any) -> Any:
    """The library's own session behind a resource, for what its public calls do not offer."""
    return resource.visalib.sessions[resource.session]


def _fetch(adapter: Any, deadline_s: float) -> None:
    """Tell a "++" adapter to fetch the answer, once after each question, before waiting for it."""
    session = _session_of(adapter)
    if session.plus_plus_read:
        session.plus_plus_read = False
        patience_ms = max(1, min(int(deadline_s * 1000), _ADAPTER_PATIENCE_MS))
        session.write_oob(f"++read_tmo_ms {patience_ms}\n++read eoi\n".encode())


def _socket_of(resource: Any) -> socket.socket | None:
    """The socket under a resource, where there is one: of plain sockets and adapters, HiSLIP, VXI-11."""
    session = getattr(resource.visalib, "sessions", {}).get(resource.session)
    interface = getattr(session, "interface", None)
    for found in (interface, getattr(interface, "_sync", None), getattr(interface, "sock", None)):
        if isinstance(found, socket.socket):
            return found
    return None


def _refuse_closed(sock: socket.socket | None) -> None:
    """See at once that a peer has gone: pyvisa-py spins until its timeout instead.

    Raises:
        ConnectionError: the peer closed the connection.
    """
    if sock is not None and select.select([sock], [], [], 0)[0] and not sock.recv(1, socket.MSG_PEEK):
        raise ConnectionError("the peer closed the connection")


def _close(resource: Any) -> None:
    """Close a resource; one whose peer has gone without saying goodbye to it, which VXI-11 would spin on."""
    sock = _socket_of(resource)
    try:
        _refuse_closed(sock)
    except OSError:
        if sock is not None:
            sock.close()
    resource.close()


def _wait_for_bytes(resource: Any, deadline_s: float) -> bool:
    """Wait for bytes on a resource with a socket of its own, since pyvisa-py itself spins on a closed one.

    VXI-11 is asked before it says anything, so there only a peer that is gone already is seen.

    Returns:
        True if the deadline has passed without any.

    Raises:
        ConnectionError: the peer closed the connection.
    """
    session = getattr(resource.visalib, "sessions", {}).get(resource.session)
    sock = _socket_of(resource)
    if sock is None or getattr(session, "_pending_buffer", None):
        return False
    if hasattr(getattr(session, "interface", None), "device_read"):
        _refuse_closed(sock)
        return False
    readable, _, _ = select.select([sock], [], [], deadline_s)
    _refuse_closed(sock)
    return not readable


def _seen(future: asyncio.Future[bytes]) -> None:
    if not future.cancelled():
        future.exception()
