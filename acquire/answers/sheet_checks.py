"""What a sheet cannot do, and how well a bench will know its steps, found before the first unit is measured.

For `steadyohm check`: each remark names a key of the file, so that the caller can give its line; a bench's
files are put to `verdict.fitness`. Not for the syntax of a file, nor for what makes a sheet unusable
(acquire.sheets), nor for the budget itself (verdict, physics).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from acquire.errors import InputImpossible
from acquire.files.bench_tables import ZeroSource
from acquire.files.settings import Bench as BenchSettings
from acquire.physics.copper import conductor_named
from acquire.physics.substitution import Substitute
from acquire.quantity import show
from acquire.records import Branch, BranchKind, Limits, Pair, Purpose, Sheet, Step, StepKind
from acquire.steps.bracket import bracket_for
from acquire.steps.checking import OF_RANGE
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import expected_ohm, quantity_for
from acquire.steps.untested import unproven, unseen
from acquire.verdict.fitness import (
    GOOD_ZERO_OHM,
    Bench,
    FitnessRow,
    Offer,
    foresee,
    offers_of,
    reference_of,
    row,
)
from acquire.words.saying import at_most, capital, joined, ohm_text, within
from drivers.models import MeterModel
from drivers.reading import Quantity

MOST_TOLD = 3
"""Of many alike, so many are told by name."""

Expanded = Callable[[Step, float], float | None]
"""(step, nominal ohms) -> expanded uncertainty of the bench's meter there in ohms, None when not stated."""


REMARKS = tomllib.loads(
    Path(__file__).with_name("templates").joinpath("sheet_remarks.toml").read_text(encoding="utf-8")
)
"""What can be said, by its code."""


@dataclass(frozen=True, slots=True)
class SheetRemark:
    """One thing about a sheet.

    Attributes:
        code: a key of `REMARKS`.
        key: of the file's tables, counted from 0: "winding[2]", "strap[0]", "step[1]"; or "connector".
        name: of that winding, strap or step, for callers that look the line up by name.
        facts: what the sentences name.
    """

    code: str
    key: str
    name: str
    facts: Mapping[str, object]

    @property
    def serious(self) -> bool:
        """Whether the sheet does not do what it seems to; else it is something worth knowing."""
        return bool(REMARKS[self.code]["serious"])

    @property
    def what(self) -> str:
        """One sentence."""
        return str(REMARKS[self.code]["what"].format_map(self.facts))

    @property
    def remedy(self) -> str:
        """One sentence."""
        return str(REMARKS[self.code]["remedy"].format_map(self.facts))


def sheet_remarks(
    sheet: Sheet, purpose: Purpose, expanded: Expanded | None = None
) -> tuple[SheetRemark, ...]:
    """Everything worth saying about a compiled sheet.

    Args:
        sheet: to look at.
        purpose: which limits apply.
        expanded: of the bench's meter; None where no bench is known.
    """
    table = PairTable(sheet)
    found = [*_unseen(table), *_unproven(sheet), *_steps(table, purpose), *_look_alikes(table, purpose)]
    if expanded is not None:
        found += _meter(table, purpose, expanded)
    return tuple(found)


def _unseen(table: PairTable) -> Iterator[SheetRemark]:
    """Windings and straps that no step measures, or only through something much larger."""
    steps = [step for step in table.sheet.steps if step.conducts]
    blind = unseen(table)
    for place, branch in enumerate(table.branches):
        if branch.kind not in (BranchKind.WINDING, BranchKind.STRAP):
            continue
        code = "unseen" if branch in blind else "" if _seen_well(table, branch, place, steps) else "dim"
        if code:
            of = within(branch.name)
            facts = {"branch": of, "Branch": capital(of), "best": _seeing(table, place)}
            yield SheetRemark(code, _key(table.sheet, branch), branch.name, facts)


def _unproven(sheet: Sheet) -> Iterator[SheetRemark]:
    """Groups of pins whose isolation from each other nothing asks for."""
    found = [f"{','.join(one)} from {','.join(other)}" for one, other in unproven(sheet)]
    if found:
        more = f" (and {len(found) - MOST_TOLD} more)" if len(found) > MOST_TOLD else ""
        yield SheetRemark(
            "unproven", "connector", "connector", {"groups": "; ".join(found[:MOST_TOLD]) + more}
        )


def _key(sheet: Sheet, branch: Branch) -> str:
    """Which table of the file a winding or strap stands in."""
    same = [other for other in sheet.branches if other.kind is branch.kind]
    return f"{branch.kind.value}[{same.index(branch)}]"


