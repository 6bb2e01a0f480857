"""Numbers of a typed result before the gate: what cannot be, and what is so odd that it is asked for again.

Not for reading or judging the line (typed_line, typed); the gate itself is `plausible`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from types import MappingProxyType

from acquire.plausible import Doubt, Gate, Plausibility, Seen
from acquire.records import Refusal, Refused, ResultKind, TypedResult

AIR = Plausibility(-60.0, 300.0, near=10.0, alike=1.0)
"""Temperature of a winding, against that of the bench, degrees Celsius; workshop choice."""

_SIZES = MappingProxyType({
    "ohm": (1e-6, 1e14),
    "V": (1.0, 1e5),
    "H": (1e-9, 1e5),
    "Hz": (0.1, 1e9),
    "": (1e-9, 1e6),
    "1": (1e-6, 0.5),
})  # fmt: skip
"""What instruments of a workshop show, by unit; a number without one is a Q or a loss factor, "1" a share of
reading. Workshop choice, wide."""

_NEAR = math.log10(5.0)
"""A value further than this factor from its limits, its pattern, or above the voltage that the sheet asks for
is mostly a slip of the prefix or the point; workshop choice."""


@dataclass(slots=True)
class TypedGate:
    """The gate before typed results of one unit: the same odd line once more is meant."""

    gates: dict[tuple[str, str], Gate] = field(default_factory=dict)

    def look(self, result: TypedResult, air_celsius: float | None) -> None:
        """Let a result in.

        Args:
            result: as it would be recorded.
            air_celsius: of the bench, None where that is not known.

        Raises:
            Refused: a number of it cannot be so, or is doubted.
        """
        doubts = [
            (doubt, unit, value, before)
            for unit, value, before in _numbers(result, air_celsius)
            if (doubt := self._doubt((result.name, unit), value, before)) is not None
        ]
        for doubt, unit, value, before in doubts:
            if doubt is Doubt.IMPOSSIBLE:
                lower, upper = (AIR.lower, AIR.upper) if unit == "°C" else _SIZES[unit]
                raise Refused(Refusal.RESULT_IMPOSSIBLE, value=value, unit=unit, lower=lower, upper=upper)
            raise Refused(Refusal.RESULT_DOUBTED, value=value, unit=unit, before=before)

    def _doubt(self, of: tuple[str, str], value: float, before: float | None) -> Doubt | None:
        gate, unit = self.gates.setdefault(of, Gate()), of[1]
        law, seen = AIR, value
        if unit != "°C":
            lower, upper = map(math.log10, _SIZES[unit])
            law, seen = (
                Plausibility(lower, upper, near=_NEAR, alike=0.01),
                math.log10(value) if value > 0.0 else -math.inf,
            )
            before = None if before is None else math.log10(before)
        gate.known = None if before is None else Seen(before, 0.0)
        return gate.look(law, Seen(seen, 0.0))


def _numbers(result: TypedResult, air_celsius: float | None) -> list[tuple[str, float, float | None]]:
    """(unit, value, what is likely) of all that a line states; a short is one, and no slip."""
    asked, limits = result.asked_volt, [each for each in (result.lower_si, result.upper_si) if each]
    likely = result.pattern_si or None
    if result.result_kind is ResultKind.RESISTANCE and limits:
        likely = math.sqrt(limits[0] * limits[-1])
    volts_like = asked if asked is not None and (result.test_volt or 0.0) > asked else None
    stated = [
        (result.unit, result.value_si or None, likely),
        ("°C", result.celsius, air_celsius),
        ("V", result.test_volt, volts_like),
        ("Hz", result.hertz, None),
        ("1", result.accuracy, None),
    ]
    return [(unit, value, before) for unit, value, before in stated if value is not None]
