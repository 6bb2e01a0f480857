"""What a sheet cannot do, found from its circuit before the first unit does.

For `steadyohm check`: each remark names a key of the file, so that the caller can give its line. Not for the
syntax of the file, nor for what makes a sheet unusable (acquire.sheets).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from acquire.records import Branch, BranchKind, Limits, Pair, Purpose, Sheet, Step, StepKind
from acquire.steps.bracket import bracket_for
from acquire.steps.pairs import PairTable
from acquire.steps.untested import unproven, unseen
from acquire.words.saying import at_most, capital, joined, ohm_text, within

MOST_TOLD = 3
"""Of many alike, so many are told by name."""

Expanded = Callable[[Step, float], float | None]
"""(step, nominal ohms) -> expanded uncertainty of the bench's meter there in ohms, None when not stated."""


@dataclass(frozen=True, slots=True)
class SheetRemark:
    """One thing about a sheet.

    Attributes:
        key: of the file's tables, counted from 0: "pin[4]", "winding[2]", "strap[0]", "step[1]". Pins count
            in the order of the connector.
        name: of that pin, winding, strap or step, for callers that look the line up by name.
        what: one sentence.
        remedy: one sentence.
        serious: True where the sheet does not do what it seems to; False for something worth knowing.
    """

    key: str
    name: str
    what: str
    remedy: str
    serious: bool


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
    found = [*_pins(sheet), *_unseen(table), *_unproven(sheet), *_steps(table, purpose)]
    found += _look_alikes(table, purpose)
    if expanded is not None:
        found += _meter(table, purpose, expanded)
    return tuple(found)


def _pins(sheet: Sheet) -> Iterator[SheetRemark]:
    ends = {node for branch in sheet.branches for node in (branch.a, branch.b)}
    for index, pin in enumerate(sheet.pins):
        if pin.name not in ends:
            yield SheetRemark(
                f"pin[{index}]",
                pin.name,
                f"No winding reaches pin {pin.name}.",
                "Name it in a winding's ends, or take it off the connector.",
                serious=True,
            )


def _unseen(table: PairTable) -> Iterator[SheetRemark]:
    """Windings and straps that no step measures, or only through something much larger."""
    steps = [step for step in table.sheet.steps if step.conducts]
    blind = unseen(table)
    for place, branch in enumerate(table.branches):
        if branch.kind not in (BranchKind.WINDING, BranchKind.STRAP):
            continue
        if branch in blind:
            yield SheetRemark(
                _key(table.sheet, branch),
                branch.name,
                f"No step sees {within(branch.name)}: a unit passes even if it is broken.",
                f"Add a step on {_seeing(table, place)}.",
                serious=True,
            )
        elif not _seen_well(table, branch, place, steps):
            yield SheetRemark(
                _key(table.sheet, branch),
                branch.name,
                f"{capital(within(branch.name))} is only seen through larger windings, "
                "whose spread hides its tolerance.",
                f"Add a step on {_seeing(table, place)}.",
                serious=False,
            )


def _unproven(sheet: Sheet) -> Iterator[SheetRemark]:
    """Groups of pins whose isolation from each other nothing asks for."""
    found = [f"{','.join(one)} from {','.join(other)}" for one, other in unproven(sheet)]
    if found:
        more = f" (and {len(found) - MOST_TOLD} more)" if len(found) > MOST_TOLD else ""
        pairs = "; ".join(found[:MOST_TOLD]) + more
        yield SheetRemark(
            "connector",
            "connector",
            f"Nothing tests the isolation of {pairs}: a unit passes even if they touch.",
            "Add an [[isolation]] of those groups, or steps between them that must be open.",
            serious=True,
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
            max(
                0.0,
                table.spread_ohm(step.pair) ** 2 - (share * branch.spread * branch.reference_ohm) ** 2,
            )
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
        key = f"step[{index}]"
        if step.conducts and not conducts:
            yield SheetRemark(
                key,
                step.name,
                f"Nothing joins {step.pair}, so it never gives a resistance.",
                'Give the step kind = "open", or correct the pair.',
                serious=True,
            )
        if step.kind is StepKind.OPEN and conducts:
            yield SheetRemark(
                key,
                step.name,
                f"{step.pair} is to be open, but it reads {_through(table, step.pair)}.",
                "Correct the pair, or leave kind out.",
                serious=True,
            )
        elif step.kind is StepKind.OPEN and bracket_for(table, step) is None:
            yield SheetRemark(
                key,
                step.name,
                f"That {step.pair} is open can only be confirmed by key or pedal.",
                "Two pins with known, unlike paths to the core would prove it hands-free.",
                serious=False,
            )
        if step.conducts and conducts and _width(table, step, purpose) is None:
            yield SheetRemark(
                key,
                step.name,
                f"Step {step.name} has no limits, so nothing is judged.",
                "Give its windings a tolerance, or the step lower and upper.",
                serious=True,
            )


def _through(table: PairTable, pair: Pair) -> str:
    return joined(branch.name for branch in table.windings(pair))


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
            yield SheetRemark(
                f"step[{index}]",
                step.name,
                f"{joined(sorted(alike))} read alike, about {_nominal(table, step)}: "
                "a wrong probe among them goes unnoticed.",
                "Nothing to change; mind the order of the steps there.",
                serious=False,
            )


def _nominal(table: PairTable, step: Step) -> str:
    return ohm_text(table.nominal_ohm(step.pair))


def _meter(table: PairTable, purpose: Purpose, expanded: Expanded) -> Iterator[SheetRemark]:
    for index, step in enumerate(table.sheet.steps):
        nominal_ohm, tolerance_ohm = table.nominal_ohm(step.pair), _width(table, step, purpose)
        if not step.conducts or math.isinf(nominal_ohm) or tolerance_ohm is None:
            continue
        expanded_ohm = expanded(step, nominal_ohm)
        if expanded_ohm is None or expanded_ohm <= tolerance_ohm:
            continue
        if step.continuity_ohm is not None and nominal_ohm + expanded_ohm <= step.continuity_ohm:
            yield SheetRemark(
                f"step[{index}]",
                step.name,
                f"The meter knows {_nominal(table, step)} to {ohm_text(expanded_ohm, 2)} only: no more is "
                f"judged of {within(step.name)} than that it has at most {at_most(step.continuity_ohm)}.",
                "Use four wires, a lower range or a better meter to judge its tolerance.",
                serious=False,
            )
        else:
            yield SheetRemark(
                f"step[{index}]",
                step.name,
                f"The meter knows {_nominal(table, step)} to {ohm_text(expanded_ohm, 2)} only, "
                f"and the tolerance is {ohm_text(tolerance_ohm, 2)}: it cannot judge this step.",
                "Use four wires, a lower range or a better meter, or wider limits.",
                serious=True,
            )