def _seen_well(table: PairTable, branch: Branch, place: int, steps: list[Step]) -> bool:
    """Whether leaving its tolerance shows on some step above what the rest of the path varies by."""
    tolerance = branch.acceptance or branch.serviceable
    if branch.kind is BranchKind.STRAP or tolerance is None:
        return True
    for step in steps:
        share = table.path(step.pair).shares[place]
        own_ohm = share * tolerance * branch.reference_ohm
        others_ohm = math.sqrt(
            max(0.0, table.spread_ohm(step.pair) ** 2 - (share * branch.spread * branch.reference_ohm) ** 2)
        )
        if own_ohm > 2.0 * others_ohm:
            return True
    return False


def _seeing(table: PairTable, place: int) -> str:
    """The pair in which a branch makes up the largest part."""
    branch = table.branches[place]

    def part(pair_share: tuple[float, float]) -> float:
        share, nominal_ohm = pair_share
        return share * branch.reference_ohm / nominal_ohm if math.isfinite(nominal_ohm) else -1.0

    best = max(table.pairs(), key=lambda p: part((table.path(p).shares[place], table.nominal_ohm(p))))
    return str(best)


def _steps(table: PairTable, purpose: Purpose) -> Iterator[SheetRemark]:
    for index, step in enumerate(table.sheet.steps):
        conducts = math.isfinite(table.nominal_ohm(step.pair))
        through = joined(branch.name for branch in table.windings(step.pair))
        facts = {"pair": step.pair, "step": step.name, "through": through}
        code = ""
        if step.conducts and not conducts:
            code = "no_path"
        elif step.kind is StepKind.OPEN and conducts:
            code = "not_open"
        elif step.kind is StepKind.OPEN and bracket_for(table, step) is None:
            code = "by_key"
        elif step.conducts and _width(table, step, purpose) is None:
            code = "no_limits"
        if code:
            yield SheetRemark(code, f"step[{index}]", step.name, facts)


def _width(table: PairTable, step: Step, purpose: Purpose) -> float | None:
    """What the decision counts as the tolerance: half the width, or the upper limit if there is no lower."""
    limits: Limits = table.limits_for(step, purpose)
    if limits.upper_ohm is None:
        return None if limits.lower_ohm is None else math.inf
    return limits.tolerance_ohm


def _look_alikes(table: PairTable, purpose: Purpose) -> Iterator[SheetRemark]:
    """Pairs that pass for each other: a wrong probe among them cannot be noticed. Once for each group."""
    told: set[frozenset[Pair]] = set()
    for index, step in enumerate(table.sheet.steps):
        limits = table.limits_for(step, purpose)
        if not step.conducts or limits.upper_ohm is None:
            continue
        low_ohm, high_ohm = limits.lower_ohm or 0.0, limits.upper_ohm
        alike = frozenset(
            pair for pair in table.pairs() if low_ohm <= table.nominal_ohm(pair) <= high_ohm
        ) | {step.pair}
        if len(alike) > 1 and alike not in told:
            told.add(alike)
            facts = {"pairs": joined(sorted(alike)), "nominal": ohm_text(table.nominal_ohm(step.pair))}
            yield SheetRemark("alike", f"step[{index}]", step.name, facts)


def _meter(table: PairTable, purpose: Purpose, expanded: Expanded) -> Iterator[SheetRemark]:
    for index, step in enumerate(table.sheet.steps):
        nominal_ohm, tolerance_ohm = table.nominal_ohm(step.pair), _width(table, step, purpose)
        if not step.conducts or math.isinf(nominal_ohm) or tolerance_ohm is None:
            continue
        expanded_ohm = expanded(step, nominal_ohm)
        if expanded_ohm is None or expanded_ohm <= tolerance_ohm:
            continue
        facts = {"nominal": ohm_text(nominal_ohm), "known": ohm_text(expanded_ohm, 2)}
        code = "cannot_judge"
        if step.continuity_ohm is not None and nominal_ohm + expanded_ohm <= step.continuity_ohm:
            code = "continuity_only"
            facts |= {"of": within(step.name), "most": at_most(step.continuity_ohm)}
        else:
            facts["tolerance"] = ohm_text(tolerance_ohm, 2)
        yield SheetRemark(code, f"step[{index}]", step.name, facts)


