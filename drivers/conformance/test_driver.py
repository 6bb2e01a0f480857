"""What every driver must keep: its vectors, its feet after damage, bounded memory, honest capabilities."""
# ruff: noqa: S101 - these are tests, shipped so that third parties can run them

from __future__ import annotations

import inspect
import math
import random
import sys
from collections.abc import Iterator
from typing import Any

import pytest

from drivers.conformance.vectors import Vector
from drivers.decode import Piece, piece_of
from drivers.frame import Decoded, FrameProtocol
from drivers.meter import Meter
from drivers.reading import Flag, Kind, Quantity
from drivers.registry import driver_class, open_meter

MANGLED_BYTES = 50_000
KEPT_AT_MOST_BYTES = 8192


def is_cut_by_the_link(protocol: FrameProtocol) -> bool:
    """Frames of some protocols end in silence, not in bytes: then the link cuts them, not the framer."""
    return protocol.framer().feed(b"\x00") == [b"\x00"]


def pieces(protocol: FrameProtocol, data: bytes, chunk: int = 64) -> list[Piece]:
    """Feed bytes in chunks as a link would."""
    framer = protocol.framer()
    parts = [data[at : at + chunk] for at in range(0, len(data), chunk)]
    return [piece_of(protocol, frame) for part in parts for frame in framer.feed(part)]


def ended(vector: Vector, protocol: FrameProtocol) -> bytes:
    """A vector with the end of line that its framer may need."""
    frame = vector.frame
    return frame if protocol.framer().feed(frame) else frame + b"\r\n"


def test_each_vector_says_what_it_shows(protocol: FrameProtocol, vector: Vector) -> None:
    """A frame decodes to its quantity, kind, value and signs; one that is none is refused."""
    piece = piece_of(protocol, vector.frame)
    if vector.refused:
        assert piece.decoded is None
        assert piece.refused, "a refusal says why"
        return
    assert piece.decoded is not None, piece.refused
    assert piece.decoded.quantity is vector.quantity
    assert piece.decoded.kind is vector.kind
    if vector.value is not None:
        assert piece.decoded.value_si == pytest.approx(vector.value, rel=1e-6)
    if vector.flags is not None:
        assert piece.decoded.flags == vector.flags


@pytest.mark.parametrize("chunk", [1, 3, 1000])
def test_frames_are_found_however_the_link_cuts_them(
    protocol: FrameProtocol, good_vectors: list[Vector], chunk: int
) -> None:
    """Bytes come in any portions; the frames stay the same."""
    frames = [ended(vector, protocol) for vector in good_vectors]
    if is_cut_by_the_link(protocol):
        found = [piece_of(protocol, frame) for frame in frames]
    else:
        found = pieces(protocol, b"".join(frames), chunk)
    assert [piece.decoded for piece in found if piece.decoded] == [
        protocol.decode(vector.frame) for vector in good_vectors
    ]


def test_a_stream_joined_midway_or_hit_by_noise_finds_its_feet(
    protocol: FrameProtocol, good_vectors: list[Vector]
) -> None:
    """After half a frame, and after noise, a good frame is decoded within two more frames."""
    frame = ended(good_vectors[0], protocol)
    for damage in (frame[len(frame) // 2 :], b"\xff\x00\x80", frame[:3]):
        parts = [damage, frame, frame, frame]
        cut = is_cut_by_the_link(protocol)
        found = [piece_of(protocol, part) for part in parts] if cut else pieces(protocol, b"".join(parts))
        good = [piece.decoded for piece in found if piece.decoded is not None]
        assert protocol.decode(good_vectors[0].frame) in good


def mangled(frames: list[bytes], dice: random.Random) -> Iterator[bytes]:
    """Good frames with bytes flipped, lost, doubled and put in."""
    sent = 0
    while sent < MANGLED_BYTES:
        data = bytearray(dice.choice(frames))
        for _ in range(dice.choice((0, 1, 1, 2, 5))):
            at = dice.randrange(len(data)) if data else 0
            way = dice.randrange(4)
            if way == 0 and data:
                data[at] ^= 1 << dice.randrange(8)
            elif way == 1 and data:
                del data[at]
            elif way == 2 and data:
                data.insert(at, data[at])
            else:
                data.insert(at, dice.randrange(256))
        sent += len(data)
        yield bytes(data)


def test_damaged_bytes_neither_raise_nor_pile_up(protocol: FrameProtocol, good_vectors: list[Vector]) -> None:
    """Whatever comes, a decoder answers with a reading or a refusal, and keeps a bounded rest."""
    dice = random.Random(20260101)  # noqa: S311 - no secret, a repeatable test
    framer = protocol.framer()
    frames = [ended(vector, protocol) for vector in good_vectors]
    for data in mangled(frames, dice):
        for frame in framer.feed(data):
            check_honest(protocol, piece_of(protocol, frame).decoded)
    assert kept_bytes(framer) < KEPT_AT_MOST_BYTES
    for _ in range(200):  # and a stream of one byte without an end
        framer.feed(b"0" * 997)
    assert kept_bytes(framer) < KEPT_AT_MOST_BYTES


def kept_bytes(framer: object) -> int:
    """Roughly what a framer holds on to."""
    held = getattr(framer, "__dict__", {}).values()
    return sum(sys.getsizeof(value) for value in held if isinstance(value, (bytes, bytearray, list)))


def check_honest(protocol: FrameProtocol, decoded: Decoded | None) -> None:
    """A reading keeps to what its driver says it can deliver."""
    if decoded is None:
        return
    assert decoded.quantity in protocol.quantities
    assert decoded.flags <= protocol.flags_visible
    assert (decoded.value_si is not None) == (decoded.kind is Kind.VALUE)
    assert decoded.value_si is None or math.isfinite(decoded.value_si)
    assert decoded.resolution_si is None or decoded.resolution_si > 0


def test_capabilities_are_honest(
    driver: str, options: dict[str, Any], protocol: FrameProtocol, good_vectors: list[Vector]
) -> None:
    """What the vectors show is declared, and the class is a meter."""
    for vector in good_vectors:
        check_honest(protocol, protocol.decode(vector.frame))
    meter = open_meter(
        driver, meter_id="m", address="tcp:127.0.0.1:1", clock=lambda: (0.0, 0.0), options=options
    )
    assert isinstance(meter, Meter)
    capabilities = meter.capabilities
    assert capabilities.quantities
    assert all(isinstance(quantity, Quantity) for quantity in capabilities.quantities)
    assert all(isinstance(flag, Flag) for flag in capabilities.flags_visible)
    assert capabilities.verification in {"capture", "datasheet", "standard", "memory"}


def test_options_are_a_documented_frozen_model(driver: str) -> None:
    """A bench file's mistakes are caught by the model, and each option is described."""
    model = driver_class(driver).Options
    assert model.model_config.get("frozen") is True
    assert model.model_config.get("extra") == "forbid"
    described = "".join(inspect.getdoc(base) or "" for base in model.__mro__[:-1])
    missing = [name for name in model.model_fields if f"{name}:" not in described]
    assert not missing, f"options without a description: {missing}"
