"""What a sheet cannot do, found from its circuit before the first unit does.

For `steadyohm check`: each remark names a key of the file, so that the caller can give its line. Not for the
syntax of the file, nor for what makes a sheet unusable (acquire.sheets).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from acquire.records import Branch, BranchKind, Limits, Pair, Purpose, Sheet, Step, StepKind
from acquire.steps.bracket import bracket_for
from acquire.steps.pairs import PairTable
from acquire.steps.untested import unproven, unseen
from acquire.words.saying import at_most, capital, joined, ohm_text, within

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
