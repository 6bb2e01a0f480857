"""Streams of frames as a bad line delivers them, and the count of readings that were never sent.

The encoders are written from the layouts, not from the decoders. A stream is made of blocks of one resting
display (one value, one count up, one down); a reading counts as a phantom when its quantity, kind and value
are none of what its block sent.
"""

from __future__ import annotations

import contextlib
import random
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from drivers.frame import Decoded, FrameProtocol, FrameRefused
from drivers.handheld.ascii14 import Ascii14
from drivers.handheld.options import Agreement, Rule
from drivers.handheld.parity11 import Parity11
from drivers.handheld.segments14 import Segments14
from drivers.handheld.status14 import Status14
from drivers.handheld.stx16 import Stx16

FRAMES_PER_BLOCK = 200
_SEGMENTS = (0x7D, 0x05, 0x5B, 0x1F, 0x27, 0x3E, 0x7E, 0x15, 0x7F, 0x3F)


def status14(counts: int, point: int) -> bytes:
    """Ohms with one of four decimal points."""
    return b"+%04d " % counts + b"0124"[point : point + 1] + b"\x21\x00\x00\x20\x00\r\n"


def parity11(counts: int, point: int) -> bytes:
    """Ohms on one of four ranges, with odd parity."""
    text = b"%d%04d3002\r\n" % (point, counts)
    return bytes(byte | (0x80 if byte.bit_count() % 2 == 0 else 0) for byte in text)


def parity11_bare(counts: int, point: int) -> bytes:
    """The same without parity bits, as a port of seven bits hands it on."""
    return b"%d%04d3002\r\n" % (point, counts)


def segments14(counts: int, point: int) -> bytes:
    """Ohms as lit segments."""
    nibbles = [0x3]
    for place, digit in enumerate(b"%04d" % counts):
        code = _SEGMENTS[digit - 48]
        nibbles += [code >> 4 | (8 if place and place == point else 0), code & 15]
    nibbles += [0, 0, 4, 0, 0]
    return bytes((place << 4) | nibble for place, nibble in enumerate(nibbles, 1))


def stx16(counts: int, point: int) -> bytes:
    """Ohms with zero to three decimals."""
    return b"\x0241380%d%08d\r" % (point, counts)


def ascii14(counts: int, point: int) -> bytes:
    """Ohms as seven characters."""
    return b"OH%7s Ohm\r" % f"{counts / 10**point:.{point}f}".encode()


@dataclass(frozen=True)
class Line:
    """One protocol with its encoder."""

    name: str
    protocol: FrameProtocol
    encode: Callable[[int, int], bytes]
    highest: int


LINES = (
    Line("status14", Status14(), status14, 5990),
    Line("parity11, parity", Parity11(parity="odd"), parity11, 3990),
    Line("parity11, 7 bits", Parity11(parity="none"), parity11_bare, 3990),
    Line("segments14", Segments14(), segments14, 3990),
    Line("stx16", Stx16(), stx16, 19990),
    Line("ascii14", Ascii14(counts=0), ascii14, 1990),
)


def damage(stream: bytes, share: float, dice: np.random.Generator) -> bytes:
    """Hit a share of the bytes: a bit flipped, the byte lost, doubled, or a stranger put before it."""
    data = np.frombuffer(stream, dtype=np.uint8).copy()
    hit = np.flatnonzero(dice.random(len(data)) < share)
    way = dice.integers(0, 4, len(hit))
    flipped = hit[way == 0]
    data[flipped] ^= (1 << dice.integers(0, 8, len(flipped))).astype(np.uint8)
    again = np.ones(len(data), dtype=np.int64)
    again[hit[way == 1]] = 0
    again[hit[way >= 2]] = 2
    out = np.repeat(data, again)
    strangers = np.cumsum(again)[hit[way == 3]] - 2
    out[strangers] = dice.integers(0, 256, len(strangers)).astype(np.uint8)
    return out.tobytes()


@dataclass
class Tally:
    """What came of a protocol's bytes."""

    damaged_stream_bytes: int = 0
    frames_sent: int = 0
    readings: int = 0
    phantoms: int = 0
    far_phantoms: int = 0
    longest_rest_bytes: int = 0

    @property
    def per_million(self) -> float:
        """Phantoms per million frames sent."""
        return 1e6 * self.phantoms / self.frames_sent

    @property
    def far_per_million(self) -> float:
        """Phantoms more than a fiftieth off, per million frames sent."""
        return 1e6 * self.far_phantoms / self.frames_sent


def count_phantoms(
    line: Line, total_bytes: int, share: float, rules: tuple[Rule, ...], seed: int
) -> dict[Rule, Tally]:
    """Send blocks until so many bytes of damaged stream went through; count phantoms under each rule."""
    plain, dice = random.Random(seed), np.random.default_rng(seed)
    tallies = {rule: Tally() for rule in rules}
    framer = line.protocol.framer()
    fed = thrown_or_cut = 0
    while fed < total_bytes:
        counts, point = plain.randrange(10, line.highest), plain.randrange(4)
        frames = [line.encode(counts + plain.choice((-1, 0, 0, 1)), point) for _ in range(FRAMES_PER_BLOCK)]
        sent = {_said(line.protocol.decode(frame)) for frame in set(frames)}
        rest = max(abs(value or 0.0) for _, _, value in sent)
        stream = damage(b"".join(frames), share, dice)
        fed += len(stream)
        decoded, cut = _decode(line.protocol, framer.feed(stream))
        thrown_or_cut += cut
        for rule, tally in tallies.items():
            passed = _pass(rule, decoded)
            wrong = [one for one in passed if _said(one) not in sent]
            tally.damaged_stream_bytes, tally.frames_sent = fed, tally.frames_sent + len(frames)
            tally.readings += len(passed)
            tally.phantoms += len(wrong)
            tally.far_phantoms += sum(
                one.value_si is None or abs(one.value_si - rest) > 0.02 * rest for one in wrong
            )
            tally.longest_rest_bytes = max(
                tally.longest_rest_bytes, fed - thrown_or_cut - framer.thrown_bytes
            )
    return tallies


def _said(one: Decoded) -> tuple[object, object, float | None]:
    return one.quantity, one.kind, one.value_si


def _decode(protocol: FrameProtocol, frames: list[bytes]) -> tuple[list[Decoded], int]:
    decoded = []
    for frame in frames:
        with contextlib.suppress(FrameRefused):
            decoded.append(protocol.decode(frame))
    return decoded, sum(map(len, frames))


def _pass(rule: Rule, decoded: list[Decoded]) -> list[Decoded]:
    agreement = Agreement(rule)
    readings = (one.as_reading("", number, (0.0, 0.0), b"") for number, one in enumerate(decoded))
    return [decoded[each.conversion] for one in readings for each in agreement.take(one)]