@dataclass(slots=True)
class MeterFit:
    """A bench, its sheet and its meter, asked how sure they will be.

    Attributes:
        sheet: of the units.
        bench: says how leads and temperature are known, and when four wires are used.
        model: the meter's file.
        table: of the sheet's pairs, one for all steps.
    """

    sheet: Sheet
    bench: BenchSettings
    model: MeterModel
    table: PairTable = field(init=False)
    _offers: tuple[Offer, ...] = field(init=False)

    def __post_init__(self) -> None:
        """One table of pairs serves all steps."""
        self.table = PairTable(self.sheet)
        self._offers = offers_of(self.model)

    def expanded_ohm(self, step: Step, nominal_ohm: float) -> float | None:
        """Expanded uncertainty that a good unit's value will have, by the budget that verdicts use.

        Args:
            step: to be measured.
            nominal_ohm: of its pair, finite.

        Returns:
            Ohms at the reference temperature, 95 %; None where the meter's file states nothing for it.
        """
        offers = self._in_use_first(step, nominal_ohm)
        return foresee(nominal_ohm, self._how(step), offers[0]).expanded_ohm if offers else None

    def rows(self) -> Iterator[FitnessRow]:
        """A row of the table for every step that has a resistance to judge.

        Raises:
            InputImpossible: the meter's file has no range that holds a step's value.
        """
        for step in self.sheet.steps:
            nominal_ohm = self.table.nominal_ohm(step.pair)
            limits = self.table.limits_for(step, self.bench.purpose)
            if not step.conducts or not math.isfinite(nominal_ohm) or limits.upper_ohm is None:
                continue
            offers = self._in_use_first(step, nominal_ohm)
            if not offers:
                what = f"{self.model.name} has no range for {step.name} ({show(nominal_ohm, 'Ω')})."
                raise InputImpossible(what)
            yield row(step.name, nominal_ohm, limits, self._how(step), offers)

    def _how(self, step: Step) -> Bench:
        """How this bench measures a step, in the words of `fitness`."""
        leads, air = self.bench.leads, self.bench.temperature
        zero_u = {ZeroSource.ASK: GOOD_ZERO_OHM, ZeroSource.VALUE: leads.standard_uncertainty_ohm or 0.0}
        bench = Bench(
            zero_u_ohm=zero_u.get(leads.zero),
            winding_u_kelvin=air.standard_uncertainty_kelvin,
            reference_celsius=self.sheet.reference_celsius,
            conductor=conductor_named(self.table.material(step.pair)),
        )
        return replace(bench, references=tuple(self._references(bench)))

    def _references(self, how: Bench) -> Iterator[Substitute]:
        """The known resistances of the bench file on the ranges that they are read on."""
        for each in self.bench.references:
            wanted_ohm = each.value if each.range is None else OF_RANGE * each.range
            holding = (offer for offer in self._offers if offer.largest_ohm >= wanted_ohm)
            offer = next((o for o in holding if o.four_wire is (each.wires == 4)), None)
            if offer is not None:
                more: dict[str, Any] = {"linearity_counts": each.linearity, "drift": each.drift}
                more["material"] = each.material if each.golden else ""
                yield reference_of(each.resistor, each.value, each.uncertainty / 2.0, how, offer, **more)

    def _in_use_first(self, step: Step, nominal_ohm: float) -> Sequence[Offer]:
        """What the meter offers for a step, the range in use first; empty where none holds its value."""
        quantity = quantity_for(step, nominal_ohm, self.bench.meter.four_wire_below)
        statements = self.model
        largest_ohm = expected_ohm(self.table, step, self.bench.purpose, quantity, statements)
        holding = [each for each in self._offers if each.largest_ohm >= largest_ohm]
        four_wire = quantity is Quantity.RESISTANCE_4W
        fitting = [each for each in holding if each.four_wire is four_wire] or holding
        return [*fitting[:1], *(each for each in self._offers if each not in fitting[:1])] if fitting else []


GOOD_RATIO = 3.0
"""Tolerance over uncertainty from which few values fall near a limit; common practice asks for 3 to 10."""


def row_lines(each: FitnessRow) -> list[str]:
    """A step in the table of a budget, and what would help where it cannot be judged."""
    verdict = "" if each.can_judge else "   CANNOT JUDGE"
    tolerance = ("at most " if each.upper_only else "") + show(each.tolerance_ohm, "Ω", digits=3)
    ratio = f"{each.ratio:.1f}" if each.ratio >= 1.0 else f"{each.ratio:.2f}"
    line = (
        f"{each.step:<22} {show(each.nominal_ohm, 'Ω'):>12} {tolerance:>16} "
        f"{show(each.expanded_ohm, 'Ω', digits=2):>12} {ratio:>6}  {each.dominating}{verdict}"
    )
    if each.can_judge:
        return [line]
    return [line, f"    what would: {_what_would(each)}"]


def _what_would(each: FitnessRow) -> str:
    """The smallest change that helps; how good a meter would have to be, where this one cannot be helped."""
    if not each.would_help.startswith("nothing"):
        return each.would_help
    good = show(each.tolerance_ohm / GOOD_RATIO, "Ω", digits=2)
    nominal = show(each.nominal_ohm, "Ω")
    return f"no range of this meter; one that knows {nominal} to {good} or better, with four wires"


def term_lines(each: FitnessRow) -> list[str]:
    """Its terms, one a line."""
    return [
        f"    {term.name:<22} {show(term.standard_uncertainty_ohm, 'Ω', digits=2):>12}  {term.shape.value}"
        for term in each.terms
        if term.standard_uncertainty_ohm > 0.0
    ]
