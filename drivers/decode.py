"""From pasted bytes to what a driver makes of them, or why it makes nothing of them. Sans-I/O.

For bug reports, for a meter without a profile yet, and for the conformance kit. Not for reading a live link.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from drivers.errors import GivenInvalid
from drivers.frame import Decoded, FrameProtocol, FrameRefused, NotMeasured
from drivers.registry import check_options, driver_class

_BETWEEN = re.compile(r"[\s,;:|-]+")


class NothingToDecode(GivenInvalid):
    """The driver has no byte format of its own, or the text is not hexadecimal."""

    hint = "Paste bytes such as `2b 30 31 32`."


@dataclass(frozen=True, slots=True)
class Piece:
    """One frame found in the bytes.

    Attributes:
        raw: its bytes.
        decoded: what it says; None if it was refused.
        refused: why it was refused; empty if it was not.
        is_frame: False if the bytes are no frame of the protocol at all; True also for a good frame without
            a reading.
    """

    raw: bytes
    decoded: Decoded | None
    refused: str = ""
    is_frame: bool = True


@dataclass(frozen=True, slots=True)
class Decoding:
    """What a driver makes of some bytes.

    Attributes:
        driver: its name.
        pieces: frames in order.
        thrown_bytes: how many bytes belong to no frame.
    """

    driver: str
    pieces: tuple[Piece, ...]
    thrown_bytes: int


def bytes_of_hex(text: str) -> bytes:
    """Read hexadecimal as people paste it: `2b 30`, `2B30`, `0x2b, 0x30`, `2b:30`.

    Raises:
        NothingToDecode: it is not hexadecimal; names the first piece that is not.
    """
    words = [word for word in _BETWEEN.split(text.strip()) if word]
    data = bytearray()
    for word in words:
        plain = word[2:] if word[:2].lower() == "0x" else word
        if len(plain) % 2 or not plain or any(char not in "0123456789abcdefABCDEF" for char in plain):
            raise NothingToDecode(f"{word[:20]!r} is not hexadecimal, two digits a byte.")
        data += bytes.fromhex(plain)
    if not data:
        raise NothingToDecode("there are no bytes.")
    return bytes(data)


def decoder_of(driver: str, options: Mapping[str, Any] | None = None) -> FrameProtocol:
    """Give a driver's sans-I/O half.

    Raises:
        DriverUnknown, OptionsInvalid, ProfileInvalid: as `drivers.registry.open_meter`.
        NothingToDecode: the driver has no byte format of its own.
    """
    made_by = driver_class(driver)
    if not hasattr(made_by, "decoder"):
        raise NothingToDecode(
            f"the driver {driver!r} has no byte format of its own.",
            hint="Name the driver of the meter behind it.",
        )
    decoder: FrameProtocol = made_by.decoder(check_options(driver, options or {}))
    return decoder


def decode_bytes(driver: str, data: bytes, options: Mapping[str, Any] | None = None) -> Decoding:
    """Decode bytes as the driver would.

    Args:
        driver: its name.
        data: the bytes; may hold several frames, halves and noise.
        options: the driver's own.

    Returns:
        The frames, or, where there is none, one piece that says why.

    Raises:
        DriverUnknown, OptionsInvalid, ProfileInvalid, NothingToDecode: see `decoder_of`.
    """
    protocol = decoder_of(driver, options)
    framer = protocol.framer()
    pieces = [piece_of(protocol, frame) for frame in framer.feed(data)]
    if pieces:
        return Decoding(driver, tuple(pieces), framer.thrown_bytes)
    whole = piece_of(protocol, data)
    if whole.decoded is not None:  # it lacked its end of line only
        return Decoding(driver, (whole,), 0)
    return Decoding(driver, (whole,), len(data))


def piece_of(protocol: FrameProtocol, frame: bytes) -> Piece:
    """Decode one frame; a refusal is a result, not an error."""
    try:
        return Piece(frame, protocol.decode(frame))
    except NotMeasured as error:
        return Piece(frame, None, str(error))
    except FrameRefused as error:
        return Piece(frame, None, str(error), is_frame=False)
