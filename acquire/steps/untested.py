"""What ohms leave untested on a unit type, each thing by its id. Not for what was typed in since."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from acquire.records import Branch, BranchKind, Sheet, StepKind, Untested, UntestedKind
from acquire.steps.pairs import PairTable

TURNS_ID = "turns"
"""Faults between turns of any winding: direct current sees neither one shorted turn nor weak insulation."""

SEEN = 1e-6
"""A branch counts as seen by a step whose reading changes by this share of the branch's own change."""


def required(table: PairTable) -> tuple[Untested, ...]:
    """Everything that the sheet asks for besides ohms, and that its circuit leaves open.

    Args:
        table: of the sheet.
    """
    sheet = table.sheet
    found = [Untested(UntestedKind.ISOLATION, rule.id, rule.name, rule.volts) for rule in sheet.isolations]
    typed = [step for step in sheet.steps if step.kind is StepKind.TYPED]
    found += [Untested(UntestedKind.STEP, step.id, step.name) for step in typed]
    found += [
        Untested(UntestedKind.CIRCUIT, f"isolation:{a}|{b}", f"isolation of {a} from {b}")
        for a, b in ((",".join(one), ",".join(other)) for one, other in unproven(sheet))
    ]
    found += [
        Untested(UntestedKind.CIRCUIT, f"branch:{branch.name}", branch.name) for branch in unseen(table)
    ]
    if any(branch.kind is BranchKind.WINDING for branch in sheet.branches):
        found.append(Untested(UntestedKind.TURNS, TURNS_ID, "faults between turns"))
    return tuple(found)


def unseen(table: PairTable) -> tuple[Branch, ...]:
    """Windings and straps that no step measures."""
    steps = [step for step in table.sheet.steps if step.conducts]
    return tuple(
        branch
        for place, branch in enumerate(table.branches)
        if branch.kind in (BranchKind.WINDING, BranchKind.STRAP)
        and not any(table.path(step.pair).shares[place] > SEEN for step in steps)
    )


def unproven(sheet: Sheet) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Pairs of separate groups of pins, the core among them, whose isolation nothing on the sheet asks for.

    Neither an isolation rule nor a step (open, or typed) has a pin in both.
    """
    groups = separate_groups(sheet)
    asked = [pair for rule in sheet.isolations for pair in combinations(map(frozenset, rule.groups), 2)]
    asked += [(frozenset((step.pair.a,)), frozenset((step.pair.b,))) for step in sheet.steps]
    for one, other in combinations(groups, 2):
        if not any(_across(a, b, one, other) or _across(b, a, one, other) for a, b in asked):
            yield one, other


def _across(a: frozenset[str], b: frozenset[str], one: Sequence[str], other: Sequence[str]) -> bool:
    return not a.isdisjoint(one) and not b.isdisjoint(other)


def separate_groups(sheet: Sheet) -> tuple[tuple[str, ...], ...]:
    """Pins that a path joins, diodes among the paths, in the sheet's order.

    Pins that go nowhere are left out; the core is a group of its own where nothing joins it.
    """
    group = {name: {name} for name in sheet.pin_names()}
    for branch in sheet.branches:
        joined = group.get(branch.a, {branch.a}) | group.get(branch.b, {branch.b})
        for node in joined:
            group[node] = joined
    ends = {node for branch in sheet.branches for node in (branch.a, branch.b)} | {sheet.core}
    found = (tuple(name for name in sheet.pin_names() if name in group[pin]) for pin in sheet.pin_names())
    return tuple(dict.fromkeys(each for each in found if each and each[0] in ends))
