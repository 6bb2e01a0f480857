"""The steps of a sheet: those the file gives, or one for each winding and strap; and whether they make sense.

Not for limits and expected values of pairs: those are solved by `acquire.steps.pairs`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, pairwise

from acquire.files.toml_file import Faults
from acquire.physics.network import connected, resistance_between, sensitivities
from acquire.quantity import show
from acquire.records import Branch, BranchKind, Pair, Step, StepKind
from acquire.sheets.circuit import Circuit
from acquire.sheets.language import StepTable
from acquire.sheets.parts import Parts
from drivers.toml_lines import Path as KeyPath

SLOW_HENRY = 2.0
"""From this inductance on, a reading is taken to creep; workshop choice."""

ALL_PAIRS_UP_TO = 6
"""Where so many pins or fewer meet at an inner point, each pair of them gets a step; workshop choice."""

OPEN_ABOVE_OHM = 1e6
"""What an open step passes above unless it says so itself; workshop choice: far above any winding, and below
what damp or fingers leave."""

COUNTS_SHARE = 0.02
"""A winding is named as part of a pair when it makes up more than this share of its ohms; workshop choice."""


def build_steps(parts: Parts, circuit: Circuit, faults: Faults) -> tuple[Step, ...]:
    """All steps in their order; faults are noted."""
    builder = _Builder(circuit, faults)
    if parts.steps or "step" in parts.faulty:
        steps = [builder.given(at, table) for at, table in parts.steps]
    else:
        steps = list(builder.made())
        if not steps and circuit.whole:
            faults.add(
                (), "no two pins are joined, so nothing can be measured.", "Correct the windings' ends."
            )
    return tuple(_named_apart([step for step in steps if step is not None]))


class _Builder:
    """Makes steps on one circuit."""

    def __init__(self, circuit: Circuit, faults: Faults) -> None:
        self.circuit = circuit
        self.faults = faults
        self.conducting = circuit.conducting if circuit.whole else []
        self.branches = [b for b in circuit.branches if b.kind is not BranchKind.DIODE]
        self.names: set[str] = set()
        self._paths: dict[Pair, list[tuple[Branch, float]]] = {}

    def given(self, at: KeyPath, table: StepTable) -> Step | None:
        """A step from the file."""
        a, b = table.pair
        known = [
            self.circuit.place_known(name, (*at, "pair", place)) for place, name in enumerate(table.pair)
        ]
        if a == b:
            self.faults.add((*at, "pair"), f'"{a}" cannot be measured against itself.', "Name two pins.")
            return None
        if not all(known):
            return None
        if table.name is not None and table.name in self.names:
            self.faults.add((*at, "name"), f'the step "{table.name}" is there twice.', "Name each step once.")
        self.names.add(table.name or "")
        step = Step(
            name=table.name or "",
            pair=self._ordered(a, b),
            kind=table.kind,
            quantity=table.quantity,
            slow=table.slow or False,
            four_wire=None if table.wires is None else table.wires == 4,
            lower_ohm=table.lower,
            upper_ohm=table.upper,
            open_above_ohm=(table.open_above or OPEN_ABOVE_OHM) if table.kind is StepKind.OPEN else None,
            remark=table.remark,
        )
        if not self.circuit.whole:
            return step
        self._check(at, step)
        return self._filled(step, slow_known=table.slow is not None)

    def made(self) -> Iterator[Step | None]:
        """One step for each winding and strap; where they meet at inner points, one for each pair of pins."""
        if not self.circuit.whole:
            return
        pairs: dict[Pair, None] = {}
        for branch in self.branches:
            if branch.kind is not BranchKind.LEAD:
                pairs.update(dict.fromkeys(self._pairs_of(branch)))
        for pair in pairs:
            step = Step(name="", pair=pair, kind=self._kind_made(pair))
            self._check(("winding",), step)
            yield self._filled(step, slow_known=False)

    # ------------------------------------------------------------------ parts of a step

    def _ordered(self, a: str, b: str) -> Pair:
        places = self.circuit.places
        return Pair(a, b) if places[a] < places[b] else Pair(b, a)

    def _kind_made(self, pair: Pair) -> StepKind:
        """Continuity where that is all that the sheet asks of what lies between the pins."""
        parts = [b for b, _ in self._path(pair) if b.kind is not BranchKind.LEAD]
        asks = any(b.acceptance or b.serviceable or b.upper_ohm for b in parts)
        return StepKind.RESISTANCE if asks or not _all_continuous(parts) else StepKind.CONTINUITY

    def _pairs_of(self, branch: Branch) -> Iterator[Pair]:
        """The pair that touches both ends; else all pairs of pins around the inner points it ends on."""
        ends = [self._place_at(node) for node in (branch.a, branch.b)]
        if all(ends):
            yield self._ordered(*ends)
            return
        inner = [(a, b, ohm) for a, b, ohm in self.conducting if not (self._place_at(a) or self._place_at(b))]
        start = branch.a if not ends[0] else branch.b
        points = connected(inner, start)
        around = {
            place
            for a, b, _ in self.conducting
            for near, far in ((a, b), (b, a))
            if near in points and (place := self._place_at(far))
        }
        ranked = sorted(around, key=self.circuit.places.__getitem__)
        if len(ranked) <= ALL_PAIRS_UP_TO:
            yield from (Pair(a, b) for a, b in combinations(ranked, 2))
        else:  # one after another: as many steps as pins
            yield from (Pair(a, b) for a, b in pairwise(ranked))
            yield Pair(ranked[0], ranked[-1])

    def _place_at(self, node: str) -> str:
        """The pin or core that a node belongs to, "" for an inner point. A lead's inner end is its pin's."""
        bare = node.removesuffix("'")
        return node if node in self.circuit.places else bare if bare in self.circuit.places else ""

    def _path(self, pair: Pair) -> list[tuple[Branch, float]]:
        """Branches that a pair measures, each with its share of the ohms."""
        if pair not in self._paths:
            shares = sensitivities(self.conducting, *pair)
            parts = [(b, s * b.reference_ohm) for b, s in zip(self.branches, shares, strict=True) if s > 0.0]
            total_ohm = math.fsum(ohm for _, ohm in parts)
            self._paths[pair] = [(branch, ohm / total_ohm) for branch, ohm in parts]
        return self._paths[pair]

    def _filled(self, step: Step, *, slow_known: bool) -> Step:
        """Name a step that has no name, and find out whether it creeps."""
        path = self._path(step.pair)
        told = [b for b, share in path if share > COUNTS_SHARE and b.kind is not BranchKind.LEAD]
        name = step.name or " + ".join(b.name for b in told) or str(step.pair)
        if not step.name and not step.conducts:
            name = f"{step.pair} {step.kind.value}"
        slow = step.slow if slow_known else sum(b.henry or 0.0 for b in told) >= SLOW_HENRY
        return replace(step, name=name, slow=slow)

    # ------------------------------------------------------------------ sense

    def _check(self, at: KeyPath, step: Step) -> None:
        nominal_ohm = resistance_between(self.conducting, *step.pair)
        if step.kind is StepKind.OPEN:
            if math.isfinite(nominal_ohm):
                what = f"{step.pair} is not open: it reads about {show(nominal_ohm, 'Ω')}."
                self.faults.add((*at, "kind"), what, "Leave kind out, or correct the pair.")
        elif step.conducts:
            self._check_resistance(at, step, nominal_ohm)

    def _check_resistance(self, at: KeyPath, step: Step, nominal_ohm: float) -> None:
        if math.isinf(nominal_ohm):
            self.faults.add(
                (*at, "pair"),
                f"nothing joins {step.pair[0]} and {step.pair[1]}.",
                'Write kind = "open" if that is meant, else correct the pair or the windings.',
            )
            return
        for key, limit_ohm, fits in (
            ("lower", step.lower_ohm, (step.lower_ohm or 0.0) < nominal_ohm),
            ("upper", step.upper_ohm, (step.upper_ohm or math.inf) > nominal_ohm),
        ):
            if limit_ohm is not None and not fits:
                what = f"no good unit would pass: {step.pair} reads {show(nominal_ohm, 'Ω')} by the circuit."
                self.faults.add((*at, key), what, "Correct the limit or the windings.")
        if step.kind is StepKind.CONTINUITY:
            parts = [b for b, _ in self._path(step.pair) if b.kind is not BranchKind.LEAD]
            if step.upper_ohm is None and not _all_continuous(parts):
                what = f"{step.pair} cannot be judged: nothing says how many ohms it may have at most."
                self.faults.add((*at, "pair"), what, 'Give the step upper = "2 ohm".')
        elif step.lower_ohm is None and step.upper_ohm is None:
            self._check_tolerances(at, step)

    def _check_tolerances(self, at: KeyPath, step: Step) -> None:
        """A pair can be judged only if all its windings have a tolerance, or a strap its upper limit."""
        path = self._path(step.pair)
        windings = [b for b, _ in path if b.kind is BranchKind.WINDING]
        without = [b.name for b in windings if b.acceptance is None and b.serviceable is None]
        if without:
            what = f'{step.pair} cannot be judged: the winding "{without[0]}" has no tolerance.'
            remedy = 'Give it acceptance = "5 %", or the step lower and upper.'
            self.faults.add((*at, "pair"), what, remedy)
        elif not windings and not any(b.upper_ohm for b, _ in path):
            what = f"{step.pair} cannot be judged: its strap has no upper limit."
            self.faults.add((*at, "pair"), what, 'Give the strap upper = "50 mohm".')


def _all_continuous(parts: list[Branch]) -> bool:
    """Whether each of them says what it may have at most."""
    return bool(parts) and all(b.continuity_ohm or b.upper_ohm for b in parts)


def _named_apart(steps: list[Step]) -> list[Step]:
    """Steps whose made-up names are the same get their pair behind it."""
    count = Counter(step.name for step in steps)
    return [replace(s, name=f"{s.name} {s.pair}") if count[s.name] > 1 else s for s in steps]
