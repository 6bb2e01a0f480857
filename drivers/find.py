"""Looks for meters: lists ports, listens, asks harmlessly, and says which driver fits. With progress.

Each line setting is opened once. Listening comes first, since most hand meters talk by themselves. Only where
no frames are heard it asks: `*IDN?`, one read of the display, one read of a register. No key is pressed,
nothing is set or written. Not for reading values; what it finds is a proposal for a bench file, and a meter
known from memory wants its self-check.
"""

from __future__ import annotations

import asyncio
import contextlib
import warnings
from collections.abc import AsyncIterator, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from drivers.decode import decoder_of, piece_of
from drivers.errors import DriverUnknown, LinkLost, LinkTimeout, LinkUnavailable, MeterError
from drivers.link.address import SerialLine
from drivers.link.channel import Channel
from drivers.link.opening import channel_for
from drivers.meter import Identity
from drivers.scpi.language import is_number, parse_identity
from system.devices import names_by_id

LISTEN_S = 1.3
"""Hand meters send two to three frames a second: two of the same kind must be heard."""
ANSWER_S = 0.6
RESTART_S = 2.2
"""So much longer a board is silent that opening its port restarts, by DTR. Workshop choice: boot loaders wait
for one or two seconds, then it must say something."""
_GOOD_FRAMES = 2
_STREAMS = ("status14", "parity11", "segments14", "stx16", "lines")
_SEVEN_EVEN = "bits=7&parity=E"
_LINES = {
    "baud=2400&dtr=on&rts=off": ("frames",),
    "baud=9600": ("frames", "boards"),
    "baud=19230&dtr=on&rts=off": ("frames",),
    "baud=115200": ("frames", "boards"),
    f"baud=9600&{_SEVEN_EVEN}": (),
    "baud=1200&bits=7&stop=2&dtr=on&rts=off": (),
}
"""Line settings in order, and who talks there by itself: boards among them are waited for."""
_REGISTER_QUESTION = bytes.fromhex("01 03 00 00 00 01 84 0a")  # unit 1, holding register 0, one of them


@dataclass(frozen=True, slots=True)
class SerialPort:
    """A serial port of this machine.

    Attributes:
        path: the name to put into a bench file: by id where there is such, since that survives replugging.
        make: maker and product as USB tells them, or what the system calls it; may be empty.
    """

    path: str
    make: str = ""


@dataclass(frozen=True, slots=True)
class SearchStep:
    """One step of the search.

    Attributes:
        state: "looking" while a place is being tried, "found" a meter, "unknown" something that no driver
            knows, "silent" nothing heard, "unavailable" it could not be opened.
        done: places and questions done so far.
        total: how many there are at most.
        address: where.
        text: one sentence for people.
        driver: which fits; empty unless found.
        options: for the bench file.
        identity: as the meter says itself.
        heard: bytes that led to this, at most 64.
    """

    state: Literal["looking", "found", "unknown", "silent", "unavailable"]
    done: int
    total: int
    address: str
    text: str
    driver: str = ""
    options: dict[str, Any] = field(default_factory=dict)
    identity: Identity = field(default_factory=Identity)
    heard: bytes = b""


def display_counts(finding: SearchStep) -> int | None:
    """Counts of a meter's display, by what was heard of it; None where that does not tell."""
    if not finding.driver or not finding.heard:
        return None
    protocol = decoder_of(finding.driver, finding.options)
    framer, counts = protocol.framer(), set[int]()
    for frame in framer.feed(finding.heard):
        decoded = piece_of(protocol, frame).decoded
        if decoded is not None and decoded.range_full_scale_si and decoded.resolution_si:
            counts.add(round(decoded.range_full_scale_si / decoded.resolution_si))
    return max(counts, default=None)


@dataclass(frozen=True, slots=True)
class _Question:
    """Something harmless to ask, and who answers it."""

    driver: str
    text: bytes
    line: str
    options: dict[str, Any] = field(default_factory=dict)


