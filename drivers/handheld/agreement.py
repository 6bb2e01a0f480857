"""Two frames must agree before either counts, where no checksum guards a frame. Sans-I/O.

One flipped bit turns a good frame into another good one in 12 to 27 of 100 cases, depending on the protocol.
A frame is held back until a neighbour of another conversion says nearly the same; a lonely one is dropped.
A meter whose probes are lifted sends many frames of overload, so nothing real is lost but a moment.

Not for settling: "nearly" is wide on purpose (see `near`), so that a value on its last way to rest passes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from drivers.frame import Decoded
from drivers.reading import Flag, Reading

Rule = Literal["near", "exact", "off"]
NEAR_COUNTS = 3
NEAR_SHARE = 0.005
"""Half a percent, or three counts: wider than noise and drift of a probe at rest, narrower than a wrong
point, unit, prefix or leading digit; workshop choice, measured in `tests/benchmarks/drivers.py`."""


@dataclass(frozen=True, slots=True)
class Stamped:
    """A decoded frame with its conversion, time and bytes."""

    decoded: Decoded
    conversion: int
    monotonic_s: float
    utc_s: float
    raw: bytes

    def as_reading(self, meter_id: str, flags_visible: frozenset[Flag]) -> Reading:
        """The reading that it is.

        Args:
            meter_id: name of the meter in the bench file.
            flags_visible: signs that this meter can show over its link.
        """
        decoded = self.decoded
        return Reading(
            meter_id=meter_id,
            quantity=decoded.quantity,
            kind=decoded.kind,
            value_si=decoded.value_si,
            monotonic_s=self.monotonic_s,
            utc_s=self.utc_s,
            conversion=self.conversion,
            range_full_scale_si=decoded.range_full_scale_si,
            resolution_si=decoded.resolution_si,
            range_origin=decoded.range_origin,
            flags=decoded.flags,
            flags_visible=flags_visible,
            raw=self.raw,
        )


class Agreement:
    """Lets frames through in order once a neighbour agrees.

    Args:
        rule: "near" (see the module), "exact" (the same in every respect), "off" (all pass at once).
    """

    def __init__(self, rule: Rule = "near") -> None:
        self._rule = rule
        self._last: Stamped | None = None
        self._last_passed = False

    def take(self, frame: Stamped) -> list[Stamped]:
        """Take the next frame; give those that may pass now, oldest first."""
        if self._rule == "off":
            return [frame]
        last, passed = self._last, self._last_passed
        agrees = last is not None and self._agree(last.decoded, frame.decoded)
        self._last, self._last_passed = frame, agrees
        if last is None or not agrees:
            return []
        return [frame] if passed else [last, frame]

    def _agree(self, one: Decoded, other: Decoded) -> bool:
        if self._rule == "exact":
            return one == other
        return near(one, other)

    def forget_waiting(self) -> None:
        """Keep the last frame as a neighbour, but never let it through any more."""
        self._last_passed = True

    def reset(self) -> None:
        """Forget the last frame, after a gap."""
        self._last = None
        self._last_passed = False


def near(one: Decoded, other: Decoded) -> bool:
    """Tell whether two frames agree: quantity, kind, and values within half a percent or three counts."""
    if one.quantity is not other.quantity or one.kind is not other.kind:
        return False
    if one.value_si is None or other.value_si is None:
        return True
    counts = NEAR_COUNTS * max(one.resolution_si or 0.0, other.resolution_si or 0.0)
    room = max(counts, NEAR_SHARE * max(abs(one.value_si), abs(other.value_si)))
    return abs(one.value_si - other.value_si) <= room
