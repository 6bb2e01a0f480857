"""Pins, inner points and branches of a sheet, from its tables; and whether everything is joined to something.

A pin's contact is the node of its name. Where the pin has a lead, the windings begin at the lead's inner end,
the pin's name with a prime ("1'"). Not for values of pairs: those are solved from the branches.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from difflib import get_close_matches

from acquire.files.toml_file import Faults
from acquire.physics.network import BranchOhm
from acquire.physics.wire import ohm_per_m
from acquire.records import Branch, BranchKind, Pin
from acquire.sheets.language import METAL_OF, PinTable, StrapTable, WindingTable, winding_ohm
from acquire.sheets.parts import Parts
from drivers.toml_lines import Path as KeyPath

LEAD_SPREAD = 0.1
STRAP_SPREAD = 0.3
"""Standard deviations between good units as fractions; workshop choices: crimps and cut lengths vary."""

DEFAULT_SPREAD = 0.01
"""Of windings on whose sheet neither spread nor acceptance is given; workshop choice."""

SPREADS_PER_ACCEPTANCE = 3.0
"""Without a spread of its own, a winding's acceptance counts as three standard deviations; workshop
choice."""

DIODE_OHM = 1e12
"""Stands for a diode, which no ohms reading sees; the value is never used."""

WIRE_DISAGREES = 0.25
"""Resistance and wire of one winding may differ by this fraction before one of them must be a slip."""


class Circuit:
    """The electrical side of a sheet.

    Attributes:
        core: name of the core, "" where there is none.
        pins: in the order of the connector's face, loose leads behind.
        branches: leads, windings, straps, diodes.
        places: every name that a probe can touch -> its rank, the core last.
        whole: False where faults make it useless to compute with.
    """

    def __init__(self, parts: Parts, faults: Faults) -> None:
        """Build it, noting faults."""
        self._parts = parts
        self._faults = faults
        before = len(faults.found)
        self.core: str = parts.connector.core
        self._tables = {table.name: (at, table) for at, table in reversed(parts.pins)}
        self._places_in_file = dict(self._seats())
        self.pins = tuple(self._pins())
        names = [pin.name for pin in self.pins]
        self.places = {name: rank for rank, name in enumerate([*names, self.core] if self.core else names)}
        self._check_pins()
        self._check_names()
        self.branches = (*self._leads(), *self._joined())
        self._check_reach()
        self.whole = parts.circuit_is_whole and len(faults.found) == before

    @property
    def conducting(self) -> list[BranchOhm]:
        """Branches for the solver, diodes left out."""
        return [(b.a, b.b, b.reference_ohm) for b in self.branches if b.kind is not BranchKind.DIODE]

    def place_known(self, name: str, at: KeyPath) -> bool:
        """Whether a probe can touch a place of this name; notes a fault where not."""
        if name in self.places:
            return True
        if self._parts.faulty.isdisjoint(("connector", "pin")):
            self._faults.add(at, f'"{name}" is neither a pin nor the core.', meant(name, self.places))
        return False

    # ------------------------------------------------------------------ pins

    def _seats(self) -> Iterator[tuple[str, KeyPath]]:
        """Pin names and where the file first names them."""
        yield from ((table.name, (*at, "name")) for at, table in reversed(self._parts.pins))
        rows = self._parts.connector.rows
        for row in reversed(range(len(rows))):
            for column in reversed(range(len(rows[row]))):
                if rows[row][column]:
                    yield rows[row][column], ("connector", "rows", row, column)

    def _pins(self) -> Iterator[Pin]:
        seen = set()
        for row, names in enumerate(self._parts.connector.rows):
            for column, name in enumerate(names):
                if name and name not in seen:
                    seen.add(name)
                    yield self._pin(name, row, column)
        for name in self._loose_names():
            if name not in seen:
                seen.add(name)
                yield self._pin(name, None, None)

    def _loose_names(self) -> Iterator[str]:
        """Names of all `[[pin]]` tables, of the faulty ones too, so that no fault breeds another."""
        for raw in self._parts.raw("pin"):
            name = raw.get("name") if isinstance(raw, dict) else None
            if isinstance(name, str) and name:
                yield name

    def _pin(self, name: str, row: int | None, column: int | None) -> Pin:
        table = self._table(name)
        return Pin(name, row, column, table.colour, table.remark)

    def _table(self, name: str) -> PinTable:
        return self._tables[name][1] if name in self._tables else PinTable.model_construct(name=name)

    def _check_pins(self) -> None:
        if not self.pins and self._parts.faulty.isdisjoint(("connector", "pin")):
            self._faults.add((), "this sheet has no pins.", 'Add [connector] with rows = [["1", "2"]].')
        rows = self._parts.connector.rows
        seats = [
            (name, ("connector", "rows", i, j)) for i, row in enumerate(rows) for j, name in enumerate(row)
        ]
        self._twice([(name, at) for name, at in seats if name], "pin", "stands twice in the connector")
        self._twice([(t.name, (*at, "name")) for at, t in self._parts.pins], "pin", "is described twice")
        if self.core and self.core in {pin.name for pin in self.pins}:
            self._faults.add(
                ("connector", "core"), f'"{self.core}" is a pin too.', "Give the core another name."
            )

    def _check_names(self) -> None:
        named: list[tuple[str, KeyPath]] = [(t.name, (*at, "name")) for at, t in self._parts.branches()]
        self._twice(named, "winding, strap or diode", "is there twice")
        leads = {f"lead {pin.name}" for pin in self.pins}
        for name, at in named:
            if name in leads:
                self._faults.add(at, f'"{name}" is the name of a pin\'s lead.', "Choose another name.")

    def _twice(self, named: list[tuple[str, KeyPath]], sort: str, what: str) -> None:
        count: Counter[str] = Counter()
        for name, at in named:
            count[name] += 1
            if count[name] == 2:
                self._faults.add(at, f'the {sort} "{name}" {what}.', "Every name may be used once.")

    # ------------------------------------------------------------------ branches

    def _inner(self, name: str) -> str:
        """The node that a winding joined to a pin, the core or an inner point begins at."""
        return f"{name}'" if name in self._tables and self._table(name).lead is not None else name

    def _leads(self) -> Iterator[Branch]:
        for pin in self.pins:
            lead_ohm = self._table(pin.name).lead
            if lead_ohm is not None:
                yield Branch(
                    name=f"lead {pin.name}",
                    a=pin.name,
                    b=f"{pin.name}'",
                    reference_ohm=lead_ohm,
                    kind=BranchKind.LEAD,
                    spread=LEAD_SPREAD,
                )

    def _joined(self) -> Iterator[Branch]:
        for at, table in self._parts.branches():
            a, b = (self._inner(name) for name in table.between)
            if a == b:
                self._faults.add((*at, "between"), "both ends are the same.", "Name two different points.")
                continue
            if isinstance(table, WindingTable):
                yield self._winding(at, table, a, b)
            elif isinstance(table, StrapTable):
                yield Branch(
                    name=table.name,
                    a=a,
                    b=b,
                    reference_ohm=table.resistance,
                    kind=BranchKind.STRAP,
                    upper_ohm=table.upper,
                    continuity_ohm=table.continuity,
                    spread=STRAP_SPREAD,
                )
            else:
                yield Branch(name=table.name, a=a, b=b, reference_ohm=DIODE_OHM, kind=BranchKind.DIODE)

    def _winding(self, at: KeyPath, table: WindingTable, a: str, b: str) -> Branch:
        spread = table.spread
        if spread is None:
            by_tolerance = table.acceptance and table.acceptance / SPREADS_PER_ACCEPTANCE
            spread = by_tolerance or DEFAULT_SPREAD
        return Branch(
            name=table.name,
            a=a,
            b=b,
            reference_ohm=self._winding_ohm(at, table),
            material=table.material,
            acceptance=table.acceptance,
            serviceable=table.serviceable,
            continuity_ohm=table.continuity,
            spread=spread,
            turns=table.turns,
            strands=table.strands,
            henry=table.inductance,
            ohm_per_m=_wire_ohm_per_m(table),
        )

    def _winding_ohm(self, at: KeyPath, table: WindingTable) -> float:
        """The resistance given; or what turns and wire make. Where both are there they must agree."""
        of_table = table.material in METAL_OF  # a metal known by its coefficient alone has no ohms per metre
        if table.turns is None or table.wire is None or table.mean_turn is None or not of_table:
            assert table.resistance is not None  # noqa: S101  (the table refuses to be without both)
            return table.resistance
        computed = winding_ohm(
            table.turns,
            table.mean_turn,
            table.wire,
            extra_m=table.extra or 0.0,
            strands=table.strands,
            material=table.material,
            celsius=self._parts.sheet.reference_temperature,
        )
        if table.resistance is None:
            return computed
        if abs(computed / table.resistance - 1.0) > WIRE_DISAGREES:
            self._faults.add(
                (*at, "resistance"),
                f"turns and wire make {computed:.4g} Ω, but resistance says {table.resistance:.4g} Ω.",
                "Correct one of them, or leave resistance out.",
            )
        return table.resistance

    # ------------------------------------------------------------------ reach

    def _check_reach(self) -> None:
        """Every pin must lead somewhere, and no inner point may hang on one branch only."""
        ends = self._raw_ends()
        if ends is None or not self._parts.faulty.isdisjoint(("connector", "pin")):
            return
        for pin in self.pins:
            used = ends[self._inner(pin.name)] or ends[pin.name]
            self._check_pin_use(pin.name, used=bool(used))
        for at, table in self._parts.branches():
            for place, name in enumerate(table.between):
                if name not in self.places and ends[self._inner(name)] == 1 and not self._is_lead_end(name):
                    self._faults.add(
                        (*at, "between", place),
                        f'"{name}" is neither a pin nor the core, and nothing else ends there.',
                        meant(name, self.places),
                    )

    def _check_pin_use(self, name: str, *, used: bool) -> None:
        at = self._places_in_file.get(name, ("pin",))
        declared_unused = self._table(name).unused
        if not used and not declared_unused:
            self._faults.add(
                at,
                f'no winding reaches pin "{name}".',
                "Add its winding, or write unused = true in its [[pin]] table.",
            )
        if used and declared_unused:
            self._faults.add(
                (*self._tables[name][0], "unused"), f'a winding reaches pin "{name}".', "It is not unused."
            )

    def _is_lead_end(self, name: str) -> bool:
        return name.endswith("'") and self._inner(name[:-1]) == name

    def _raw_ends(self) -> Counter[str] | None:
        """How many branches end on each node, those of faulty tables too; None where one cannot be told."""
        ends: Counter[str] = Counter()
        for raw in self._parts.raw("winding", "strap", "diode"):
            between = raw.get("between") if isinstance(raw, dict) else None
            if not isinstance(between, list) or [type(end) for end in between] != [str, str]:
                return None
            ends.update(self._inner(name) for name in between)
        return ends


def _wire_ohm_per_m(table: WindingTable) -> float | None:
    """Ohms per metre of the wire that a winding names; None where its metal has no table."""
    if table.wire is None or table.material not in METAL_OF:
        return None
    return ohm_per_m(1000.0 * table.wire, METAL_OF[table.material])


def meant(name: str, known: Iterable[str]) -> str:
    """Remedy for a name that is not known: the one it resembles, else all there are."""
    known = list(known)
    bare = {each.lower(): each for each in known}
    near = bare.get(name.lower()) or next(iter(get_close_matches(name, known, 1, 0.6)), "")
    return f'Did you mean "{near}"?' if near else f"Known are {', '.join(known) or 'none'}."