_QUESTIONS = (
    _Question("scpi", b"*IDN?\n", "baud=9600"),
    _Question("modbus", _REGISTER_QUESTION, "baud=9600", {"profile": "float_ohmmeter"}),
    _Question("scpi", b"*IDN?\n", "baud=115200"),
    _Question("two_line", b"QM\r", "baud=115200", {"profile": "acknowledged_query"}),
    _Question("scpi", b"*IDN?\n", f"baud=9600&{_SEVEN_EVEN}"),
    _Question("ascii14", b"D", "baud=1200&bits=7&stop=2&dtr=on&rts=off", {"profile": "one_letter_3_digit"}),
)


def list_serial_ports() -> list[SerialPort]:
    """List the serial ports of this machine; blocks for some milliseconds."""
    from serial.tools import list_ports  # noqa: PLC0415 - pyserial only when ports are asked for

    by_id = names_by_id()
    return [
        SerialPort(by_id.get(port.device, port.device), _make_of(port))
        for port in sorted(list_ports.comports(), key=lambda port: port.device)
    ]


def _make_of(port: Any) -> str:
    """Maker and product as USB tells them; Windows has its driver's description in place of the second."""
    described = "" if port.description in (None, "n/a", port.name) else port.description
    return " ".join(word for word in (port.manufacturer, port.product or described) if word)


def list_visa_resources() -> list[str]:
    """List VISA resources as pyvisa-py finds them; blocks for about a second. Empty without pyvisa."""
    try:
        import pyvisa  # noqa: PLC0415 - slow to import
    except ImportError:
        return []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells which optional finders are not installed
        return [
            name for name in pyvisa.ResourceManager("@py").list_resources() if not name.startswith("ASRL")
        ]


class _Search:
    """Counts what is done and makes the findings."""

    def __init__(self, places: int, steps_each: int) -> None:
        self.done = 0
        self.total = places * steps_each
        self._steps_each = steps_each
        self._places_done = 0

    def looking(self, address: str, text: str) -> SearchStep:
        """Note a step."""
        finding = SearchStep("looking", self.done, self.total, address, text)
        self.done += 1
        return finding

    def over(
        self,
        state: Literal["found", "unknown", "silent", "unavailable"],
        address: str,
        text: str,
        **more: Any,
    ) -> SearchStep:
        """Note that a place is done, whatever steps it saved."""
        self._places_done += 1
        self.done = self._places_done * self._steps_each
        return SearchStep(state, self.done, self.total, address, text, **more)


async def find_meters(
    *,
    serial_ports: Sequence[str] | None = None,
    tcp: Sequence[str] = (),
    visa: bool = False,
    ask: bool = True,
) -> AsyncIterator[SearchStep]:
    """Look for meters, one place after another.

    Args:
        serial_ports: device paths; None takes all of this machine.
        tcp: `host:port` of meters on the network.
        visa: whether to look for VISA resources, which takes a second more.
        ask: False only listens.

    Yields:
        A `looking` before each step, then one finding per place.
    """
    paths = (
        [port.path for port in await asyncio.to_thread(list_serial_ports)]
        if serial_ports is None
        else serial_ports
    )
    resources = await asyncio.to_thread(list_visa_resources) if visa else []
    places = [f"serial:{path}" for path in paths] + [f"tcp:{place}" for place in tcp]
    places += [f"visa:{name}" for name in resources]
    search = _Search(len(places), sum(map(bool, _LINES.values())) + (len(_QUESTIONS) if ask else 0))
    for place in places:
        try:
            async for finding in _look_at(place, search, ask=ask):
                yield finding
        except LinkUnavailable as error:
            hint = error.hint if "hint" in vars(error) else "Is the meter on and plugged in?"
            yield search.over("unavailable", place, f"{place}: {error.what}. {hint}")
        except (LinkLost, LinkTimeout) as error:
            yield search.over("unavailable", place, f"It went away while it was looked at: {error}")
        except MeterError as error:
            yield search.over("unavailable", place, str(error))


