"""How well a bench will know a step before anything is measured: its files put to `verdict.fitness`.

Not for the budget itself (verdict, physics).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from acquire.errors import InputImpossible
from acquire.files.bench_tables import ZeroSource
from acquire.files.settings import Bench as BenchSettings
from acquire.files.statements import ModelStatements
from acquire.physics.copper import conductor_named
from acquire.physics.substitution import Substitute
from acquire.quantity import show
from acquire.records import Sheet, Step
from acquire.steps.checking import OF_RANGE
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import expected_ohm, quantity_for
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
from acquire.words.verdicts import range_in_words, remedy
from drivers.models import MeterModel
from drivers.reading import Quantity


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

    def row(self, step: Step) -> FitnessRow | None:
        """One step's row of the table; None for a step that has no resistance to judge.

        Raises:
            InputImpossible: the meter's file has no range that holds the step's value.
        """
        nominal_ohm = self.table.nominal_ohm(step.pair)
        limits = self.table.limits_for(step, self.bench.purpose)
        if not step.conducts or not math.isfinite(nominal_ohm) or limits.upper_ohm is None:
            return None
        offers = self._in_use_first(step, nominal_ohm)
        if not offers:
            what = f"{self.model.name} has no range for {step.name} ({show(nominal_ohm, 'Ω')})."
            raise InputImpossible(what)
        return row(step.name, nominal_ohm, limits, self._how(step), offers)

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
        statements = ModelStatements(self.model)
        largest_ohm = expected_ohm(self.table, step, self.bench.purpose, quantity, statements)
        holding = [each for each in self._offers if each.largest_ohm >= largest_ohm]
        four_wire = quantity is Quantity.RESISTANCE_4W
        fitting = [each for each in holding if each.four_wire is four_wire] or holding
        return [*fitting[:1], *(each for each in self._offers if each not in fitting[:1])] if fitting else []


GOOD_RATIO = 3.0
"""Tolerance over uncertainty from which few values fall near a limit; common practice asks for 3 to 10."""


def rows_of(sheet: Sheet, bench: BenchSettings, model: MeterModel) -> list[FitnessRow]:
    """A row for every step that has a resistance to judge.

    Raises:
        InputImpossible: the meter's file has no range that holds a step's value.
    """
    fit = MeterFit(sheet, bench, model)
    return [found for step in sheet.steps if (found := fit.row(step)) is not None]


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
    if each.would_help is not None:
        return remedy(**asdict(each.would_help))
    good = show(each.tolerance_ohm / GOOD_RATIO, "Ω", digits=2)
    nominal = show(each.nominal_ohm, "Ω")
    return f"no range of this meter; one that knows {nominal} to {good} or better, with four wires"


def term_lines(each: FitnessRow) -> list[str]:
    """A step and its range, and the terms of its budget, one a line."""
    terms = (
        f"    {term.name:<22} {show(term.standard_uncertainty_ohm, 'Ω', digits=2):>12}  {term.shape.value}"
        for term in each.terms
        if term.standard_uncertainty_ohm > 0.0
    )
    in_use = range_in_words(each.range_full_scale_ohm, four_wire=each.four_wire)
    return [f"{each.step} ({in_use}):", *terms]
