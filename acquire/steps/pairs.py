"""What every pair of pins should read: nominal, limits, spread and a name, from the circuit of one sheet.

Nothing here is typed by hand twice: a sheet gives windings, leads and straps, and all pairs follow. Not for
measured values (see matcher) and not for faults (see verdict/diagnose).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

from acquire.errors import InputImpossible
from acquire.physics.network import BranchOhm, resistance_between, sensitivities
from acquire.records import Branch, BranchKind, Limits, Pair, Purpose, Sheet, Step, StepKind

_NOTHING_OHM = 1e-12
"""Stands for a strap without resistance where a worst case is looked for."""

ALIKE = 2.0
"""Standard deviations between good units within which two pairs are look-alikes; workshop choice."""

_NAMED_SHARE = 0.02
"""A winding is named as part of a path when it makes up more than this share of its ohms; workshop choice."""


@dataclass(frozen=True, slots=True)
class Path:
    """How one pair is made up.

    Attributes:
        nominal_ohm: at the reference temperature; infinite where nothing joins the pins.
        shares: for each conducting branch of the sheet, ohms of reading per ohm of branch, 0 to 1.
    """

    nominal_ohm: float
    shares: tuple[float, ...]


class PairTable:
    """All pairs that two probes can touch on one unit type.

    Diodes count as open here: whether an ohmmeter turns one on is up to the meter.
    """

    def __init__(self, sheet: Sheet) -> None:
        """Keep the sheet; each pair is solved when first asked for."""
        self.sheet = sheet
        self.branches: tuple[Branch, ...] = tuple(b for b in sheet.branches if b.kind is not BranchKind.DIODE)
        self._order = {name: index for index, name in enumerate(sheet.pin_names())}
        self._paths: dict[Pair, Path] = {}
        self._limits: dict[tuple[Pair, Purpose], Limits] = {}

    @cached_property
    def _pairs(self) -> tuple[Pair, ...]:
        return tuple(Pair(a, b) for a, b in combinations(self._order, 2))

    def pairs(self) -> tuple[Pair, ...]:
        """Every pair of pins, the core among them, in the sheet's order."""
        return self._pairs

    def canonical(self, a: str, b: str) -> Pair:
        """The pair in the sheet's order of pins, whichever probe is where.

        Raises:
            InputImpossible: a name is no pin of the sheet, or both are the same.
        """
        for name in (a, b):
            if name not in self._order:
                known = ", ".join(self._order)
                raise InputImpossible(f'"{name}" is no pin of {self.sheet.name}.', f"Its pins are {known}.")
        if a == b:
            raise InputImpossible(f'A pair needs two different pins, not "{a}" twice.')
        return Pair(a, b) if self._order[a] < self._order[b] else Pair(b, a)

    def path(self, pair: Pair) -> Path:
        """Nominal and shares of a pair, solved once."""
        found = self._paths.get(pair)
        if found is None:
            circuit = self._circuit()
            a, b = self.canonical(*pair)
            found = Path(resistance_between(circuit, a, b), sensitivities(circuit, a, b))
            self._paths[pair] = found
        return found

    def nominal_ohm(self, pair: Pair) -> float:
        """Ohms at the reference temperature; infinite where the pair is open."""
        return self.path(pair).nominal_ohm

    def spread_ohm(self, pair: Pair) -> float:
        """Standard deviation between good units, in ohms; branches are taken to vary independently."""
        path = self.path(pair)
        return math.hypot(
            *(
                share * branch.spread * branch.reference_ohm
                for share, branch in zip(path.shares, self.branches, strict=True)
            )
        )

    def alike(self, pair: Pair, other: Pair, *, blur_ohm: float = 0.0) -> bool:
        """Whether two pairs read so nearly the same on good units that one can be taken for the other.

        Args:
            pair: of a good unit.
            other: likewise, in any order.
            blur_ohm: what else may hide a difference, such as a dirty probe.
        """
        if pair == other:
            return True
        apart_ohm = abs(self.nominal_ohm(pair) - self.nominal_ohm(other))
        return apart_ohm <= ALIKE * math.hypot(self.spread_ohm(pair), self.spread_ohm(other)) + blur_ohm

    def reach_ohm(self, pair: Pair) -> float:
        """How far a pair of a good unit may be off nominal: each branch three standard deviations, at worst.

        That is what its tolerance allows where the sheet gives no spread of its own.
        """
        path = self.path(pair)
        parts = zip(path.shares, self.branches, strict=True)
        return 3.0 * sum(share * branch.spread * branch.reference_ohm for share, branch in parts)

    def material(self, pair: Pair) -> str:
        """Conductor that most of the pair's ohms are made of."""
        parts = self._parts(pair)
        return max(parts, key=lambda part: part[1])[0].material if parts else "copper"

    def windings(self, pair: Pair) -> tuple[Branch, ...]:
        """Branches that matter to a pair, in the sheet's order; leads only where nothing else does."""
        named = [b for b, ohm in self._parts(pair) if ohm > _NAMED_SHARE * self.nominal_ohm(pair)]
        return tuple([b for b in named if b.kind is not BranchKind.LEAD] or named)

    def limits(self, pair: Pair, purpose: Purpose) -> Limits:
        """Limits of a pair from the tolerances of what it is made of.

        The worst case that the tolerances allow: every branch at its upper or every branch at its lower end.
        By Rayleigh's law of monotonicity no mixture lies further out, so this is exact for parallel paths too
        (to first order the sum of sensitivity times tolerance). Incoming and returned units are judged by the
        serviceable limits, wound and final ones by acceptance; where the sheet has only one set, it serves
        for both. Leads without a tolerance count as nominal.

        Returns:
            Limits; None on a side that has none: an open pair, a strap's lower side, or both sides where a
            winding has no tolerance at all.
        """
        key = (pair, purpose)
        if key not in self._limits:
            self._limits[key] = self._worst_case(pair, purpose)
        return self._limits[key]

    def limits_for(self, step: Step, purpose: Purpose) -> Limits:
        """Limits of a step: its own where it has them, the pair's on a side where it has none.

        An OPEN step has a lower limit only, and only if the sheet gives one; one of continuity an upper.
        """
        if step.kind is StepKind.OPEN:
            return Limits(step.open_above_ohm, None)
        if step.kind is StepKind.CONTINUITY:
            return Limits(None, step.upper_ohm or self.continuity_ohm(step.pair))
        if step.lower_ohm is not None and step.upper_ohm is not None:
            return Limits(step.lower_ohm, step.upper_ohm)
        derived = self.limits(step.pair, purpose)
        return Limits(
            derived.lower_ohm if step.lower_ohm is None else step.lower_ohm,
            derived.upper_ohm if step.upper_ohm is None else step.upper_ohm,
        )

    def continuity_ohm(self, pair: Pair) -> float | None:
        """What a pair has at most if every winding and strap has what its sheet allows for continuity.

        None where one that matters to it has no such limit, or the pair is open.
        """
        parts = [branch for branch, _ in self._parts(pair) if branch.kind is not BranchKind.LEAD]
        if not parts or any(b.continuity_ohm is None and b.upper_ohm is None for b in parts):
            return None
        most = [
            (b.a, b.b, next(filter(None, (b.continuity_ohm, b.upper_ohm, b.reference_ohm))))
            for b in self.branches
        ]
        return resistance_between(most, *self.canonical(*pair))

    def _circuit(self) -> list[BranchOhm]:
        return [(branch.a, branch.b, branch.reference_ohm) for branch in self.branches]

    def _parts(self, pair: Pair) -> list[tuple[Branch, float]]:
        """(branch, ohms it contributes), those that contribute nothing left out."""
        shares = self.path(pair).shares
        parts = zip(self.branches, shares, strict=True)
        return [(branch, share * branch.reference_ohm) for branch, share in parts if share > 0.0]

    def _worst_case(self, pair: Pair, purpose: Purpose) -> Limits:
        parts = self._parts(pair)
        if not parts:
            return Limits(None, None)
        if any(b.kind is BranchKind.WINDING and _tolerance(b, purpose) is None for b, _ in parts):
            return Limits(None, None)
        if all(b.kind is not BranchKind.WINDING and b.upper_ohm is None for b, _ in parts):
            return Limits(None, None)
        a, b = self.canonical(*pair)
        ends = [(branch, *_ends(branch, purpose)) for branch in self.branches]
        lower = resistance_between([(branch.a, branch.b, low) for branch, low, _ in ends], a, b)
        upper = resistance_between([(branch.a, branch.b, high) for branch, _, high in ends], a, b)
        has_winding = any(branch.kind is BranchKind.WINDING for branch, _ in parts)
        return Limits(lower if has_winding else None, upper)


def _tolerance(branch: Branch, purpose: Purpose) -> float | None:
    """Half-width as a fraction of nominal, of the set that the purpose asks for or else of the other."""
    wide, tight = branch.serviceable, branch.acceptance
    first, second = (wide, tight) if purpose in (Purpose.INCOMING, Purpose.RETURNED) else (tight, wide)
    return second if first is None else first


def _ends(branch: Branch, purpose: Purpose) -> tuple[float, float]:
    """Lowest and highest resistance that a good branch may have."""
    if branch.upper_ohm is not None:
        return _NOTHING_OHM, branch.upper_ohm
    tolerance = _tolerance(branch, purpose) or 0.0
    return branch.reference_ohm * (1.0 - tolerance), branch.reference_ohm * (1.0 + tolerance)


def branch_limits(branch: Branch, purpose: Purpose) -> Limits:
    """Limits of a branch by itself; None on both sides where the sheet sets none."""
    if branch.upper_ohm is None and _tolerance(branch, purpose) is None:
        return Limits(None, None)
    lower_ohm, upper_ohm = _ends(branch, purpose)
    return Limits(None if branch.upper_ohm is not None else lower_ohm, upper_ohm)