async def _look_at(place: str, search: _Search, *, ask: bool) -> AsyncIterator[SearchStep]:
    """Try one place: at each line setting listen, then ask."""
    serial, heard = place.startswith("serial:"), b""
    for line in _LINES if serial else ("",):
        address = f"{place}?{line}" if line else place
        talkers = _LINES[line] if serial else ("frames",) if place.startswith("tcp:") else ()
        questions = [each for each in _QUESTIONS if each.line == line] if serial else [_QUESTIONS[0]]
        if not talkers and not ask:
            continue
        channel = channel_for(address, SerialLine(bits=8, parity="N", stop_bits=1))
        await channel.open()
        try:
            if talkers:
                yield search.looking(address, f"Listening at {address}.")
                data = await _heard(channel, LISTEN_S if serial else LISTEN_S / 2, talkers)
                for plain, at in _readings_of(data, address):
                    if driver := recognise(plain):
                        text = f"{at} sends frames of the driver {driver!r}."
                        yield search.over("found", at, text, driver=driver, heard=plain[:64])
                        return
                heard = heard or data
            for question in questions if ask else ():
                yield search.looking(address, f"Asking at {address} for {question.driver!r}.")
                await channel.write(question.text, ANSWER_S)
                data = await _collect(channel, ANSWER_S)
                for plain, at in _readings_of(data, address):
                    if (found := _fits(question, plain)) is not None:
                        yield _answered(search, at, question, found, plain)
                        return
                heard = heard or data
        finally:
            await channel.close()
    if heard:
        yield search.over("unknown", place, f"{place} talks, but no driver knows it.", heard=heard[:64])
    else:
        yield search.over("silent", place, f"Nothing is heard at {place}: is the meter on, and sending?")


def _answered(search: _Search, address: str, question: _Question, found: Identity, data: bytes) -> SearchStep:
    named = f" It says: {found.raw}." if found.raw else ""
    return search.over(
        "found",
        address,
        f"{address} answers the driver {question.driver!r}.{named}",
        driver=question.driver,
        options=dict(question.options),
        identity=found,
        heard=data[:64],
    )


def _readings_of(data: bytes, address: str) -> Iterator[tuple[bytes, str]]:
    """What came, and where a meter that sends it is: as it is, and as 7 bits with even parity read as 8."""
    yield data, address
    if not data.isascii() and all(byte.bit_count() % 2 == 0 for byte in data):
        plain = bytes(byte & 0x7F for byte in data)
        yield plain, address if _SEVEN_EVEN in address else f"{address}&{_SEVEN_EVEN}"


async def _heard(channel: Channel, seconds: float, talkers: Sequence[str]) -> bytes:
    """What comes by itself within some seconds; where a board may be restarting, it gets its time."""
    data = await _collect(channel, seconds)
    return data if data or "boards" not in talkers else await _collect(channel, RESTART_S)


async def _collect(channel: Channel, seconds: float) -> bytes:
    """What arrives within some seconds; a peer that closes has said what it had to say."""
    loop = asyncio.get_running_loop()
    until_s = loop.time() + seconds
    data = bytearray()
    with contextlib.suppress(LinkTimeout, LinkLost):
        while (left_s := until_s - loop.time()) > 0:
            data += await channel.read_some(left_s)
    return bytes(data)


def recognise(data: bytes) -> str:
    """Name the driver whose frames fill a stream best; empty if none does.

    At least two good frames are wanted, and more than half of the bytes in them.
    """
    best, most = "", 0
    for driver in _STREAMS:
        protocol = decoder_of(driver)
        frames = protocol.framer().feed(data)
        good = [frame for frame in frames if piece_of(protocol, frame).is_frame]
        filled = sum(len(frame) + (driver == "lines") for frame in good)
        if len(good) >= _GOOD_FRAMES and 2 * filled > len(data) and filled > most:
            best, most = driver, filled
    return best


def _fits(question: _Question, data: bytes) -> Identity | None:
    """Say who answered, or None if the answer is not one of this driver."""
    if not data.strip():
        return None
    if question.driver == "scpi":
        return _identity_in(data)
    try:
        protocol = decoder_of(question.driver, question.options)
    except DriverUnknown:  # an optional package is missing: then it cannot be told
        return None
    pieces = [piece_of(protocol, frame) for frame in protocol.framer().feed(data)]
    if question.driver == "modbus":
        told = any(piece.decoded or piece.refused.startswith(("exception", "1 reg")) for piece in pieces)
        return Identity() if told else None
    return Identity() if any(piece.is_frame for piece in pieces) else None


def _identity_in(data: bytes) -> Identity | None:
    for line in data.decode("ascii", "replace").splitlines():
        text = line.strip()
        if "\ufffd" not in text and text.count(",") >= 1 and not is_number(text) and text != "*IDN?":
            return parse_identity(text)
    return None
