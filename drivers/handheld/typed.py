"""A meter without a cable: somebody reads its display and types what it shows.

The decoder takes what hands really type, "0.44k", "20,6", "OL", "OL 2k", and takes the display's resolution
from the digits. What may mean two things is refused with both meanings, so that whoever asks can name them.
The driver gives one reading a line, with the sign `typed`; between two lines it only shows that it lives.
Not for results of other instruments (those are no readings of this one).
"""

from __future__ import annotations

import asyncio
import math
import re
from collections.abc import AsyncIterator
from dataclasses import replace
from types import TracebackType
from typing import Annotated, ClassVar, Self

from pydantic import BaseModel, ConfigDict, Field

from drivers.answers import last_digit
from drivers.frame import Decoded, FrameProtocol, FrameRefused, scaled
from drivers.link.address import PLAIN_LINE
from drivers.link.framing import Framer, LineFramer
from drivers.meter import Capabilities, ClockPair, Held, Identity, Setup, Unread, untold
from drivers.reading import OHMS, Flag, Kind, Origin, Quantity, Reading

TYPED = frozenset({Flag.TYPED})
_NUMBER = re.compile(r"(?P<digits>[+-]?\d+(?:[.,]\d*)?|[+-]?[.,]\d+)\s*(?P<prefix>[kKmM]?)(?:ohms?|[ΩΩrR])?")
_OVER = re.compile(r"(?:O\.?L|0\.?L|\.OL|over(?:load)?)(?:\s+(?P<range>.+))?", re.IGNORECASE)
_SPOKEN = (
    (re.compile(r"(?<=\d)\s*\bpoint\b\s*(?=\d)", re.IGNORECASE), "."),
    (re.compile(r"\s*\bkilo?[\s-]?(?:ohms?)?$", re.IGNORECASE), "k"),
    (re.compile(r"\s*\bmega?[\s-]?(?:ohms?)?$", re.IGNORECASE), "M"),
    (re.compile(r"\s*\bmilli[\s-]?(?:ohms?)?$", re.IGNORECASE), "m"),
    (re.compile(r"\s*\bohms?$", re.IGNORECASE), ""),
)
"""What a machine writes of a reading that it heard, and how it is typed."""
_WORTH = {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6}
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")


class Unclear(FrameRefused):
    """What was typed may mean two things.

    Attributes:
        meanings: both, in ohms; infinite for an overload.
    """

    def __init__(self, meanings: tuple[float, float]) -> None:
        super().__init__("may mean two things")
        self.meanings = meanings


class TypedFormat(FrameProtocol):
    """The grammar as a `FrameProtocol`."""

    name = "typed"
    usual_line = PLAIN_LINE
    quantities = frozenset({Quantity.RESISTANCE, Quantity.RESISTANCE_4W})
    flags_visible = TYPED
    checked = True
    verification = "standard"

    def framer(self) -> Framer:
        """Lines."""
        return LineFramer()

    def decode(self, frame: bytes) -> Decoded:
        """Decode one line. Raises: FrameRefused; Unclear, where it may mean two things."""
        try:
            text = frame.decode("utf-8").strip()
        except UnicodeDecodeError as error:
            raise FrameRefused("no text") from error
        over = _OVER.fullmatch(text)
        if over is not None:
            full_si = None if over["range"] is None else _number(over["range"])[0]
            origin = Origin.UNKNOWN if full_si is None else Origin.READ_BACK
            return Decoded(Quantity.RESISTANCE, Kind.OVERLOAD, None, None, full_si, origin, TYPED)
        if text in ("1", "1.", "1,"):  # alone at the left edge it is how many displays show an overload
            raise Unclear((1.0, math.inf))
        value_si, resolution_si = _number(text)
        return Decoded(Quantity.RESISTANCE, Kind.VALUE, value_si, resolution_si, None, Origin.INFERRED, TYPED)


def _number(text: str) -> tuple[float, float]:
    """Value and worth of the last digit, in ohms."""
    for heard, typed in _SPOKEN:
        text = heard.sub(typed, text)
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise FrameRefused("no number of ohms, such as 441, 20.6 or 0.44k")
    digits, prefix = match["digits"].replace(",", "."), match["prefix"]
    if prefix == "m":
        raise Unclear((float(digits) * 1e-3, float(digits) * 1e6))
    worth = _WORTH[prefix]
    if _THOUSANDS.fullmatch(match["digits"]):
        raise Unclear((scaled_text(digits, worth), scaled_text(digits.replace(".", ""), worth)))
    return scaled_text(digits, worth), scaled(1, last_digit(digits) * worth)


def _raw(text: str) -> bytes:
    return text.encode("utf-8", "replace")


def scaled_text(digits: str, worth: float) -> float:
    """A number as it stands, times what one is worth: 440 for 0.44 and 1000."""
    return float(f"{float(digits) * worth:.12g}")


class TypedOptions(BaseModel):
    """Attributes: alive_s: time between two signs of life while nobody types; seconds."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    alive_s: Annotated[float, Field(gt=0, le=60)] = 1.0


class TypedMeter:
    """A person who reads a display; fulfils `drivers.meter.Meter`. It has no link."""

    Options: ClassVar[type[TypedOptions]] = TypedOptions
    capabilities: Capabilities = Capabilities(
        quantities=TypedFormat.quantities,
        settable=False,
        streaming=True,
        flags_visible=TYPED,
        verification="standard",
    )

    @classmethod
    def decoder(cls, options: TypedOptions) -> FrameProtocol:
        """Give the sans-I/O half alone, for `drivers.decode` and the conformance kit."""
        del options
        return TypedFormat()

    def __init__(
        self, *, meter_id: str, address: str, clock: ClockPair, options: TypedOptions | None = None
    ) -> None:
        """Make a meter; there is nothing to open, and the address means nothing."""
        del address
        self.meter_id = meter_id
        self.unread: Unread = untold
        self._options = options or TypedOptions()
        self._clock = clock
        self._lines: asyncio.Queue[tuple[Decoded, bytes]] = asyncio.Queue(100)
        self._quantity = Quantity.RESISTANCE
        self._conversion = 0

    async def __aenter__(self) -> Self:
        """Nothing to open."""
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing to close."""

    async def identity(self) -> Identity:
        """Nobody says."""
        return Identity()

    async def configure(self, setup: Setup) -> Held:
        """Whoever reads the display sets the meter; the bench says to which range."""
        self._quantity = setup.quantity if setup.quantity in self.capabilities.quantities else self._quantity
        return Held(setup.quantity if setup.quantity in OHMS else self._quantity)

    async def take(self, decoded: Decoded, text: str) -> None:
        """Take what was `understood` of one line. It comes as a reading, in its turn."""
        await self._lines.put((decoded, _raw(text)))

    @staticmethod
    def understood(text: str) -> Decoded:
        """What one line says. Raises: FrameRefused: it is no reading; Unclear: it may mean two."""
        return TypedFormat().decode(_raw(text))

    async def readings(self) -> AsyncIterator[Reading]:
        """Yield one reading a line, and now and then one without a value, which shows that somebody waits."""
        while True:
            try:
                async with asyncio.timeout(self._options.alive_s):
                    decoded, raw = await self._lines.get()
            except TimeoutError:
                decoded, raw = Decoded(self._quantity, Kind.NO_READING, None, flags=TYPED), b""
            self._conversion += 1
            asked = replace(decoded, quantity=self._quantity)
            yield asked.as_reading(self.meter_id, self._conversion, self._clock(), raw, TYPED)
