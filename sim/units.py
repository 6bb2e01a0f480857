"""The invented unit types of the demo scenes: what is wound, how it is joined, what counts as good.

Makers, shops and products do not exist; turns, gauges and mean turns are assumed design data. The resistances
are computed from the wire, not typed.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from itertools import combinations

from sim.winding import Branch, WoundUnit, wire_ohm


@dataclass(frozen=True, slots=True)
class Coil:
    """One winding as designed.

    Attributes:
        name: what the shop calls it.
        a, b: nodes of its ends.
        turns, awg, strands: what is wound.
        mean_turn_m: mean length of a turn; extra_m: length of its tails.
        tolerance: half-width of the acceptance limits as a fraction.
        sections: coils in series that make up the winding.
    """

    name: str
    a: str
    b: str
    turns: int
    awg: float
    mean_turn_m: float
    tolerance: float
    extra_m: float = 0.0
    strands: int = 1
    sections: int = 1

    def ohm_20(self, turns: float | None = None, awg: float | None = None) -> float:
        """Resistance at 20 °C, as designed or with other turns or another gauge."""
        length_m = (self.turns if turns is None else turns) * self.mean_turn_m + self.extra_m
        return wire_ohm(length_m, self.awg if awg is None else awg, self.strands)


@dataclass(frozen=True, slots=True)
class UnitType:
    """A kind of unit: its pins, its coils, its leads.

    Attributes:
        key: name on the command line; title: for people; prefix: of its serials.
        leads: branches that are no winding: tails, connector leads, strap.
        strap: its two ends and its largest resistance, None where there is none.
        steps: pairs in the order a bench would probe them.
        isolated: pairs without any path in a sound unit.
        balanced: pairs that must agree; balance: largest deviation from their mean as a fraction of it.
        bifilar: coils wound together, so that they share wire and hand.
    """

    key: str
    title: str
    prefix: str
    pins: tuple[str, ...]
    core: str
    coils: tuple[Coil, ...]
    leads: tuple[Branch, ...]
    steps: tuple[tuple[str, str], ...]
    strap: tuple[str, str, float] | None = None
    isolated: tuple[tuple[str, str], ...] = ()
    balanced: tuple[tuple[str, str], ...] = ()
    balance: float = math.inf
    bifilar: tuple[str, ...] = ()

    def nominal(self) -> WoundUnit:
        """A unit exactly as designed."""
        coils = tuple(Branch(c.name, c.a, c.b, c.ohm_20()) for c in self.coils)
        return WoundUnit(f"{self.prefix}-nominal", self.leads + coils)

    def places(self) -> tuple[str, ...]:
        """Every place a probe can touch, the core last."""
        return (*self.pins, self.core)

    def coil(self, name: str) -> Coil:
        """The coil of that name; KeyError where there is none."""
        return {c.name: c for c in self.coils}[name]

    def pair_limits_ohm(self) -> dict[tuple[str, str], tuple[float, float, float]]:
        """Nominal, lowest and highest good value of every pair that has a path, at 20 °C.

        Limits are those of all windings on the path at their low or high end together; the strap has its own.
        """
        return _pair_limits_ohm(self)

    def at_limit(self, sign: float) -> WoundUnit:
        """A unit with all windings at the lower (-1) or upper (+1) end of their tolerance."""
        coils = tuple(Branch(c.name, c.a, c.b, c.ohm_20() * (1 + sign * c.tolerance)) for c in self.coils)
        return WoundUnit("limit", self.leads + coils)


@functools.cache
def _pair_limits_ohm(kind: UnitType) -> dict[tuple[str, str], tuple[float, float, float]]:
    nominal, low, high = kind.nominal(), kind.at_limit(-1.0), kind.at_limit(1.0)
    found = {}
    for a, b in combinations(kind.places(), 2):
        ohm = nominal.ohm(a, b, 20.0)
        if math.isfinite(ohm):
            found[a, b] = (ohm, low.ohm(a, b, 20.0), high.ohm(a, b, 20.0))
    if kind.strap is not None:
        a, b, most_ohm = kind.strap
        found[a, b] = (nominal.ohm(a, b, 20.0), 0.0, most_ohm)
    return found


def _lead(pin: str, node: str, ohm_20: float) -> Branch:
    return Branch(f"lead {pin}", pin, node, ohm_20)


PLOVER_80 = UnitType(
    key="plover-80",
    title="Plover 80 orchard-sprayer ignition plate",
    prefix="P80",
    pins=("1", "2", "3", "4", "5", "6"),
    core="CORE",
    coils=(
        Coil("slow charge", "1'", "2'", 2400, 36, 0.062, 0.06),
        Coil("fast charge", "2'", "3'", 1020, 33, 0.067, 0.05),
        Coil("trigger", "4'", "CORE", 1150, 38, 0.034, 0.07),
        Coil("lighting", "5'", "CORE", 230, 18, 0.078, 0.05, extra_m=0.3, sections=5),
    ),
    leads=(
        *(_lead(pin, f"{pin}'", 0.60 * 0.0390) for pin in "1234"),  # 0.60 m of 0.5 mm²
        _lead("5", "5'", 0.60 * 0.0195),  # 0.60 m of 1.0 mm²
        Branch("earth strap", "6", "CORE", 0.60 * 0.0195 + 0.12 * 0.0133),
    ),
    steps=(("1", "2"), ("2", "3"), ("1", "3"), ("4", "6"), ("5", "6"), ("6", "CORE")),
    strap=("6", "CORE", 0.05),
    isolated=(("1", "CORE"), ("2", "CORE"), ("3", "CORE")),
)

QUERN_12 = UnitType(
    key="quern-12",
    title="Quern 12 stream-turbine alternator stator",
    prefix="Q12",
    pins=("U", "V", "W", "N"),
    core="CORE",
    coils=tuple(
        Coil(f"phase {pin}", f"{pin}'", "N'", 152, 20, 0.086, 0.04, extra_m=0.18, sections=4) for pin in "UVW"
    ),
    leads=tuple(_lead(pin, f"{pin}'", 0.40 * 0.0133) for pin in "UVWN"),  # 0.40 m of 1.5 mm²
    steps=(("U", "V"), ("V", "W"), ("U", "W"), ("U", "N"), ("V", "N"), ("W", "N")),
    isolated=(("N", "CORE"),),
    balanced=(("U", "N"), ("V", "N"), ("W", "N")),
    balance=0.02,
)

FATHOM_7 = UnitType(
    key="fathom-7",
    title="Fathom 7 sump-float control transformer",
    prefix="F7",
    pins=tuple("12345678"),
    core="CORE",
    coils=(
        Coil("P1", "1'", "2'", 1880, 36, 0.095, 0.06),
        Coil("P2", "3'", "4'", 1880, 36, 0.104, 0.06),  # wound outside P1, so longer by design
        Coil("S1", "5'", "6'", 165, 24, 0.118, 0.04),
        Coil("S2", "7'", "8'", 165, 24, 0.118, 0.04),
    ),
    leads=tuple(_lead(pin, f"{pin}'", 0.15 * 0.026) for pin in "12345678"),  # 0.15 m of 0.75 mm²
    steps=(("1", "2"), ("3", "4"), ("5", "6"), ("7", "8")),
    isolated=(("1", "3"), ("1", "5"), ("1", "7"), ("5", "7"), ("1", "CORE")),
    balanced=(("5", "6"), ("7", "8")),
    balance=0.005,  # one per cent between the two
    bifilar=("S1", "S2"),
)

UNIT_TYPES = {kind.key: kind for kind in (PLOVER_80, QUERN_12, FATHOM_7)}
