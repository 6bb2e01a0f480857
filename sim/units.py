"""Unit types as sheets describe them: what is wound, how it is joined, what counts as good.

Diodes and the rule of another metal than copper are left out. Not for what a unit becomes (see `scenes`).
"""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

from sim.files import Unusable, named, quantity, read
from sim.winding import Branch, WoundUnit, copper_factor, wire_mm2, wire_ohm

Pair = tuple[str, str]

UNSTATED_TOLERANCE = 0.05
"""Of windings whose sheet states none: workshop choice."""


@dataclass(frozen=True, slots=True)
class Coil:
    """One winding as designed.

    Attributes:
        name: what the shop calls it.
        a, b: nodes of its ends.
        ohm_20: resistance at 20 °C.
        tolerance: half-width of the acceptance limits as a fraction.
        turns: None where not known; strands: in hand; wire: as written, the same for the same spool.
    """

    name: str
    a: str
    b: str
    ohm_20: float
    tolerance: float
    turns: int | None = None
    strands: int = 1
    wire: str = ""


@dataclass(frozen=True, slots=True)
class UnitType:
    """A kind of unit: its pins, its coils, its leads.

    Attributes:
        key: name of its file; title: for people; prefix: of its serials.
        core: a place to touch, though no pin; empty where there is none.
        leads: branches that are no winding: tails, connector leads, straps.
        straps: the two ends of each and its largest resistance.
        steps: pairs in the order a bench would probe them.
        balances: pairs that must agree, and by how much of their mean each may deviate.
        bifilar: coils wound together, so that they share wire and hand.
    """

    key: str
    title: str
    prefix: str
    pins: tuple[str, ...]
    core: str
    coils: tuple[Coil, ...]
    leads: tuple[Branch, ...]
    steps: tuple[Pair, ...]
    straps: tuple[tuple[Pair, float], ...] = ()
    balances: tuple[tuple[tuple[Pair, ...], float], ...] = ()
    bifilar: tuple[str, ...] = ()

    def nominal(self) -> WoundUnit:
        """A unit exactly as designed."""
        return self.at_limit(0.0)

    def places(self) -> tuple[str, ...]:
        """Every place a probe can touch, the core last."""
        return (*self.pins, self.core) if self.core else self.pins

    def isolated(self) -> tuple[Pair, ...]:
        """Two places of each two parts without any path between them in a sound unit."""
        return _isolated(self)

    def pair_limits_ohm(self) -> dict[Pair, tuple[float, float, float]]:
        """Nominal, lowest and highest good value of every pair that has a path, at 20 °C.

        Limits are those of all windings on the path at their low or high end together; a strap has its own.
        """
        return _pair_limits_ohm(self)

    def at_limit(self, sign: float) -> WoundUnit:
        """A unit with all windings at the lower (-1) or upper (+1) end of their tolerance."""
        coils = (Branch(c.name, c.a, c.b, c.ohm_20 * (1 + sign * c.tolerance)) for c in self.coils)
        return WoundUnit(f"{self.prefix}-nominal", (*self.leads, *coils))


@functools.cache
def _isolated(kind: UnitType) -> tuple[Pair, ...]:
    nominal = kind.nominal()
    parts: list[str] = []
    for place in reversed(kind.places()):
        if not any(math.isfinite(nominal.ohm(place, part, 20.0)) for part in parts):
            parts.append(place)
    return tuple(combinations(reversed(parts), 2))


@functools.cache
def _pair_limits_ohm(kind: UnitType) -> dict[Pair, tuple[float, float, float]]:
    nominal, low, high = kind.nominal(), kind.at_limit(-1.0), kind.at_limit(1.0)
    found = {}
    for a, b in combinations(kind.places(), 2):
        ohm = nominal.ohm(a, b, 20.0)
        if math.isfinite(ohm):
            found[a, b] = (ohm, low.ohm(a, b, 20.0), high.ohm(a, b, 20.0))
    for (a, b), most_ohm in kind.straps:
        found[a, b] = (nominal.ohm(a, b, 20.0), 0.0, most_ohm)
    return found


class _Sheet:
    """One sheet file on its way to a unit type."""

    def __init__(self, path: Path) -> None:
        self.path, self.tree = path, read(path)
        self.told = {pin["name"]: pin for pin in self.tree.get("pin", [])}
        rows = self.tree.get("connector", {}).get("rows", [])
        self.pins = tuple(dict.fromkeys([*(name for row in rows for name in row if name), *self.told]))
        self.core = self.tree.get("connector", {}).get("core", "")
        self.warmth = copper_factor(quantity(self.tree["sheet"].get("reference_temperature", "20 °C")))

    def inner(self, name: str) -> str:
        """The node at which what is joined to a pin begins: behind the pin's lead, where it has one."""
        return f"{name}'" if "lead" in self.told.get(name, {}) else name

    def ohm_20(self, text: str) -> float:
        """Ohms at the sheet's reference temperature, brought to 20 °C."""
        return quantity(text) / self.warmth

    def coil(self, table: Mapping[str, Any]) -> Coil:
        a, b = map(self.inner, table["between"])
        ohm = quantity(table["resistance"]) if "resistance" in table else self._wound_ohm(table)
        tolerance = table.get("acceptance") or table.get("serviceable")
        return Coil(
            table["name"],
            a,
            b,
            ohm / self.warmth,
            quantity(tolerance) if tolerance else UNSTATED_TOLERANCE,
            table.get("turns"),
            table.get("strands", 1),
            table.get("wire", table["name"]),
        )

    def _wound_ohm(self, table: Mapping[str, Any]) -> float:
        gauge, strands = re.fullmatch(r"AWG ?(\d+)", table["wire"]), table.get("strands", 1)
        length_m = table["turns"] * quantity(table["mean_turn"]) + quantity(table.get("extra", "0 m"))
        if gauge:
            return self.warmth * wire_ohm(length_m, float(gauge[1]), strands)
        mm2 = math.pi / 4 * (1e3 * quantity(table["wire"])) ** 2
        return self.warmth * wire_ohm(length_m, 36.0, strands) * wire_mm2(36.0) / mm2

    def branches(self) -> tuple[Branch, ...]:
        """Leads and straps."""
        leads = [
            Branch(f"lead {pin}", pin, f"{pin}'", self.ohm_20(self.told[pin]["lead"]))
            for pin in self.pins
            if "lead" in self.told.get(pin, {})
        ]
        straps = [
            Branch(
                s["name"],
                self.inner(s["between"][0]),
                self.inner(s["between"][1]),
                self.ohm_20(s["resistance"]),
            )
            for s in self.tree.get("strap", [])
        ]
        return (*leads, *straps)

    def balances(self, ends: Mapping[str, Pair]) -> tuple[tuple[tuple[Pair, ...], float], ...]:
        """Of two that may lie so far apart, each deviates by half of it from their mean."""
        rules = [(rule, 1.0) for rule in self.tree.get("balance", [])]
        rules += [(rule, 0.5) for rule in self.tree.get("matching", [])]
        return tuple(
            (tuple(ends[w] for w in rule["windings"]), share * quantity(rule["limit"]))
            for rule, share in rules
            if all(w in ends for w in rule["windings"])
        )

    def unit_type(self) -> UnitType:
        tables, places = self.tree.get("winding", []), {*self.pins, self.core}
        ends: dict[str, Pair] = {
            t["name"]: (t["between"][0], t["between"][1]) for t in tables if places.issuperset(t["between"])
        }
        measured = ("resistance", "continuity")
        steps = [s["pair"] for s in self.tree.get("step", []) if s.get("kind", "resistance") in measured]
        straps = [(s["between"], s.get("upper", s.get("continuity"))) for s in self.tree.get("strap", [])]
        title = self.tree["sheet"]["name"]
        return UnitType(
            key=self.path.stem,
            title=title,
            prefix="".join(word if word.isdigit() else word[0].upper() for word in title.split()),
            pins=self.pins,
            core=self.core,
            coils=tuple(map(self.coil, tables)),
            leads=self.branches(),
            steps=tuple((a, b) for a, b in steps) or tuple(ends.values()) or tuple(pairwise(self.pins)),
            straps=tuple(((a, b), quantity(most)) for (a, b), most in straps if most),
            balances=self.balances(ends),
            bifilar=tuple(name for pair in self.tree["sheet"].get("bifilar", []) for name in pair),
        )


@functools.cache
def unit_type(sheet: str) -> UnitType:
    """The unit type of a sheet file, or of a shipped sheet by its name.

    Raises:
        Unusable: there is no such file, or it is no sheet.
    """
    path = named("sheets", sheet)
    try:
        return _Sheet(path).unit_type()
    except (KeyError, TypeError, ValueError) as error:
        raise Unusable(f"{path} is no sheet: {error}") from None
